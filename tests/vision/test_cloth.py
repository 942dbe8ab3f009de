"""Where the cloth is: outline, holes and edges against the cloths the scenes were made of."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.cloth import CheckPrint, Cloth, PlainPrint, StripePrint, Stripes
from tests.makers.table import Table
from tests.vision.laid import PX_PER_MM, SIZE_MM, laid
from vision.cloth import find_cloths
from vision.square import SquareOn

Floats = NDArray[np.float64]

WOOD = Table(colour="#7a5a3e", kind="wood", depth=0.06)
RED, CREAM, BLUE = "#8f1f2a", "#e9e1cc", "#23426f"
DECK = StripePrint(across=Stripes(widths_mm=(12.0, 18.0), colours=(RED, CREAM)))


def _cloth(print_: StripePrint | PlainPrint = DECK, **more: float) -> Cloth:
    sizes = {"width_mm": 220.0, "length_mm": 160.0, **more}
    return Cloth(print=print_, edges=("torn", "cut", "torn", "selvage"), **sizes)


@pytest.mark.parametrize(
    ("print_", "table"),
    [
        (DECK, Table(colour="#6b5440")),
        (PlainPrint(colour="#d8d0c0"), Table(colour="#a58d6e", kind="wood", depth=0.08)),
        (PlainPrint(colour="#26304f"), Table(colour="#3c342d", depth=0.05)),
        (StripePrint(across=Stripes(widths_mm=(25.0, 18.0), colours=("#a58d6e", BLUE))), Table(colour="#a58d6e")),
    ],
    ids=["deck chair", "light on wood", "indigo on dark", "stripe like the table"],
)
def test_area_and_edges(print_: StripePrint | PlainPrint, table: Table) -> None:
    """A cloth of 220 by 160 mm turned by 3 degrees has that area to 1 %, and four straight edges facing the four sides,
    each turned by 3 degrees within twice its uncertainty. (A stripe like the table at the rim may be lost.)"""
    found = find_cloths(laid(_cloth(print_, turn_deg=3.0), table=table))
    assert len(found) == 1
    lost = 0.15 if isinstance(print_, StripePrint) and print_.across.colours[0] == table.colour else 0.01
    assert found[0].area_mm2 == pytest.approx(220 * 160, rel=lost)
    assert not found[0].touches_frame
    assert {edge.side for edge in found[0].edges} == {"top", "right", "bottom", "left"}
    for edge in found[0].edges:
        truth = 3.0 if edge.side in ("top", "bottom") else -87.0
        assert abs(edge.direction_deg.value - truth) <= 2 * edge.direction_deg.u95


def test_outline_is_true_to_its_uncertainty() -> None:
    """The corners of the outline lie as near the cloth's frayed rim as the outline says, nineteen in twenty."""
    cloth = _cloth(turn_deg=-4.0)
    found = find_cloths(laid(cloth))[0]
    rim = cloth.outline_mm().astype(np.float32).reshape(-1, 1, 2)
    away = [abs(cv2.pointPolygonTest(rim, (float(x), float(y)), True)) for x, y in found.outline_mm]
    assert float(np.quantile(away, 0.95)) <= found.u95_mm


def test_scraps_come_largest_first() -> None:
    """Four remnants of known sizes on one table are four regions in order of size."""
    cloths = [
        _cloth(width_mm=90.0, length_mm=110.0, x_mm=60.0, y_mm=-60.0, turn_deg=20.0),
        _cloth(width_mm=160.0, length_mm=120.0, x_mm=-110.0, y_mm=-70.0),
        _cloth(PlainPrint(colour="#2f6b4a"), width_mm=120.0, length_mm=60.0, x_mm=-60.0, y_mm=70.0),
        _cloth(width_mm=60.0, length_mm=50.0, x_mm=120.0, y_mm=60.0, turn_deg=-30.0),
    ]
    found = find_cloths(laid(*cloths))
    assert [r.area_mm2 for r in found] == pytest.approx([19200, 9900, 7200, 3000], rel=0.03)


