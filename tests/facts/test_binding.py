"""Binding, repeats and widths against figures of the trade and a printed table."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from stash.errors import InputWrong
from stash.garment.binding import (
    bias_length,
    bias_repeat,
    joined_length,
    matched_cuts,
    square_for,
    strips_for_perimeter,
    whole_repeats,
)
from stash.garment.yardage import YARDS, yards_of_width


@pytest.mark.parametrize(("side", "width", "length"), [(20, 2, 200), (12, 2, 72), (36, 2, 648)])
def test_bias_from_a_square(side: float, width: float, length: float) -> None:
    """Bias from a square is side²/width (common practice; the figures are worked out)."""
    assert bias_length(side, width) == length


@pytest.mark.parametrize(("length", "width", "side"), [(250, 2, 23), (100, 3.5, 19), (55, 2.5, 12), (200, 2, 20)])
def test_the_square_for_a_length(length: float, width: float, side: int) -> None:
    """The square is ⌈√(length·width)⌉ (worked out); it always gives at least the length, one inch less does not."""
    assert square_for(length, width) == side
    assert bias_length(side, width) >= length > bias_length(side - 1, width)


@pytest.mark.parametrize(
    ("width", "height", "usable", "extra", "count"), [(40, 50, 40, 0, 5), (50, 60, 38, 0, 6), (54, 60, 42, 10, 6)]
)
def test_strips_round_a_rectangle(width: float, height: float, usable: float, extra: float, count: int) -> None:
    """⌈(2(W + H) + extra)/usable⌉ (worked out)."""
    assert strips_for_perimeter(width, height, usable, extra) == count


def test_a_slanting_join_takes_up_a_strip_width() -> None:
    """Two strips of width w laid at right angles and sewn corner to corner lose w of their joint length (geometry)."""
    assert joined_length(2, 40, 2.5) == 77.5
    assert joined_length(1, 40, 2.5) == 40


@pytest.mark.parametrize(
    ("raw", "repeat", "cut"), [(116, 25, 125), (96, 27, 108), (118, 13, 130), (114, 4.5, 117), (108, 27, 108)]
)
def test_cuts_round_up_to_whole_repeats(raw: float, repeat: float, cut: float) -> None:
    """A cut rounds up to whole repeats, and an exact multiple adds none (common practice; figures worked out)."""
    assert whole_repeats(raw, repeat) == cut


def test_a_multiple_in_inches_stays_a_multiple_in_mm() -> None:
    """Ten repeats of 2.54 mm are 25.4 mm and need no eleventh, whatever binary fractions make of it."""
    assert whole_repeats(25.4, 2.54) == 25.4
    assert whole_repeats(0.3, 0.1) == 0.3


def test_matched_cuts() -> None:
    """Two equal cuts of 100 that match in a repeat of 26 take 204: the last needs no rounding (common practice)."""
    assert matched_cuts(100, 26, 2) == 204
    assert matched_cuts(100, 26, 1) == 100
    assert matched_cuts(100, 26, 0) == 0


def test_a_repeat_on_the_true_bias() -> None:
    """At 45° a repeat of 100 shows every 141.42 (plane geometry)."""
    assert bias_repeat(100) == pytest.approx(141.42, abs=0.005)


@pytest.mark.parametrize(
    ("yards", "here", "there", "answer"),
    [
        ("7/4", 35, 44, "11/8"),
        ("2", 35, 60, "5/4"),
        ("2", 45, 36, "23/8"),
        ("13/8", 45, 36, "2"),
        ("5", 36, 66, "11/4"),
        ("17/4", 39, 54, "25/8"),
    ],
)
def test_the_width_table(yards: str, here: float, there: float, answer: str) -> None:
    """Cells of the width conversion table (seen in two copies; attribution to Rutgers Extension from memory)."""
    assert yards_of_width(Fraction(yards), here, there) == Fraction(answer)


def test_cloth_is_never_scaled_by_area() -> None:
    """The table departs from equal area by up to a tenth or so either way: scaling by area would buy too little."""
    middles = (35.5, 39, 41.5, 44.5, 50, 53, 59, 66)
    ratios = [
        float(cell) * width / (float(row[3]) * middles[3])
        for row in YARDS
        for cell, width in zip(row, middles, strict=True)
    ]
    assert max(ratios) > 1.05
    assert min(ratios) < 0.97
    assert all(abs(math.log(ratio)) < 0.25 for ratio in ratios)


def test_what_the_width_table_does_not_know() -> None:
    """Beyond the table there is no guess: narrower cloth and longer lengths are refused."""
    with pytest.raises(InputWrong, match="narrower than the table"):
        yards_of_width(Fraction(2), 30, 45)
    with pytest.raises(InputWrong, match="more than the table"):
        yards_of_width(Fraction(6), 36, 45)
