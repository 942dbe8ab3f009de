"""What is left of a tilt in a square-on picture, against the homography that left it there."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import AnyPrint, CheckPrint, StripePrint, Stripes
from tests.vision.flat import flat
from vision.family import find_families, variance
from vision.foreshortening import as_photographed, flattened
from vision.print import measure_print
from vision.square import SquareOn
from vision.swatch import cut_swatch

RED, CREAM, BLUE, GOLD = "#8f1f2a", "#e9e1cc", "#23426f", "#d9a441"
HALF_MM = 120.0
AB = StripePrint(across=Stripes(widths_mm=(7.0, 6.0), colours=(RED, CREAM)))
CHECK = CheckPrint(
    across=Stripes(widths_mm=(14.0, 8.0, 9.0), colours=(RED, CREAM, BLUE)),
    along=Stripes(widths_mm=(30.0, 25.0, 8.0), colours=(CREAM, GOLD, BLUE)),
)


def _tilted(print_: AnyPrint, change: tuple[float, float], turn_deg: float = 3.0) -> SquareOn:
    """A flat picture seen so that lengths at its right and lower end are off by ``change``: its place q shows what lay
    at q / (1 - g·q)."""
    square = flat(print_, turn_deg=turn_deg, width_mm=2 * HALF_MM)
    middle = (np.array(square.rgb.shape[1::-1]) - 1) / 2
    shift = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    g = np.array(change) / HALF_MM / square.px_per_mm
    source = np.linalg.inv(shift) @ np.array([[1, 0, 0], [0, 1, 0], [-g[0], -g[1], 1]]) @ shift
    size = (square.rgb.shape[1], square.rgb.shape[0])
    rgb = cv2.warpPerspective(
        square.rgb, source, size, flags=cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    whole = np.ones(square.rgb.shape[:2], np.uint8)
    valid = cv2.warpPerspective(whole, source, size, flags=cv2.WARP_INVERSE_MAP | cv2.INTER_NEAREST) > 0
    return replace(square, rgb=np.ascontiguousarray(rgb), valid=valid)


@pytest.mark.parametrize("change", [(0.03, 0.0), (-0.03, 0.02), (0.0, -0.04)])
@pytest.mark.parametrize("print_", [AB, CHECK])
def test_the_tilt_is_told_from_the_stripes(print_: AnyPrint, change: tuple[float, float]) -> None:
    """Lengths that grow by 2 to 4 % from the middle to the end are seen to, within 0.4 %."""
    square = _tilted(print_, change)
    swatch = cut_swatch(square, square.valid, most_px=2.5e6)
    total = variance(swatch)
    _, gradient = flattened(swatch, find_families(swatch, swatch, total), total)
    assert gradient * HALF_MM == pytest.approx(change, abs=0.004)


@pytest.mark.parametrize("print_", [AB, CHECK])
def test_a_square_on_picture_is_left_alone(print_: AnyPrint) -> None:
    """Where there is no tilt, none is taken out."""
    square = flat(print_, turn_deg=3.0)
    swatch = cut_swatch(square, square.valid, most_px=2.5e6)
    total = variance(swatch)
    flat_swatch, gradient = flattened(swatch, find_families(swatch, swatch, total), total)
    assert flat_swatch is swatch
    assert gradient == pytest.approx([0.0, 0.0])


@pytest.mark.parametrize("change", [(0.04, 0.0), (-0.035, 0.025)])
def test_repeats_at_the_middle_survive_a_tilt(change: tuple[float, float]) -> None:
    """Eighteen repeats that grow by 4 % either way are still one repeat: that at the cloth's middle, not a multiple."""
    square = _tilted(AB, change)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(13.0, rel=0.004)


def test_few_repeats_down_a_check_survive_a_tilt() -> None:
    """Of a check's 2.9 repeats down, each longer than the last, the repeat is one of them and not two."""
    square = _tilted(CHECK, (0.005, 0.035), turn_deg=1.0)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.along is not None
    assert [print_.across.value, print_.along.value] == pytest.approx([31.0, 63.0], rel=0.006)


def test_crossings_lie_where_the_photograph_shows_them() -> None:
    """The evidence is given in the square-on picture as it is: every crossing of a stripe's edge lies on a change of
    colour there, which it would miss by a millimetre and more were the tilt left out."""
    square = _tilted(AB, (0.04, 0.0), turn_deg=0.0)
    evidence = measure_print(square, square.valid).evidence
    assert evidence.repeats_across > 15
    places = (evidence.crossings_mm[:, :2] - np.array(square.origin_mm)) * square.px_per_mm
    middle = (np.array(square.rgb.shape[1::-1]) - 1) / 2 / square.px_per_mm
    g = np.array([0.04 / HALF_MM, 0.0])
    true = places / square.px_per_mm - middle
    true = true / (1 - true @ g)[:, None]  # where each crossing lies on the flat cloth
    order = evidence.crossings_mm[:, 2]
    rest = true[:, 0] - np.polyval(np.polyfit(order, true[:, 0], 1), order)
    assert float(np.median(np.abs(rest))) < 0.15


def test_as_photographed_undoes_the_flattening() -> None:
    """p / (1 - g·p) and q / (1 + g·q) are each other's inverse (geometry)."""
    g, middle = np.array([3e-4, -2e-4]), (20.0, 10.0)
    seen = np.array([[100.0, 50.0], [-80.0, 70.0]])
    away = seen - np.array(middle)
    flat_places = np.array(middle) + away / (1 - away @ g)[:, None]
    assert as_photographed(flat_places, middle, g) == pytest.approx(seen)
