"""Prints with something else in view: a second ruler on the cloth, a corner of the table; what is print stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.makers.cloth import CheckPrint, StripePrint, Stripes
from tests.vision.flat import flat
from vision.blemish import without_blemishes
from vision.print import measure_print
from vision.profile import band_profiles
from vision.spectrum import lag_difference, light_change
from vision.square import SquareOn
from vision.swatch import cut_swatch

RED, BRICK, CREAM, BLUE, GREEN, BLACK = "#8f1f2a", "#b3552f", "#e9e1cc", "#23426f", "#2f5d3a", "#2a2624"
FOUR = Stripes(widths_mm=(11.0, 7.0, 11.0, 7.0), colours=(RED, CREAM, BRICK, CREAM))


def _with_ruler(square: SquareOn, *, left_mm: float, width_mm: float, share: float) -> SquareOn:
    """A grey-yellow board of a ``share`` of the height, laid on the picture from its upper border."""
    rgb = square.rgb.copy()
    left, right = (round(x * square.px_per_mm) for x in (left_mm, left_mm + width_mm))
    rgb[: round(share * len(rgb)), left:right] = (188, 176, 120)
    return replace(square, rgb=rgb)


def _with_table(square: SquareOn, side_mm: float) -> SquareOn:
    """The upper right corner cut off square to the picture's diagonal, dark wood showing."""
    ys, xs = np.mgrid[0 : square.rgb.shape[0], 0 : square.rgb.shape[1]]
    corner = (square.rgb.shape[1] - xs) + ys < side_mm * square.px_per_mm
    return replace(square, rgb=np.where(corner[..., None], np.array([52, 38, 30], dtype=np.uint8), square.rgb))


def test_a_ruler_left_on_the_cloth_does_not_hide_the_repeat() -> None:
    """A board 25 mm wide that lies along the stripes for 60 % of their length, and was taken for cloth, hides no more
    than itself: the repeat of A B A' B is 36 mm, its stripes are four."""
    square = _with_ruler(flat(StripePrint(across=FOUR), turn_deg=3.0), left_mm=90.0, width_mm=25.0, share=0.6)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.across is not None
    assert found.across.value == pytest.approx(36.0, rel=0.005)
    assert [stripe.label for stripe in found.stripes] == ["A", "B", "C", "B"]


@pytest.mark.parametrize("left_mm", [0.0, 219.0])
def test_a_ruler_along_the_edge_does_not_hide_the_repeat(left_mm: float) -> None:
    """A board along the cloth's side, over its whole height, was taken for cloth: nothing else looks like it, and it
    lies at the end, so the other six repeats tell 36 mm."""
    square = _with_ruler(flat(StripePrint(across=FOUR), turn_deg=3.0), left_mm=left_mm, width_mm=21.0, share=1.0)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.across is not None
    assert found.across.value == pytest.approx(36.0, rel=0.005)
    assert [stripe.label for stripe in found.stripes] == ["A", "B", "C", "B"]


@pytest.mark.parametrize(("count", "told"), [(8, True), (2, False)])
def test_a_long_sequence_need_not_come_often_beside_a_ruler(count: int, told: bool) -> None:
    """Beside a board along the cloth's side three repeats are enough of eight stripes; of two, the next might be wider
    under it."""
    widths = (9.0, 6.0, 11.0, 7.0, 5.0, 10.0, 8.0, 10.0) if count == 8 else (36.0, 30.0)
    stripes = Stripes(widths_mm=widths, colours=(RED, CREAM, BLUE, CREAM, GREEN, CREAM, BLACK, BRICK)[:count])
    square = flat(StripePrint(across=stripes), turn_deg=3.0)
    square = _with_ruler(square, left_mm=214.0, width_mm=26.0, share=1.0)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert (found.across is not None) == told
    assert found.across is None or found.across.value == pytest.approx(66.0, rel=0.005)


def test_two_broad_rulers_do_not_hide_the_repeat() -> None:
    """Two boards that hide a third of a small cloth, neither of them read, leave two thirds that tell 36 mm."""
    square = flat(StripePrint(across=FOUR), turn_deg=3.0)
    square = _with_ruler(square, left_mm=20.0, width_mm=80.0, share=0.48)
    square = _with_ruler(square, left_mm=130.0, width_mm=85.0, share=0.48)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.across is not None
    assert found.across.value == pytest.approx(36.0, rel=0.005)
    assert [stripe.label for stripe in found.stripes] == ["A", "B", "C", "B"]