def test_a_hole_is_a_hole() -> None:
    """A round hole of 20 mm radius is found with its area to 5 %."""
    found = find_cloths(laid(_cloth(), hole_mm=(20.0, 10.0, 20.0)))[0]
    assert len(found.holes_mm) == 1
    assert found.area_mm2 == pytest.approx(220 * 160 - np.pi * 400, rel=0.01)


def test_a_ruler_across_the_cloth_hides_nothing_of_it() -> None:
    """A ruler lying over the cloth and beyond it: the cloth's area and edges are as without it."""
    square = laid(_cloth(turn_deg=2.0))
    ruler = np.array([[-180.0, 20.0], [180.0, 60.0], [177.0, 88.0], [-183.0, 48.0]])
    px = np.rint((ruler - np.array(square.origin_mm)) * PX_PER_MM).astype(np.int32)
    cv2.fillPoly(square.rgb, [px], (240, 236, 220))
    found = find_cloths(square, covered_mm=[ruler])
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx(220 * 160, rel=0.015)
    middle = np.rint((ruler.mean(axis=0) - np.array(square.origin_mm)) * PX_PER_MM).astype(int)
    assert not found[0].mask[middle[1], middle[0]]


def test_a_cloth_cut_off_by_the_picture_says_so() -> None:
    """A cloth that runs out of the picture on the left has no left edge, and its outline is the picture's there."""
    found = find_cloths(laid(_cloth(width_mm=400.0, x_mm=-150.0)))
    assert len(found) == 1
    assert found[0].touches_frame
    assert {edge.side for edge in found[0].edges} == {"top", "right", "bottom"}


def test_a_check_that_the_picture_cuts_off_does_not_fill_it() -> None:
    """A cloth of eight repeats across runs out of the picture at the top, on a plain table of almost its ground's
    colour, and lies straight: what can be seen of it is found, and not the picture with the table."""
    sequence = Stripes(
        widths_mm=(9.0, 3.3, 6.6, 4.3, 7.8), colours=("#cfc0a8", "#d89a3c", "#1c2f55", "#cfc0a8", "#d89a3c")
    )
    cloth = Cloth(print=CheckPrint(across=sequence, along=sequence), width_mm=250.0, length_mm=310.0, y_mm=-60.0)
    found = find_cloths(laid(cloth, table=Table(colour="#c98a38", depth=0.05)))
    shown = (155.0 - 60.0 + SIZE_MM[1] / 2) * 250.0
    assert len(found) == 1
    assert found[0].touches_frame
    assert found[0].area_mm2 == pytest.approx(shown, rel=0.02)


@pytest.mark.parametrize("widths_mm", [(12.0, 18.0), (60.0, 45.0)])
def test_a_cloth_that_fills_the_picture(widths_mm: tuple[float, float]) -> None:
    """Stripes from border to border are one cloth without an edge of its own."""
    deck = StripePrint(across=Stripes(widths_mm=widths_mm, colours=(RED, CREAM)))
    found = find_cloths(laid(_cloth(deck, width_mm=900.0, length_mm=700.0, turn_deg=8.0)))
    assert len(found) == 1
    assert found[0].touches_frame
    assert found[0].edges == ()
    assert found[0].area_mm2 == pytest.approx(SIZE_MM[0] * SIZE_MM[1], rel=0.01)


def test_most_of_the_picture_is_not_all_of_it() -> None:
    """Where a strip of table shows above, the cloth has a top edge."""
    found = find_cloths(laid(_cloth(width_mm=900.0, length_mm=500.0, y_mm=110.0)))
    assert len(found) == 1
    assert [edge.side for edge in found[0].edges] == ["top"]


