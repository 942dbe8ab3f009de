"""The rectangle that is named of a lattice, against lattices written down by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.cloth import CheckPrint, Motif, MotifPrint, Stripes
from tests.makers.harsh import draw
from tests.makers.scene import as_stored
from tests.makers.shot import shoot
from tests.vision.flat import flat
from vision.lattice import _whole, find_lattice
from vision.measure import measure_photo
from vision.oblong import lying_deg, named_of
from vision.photo import Photo
from vision.request import MeasureRequest
from vision.spectrum import Autocorrelation
from vision.square import SquareOn
from vision.swatch import Swatch, cut_swatch


def turned(vectors: list[tuple[float, float]], degrees: float) -> NDArray[np.float64]:
    """Vectors (x, y), y down, turned counter-clockwise as seen."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([(x * c + y * s, -x * s + y * c) for x, y in vectors])


@pytest.mark.parametrize("lean", [-8.0, -1.1, 0.0, 3.0, 11.0])
@pytest.mark.parametrize("ratio", [1.66, 1.70, 1.7320508, 1.754, 1.80])
def test_a_half_drop_near_a_hexagon_keeps_its_own_rectangle(ratio: float, lean: float) -> None:
    """Columns 20 apart, every other one dropped by half of 20 x ratio: near the root of 3 two more rectangles, turned
    by about 60 degrees, nearly fit. The one that is square is the print's own, told from any basis of the lattice."""
    height = 20.0 * ratio
    for basis in ([(20.0, height / 2), (20.0, -height / 2)], [(20.0, height / 2), (40.0, 0.0)]):
        halved = [(x / 2, y) for x, y in basis]
        named = named_of(turned(halved, lean))
        assert named is not None
        across, along = named.across, named.along
        assert np.hypot(*across) == pytest.approx(20.0, rel=1e-6)
        assert np.hypot(*along) == pytest.approx(height, rel=1e-6)
        assert math.degrees(math.atan2(-across[1], across[0])) == pytest.approx(lean, abs=1e-6)


@pytest.mark.parametrize(("shear_deg", "angle_u95_deg"), [(0.0, 0.02), (0.95, 0.02), (0.95, 1.1)])
def test_a_half_drop_near_a_hexagon_is_told_where_the_plane_is_known(shear_deg: float, angle_u95_deg: float) -> None:
    """Columns 18.5 apart, rows 64.6 / 2 x: a rectangle 5 degrees askew that the picture shows sheared by a degree, so
    that one turned by 30 is squarer. Where angles are known to a degree only, either may be the print's own; where they
    are known to a fiftieth, the square one is."""
    straight = turned([(37.0 / 2, 64.6 / 2), (37.0, 0.0)], 5.0)
    seen = straight @ np.array([[1.0, 0.0], [-math.tan(math.radians(shear_deg)), 1.0]])
    named = named_of(seen, None, angle_u95_deg)
    assert named is not None
    assert named.sure == (angle_u95_deg < 1)


@pytest.mark.parametrize("lean", [-6.0, 0.0, 9.0])
def test_a_straight_lattice_is_its_own_rectangle(lean: float) -> None:
    """A rectangle of 30 by 22 is told as straight, whatever basis it comes in."""
    for basis in ([(30.0, 0.0), (0.0, 22.0)], [(30.0, 22.0), (0.0, 22.0)], [(30.0, 0.0), (30.0, 22.0)]):
        named = named_of(turned(basis, lean))
        assert named is not None
        assert named[0] == "straight"
        assert sorted((np.hypot(*named[3]), np.hypot(*named[4]))) == pytest.approx([22.0, 30.0])


@pytest.mark.parametrize(("column_mm", "row_mm"), [(10.6, 9.1), (9.4, 11.45), (8.55, 9.6)])
def test_motifs_that_come_after_few_pixels_have_a_lattice(column_mm: float, row_mm: float) -> None:
    """Motifs 9 to 11 pixels apart, and half a pixel off whole ones, over 300 by 240: counted from whole pixels they
    would be two off after four rows."""
    motif = Motif(shape="diamond", colour="#f1eee4", x=0.0, y=0.0, radius=0.3)
    print_ = MotifPrint(ground="#47794f", motifs=(motif,), column_mm=column_mm, row_mm=row_mm)
    square = flat(print_, width_mm=300.0, height_mm=240.0, px_per_mm=1.0, turn_deg=4.0)
    found = find_lattice(Swatch(rgb=square.rgb, mask=square.valid, px_per_mm=1.0, origin_mm=(0.0, 0.0)))
    assert found is not None
    sides = (np.hypot(*found.across_mm), np.hypot(*found.along_mm))
    assert sides == pytest.approx((column_mm, row_mm), rel=0.005)


