"""Cloth that fills the picture: fine stripes of two colours that might pass for one speckled table."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.makers.cloth import CheckPrint, Cloth, StripePrint, Stripes
from tests.makers.table import Table
from tests.vision.flat import flat
from tests.vision.laid import laid
from vision.cloth import find_cloths
from vision.filling import striped_all_over
from vision.square import SquareOn

_FINE = (
    StripePrint(across=Stripes(widths_mm=(4.0, 4.3), colours=("#7d5a86", "#1c2f55"))),
    StripePrint(across=Stripes(widths_mm=(2.8, 2.5, 3.1, 2.4), colours=("#e0b85c", "#1f4d3b") * 2)),
)


def _share(square: SquareOn, covered: list[np.ndarray] | None = None) -> float:
    """The largest cloth's share of the picture; 0 where none is found."""
    regions = find_cloths(square, covered_mm=covered or ())
    height, width = square.valid.shape
    return regions[0].area_mm2 / (height * width / square.px_per_mm**2) if regions else 0.0


@pytest.mark.parametrize("print_", _FINE, ids=["purple", "gold"])
def test_fine_stripes_fill_the_picture(print_: StripePrint) -> None:
    """Stripes of 3 or 4 mm over 70 by 50 cm are one cloth from border to border, not a table on which nothing lies."""
    square = flat(print_, width_mm=700.0, height_mm=500.0, px_per_mm=1.0, turn_deg=2.0)
    cv2.GaussianBlur(square.rgb, (0, 0), 0.5, dst=square.rgb)
    assert _share(square) > 0.98


@pytest.mark.parametrize("fall", [0.2, 0.35, 0.5])
@pytest.mark.parametrize("turn_deg", [3.0, 40.0])
def test_pale_stripes_fill_the_picture_though_light_falls_off_over_it(turn_deg: float, fall: float) -> None:
    """Two pale stripes that differ by 9 of L* fill the picture, and up to half of the light is lost from one corner to
    the other: slow shading of a band does not make it unlike the others."""
    print_ = StripePrint(across=Stripes(widths_mm=(6.0, 18.0), colours=("#e3ddc7", "#c9c3ad")))
    square = laid(Cloth(print=print_, width_mm=900.0, length_mm=900.0, turn_deg=turn_deg))
    y, x = (np.linspace(0, 0.5, size) for size in square.valid.shape)
    light = 1 - fall * (x[None, :] + y[:, None])
    assert striped_all_over((square.rgb * light[..., None]).astype(np.uint8), square.valid, square.px_per_mm)


@pytest.mark.parametrize("turn_deg", [-64.0, 2.0])
def test_fine_faint_stripes_fill_the_picture(turn_deg: float) -> None:
    """Stripes of 2.5 mm in two greys that differ by 14 of L*, over 45 by 34 cm at 1.5 pixels a mm: little is left of
    them in so small a picture, and they are told from grain by repeating from border to border."""
    print_ = StripePrint(across=Stripes(widths_mm=(2.8, 2.7, 1.6, 2.7), colours=("#b9b4aa", "#ddd3bb") * 2))
    square = flat(print_, width_mm=450.0, height_mm=340.0, px_per_mm=1.5, turn_deg=turn_deg)
    cv2.GaussianBlur(square.rgb, (0, 0), 0.8, dst=square.rgb)
    assert _share(square) > 0.98


@pytest.mark.parametrize("turn_deg", [20.0, 27.0, -63.0])
def test_stripes_a_few_pixels_wide_fill_the_picture_at_a_slant(turn_deg: float) -> None:
    """Stripes of 4.5 mm over 76 by 68 cm, at a slant at which the slopes of so small stripes, taken over three pixels,
    are off by two degrees: their direction is found all the same, and they fill the picture."""
    print_ = StripePrint(across=Stripes(widths_mm=(4.4, 4.6), colours=("#8a1520", "#9a9a88")))
    square = flat(print_, width_mm=760.0, height_mm=680.0, px_per_mm=1.0, turn_deg=turn_deg)
    assert striped_all_over(square.rgb, square.valid, square.px_per_mm)


@pytest.mark.parametrize("turn_deg", [11.0, 38.0])
def test_small_checks_fill_the_picture_at_a_slant(turn_deg: float) -> None:
    """A check of 3 mm over 44 by 33 cm, at a slant at which so small squares show more of their diagonals than of their
    sides: its stripes both ways are found all the same, and they fill the picture."""
    sides = Stripes(widths_mm=(3.0, 3.0), colours=("#7d9db5", "#1f4a3f"))
    print_ = CheckPrint(across=sides, along=sides)
    square = laid(Cloth(print=print_, width_mm=900.0, length_mm=900.0, turn_deg=turn_deg))
    assert striped_all_over(square.rgb, square.valid, square.px_per_mm)


