"""Neighbouring stripes that look nearly alike: told apart where all repeats show it, not for a crease or a shadow."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.cloth import StripePrint, Stripes
from tests.vision.flat import flat
from vision.colour import ciede2000, lab_of
from vision.measurement import Print
from vision.print import measure_print
from vision.square import SquareOn
from vision.stripes import Fold, cut
from vision.swatch import TONE_SHIFT

NAVY, NEARLY_NAVY, CREAM, RED = "#23426f", "#2d4a70", "#e9e1cc", "#8f1f2a"
WIDTHS = (8.0, 6.0, 10.0, 7.0)


def _found(square: SquareOn) -> Print:
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.kind == "stripe"
    return print_


def _cloth(colours: tuple[str, ...], widths: tuple[float, ...] = WIDTHS, **how: float) -> SquareOn:
    return flat(StripePrint(across=Stripes(widths_mm=widths, colours=colours)), shade=0.05, **how)


def test_neighbours_nearly_alike_are_two_stripes() -> None:
    """Navy beside a navy 3.5 apart (CIEDE2000, Sharma, Wu, Dalal 2005), by turns with cream and red, are two stripes
    with two letters, as wide as they are to 0.3 mm."""
    assert 2.6 < float(ciede2000(lab_of(NAVY), lab_of(NEARLY_NAVY))) < 4.2
    stripes = _found(_cloth((NAVY, NEARLY_NAVY, CREAM, RED))).stripes
    widths = [stripe.width.value for stripe in stripes]
    first = widths.index(max(widths))
    assert widths[first:] + widths[:first] == pytest.approx([10.0, 7.0, 8.0, 6.0], abs=0.3)
    assert len({stripe.label for stripe in stripes}) == 4


@pytest.mark.parametrize(
    ("steps", "boundaries"),
    [
        (((3, 3, 3), (3, 3, 3)), 4),
        (((9, 0, 0), (9, 0, 0)), 2),
        (((6, 6, 6), (0, 0, 0)), 2),
        (((3, 0, 0), (3, 0, 0)), 2),
    ],
    ids=["printed", "in one repeat", "along one half", "in one repeat, weak"],
)
def test_a_faint_step_is_printed_where_every_repeat_shows_it(
    steps: tuple[tuple[int, ...], ...], boundaries: int
) -> None:
    """Of three repeats of blue and cream, blue darker over 6 mm by a step in L*: a stripe of its own if each repeat
    shows the step along both halves, and not if one repeat, or one half, makes the mean differ by as much."""
    place = (np.arange(300) + 0.5) * 0.1
    blue, cream = np.array([50.0, -5.0, -30.0]), np.array([88.0, 0.0, 10.0])
    lab = np.where((place < 14)[:, None], blue, cream)
    each = np.tile(lab, (2, 3, 1, 1))
    each[:, :, (place > 4) & (place < 10), 0] -= np.asarray(steps, dtype=np.float64)[..., None]
    found = cut(
        Fold(tone=each.mean(axis=(0, 1)) + TONE_SHIFT, step_mm=0.1, repeat_mm=30.0, each=each + np.float64(TONE_SHIFT))
    )
    assert found is not None
    assert len(found.boundaries_mm) == boundaries