def test_stripes_crowded_by_a_lens_are_no_motif() -> None:
    """Stripes of 2 mm in two reds and a blue, under a bent lens and a tilt of 18 degrees: places a few stripes and some
    way along them apart are as alike as those of a lattice, but so is all that lies along a stripe between them."""
    drawn = draw(99270)
    photo = Photo(name="scene.jpg", rgb=as_stored(shoot(drawn.shot)), focal35_mm=None, taken=None)
    print_ = measure_photo(photo, MeasureRequest(focal35_mm=round(drawn.shot.camera.focal35_mm))).measurement.main.print
    assert print_ is not None
    assert print_.kind == "stripe"
    assert print_.across is not None
    assert print_.across.value == pytest.approx(9.725, rel=0.005)


def test_a_table_in_view_changes_no_motif() -> None:
    """A cloth with diamonds on a table of nearly its lightness, both taken for cloth: the cloth's own sides are no
    stripes that run together, and its middling colour repeats nowhere. The brick keeps its 24.85 by 45.7."""
    drawn = draw(59093, reference="target")
    photograph = shoot(drawn.shot)
    photo = Photo(name="motif", rgb=as_stored(photograph), focal35_mm=drawn.shot.camera.focal35_mm, taken=None)
    found = measure_photo(photo).measurement.main.print
    assert found is not None
    assert found.across is not None
    assert found.along is not None
    assert found.across.value == pytest.approx(photograph.truth.across_mm, rel=0.005)
    assert found.along.value == pytest.approx(photograph.truth.along_mm, rel=0.005)


@pytest.mark.parametrize("lean", [-36.0, -20.0, 0.0, 31.0, 43.0])
def test_a_turned_cloth_keeps_its_straight_lattice(lean: float) -> None:
    """A cell of 19 by 18.8 on a cloth that lies turned is named by the cloth's own sides; by the photo's, two cells
    would make a half-drop that lies straighter there."""
    named = named_of(turned([(19.0, 0.0), (0.0, 18.8)], lean), lean)
    assert named is not None
    assert named[0] == "straight"
    assert sorted((np.hypot(*named[3]), np.hypot(*named[4]))) == pytest.approx([18.8, 19.0])


@pytest.mark.parametrize("lean", [-36.0, 0.0, 12.0, 44.0])
def test_how_a_cloth_lies_is_told_from_its_outline(lean: float) -> None:
    """A rectangle of 300 by 180 drawn turned lies as drawn, to half a degree; a triangle lies in no way."""
    ring = turned([(-150.0, -90.0), (150.0, -90.0), (150.0, 90.0), (-150.0, 90.0)], lean) + 250
    assert lying_deg(shown(ring), 500.0**2) == pytest.approx(lean, abs=0.5)
    assert lying_deg(shown(ring[:3]), 500.0**2) is None


def test_the_outline_of_the_picture_tells_nothing_of_how_the_cloth_lies() -> None:
    """Cloth that fills a picture of 300 by 180 mm, but for the margin kept from its edges, has the picture's
    outline; in a larger one it has its own."""
    ring = np.array([(2.0, 2.0), (298.0, 2.0), (298.0, 178.0), (2.0, 178.0)])
    assert lying_deg(shown(ring), 300.0 * 180.0) is None
    assert lying_deg(shown(ring), 500.0 * 300.0) == pytest.approx(0.0)


@pytest.mark.parametrize("lean", [-39.0, -30.0, 34.6, 39.0])
def test_a_square_cell_is_not_named_by_its_diagonals_where_nothing_shows_how_the_cloth_lies(lean: float) -> None:
    """The smallest rectangle of a square lattice is its cell, 21.5 by 21.5, however it is turned in a photo that the
    cloth fills; the square over its diagonals, 30.4, has twice the area (geometry)."""
    named = named_of(turned([(21.5, 0.0), (0.0, 21.48)], lean))
    assert named is not None
    assert named[0] == "straight"
    assert sorted((np.hypot(*named[3]), np.hypot(*named[4]))) == pytest.approx([21.48, 21.5])


