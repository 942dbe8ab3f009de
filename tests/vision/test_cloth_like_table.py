"""Where the cloth is when the table is nearly of its colour, or when a ruler lies over its corner."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import AnyPrint, CheckPrint, Cloth, Motif, MotifPrint, PlainPrint, StripePrint, Stripes
from tests.makers.harsh import draw
from tests.makers.shot import shoot
from tests.makers.table import Table
from tests.vision.laid import PX_PER_MM, SIZE_MM, laid
from tests.vision.test_measure import both_repeats_are_the_makers, photo_of
from vision.cloth import find_cloths
from vision.measure import measure_photo
from vision.request import MeasureRequest
from vision.square import SquareOn

CREAM, NAVY = "#e9e1cc", "#1c2f55"
DOTS = (Motif(shape="dot", colour=NAVY, radius=0.2),)


def _ruled(square: SquareOn, ruler_mm: np.ndarray) -> None:
    corners = np.rint((ruler_mm - np.array(square.origin_mm)) * PX_PER_MM).astype(np.int32)
    cv2.fillPoly(square.rgb, [corners], (232, 201, 74))


@pytest.mark.parametrize(
    ("print_", "table"),
    [
        (MotifPrint(ground=CREAM, motifs=DOTS, column_mm=30.0, row_mm=26.0), Table(colour="#d7d3c8", depth=0.04)),
        (MotifPrint(ground="#d9d6d2", motifs=DOTS, column_mm=40.0, row_mm=40.0), Table(colour="#e6e1d8", depth=0.04)),
        (PlainPrint(colour="#ddd7c6"), Table(colour="#d7d3c8", kind="speckled", depth=0.05)),
        (
            CheckPrint(
                across=Stripes(widths_mm=(14.0, 12.0), colours=("#e6ddcc", "#c9dde0")),
                along=Stripes(widths_mm=(14.0, 12.0), colours=("#e6ddcc", "#c9dde0")),
            ),
            Table(colour="#e6e1d8", kind="speckled", depth=0.08),
        ),
        (StripePrint(across=Stripes(widths_mm=(5.0, 9.0), colours=("#8f1f2a", "#ddd8c8"))), Table(colour="#d7d3c8")),
    ],
    ids=["cream motif", "grey motif", "plain cream", "pale check", "cream stripes"],
)
def test_cloth_of_nearly_the_colour_of_the_table(print_: AnyPrint, table: Table) -> None:
    """A cloth of 220 by 160 mm whose ground the eye just tells from the table has that area to 3 %, in one piece with
    four edges: light varies over a table, its colour hardly."""
    found = find_cloths(laid(Cloth(print=print_, width_mm=220.0, length_mm=160.0, turn_deg=2.0), table=table))
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx(220 * 160, rel=0.03)
    assert {edge.side for edge in found[0].edges} == {"top", "right", "bottom", "left"}
    assert not found[0].touches_frame


@pytest.mark.parametrize("turn_deg", [8.0, 17.0])
def test_a_corner_under_a_ruler_is_where_the_edges_meet(turn_deg: float) -> None:
    """A ruler lies at a slant over the cloth's lower left corner: the corner is put where the left and the bottom edge
    meet, so that the area is right to 1.5 %."""
    square = laid(Cloth(print=PlainPrint(colour="#23426f"), width_mm=240.0, length_mm=150.0))
    turn = np.radians(turn_deg)
    along, across = np.array([np.cos(turn), -np.sin(turn)]), np.array([np.sin(turn), np.cos(turn)])
    middle = np.array([-120.0, 75.0]) - 6 * across
    ruler = np.array([middle + i * 170 * along + j * 15 * across for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    _ruled(square, ruler)
    found = find_cloths(square, covered_mm=[ruler])
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx(240 * 150, rel=0.015)
    corner = np.array([-120.0, 75.0])
    assert min(np.hypot(*(np.array(point) - corner)) for point in found[0].outline_mm) <= 2.5


def test_an_edge_that_turns_soon_after_a_ruler_meets_the_other_below_it_where_its_first_part_does() -> None:
    """A scrap whose left edge comes out from below a ruler and turns a corner 20 mm farther on: below the ruler its
    outline goes on straight from there, so that its area is right to 1.5 %."""
    scrap = np.array([(-40.0, -25.0), (50.0, -80.0), (70.0, 15.0), (10.0, 85.0), (-40.0, 24.0)])
    square = laid()
    cv2.fillPoly(square.rgb, [np.rint((scrap - square.origin_mm) * PX_PER_MM).astype(np.int32)], (200, 90, 60))
    square.rgb[:] = cv2.GaussianBlur(square.rgb, (0, 0), 0.8)
    ruler = np.array([(-150.0, -65.0), (150.0, 35.0), (140.0, 65.0), (-160.0, -35.0)])
    _ruled(square, ruler)
    (found,) = find_cloths(square, covered_mm=[ruler])
    assert found.area_mm2 == pytest.approx(_size_mm2(scrap), rel=0.015)


@pytest.mark.parametrize(
    "print_",
    [
        PlainPrint(colour="#23426f"),
        StripePrint(across=Stripes(widths_mm=(12.0, 18.0), colours=("#8f1f2a", CREAM))),
    ],
    ids=["plain", "stripes"],
)
def test_the_rest_of_a_ruler_is_no_cloth_beyond_it(print_: AnyPrint) -> None:
    """A ruler lies over the lower edge of a cloth of 240 by 150 mm and a little beyond; 5 mm of it on the far side are
    not known as the ruler's. No cloth is seen beyond it, so the cloth does not reach to the far side of the ruler."""
    square = laid(Cloth(print=print_, width_mm=240.0, length_mm=150.0, edges=("cut",) * 4), table=Table(depth=0.03))
    ruler = np.array([[-60.0, 58.0], [210.0, 58.0], [210.0, 88.0], [-60.0, 88.0]])
    _ruled(square, ruler)
    found = find_cloths(square, covered_mm=[ruler - np.array([0.0, 5.0]) * (ruler[:, 1:] > 80)])
    assert len(found) == 1
    assert max(y for _, y in found[0].outline_mm) <= 78.0
    assert found[0].area_mm2 == pytest.approx(240 * 150, rel=0.03)


