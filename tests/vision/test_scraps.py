"""Several scraps in one photograph: each found, with its own outline and area."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import AnyPrint, CheckPrint, Cloth, Motif, MotifPrint, PlainPrint, StripePrint, Stripes
from tests.makers.scraps import draw_scraps
from tests.makers.table import Table
from tests.vision.flat import flat
from tests.vision.laid import laid
from vision.cloth import ClothRegion, find_cloths
from vision.lattice import _crossed
from vision.profile import band_profiles
from vision.repeat import refine_repeat
from vision.spectrum import Autocorrelation
from vision.swatch import cut_swatch

PRINTS: tuple[AnyPrint, ...] = (
    StripePrint(across=Stripes(widths_mm=(8.0, 12.0), colours=("#8f1f2a", "#e9e1cc"))),
    PlainPrint(colour="#23426f"),
    CheckPrint(
        across=Stripes(widths_mm=(9.0, 9.0), colours=("#2f6b4a", "#f1eee4")),
        along=Stripes(widths_mm=(9.0, 9.0), colours=("#2f6b4a", "#f1eee4")),
    ),
    MotifPrint(
        ground="#d9a441", motifs=(Motif(shape="dot", colour="#2b2b2e", radius=0.25),), column_mm=16.0, row_mm=16.0
    ),
    PlainPrint(colour="#b3552f"),
    StripePrint(across=Stripes(widths_mm=(6.0, 10.0, 4.0), colours=("#5c4470", "#8fb3c4", "#2b2b2e"))),
)
TABLES = {
    "wood": Table(colour="#a58d6e", kind="wood", depth=0.06),
    "slate": Table(colour="#50555c", depth=0.03),
    "speckled": Table(colour="#8a8781", kind="speckled", depth=0.05),
}


def _six(seed: int) -> tuple[Cloth, ...]:
    rng = np.random.default_rng(seed)
    places = [(x, y) for y in (-80.0, 80.0) for x in (-145.0, 0.0, 145.0)]
    return tuple(
        Cloth(
            print=print_,
            width_mm=float(rng.uniform(80, 110)),
            length_mm=float(rng.uniform(55, 80)),
            x_mm=x,
            y_mm=y,
            turn_deg=float(rng.uniform(-90, 90)),
            edges=("torn", "cut", "torn", "cut"),
            fray_mm=0.8,
            seed=k,
        )
        for k, (print_, (x, y)) in enumerate(zip(PRINTS, places, strict=True))
    )


def _farthest(region: ClothRegion, rim: np.ndarray) -> float:
    """The Hausdorff distance of two outlines, mm, over their corners."""
    mine, theirs = np.asarray(region.outline_mm, np.float32), rim.astype(np.float32)
    there = max(abs(cv2.pointPolygonTest(theirs[:, None], tuple(map(float, p)), True)) for p in mine)
    back = max(abs(cv2.pointPolygonTest(mine[:, None], tuple(map(float, p)), True)) for p in theirs)
    return float(max(there, back))


def test_a_sheet_over_a_corner_is_no_table_on_which_a_cloth_lies_all_round_the_scraps() -> None:
    """A sheet of paper lies over a corner of the picture, three scraps beside it: the table round them is no cloth on a
    table of paper, though it is straight, larger than they are, and more colours are seen within it."""
    sheet = Cloth(print=PlainPrint(colour="#d9c48f"), width_mm=180, length_mm=160, x_mm=-190, y_mm=-145)
    scraps = [
        replace(cloth, x_mm=x, y_mm=y) for cloth, x, y in zip(_six(3), (90, -80, 110), (-80, 85, 80), strict=False)
    ]
    found = find_cloths(laid(sheet, *scraps, table=Table(colour="#4a3b2c", depth=0.05)))
    assert sorted(region.touches_frame for region in found) == [False, False, False, True]
    for cloth in scraps:
        assert any(
            region.area_mm2 == pytest.approx(cloth.width_mm * cloth.length_mm, rel=0.02)
            for region in found
            if not region.touches_frame
        )


def test_a_strip_along_a_border_is_no_table_on_which_a_cloth_lies_beside_a_scrap() -> None:
    """A plain strip, of something that is not known, covers one border of the picture, and a checked scrap lies beside
    it: the table between them is no cloth, though it is straight and the largest."""
    strip = Cloth(print=PlainPrint(colour="#c98a4a"), width_mm=480, length_mm=90, y_mm=150, edges=("cut",) * 4)
    scrap = Cloth(print=PRINTS[2], width_mm=130, length_mm=75, x_mm=50, y_mm=-40, turn_deg=8, edges=("cut",) * 4)
    found = find_cloths(laid(strip, scrap, table=Table(colour="#6b4a38", depth=0.05)))
    assert sorted(region.touches_frame for region in found) == [False, True]
    (alone,) = (region for region in found if not region.touches_frame)
    assert alone.area_mm2 == pytest.approx(130 * 75, rel=0.015)


def test_scraps_that_a_shadow_joins_beside_a_sheet_at_the_border_are_found_one_by_one() -> None:
    """A soft shadow falls over table and scraps from border to border, and a sheet of paper lies over a corner:
    nothing that holds all of them is found, but each scrap to 3 % of its area (the shadow falls on their rims too)."""
    sheet = Cloth(print=PlainPrint(colour="#d9c48f"), width_mm=130, length_mm=110, x_mm=-190, y_mm=-145)
    places = zip(_six(3), (90, -80, 110), (-80, 85, 80), strict=False)
    scraps = [replace(cloth, x_mm=x, y_mm=y) for cloth, x, y in places]
    square = laid(sheet, *scraps, table=Table(colour="#7a5a3e", kind="wood", depth=0.04))
    shade = np.zeros(square.valid.shape, np.float32)
    cv2.line(shade, (0, 350), (900, 330), 1.0, 110)
    soft = cv2.GaussianBlur(shade, (0, 0), 22)
    square.rgb[:] = np.rint(square.rgb * (1 - 0.35 * soft)[..., None])
    areas = [region.area_mm2 for region in find_cloths(square) if not region.touches_frame]
    for cloth in scraps:
        assert any(area == pytest.approx(cloth.width_mm * cloth.length_mm, rel=0.03) for area in areas)


def test_the_shadow_of_an_arm_that_is_larger_than_the_scraps_it_joins_is_none_of_them() -> None:
    """A dark shadow with soft edges runs from a border over two scraps, and is larger than both: they are found one by
    one, each to 6 % of its area (the shadow falls on their rims too)."""
    scraps = [
        Cloth(print=PRINTS[2], width_mm=60, length_mm=95, x_mm=x, turn_deg=12, edges=("cut",) * 4) for x in (-150, -20)
    ]
    square = laid(*scraps, table=Table(colour="#3f5a3a", depth=0.02))
    shade = np.zeros(square.valid.shape, np.float32)
    cv2.line(shade, (150, 330), (900, 400), 1.0, 170)
    soft = cv2.GaussianBlur(shade, (0, 0), 32)
    square.rgb[:] = np.rint(square.rgb * (1 - 0.35 * soft)[..., None])
    found = find_cloths(square)
    assert len(found) == 2
    for region in found:
        assert region.area_mm2 == pytest.approx(60 * 95, rel=0.06)


@pytest.mark.parametrize("table", TABLES.values(), ids=TABLES.keys())
def test_six_scraps_are_six(table: Table) -> None:
    """Six scraps of 80 to 110 mm, of different prints, turned by anything: six regions, the area of each within 1.5 %,
    its outline within 2 mm (Hausdorff) of the frayed rim."""
    cloths = _six(3)
    found = find_cloths(laid(*cloths, table=table))
    assert len(found) == 6
    for cloth in cloths:
        rim = cloth.outline_mm()
        region = min(found, key=lambda r: np.hypot(*(np.mean(r.outline_mm, axis=0) - rim.mean(axis=0))))
        assert region.area_mm2 == pytest.approx(cloth.width_mm * cloth.length_mm, rel=0.015)
        assert _farthest(region, rim) <= 2.0


def test_six_equal_squares_of_a_print_are_no_scraps() -> None:
    """A cloth that fills the picture with squares on a ground of one colour is one cloth, however large the squares."""
    print_ = MotifPrint(
        ground="#2f6b4a", motifs=(Motif(shape="square", colour="#d9a441", radius=0.35),), column_mm=100.0, row_mm=95.0
    )
    found = find_cloths(laid(Cloth(print=print_, width_mm=900.0, length_mm=700.0)))
    assert len(found) == 1
    assert found[0].touches_frame


def test_a_plaid_pierced_by_the_table_s_colour_fills_the_picture() -> None:
    """A plaid of many colours fills the picture: wherever one of them is taken for the table, the rest reaches all four
    borders, so that no table shows."""
    across = Stripes(
        widths_mm=(11.0, 7.0, 15.0, 5.0, 9.0), colours=("#1c2f55", "#d9a441", "#b9b4aa", "#5c4470", "#c98f2c")
    )
    print_ = CheckPrint(
        across=across, along=Stripes(widths_mm=(13.0, 6.0, 8.0), colours=("#d9a441", "#f1eee4", "#3a3734"))
    )
    found = find_cloths(laid(Cloth(print=print_, width_mm=900.0, length_mm=700.0, turn_deg=-3.0, skew_deg=2.0)))
    assert len(found) == 1
    assert found[0].touches_frame
    assert found[0].holes_mm == ()


def test_the_scraps_of_a_scene_lie_apart() -> None:
    """The scenes of scraps keep their promise: six outlines, none touching another, all within the picture."""
    for seed in range(20):
        scene = draw_scraps(seed)
        rims = [cloth.corners_mm() for cloth in scene.cloths]
        assert len(rims) == 6
        for k, rim in enumerate(rims):
            for other in rims[:k]:
                shared, _ = cv2.intersectConvexConvex(rim.astype(np.float32), other.astype(np.float32))
                assert shared <= 0


def test_a_lattice_wider_than_what_was_compared_is_none() -> None:
    """Translations beyond the largest shift of an autocorrelation were never seen: no lattice, and no error."""
    rows, columns = np.mgrid[-20:21, -30:31]
    value = np.cos(rows / 3.0) * np.cos(columns / 3.0)
    seen = Autocorrelation(value=value.astype(np.float32), overlap=np.ones(value.shape, np.float32))
    assert not _crossed(seen, np.array([[40.0, 0.0], [0.0, 18.0]]))


def test_of_one_repeat_alone_the_length_is_not_known() -> None:
    """A scrap 30 mm wide with stripes that repeat every 40 mm: whatever repeat is proposed is not known."""
    print_ = StripePrint(across=Stripes(widths_mm=(15.0, 25.0), colours=("#8f1f2a", "#e9e1cc")))
    square = flat(print_, width_mm=30.0, height_mm=60.0)
    bands = band_profiles(cut_swatch(square, square.valid, most_px=1e6), 0.0)
    assert refine_repeat(bands, 50.0).repeat.relative_u95 > 0.03


def test_the_grain_of_a_pale_table_is_no_cloth() -> None:
    """On a pale wooden table, whose grain is as far from its colour as a pale cloth is, the same six scraps keep their
    shapes: nothing of the table as large as a finger's breadth hangs on any of them (practice), 4 mm being left to what
    is mended later."""
    cloths = _six(3)
    found = find_cloths(laid(*cloths, table=Table(colour="#e6e1d8", kind="wood", depth=0.05)))
    assert len(found) == 6
    for cloth in cloths:
        rim = cloth.outline_mm()
        region = min(found, key=lambda r: np.hypot(*(np.mean(r.outline_mm, axis=0) - rim.mean(axis=0))))
        assert _farthest(region, rim) <= 4.0


def test_what_lies_askew_beyond_a_cloth_is_no_stripe_of_it() -> None:
    """A pencil askew beyond a cloth's end, from beside a ruler, which may hide more of it, to over the cloth's corner:
    the cloth alone is found, its area within 1 %, and not what lies between them. A stripe of the cloth's own would
    have a gap as wide all along before it."""
    cloth = Cloth(print=PlainPrint(colour="#7d3a3a"), width_mm=110.0, length_mm=190.0, y_mm=25.0)
    turn, long, corner = math.radians(14.0), 130.0, (55.0, -70.0)
    along = (math.cos(turn), -math.sin(turn))  # up to the right, y pointing down
    end = corner[0] * along[0] + corner[1] * along[1]
    pencil = Cloth(
        print=PlainPrint(colour="#2f6b4a"),
        width_mm=long,
        length_mm=7.0,
        x_mm=(end - long / 2 + 100.0 * along[1]) / along[0],
        y_mm=-100.0,
        turn_deg=14.0,
    )
    ruler = np.array([(-120.0, -140.0), (-86.0, -140.0), (-86.0, 140.0), (-120.0, 140.0)])
    found = find_cloths(laid(cloth, pencil, table=TABLES["slate"]), covered_mm=[ruler])
    assert found[0].area_mm2 == pytest.approx(110.0 * 190.0, rel=0.01)


@pytest.mark.parametrize("depth", [0.3, 0.45])
def test_a_shadow_over_two_scraps_does_not_join_them(depth: float) -> None:
    """The soft shadow of an arm falls over two scraps of 110 by 80 mm and the table between them: two are found, the
    area of each within 2 %."""
    square = laid(
        Cloth(print=PRINTS[1], width_mm=110.0, length_mm=80.0, x_mm=-100.0, y_mm=-50.0, turn_deg=8.0),
        Cloth(print=PRINTS[4], width_mm=110.0, length_mm=80.0, x_mm=80.0, y_mm=50.0, turn_deg=-5.0),
        table=TABLES["slate"],
    )
    height, width = square.valid.shape
    ys, xs = np.mgrid[:height, :width]
    off = (xs - width / 2) * math.sin(0.51) - (ys - height / 2) * math.cos(0.51)
    shade = cv2.GaussianBlur((np.abs(off) < 60.0).astype(np.float32), (0, 0), 16.0)
    square.rgb[:] = np.rint(square.rgb * (1 - depth * shade[..., None])).astype(np.uint8)
    found = find_cloths(square)
    assert len(found) == 2
    assert all(region.area_mm2 == pytest.approx(110.0 * 80.0, rel=0.02) for region in found)
