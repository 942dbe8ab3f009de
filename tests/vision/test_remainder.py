"""A ruler of which only the half about its scale was known: what was taken for cloth beside that is the ruler."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely
import shapely.affinity

from tests.makers.cloth import AnyPrint, Motif, MotifPrint, PlainPrint, StripePrint, Stripes
from tests.vision.flat import flat
from vision.cloth import find_cloths
from vision.remainder import with_remainders
from vision.square import SquareOn

_STRIPES = StripePrint(across=Stripes(widths_mm=(14.0, 9.0, 5.0), colours=("#7a2233", "#d8c9a8", "#38507a")))
_DOTS = MotifPrint(
    ground="#d8c9a8", motifs=(Motif(shape="dot", colour="#38507a", radius=0.2),), column_mm=18, row_mm=16
)
_TABLE, _RULER = (70, 74, 82), (206, 168, 60)


def _picture(print_: AnyPrint, cloth: shapely.Polygon, turn_deg: float = 0.0) -> SquareOn:
    """Cloth on a plain table of 300 by 220 mm."""
    seen = flat(print_, width_mm=300.0, height_mm=220.0, px_per_mm=3.0, turn_deg=turn_deg)
    picture = replace(seen, rgb=np.ascontiguousarray(seen.rgb))
    inside = np.zeros(picture.valid.shape, np.uint8)
    cv2.fillPoly(inside, [_px(cloth)], 1)
    grain = np.random.default_rng(7).normal(0, 2, picture.rgb.shape)
    picture.rgb[inside == 0] = np.clip(np.array(_TABLE) + grain, 0, 255).astype(np.uint8)[inside == 0]
    return picture


def _px(polygon: shapely.Polygon) -> np.ndarray:
    return np.rint(np.asarray(polygon.exterior.coords)[:-1] * 3.0).astype(np.int32)


def _bar(left: float, right: float, turn_deg: float, beside: tuple[float, float] = (-10.0, 22.0)) -> shapely.Polygon:
    """A bar about the picture's middle, turned, from one place along it to another and as far to either side."""
    box = shapely.box(150 + left, 110 + beside[0], 150 + right, 110 + beside[1])
    return shapely.affinity.rotate(box, turn_deg, origin=(150, 110))


def _drawn(picture: SquareOn, known: shapely.Polygon) -> tuple[np.ndarray, np.ndarray]:
    """What is known of a ruler, and what is held to be it once cloth was found."""
    covered = np.asarray(known.exterior.coords)[:-1]
    found = [np.asarray(cloth.outline_mm) for cloth in find_cloths(picture, covered_mm=[covered])]
    assert found
    return covered, with_remainders(picture, found, [covered])[0]


@pytest.mark.parametrize("print_", [_STRIPES, _DOTS])
@pytest.mark.parametrize("turn_deg", [0.0, 24.0, -58.0])
def test_a_ruler_goes_on_beside_its_scale_where_its_own_colour_does(print_: AnyPrint, turn_deg: float) -> None:
    """A yellow ruler lies across a cloth and ends on the table at both sides; the third of it that bears its scale is
    known. All of it is taken for it, to two millimetres, and nothing else."""
    picture = _picture(print_, shapely.box(90, 40, 210, 190), turn_deg=11.0)
    ruler = _bar(-100, 95, turn_deg)
    cv2.fillPoly(picture.rgb, [_px(ruler)], _RULER)
    known, drawn = _drawn(picture, _bar(-100, 95, turn_deg, (-10.0, 1.0)))
    assert drawn is not known
    assert shapely.Polygon(drawn).hausdorff_distance(ruler) < 2.0


@pytest.mark.parametrize("turn_deg", [0.0, 9.0, -14.0])
def test_a_ruler_that_runs_out_of_the_picture_goes_on_as_wide_as_the_table_shows(turn_deg: float) -> None:
    """A ruler lies across a narrow cloth that has a stripe of its own colour, and runs out of the picture on both
    sides: on the table its side is plain, and all of it is taken for it, to two millimetres."""
    print_ = replace(_STRIPES, across=Stripes(widths_mm=(14.0, 9.0, 15.0), colours=("#7a2233", "#d8c9a8", "#cea83c")))
    picture = _picture(print_, shapely.box(95, 40, 205, 190), turn_deg=11.0)
    ruler = _bar(-180, 180, turn_deg, (-14.0, 6.0))
    cv2.fillPoly(picture.rgb, [_px(ruler)], _RULER)
    known, drawn = _drawn(picture, _bar(-180, 180, turn_deg, (-14.0, 1.0)))
    assert drawn is not known
    assert shapely.Polygon(drawn).hausdorff_distance(ruler) < 2.0


def test_a_ruler_that_is_known_whole_stays_as_it_is() -> None:
    """Beside a ruler that is known whole stripes run along it, and cloth of one colour goes on past its ends."""
    ruler = _bar(-60, 60, 0.0)
    for print_ in (_STRIPES, PlainPrint(colour="#7a2233")):
        picture = _picture(print_, shapely.box(70, 30, 240, 190), turn_deg=90.0)
        cv2.fillPoly(picture.rgb, [_px(ruler)], _RULER)
        known, drawn = _drawn(picture, ruler)
        assert drawn is known


def test_a_stripe_as_long_as_the_ruler_beside_it_is_cloth() -> None:
    """Cloth cut as long as the ruler that lies on its stripes ends where that does; but its stripes bear no writing,
    and stripes lie beside them."""
    ruler = _bar(-60, 60, 0.0, (-10.0, 10.0))
    picture = _picture(_STRIPES, shapely.box(90, 30, 210, 190), turn_deg=90.0)
    cv2.fillPoly(picture.rgb, [_px(ruler)], _RULER)
    known, drawn = _drawn(picture, ruler)
    assert drawn is known