def test_bars_that_end_below_a_ruler_are_one_cloth_with_the_others() -> None:
    """A cloth of stripes, every other of the table's colour; a ruler lies over the lower ends of some: what is seen are
    bars of unequal length, and yet it is one cloth, but for the stripes of the table's colour at both its sides."""
    print_ = StripePrint(across=Stripes(widths_mm=(15.0, 6.0), colours=("#d9d3c6", "#8fa5a8")))
    cloth = Cloth(print=print_, width_mm=240.0, length_mm=150.0, edges=("cut",) * 4)
    square = laid(cloth, table=Table(colour="#cfc8bb"))
    ruler = np.array([[-60.0, 58.0], [210.0, 58.0], [210.0, 88.0], [-60.0, 88.0]])
    _ruled(square, ruler)
    found = find_cloths(square, covered_mm=[ruler])
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx((240 - 24) * 150, rel=0.03)


def test_motifs_on_both_sides_of_a_ruler_are_no_cloth_below_it() -> None:
    """A print of motifs fills the picture and a ruler lies across it: the cloth is the picture, and not what the motifs
    on both sides of the ruler would hold between them."""
    print_ = MotifPrint(
        ground="#2f6b4a", motifs=(Motif(shape="square", colour="#d0825a", radius=0.4),), column_mm=50.0, row_mm=60.0
    )
    square = laid(Cloth(print=print_, width_mm=900.0, length_mm=700.0, turn_deg=3.0))
    ruler = np.array([[-18.0, -170.0], [18.0, -170.0], [18.0, 170.0], [-18.0, 170.0]])
    _ruled(square, ruler)
    found = find_cloths(square, covered_mm=[ruler])
    assert len(found) == 1
    assert found[0].touches_frame
    assert found[0].area_mm2 == pytest.approx(SIZE_MM[0] * SIZE_MM[1], rel=0.02)