def test_a_tape_that_juts_out_makes_no_check_of_stripes() -> None:
    """A pale tape across the lower end of dark stripes, reaching far beyond them, leaves them stripes of 72 mm whose
    direction is the cloth's own, 3 degrees."""
    colours = ("#23426f", "#7d5a86", "#1a2152", "#7d5a86")
    stripes = StripePrint(across=Stripes(widths_mm=(14.0, 22.0, 15.0, 21.0), colours=colours))
    square = flat(stripes, turn_deg=3.0, width_mm=676.0, height_mm=445.0, px_per_mm=2.0)
    rgb, mask = square.rgb.copy(), square.valid.copy()
    ys, xs = (axis / square.px_per_mm for axis in np.mgrid[0 : rgb.shape[0], 0 : rgb.shape[1]])
    down = ys - 250.0 - 0.27 * xs
    tape = np.abs(down) < 12.0
    rgb[tape] = (225, 218, 190)
    cloth = (xs < 480.0) & (down < 0)
    found = measure_print(replace(square, rgb=rgb), mask & (cloth | tape & (xs > 330.0))).print
    assert found is not None
    assert found.kind == "stripe"
    assert found.across is not None
    assert found.across.value == pytest.approx(72.0, rel=0.005)
    assert found.across_direction_deg is not None
    assert found.across_direction_deg.value == pytest.approx(3.0, abs=0.1)


def test_a_check_under_a_ruler_shows_both_repeats() -> None:
    """A board along one way of a check, over 55 % of its height, leaves both repeats to be told."""
    across = Stripes(widths_mm=(20.0, 8.0, 12.0), colours=(BLACK, CREAM, GREEN))
    along = Stripes(widths_mm=(15.0, 9.0, 6.0), colours=(BLACK, GREEN, CREAM))
    square = flat(CheckPrint(across=across, along=along), turn_deg=4.0, width_mm=330.0, height_mm=250.0, px_per_mm=3.0)
    square = _with_ruler(square, left_mm=100.0, width_mm=22.0, share=0.55)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.across is not None
    assert found.along is not None
    assert found.across.value == pytest.approx(40.0, rel=0.005)
    assert found.along.value == pytest.approx(30.0, rel=0.005)


def test_a_corner_of_the_table_does_not_hide_the_repeat() -> None:
    """Stripes at 45 degrees end in the picture's corners; where one of them is table that was taken for cloth, the
    others tell the repeat, 36 mm."""
    square = _with_table(flat(StripePrint(across=FOUR), turn_deg=45.0), side_mm=60.0)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.across is not None
    assert found.across.value == pytest.approx(36.0, rel=0.005)


def test_a_stripe_that_comes_once_is_print() -> None:
    """Of red and cream eight times over and then one blue, all bands show the blue: nothing is left out for a repeat
    of 18 mm, and no repeat is claimed."""
    ring = Stripes(widths_mm=(10.0, 8.0) * 6 + (10.0, 8.0), colours=(RED, CREAM) * 6 + (BLUE, CREAM))
    square = flat(StripePrint(across=ring), width_mm=150.0, phase_mm=(75.0, 0.0), turn_deg=1.0)
    bands = band_profiles(cut_swatch(square, square.valid, most_px=2.5e6), 1.0)
    assert without_blemishes(bands, 18.0) is None
    found = measure_print(square, square.valid).print
    assert found is None or found.across is None


def test_differences_at_all_lags_are_those_taken_one_by_one() -> None:
    """The correlations give at each lag the weighted mean square of the difference itself, the light's change taken
    out: computed here lag by lag from the definition."""
    rng = np.random.default_rng(5)
    place = np.arange(400)
    tone = 50 + 20 * (place % 37 < 15)[:, None] * np.array([1.0, 0.3, -0.2]) + rng.normal(0, 1, (400, 3))
    tone *= (1 + 0.2 * place / 400)[:, None]
    weight = np.where(place < 60, 11.0, 30.0)
    difference, pixels = lag_difference(tone, weight, 50.0, 250)
    for lag in (1, 18, 37, 111, 250):
        first, second = tone[: 400 - lag], tone[lag:]
        both = np.sqrt(weight[: 400 - lag] * weight[lag:])
        gain = light_change(first, second, both)[:, None]
        assert pixels[lag] == pytest.approx(both.sum())
        assert difference[lag] == pytest.approx((((second - first * gain) ** 2).sum(1) * both).sum() / both.sum())