@pytest.mark.parametrize(("lean", "lying"), [(-9.0, -9.0), (30.0, 27.0), (2.0, None)])
def test_a_half_drop_as_wide_as_high_is_named_along_its_cloth(lean: float, lying: float | None) -> None:
    """Motifs 30 apart both ways with one in the middle of each four, on cloth that is seen to lie along them or was
    laid straight for the photo: the rectangle along the cloth is the print's, as for any half-drop."""
    named = named_of(turned([(15.0, 15.0), (0.0, 30.0)], lean), lying)
    assert named is not None
    assert named[0] in ("half_drop", "brick")
    assert (np.hypot(*named[3]), np.hypot(*named[4])) == pytest.approx((30.0, 30.0))


def shown(ring: NDArray[np.float64]) -> Swatch:
    """Cloth with this outline, at a pixel a millimetre."""
    mask = cv2.fillPoly(np.zeros((500, 500), np.uint8), [np.rint(ring).astype(np.int32)], 1) > 0
    return Swatch(rgb=np.zeros((500, 500, 3), np.uint8), mask=mask, px_per_mm=1.0, origin_mm=(0.0, 0.0))


@pytest.mark.parametrize("lean", [36.0, 45.0])
def test_a_cell_that_is_not_square_is_not_taken_for_its_diagonals(lean: float) -> None:
    """The diagonals of 20.6 by 21.6 cross at 92.7 degrees, so two cells make no rectangle, however straight they lie in
    a photo that shows nothing of how the cloth lies."""
    named = named_of(turned([(20.6, 0.0), (0.0, 21.6)], lean))
    assert named is not None
    assert named[0] == "straight"
    assert sorted((np.hypot(*named[3]), np.hypot(*named[4]))) == pytest.approx([20.6, 21.6])


def test_a_fine_motif_is_measured_in_the_middle_though_a_tape_lies_there() -> None:
    """What tilt is left unknown makes lengths grow by 6 % from border to border; in the middle they are right, and
    there a motif of 7 by 6 mm, too fine for the whole picture, is looked at, past a tape of 20 mm that hides part of
    it. Where no tape lies, half a window and more aside, it would be 0.8 % off."""
    motifs = (
        Motif(shape="diamond", colour="#c98f2c", y=-0.1, radius=0.25, turn_deg=134.0),
        Motif(shape="leaf", colour="#8b8b8e", x=-0.08, y=0.1, radius=0.12),
    )
    print_ = MotifPrint(ground="#1c2f55", motifs=motifs, column_mm=7.0, row_mm=6.0)
    square = flat(print_, width_mm=900.0, height_mm=660.0, px_per_mm=2.0, stretch=0.06, seed=2)
    shown = square.valid.copy()
    shown[:, 880:920] = False
    found = find_lattice(cut_swatch(square, shown, most_px=2.5e6))
    assert found is not None
    assert np.hypot(*found.across_mm) == pytest.approx(7.0, rel=0.002)
    assert np.hypot(*found.along_mm) == pytest.approx(6.0, rel=0.002)


def test_many_stripes_of_nearly_one_width_repeat_as_a_whole() -> None:
    """Eight stripes of two colours, 6 to 11 mm wide, crossed by the same: each fourth part of the repeat is 0.86 alike
    the next, and no such part is the lattice. It is 66.5 by 66.5 mm, the widths' sum."""
    widths = (6.0, 7.6, 8.5, 11.1, 6.1, 11.1, 8.5, 7.6)
    ring = Stripes(widths_mm=widths, colours=("#1f4d3b", "#8fb3c4") * 4)
    square = flat(CheckPrint(across=ring, along=ring), width_mm=500.0, height_mm=400.0, px_per_mm=1.0, turn_deg=11.0)
    found = find_lattice(cut_swatch(square, square.valid, most_px=2.5e6))
    assert found is not None
    assert (np.hypot(*found.across_mm), np.hypot(*found.along_mm)) == pytest.approx((66.5, 66.5), rel=0.002)