def test_a_cloth_s_shadow_is_none_of_it() -> None:
    """A cream cloth of 220 by 160 mm on a grey table throws a shadow of 3 mm to the right and below, darker than the
    cloth differs from the table: its area is as without the shadow, to 1 %."""
    cloth = Cloth(print=PlainPrint(colour=CREAM), width_mm=220.0, length_mm=160.0)
    square = laid(cloth, table=Table(colour="#d7d3c8", depth=0.02))
    rim = (cloth.corners_mm() - np.array(square.origin_mm)) * PX_PER_MM
    dark = np.zeros(square.valid.shape, np.uint8)
    cv2.fillPoly(dark, [np.rint(rim + 6).astype(np.int32)], 1)
    lit = np.zeros_like(dark)
    cv2.fillPoly(lit, [np.rint(rim).astype(np.int32)], 1)
    shadow = cv2.GaussianBlur(dark.astype(np.float32), (0, 0), 2.0) * (1 - lit)
    square.rgb[:] = np.rint(square.rgb * (1 - 0.1 * shadow)[..., None])
    found = find_cloths(square)
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx(220 * 160, rel=0.01)


@pytest.mark.parametrize("depth", [0.1, 0.15])
def test_a_shadow_that_falls_on_cloth_and_table_is_no_cloth(depth: float) -> None:
    """A shadow with soft edges falls on striped cloth and far over the white table beside it: what is found has the
    area of the cloth to 1.5 %."""
    print_ = StripePrint(across=Stripes(widths_mm=(14.0, 9.0, 5.0), colours=("#7a2233", "#d8c9a8", "#38507a")))
    square = laid(Cloth(print=print_, width_mm=220.0, length_mm=160.0), table=Table(colour="#d9d6d2", depth=0.02))
    shadow = np.zeros(square.valid.shape, np.uint8)
    middle = (np.array([125.0, 35.0]) - np.array(square.origin_mm)) * PX_PER_MM
    cv2.circle(shadow, np.rint(middle).astype(int).tolist(), round(55 * PX_PER_MM), 1, -1)
    soft = cv2.GaussianBlur(shadow.astype(np.float32), (0, 0), 9 * PX_PER_MM)
    square.rgb[:] = np.rint(square.rgb * (1 - depth * soft)[..., None])
    found = find_cloths(square)
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx(220 * 160, rel=0.015)


def test_a_tape_across_the_cloth_leaves_its_edges_straight() -> None:
    """A tape and its shadow lie across a cloth and beyond it: where they cross its edges these go straight on."""
    square = laid(Cloth(print=PlainPrint(colour="#23426f"), width_mm=240.0, length_mm=150.0, edges=("cut",) * 4))
    tape = np.array([[-200.0, 10.0], [200.0, 20.0], [200.0, 33.0], [-200.0, 23.0]])
    dark = np.zeros(square.valid.shape, np.uint8)
    under = np.rint((tape + np.array([1.0, 2.0]) - np.array(square.origin_mm)) * PX_PER_MM).astype(np.int32)
    cv2.fillPoly(dark, [under], 1)
    shadow = cv2.GaussianBlur(dark.astype(np.float32), (0, 0), 3.0)
    square.rgb[:] = np.rint(square.rgb * (1 - 0.25 * shadow)[..., None])
    _ruled(square, tape)
    found = find_cloths(square, covered_mm=[tape])
    rim = np.array([[-120.0, -75.0], [120.0, -75.0], [120.0, 75.0], [-120.0, 75.0]], np.float32).reshape(-1, 1, 2)
    away = [abs(cv2.pointPolygonTest(rim, (float(x), float(y)), True)) for x, y in found[0].outline_mm]
    assert max(away) <= 2.0


