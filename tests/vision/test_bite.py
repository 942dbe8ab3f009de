"""Squares of the table's colour along a check's rim, and places where the table really shows, on rendered photographs
of known cloths."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from tests.makers.camera import project
from tests.makers.cloth import AnyPrint, CheckPrint, Cloth, Motif, MotifPrint, StripePrint, Stripes
from tests.makers.scene import Photograph, render
from tests.makers.table import Table
from tests.vision.test_measure import SCENE, photo_of
from vision.measure import Measured, measure_photo
from vision.swatch import Doubles, Floats

_TABLE = "#d7d3c8"
_SIDE = Stripes(widths_mm=(14.0, 9.0, 15.0, 8.0), colours=("#d3cdbf", "#8f1f2a", "#cfccc3", "#23426f"))
_DARK_STRIPES = StripePrint(across=Stripes(widths_mm=(9.0, 14.0), colours=("#1e1d22", "#7aa0b8")))
_DARK_DOTS = MotifPrint(
    ground="#3a3734", motifs=(Motif(shape="ring", colour="#d0825a", radius=0.3),), column_mm=15.0, row_mm=16.0
)
#: A place where cream, red and blue squares meet at the right edge, in the cloth's own frame, mm: lower left, upper
#: right.
_NOTCH_MM = ((60.0, -25.0), (100.0, 15.0))


def _check() -> Cloth:
    """A check 190 by 150 mm of which every fourth square is nearly the table's colour, some at each edge."""
    return Cloth(
        print=CheckPrint(across=_SIDE, along=_SIDE),
        width_mm=190.0,
        length_mm=150.0,
        x_mm=-95.0,
        y_mm=-10.0,
        turn_deg=4.0,
        edges=("cut",) * 4,
        phase_mm=(3.0, 40.0),
    )


@cache
def _photograph() -> Photograph:
    return render(replace(SCENE, cloths=(_check(),), table=Table(colour=_TABLE)))


@cache
def _measured(notched: bool) -> Measured:
    """The check as it is, or with a notch through which the table shows."""
    photo = photo_of(_photograph())
    if notched:
        turn, cloth = np.radians(_check().turn_deg), _check()
        (x0, y0), (x1, y1) = _NOTCH_MM
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        turned = corners @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        seen = project(_photograph().truth.photo_from_mm, turned + np.array([cloth.x_mm, cloth.y_mm]))
        gap = np.zeros(photo.rgb.shape[:2], np.uint8)
        cv2.fillPoly(gap, [np.rint(seen).astype(np.int32)], 1)
        bare = replace(SCENE, cloths=(), table=Table(colour=_TABLE))
        empty = photo_of(render(bare)).rgb
        photo = replace(photo, rgb=np.where(gap[..., None] > 0, empty, photo.rgb))
    return measure_photo(photo)


def _area(measured: Measured) -> float:
    outline = measured.measurement.main.outline
    assert outline is not None
    return outline.area_mm2


def _farthest(outline: Doubles, rim: Doubles | Floats) -> float:
    """The Hausdorff distance of two outlines, mm, over their corners."""
    mine, theirs = outline.astype(np.float32), rim.astype(np.float32)
    away = [abs(cv2.pointPolygonTest(theirs[:, None], (float(x), float(y)), True)) for x, y in mine]
    back = [abs(cv2.pointPolygonTest(mine[:, None], (float(x), float(y)), True)) for x, y in theirs]
    return float(max(*away, *back))


def test_squares_of_the_table_s_colour_are_cloth() -> None:
    """The cloth's area is that of its rectangle to 1 %, and no place of its outline is off by more than 2 mm
    (geometry): where a square looks like the table, its row and its column say that it is there."""
    measured = _measured(False)
    assert _area(measured) == pytest.approx(190.0 * 150.0, rel=0.01)
    plane = measured.evidence.plane
    assert plane is not None
    outline = plane.to_px(np.asarray(measured.evidence.cloths[0].region.outline_mm))
    back_to_mm = np.linalg.inv(_photograph().truth.photo_from_mm).astype(np.float64)
    assert _farthest(project(back_to_mm, outline), _check().corners_mm()) <= 2.0


def test_a_notch_through_many_squares_is_none() -> None:
    """Where the table shows in place of red and blue squares, no cloth is: a notch of 35 by 40 mm stays cut out, its
    area to 15 % (geometry; squares of the table's colour beside it are anybody's guess)."""
    (x0, y0), (_, y1) = _NOTCH_MM
    notch = (95.0 - x0) * (y1 - y0)
    assert _area(_measured(False)) - _area(_measured(True)) == pytest.approx(notch, rel=0.15)


@pytest.mark.parametrize("print_", [_DARK_STRIPES, _DARK_DOTS], ids=["stripes", "dots"])
def test_dents_of_the_table_s_colour_are_no_dents(print_: AnyPrint) -> None:
    """Black stripes, and dots on black, on a table nearly black: between what shows the rim runs straight, so that no
    place of the outline is off by more than 3 mm, and the area by 1 % (geometry)."""
    cloth = Cloth(print=print_, width_mm=130.0, length_mm=90.0, x_mm=-95.0, turn_deg=24.0, edges=("cut",) * 4)
    photograph = render(replace(SCENE, cloths=(cloth,), table=Table(colour="#2a2a2c", kind="speckled", depth=0.05)))
    measured = measure_photo(photo_of(photograph))
    assert _area(measured) == pytest.approx(130.0 * 90.0, rel=0.01)
    plane = measured.evidence.plane
    assert plane is not None
    outline = plane.to_px(np.asarray(measured.evidence.cloths[0].region.outline_mm))
    back_to_mm = np.linalg.inv(photograph.truth.photo_from_mm).astype(np.float64)
    assert _farthest(project(back_to_mm, outline), cloth.corners_mm()) <= 3.0