def test_a_ruler_not_known_whole_does_not_hide_that_stripes_fill_the_picture() -> None:
    """Dark stripes, and a pale ruler on them whose end the outline does not take in: still one cloth."""
    print_ = StripePrint(across=Stripes(widths_mm=(5.0, 2.6, 3.0, 4.1), colours=("#1e1d22", "#2f6b4a") * 2))
    square = flat(print_, width_mm=420.0, height_mm=300.0, px_per_mm=2.4)
    ruler = np.array([[200.0, 90.0], [420.0, 90.0], [420.0, 122.0], [200.0, 122.0]])
    cv2.fillPoly(square.rgb, [np.rint(ruler * square.px_per_mm).astype(np.int32)], (196, 188, 170))
    known = ruler.copy()
    known[1:3, 0] = 408.0
    assert _share(square, [known]) > 0.98


@pytest.mark.parametrize(("down_mm", "fills"), [(230.0, True), (300.0, False)], ids=["a ruler", "a strip of table"])
def test_an_unread_ruler_across_the_stripes_does_not_hide_that_they_fill_the_picture(
    down_mm: float, fills: bool
) -> None:
    """Wide stripes run from border to border; a yellow ruler lies square to them, and is not known. A strip of a yellow
    table at the side on which they end is no ruler: there they do not reach the border."""
    sides = Stripes(widths_mm=(14.0, 16.0, 12.0, 30.0), colours=("#c46a3c", "#a39683", "#d8ccb4", "#8f8676"))
    print_ = StripePrint(across=sides)
    square = flat(print_, width_mm=220.0, height_mm=300.0, px_per_mm=2.0, turn_deg=75.0)
    left = 120.0 if fills else 190.0
    bar = np.array([[left, 70.0], [left + 18, 70.0], [left + 18, down_mm], [left, down_mm]])
    if not fills:
        bar[:2, 1], bar[1:3, 0] = 0.0, 220.0
    cv2.fillPoly(square.rgb, [np.rint(bar * square.px_per_mm).astype(np.int32)], (208, 168, 40))
    assert striped_all_over(square.rgb, square.valid, square.px_per_mm) is fills


@pytest.mark.parametrize("left_mm", [150.0, 214.0], ids=["between stripes", "at the border"])
def test_what_hides_most_of_a_band_of_stripes_lies_on_them_where_they_go_on_at_both_sides(left_mm: float) -> None:
    """Fine stripes, and square to them a dark bar that hides all but a quarter of their length: a ruler that was not
    read, where stripes go on to its left and right; a table in view, where they do not."""
    print_ = StripePrint(across=Stripes(widths_mm=(2.9, 3.2, 2.2), colours=("#7a1820", "#8a8a84", "#b0603c")))
    square = flat(print_, width_mm=240.0, height_mm=300.0, px_per_mm=2.0, turn_deg=90.0)
    bar = np.array([[left_mm, 50.0], [left_mm + 26, 50.0], [left_mm + 26, 275.0], [left_mm, 275.0]])
    cv2.fillPoly(square.rgb, [np.rint(bar * square.px_per_mm).astype(np.int32)], (24, 34, 40))
    assert striped_all_over(square.rgb, square.valid, square.px_per_mm) is (left_mm < 200.0)


@pytest.mark.filterwarnings("error")
def test_a_thin_rest_of_checks_does_not_fill_the_picture() -> None:
    """A frame three pixels wide, which is all that a ruler's ground leaves of a close picture, shows no part of checks
    whole, and is no cloth; nor is anything reckoned of nothing."""
    checks = Stripes(widths_mm=(3.0, 3.4), colours=("#20242c", "#c9c4b8"))
    square = flat(CheckPrint(across=checks, along=checks), width_mm=118.0, height_mm=17.0, px_per_mm=8.5)
    frame = square.valid.copy()
    frame[3:-3, 3:-3] = False
    assert not striped_all_over(square.rgb, frame, square.px_per_mm)


def test_a_grained_table_is_no_cloth() -> None:
    """A wooden table alone, its grain in lines from border to border, is not taken for cloth that fills the picture."""
    for seed in range(3):
        assert _share(laid(table=Table(colour="#a58d6e", kind="wood", depth=0.12), seed=seed)) == 0.0