@pytest.mark.parametrize(("odd", "columns_px"), [((1,), 20.0), ((1, 3), 40.0)], ids=["the nearest", "every second"])
def test_a_second_motif_is_one_at_whatever_distance(odd: tuple[int, ...], columns_px: float) -> None:
    """Columns of two motifs in turn are less alike whenever an odd number apart, and repeat every second one; where the
    neighbours alone are less alike, as beside a ruler as wide as a column, each is like the next but one and the next
    but two: the columns repeat."""
    y, x = np.mgrid[-100:101, -100:101].astype(np.float32)
    value = np.zeros_like(x)
    for column in range(-4, 5):
        for row in range(-4, 5):
            height = 0.95 - 0.02 * (abs(column) + abs(row)) - (0.1 if abs(column) in odd else 0.0)
            value += height * np.exp(-((x - 20 * column) ** 2 + (y - 20 * row) ** 2) / 18)
    correlation = Autocorrelation(value=value, overlap=np.ones_like(value))
    basis = _whole(correlation, np.array([[20.0, 0.0], [0.0, 20.0]]))
    assert sorted(np.abs(basis).max(axis=0)) == pytest.approx([20.0, columns_px])


def with_a_ruler(square: SquareOn) -> SquareOn:
    """The picture with a light ruler of 60 by 20 mm on the middle of the cloth."""
    height, width = square.valid.shape
    size = (60 * square.px_per_mm, 20 * square.px_per_mm)
    rgb = square.rgb.copy()
    cv2.fillPoly(rgb, [np.rint(cv2.boxPoints(((0.42 * width, 0.5 * height), size, 8.0))).astype(int)], (250, 240, 120))
    return replace(square, rgb=rgb)


@pytest.mark.parametrize(("second", "along_mm"), [("#c98f2c", 41.0), ("#c9402c", 82.0)], ids=["the same", "another"])
def test_what_lies_on_the_cloth_makes_no_second_motif(second: str, along_mm: float) -> None:
    """Diamonds 41 mm apart both ways, four rows of them; near shifts compare them with what hides two, far ones do not.
    Rows repeat every 41 mm where they are alike, and every 82 where every second one is red."""
    motifs = tuple(
        Motif(shape="diamond", colour=colour, y=y, radius=0.3) for colour, y in (("#c98f2c", -0.5), (second, 0.5))
    )
    print_ = MotifPrint(ground="#1c2f55", motifs=motifs, column_mm=41.0, row_mm=82.0)
    square = with_a_ruler(flat(print_, width_mm=260.0, height_mm=165.0, px_per_mm=2.0, stretch=0.01))
    found = find_lattice(cut_swatch(square, square.valid, most_px=2.5e6))
    assert found is not None
    assert np.hypot(*found.across_mm) == pytest.approx(41.0, rel=0.005)
    assert np.hypot(*found.along_mm) == pytest.approx(along_mm, rel=0.005)


def test_what_lies_on_a_check_doubles_no_repeat() -> None:
    """Stripes of 41 mm crossed by stripes of 42.6, of which four repeats show: whatever lies on them, they do not
    repeat every 85.2 mm."""
    across = Stripes(
        widths_mm=(8.5, 5.8, 10.5, 5.5, 10.7), colours=("#9aa0a3", "#d0825a", "#2b2b2e", "#9aa0a3", "#2b2b2e")
    )
    along = Stripes(
        widths_mm=(5.8, 6.8, 4.6, 5.1, 7.2, 5.1, 5.7, 2.3),
        colours=("#5c4470", "#c7c2b6", "#5c4470", "#f1eee4", "#c7c2b6", "#23426f", "#c7c2b6", "#f1eee4"),
    )
    print_ = CheckPrint(across=across, along=along)
    square = with_a_ruler(flat(print_, width_mm=260.0, height_mm=165.0, px_per_mm=2.0, stretch=0.01))
    found = find_lattice(cut_swatch(square, square.valid, most_px=2.5e6))
    assert found is not None
    assert np.hypot(*found.along_mm) == pytest.approx(42.6, rel=0.005)


def test_a_step_that_leads_to_itself_makes_no_cell() -> None:
    """Narrow blurred stripes on a table of their colour are like themselves wherever they are laid along themselves, so
    a third of a small step there is as good as the whole: what is left has no area, and no repeat but the stripes'."""
    drawn = draw(98830, megapixels=3.1)
    photograph = shoot(drawn.shot)
    photo = Photo(name="stripes", rgb=as_stored(photograph), focal35_mm=None, taken=None)
    found = measure_photo(photo).measurement.main.print
    assert found is not None
    assert found.across is not None
    assert found.across.value == pytest.approx(photograph.truth.across_mm, rel=0.01)