def test_a_tape_not_covered_whole_makes_no_cloth_of_the_table() -> None:
    """A pale check on a pale table, and a tape right across the picture of which only half is known: better no
    cloth than the whole picture, which shows the table all round but where the tape leaves it."""
    side = Stripes(widths_mm=(14.0, 12.0), colours=("#e6ddcc", "#a5c3c9"))
    cloth = Cloth(print=CheckPrint(across=side, along=side), width_mm=240.0, length_mm=160.0)
    square = laid(cloth, table=Table(colour="#e6e1d8", kind="speckled", depth=0.08))
    tape = np.array([[-240.0, -20.0], [240.0, 60.0], [240.0, 86.0], [-240.0, 6.0]])
    _ruled(square, tape)
    half = np.array([tape[0], tape[1], (tape[1] + tape[2]) / 2, (tape[0] + tape[3]) / 2])
    for region in find_cloths(square, covered_mm=[half]):
        assert region.area_mm2 < 0.5 * SIZE_MM[0] * SIZE_MM[1]


def test_a_check_cut_off_by_the_picture_is_not_the_whole_picture() -> None:
    """A check over a third of the picture, on a wooden table that darkens to one corner: its repeats are the maker's.
    What lies in the dark is table, though at first sight it looks unlike what is seen of the table round about."""
    both_repeats_are_the_makers(83026)


def test_wide_stripes_askew_in_a_tilted_picture_fill_it() -> None:
    """Of two colours from border to border neither comes again between the stripes of the other; these are several
    straight pieces, and still no cloths on a table. The repeat is the maker's."""
    photograph = shoot(draw(98032).shot)
    found = measure_photo(photo_of(photograph, None)).measurement.main.print
    assert found is not None
    assert found.across is not None
    assert found.across.value == pytest.approx(photograph.truth.across_mm, rel=0.005)


def test_a_shadow_on_the_table_is_none_of_the_cloth() -> None:
    """Cloth with a stripe of the table's colour, a shadow that reaches from its lower edge to the picture's border, and
    a ruler over one corner: its torn lower edge is seen, and its area is the maker's to 3 %. (The shadow is
    hardly darker than the table: with the noise drawn otherwise it is taken in more often than not, and the cloth then
    says that it can hardly be told from the table.)"""
    drawn = draw(78054)
    shot = replace(drawn.shot, seed=78058)
    photo = photo_of(shoot(shot), round(shot.camera.focal35_mm))
    found = measure_photo(photo, MeasureRequest(torn=drawn.facts.torn)).measurement.main
    assert found.outline is not None
    assert found.outline.area_mm2 == pytest.approx(_size_mm2(drawn.shot.cloths[0].outline_mm()), rel=0.03)
    assert found.skew is not None


def test_a_shadow_beside_the_paper_is_no_cloth() -> None:
    """Millimetre paper throws a shadow on the table, larger than the cloth that lies there too, and not clear at its
    rim: the striped cloth is the only one, its repeat the maker's."""
    shot = draw(86193).shot
    photo = photo_of(shoot(shot), round(shot.camera.focal35_mm))
    measured = measure_photo(photo).measurement
    assert not measured.scraps
    assert measured.main.outline is not None
    assert measured.main.outline.area_mm2 == pytest.approx(_size_mm2(shot.cloths[0].outline_mm()), rel=0.05)


def _size_mm2(outline_mm: np.ndarray) -> float:
    return float(cv2.contourArea(outline_mm.astype(np.float32)))


def test_rows_of_motifs_are_no_torn_edge() -> None:
    """Motifs on a ground of the table's colour, the outermost rows of them cut through by the cloth's edges: where the
    cloth can hardly be told from the table and its print does not tell where it ends, rows of motifs give no skew."""
    drawn = draw(87028, megapixels=3.1)
    taken = shoot(drawn.shot)
    measured = measure_photo(photo_of(taken), MeasureRequest(torn=drawn.facts.torn)).measurement
    skew, true = measured.main.skew, taken.truth.skew_deg
    assert true is not None
    assert skew is None or abs(skew.angle.value - true) <= skew.angle.u95
