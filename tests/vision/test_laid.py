"""Rulers that nobody could read, on cloth that fills the picture: they are not the cloth; strips of cloth are."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely

from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.table import Table
from tests.vision.flat import flat
from tests.vision.laid import laid
from vision.cloth import find_cloths
from vision.laid import laid_on_stripes
from vision.square import SquareOn

_STRIPES = StripePrint(across=Stripes(widths_mm=(5.0, 5.1), colours=("#7a2233", "#94719c")))


def _outlines(picture: SquareOn) -> list[np.ndarray]:
    return [np.asarray(cloth.outline_mm) for cloth in find_cloths(picture)]


@pytest.mark.parametrize("ruler", [(228, 212, 182), (60, 60, 62), (240, 240, 238)])
def test_a_ruler_on_stripes_is_what_lies_on_them(ruler: tuple[int, int, int]) -> None:
    """A bar of 160 by 18 mm on stripes from border to border: its rectangle, with a little room, is given."""
    picture = flat(_STRIPES, width_mm=300.0, height_mm=220.0, px_per_mm=3.0, turn_deg=33.0)
    bar = cv2.boxPoints(((150.0, 110.0), (160.0, 18.0), 25.0)).astype(np.float64)
    cv2.fillPoly(picture.rgb, [np.rint(bar * picture.px_per_mm).astype(np.int32)], ruler)
    found = laid_on_stripes(picture, [bar], ())
    assert len(found) == 1
    inside = [cv2.pointPolygonTest(found[0].astype(np.float32), (float(x), float(y)), True) for x, y in bar]
    assert 3.0 < min(inside) < 8.0


def _curved(radius_mm: float, width_mm: float, half_deg: float, middle_mm: tuple[float, float]) -> np.ndarray:
    """The outline (N, 2) of a tape that lies along a circle, mm; its middle line's topmost place is given."""
    turn = np.radians(np.linspace(-half_deg, half_deg, 80))
    rays = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    rims = (radius_mm - width_mm / 2) * rays, (radius_mm + width_mm / 2) * rays[::-1]
    return np.add(np.concatenate(rims), (middle_mm[0], middle_mm[1] + radius_mm))


@pytest.mark.parametrize("radius_mm", [150.0, 300.0, 800.0])
def test_a_tape_that_curves_is_what_lies_on_stripes(radius_mm: float) -> None:
    """A tape of 20 by 240 mm along a circle, its rectangle up to 60 mm wide, on stripes from border to border: it is
    covered whole, by rectangles that together hide less than twice what it does and its room of 5 mm."""
    picture = flat(_STRIPES, width_mm=360.0, height_mm=260.0, px_per_mm=3.0, turn_deg=33.0)
    tape = _curved(radius_mm, 20.0, np.degrees(120.0 / radius_mm), (180.0, 100.0))
    cv2.fillPoly(picture.rgb, [np.rint(tape * picture.px_per_mm).astype(np.int32)], (214, 178, 60))
    found = [shapely.Polygon(box) for box in laid_on_stripes(picture, [tape], ())]
    whole = shapely.Polygon(tape)
    hidden = shapely.union_all(found)
    assert hidden.buffer(0.6).covers(whole)
    assert hidden.area < 2 * whole.buffer(5.0).area
    assert all(min(_sides(box)) < 60.0 for box in found)


def _sides(box: shapely.Polygon) -> list[float]:
    corners = np.asarray(box.exterior.coords)
    return [float(np.hypot(*step)) for step in np.diff(corners, axis=0)]


@pytest.mark.parametrize("kind", ["smooth", "speckled", "wood"])
@pytest.mark.parametrize("seed", range(3))
def test_a_strip_of_striped_cloth_on_a_table_is_cloth(kind: str, seed: int) -> None:
    """A strip of 300 by 45 mm, its stripes along it or across, lies on a table, grained as it may be."""
    for turn in (4.0, 94.0):
        strip = Cloth(print=_STRIPES, width_mm=250.0, length_mm=45.0, turn_deg=turn, seed=seed)
        picture = laid(strip, table=Table(colour="#a58d6e", kind=kind, depth=0.12), seed=seed)
        outlines = _outlines(picture)
        assert len(outlines) == 1
        assert laid_on_stripes(picture, outlines, ()) == ()


def test_a_broad_piece_is_no_ruler() -> None:
    """What is not slender may be cloth, whatever it lies on."""
    picture = flat(_STRIPES, width_mm=300.0, height_mm=220.0, px_per_mm=3.0)
    broad = np.array([[100.0, 80.0], [220.0, 80.0], [220.0, 150.0], [100.0, 150.0]])
    assert laid_on_stripes(picture, [broad], ()) == ()