@pytest.mark.parametrize("phase_mm", [18.0, 24.0, 33.0])
@pytest.mark.parametrize("colour", ["#4a4d52", "#7a5a3e"])
def test_a_stripe_along_the_border_is_no_table(colour: str, phase_mm: float) -> None:
    """A length runs out of the picture on three sides, and one of its stripes lies along the uppermost: the table is
    what shows below its one edge, though either leaves a rest with straight edges."""
    sequence = Stripes(widths_mm=(12.0, 11.0, 6.0, 14.0), colours=("#e0b040", "#203a60", "#b0402a", "#eee6d2"))
    place = {"width_mm": 400.0, "length_mm": 900.0, "y_mm": -100.0, "turn_deg": 88.0}
    cloth = Cloth(print=StripePrint(across=sequence), edges=("torn",) * 4, phase_mm=(phase_mm, 0.0), **place)
    found = find_cloths(laid(cloth, table=Table(colour=colour, depth=0.03)))
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx((100.0 + SIZE_MM[1] / 2) * SIZE_MM[0], rel=0.005)


def _under_a_ruler(
    square: SquareOn, middle_mm: tuple[float, float], size_mm: tuple[float, float], turn: float
) -> Floats:
    """A white ruler drawn on a picture, and its corners (4, 2), mm."""
    a = np.radians(turn)
    along, down = np.array([np.cos(a), -np.sin(a)]), np.array([np.sin(a), np.cos(a)])
    half = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    box = np.array([middle_mm + i * size_mm[0] / 2 * along + j * size_mm[1] / 2 * down for i, j in half])
    places = np.rint((box - np.array(square.origin_mm)) * PX_PER_MM).astype(np.int32)
    cv2.fillPoly(square.rgb, [places], (235, 232, 222))
    return box


@pytest.mark.parametrize("low_mm", [110.0, 135.0])
def test_a_strip_of_table_along_the_stripes_is_none_of_them(low_mm: float) -> None:
    """Stripes lie along the one edge that shows, under a ruler from border to border: the strip of table beyond it, of
    a colour that comes nowhere in the cloth, is no stripe, so that the picture is not cloth all over."""
    sequence = Stripes(widths_mm=(13.0, 9.0, 11.0), colours=("#3a7040", "#e0b040", "#1f4b5a"))
    place = {"width_mm": 300.0, "length_mm": 900.0, "y_mm": low_mm - 150.0, "turn_deg": 92.0}
    square = laid(Cloth(print=StripePrint(across=sequence), edges=("torn",) * 4, **place), table=WOOD)
    ruler = _under_a_ruler(square, (0.0, low_mm + 6.0), (600.0, 22.0), 2.0)
    found = find_cloths(square, covered_mm=[ruler])
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx((low_mm + SIZE_MM[1] / 2) * SIZE_MM[0], rel=0.04)


def test_the_table_does_not_change_places_with_a_cloth() -> None:
    """Two of three stripes are like each other, and a ruler over the one edge that shows takes a notch out of the
    cloth: the table, which is straight there, is still no cloth on a table of the two stripes' colour."""
    sequence = Stripes(widths_mm=(5.0, 5.5, 7.2), colours=("#203a60", "#b0402a", "#1f4b5a"))
    place = {"width_mm": 900.0, "length_mm": 400.0, "y_mm": -100.0, "turn_deg": 3.0}
    square = laid(Cloth(print=StripePrint(across=sequence), edges=("torn",) * 4, **place), table=WOOD)
    ruler = _under_a_ruler(square, (0.0, 100.0), (300.0, 28.0), 3.0)
    found = find_cloths(square, covered_mm=[ruler])
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx((100.0 + SIZE_MM[1] / 2) * SIZE_MM[0], rel=0.01)


@pytest.mark.parametrize(
    "table",
    [
        Table(colour="#e6e1d8", depth=0.03),
        Table(colour="#a58d6e", kind="wood", depth=0.09),
        Table(kind="speckled", depth=0.1),
    ],
    ids=["wall", "wood", "speckled"],
)
def test_a_table_alone_is_no_cloth(table: Table) -> None:
    """A wall, a wooden table, a speckled one: no cloth is found on them."""
    assert find_cloths(laid(table=table)) == ()
