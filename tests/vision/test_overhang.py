"""Rulers that nobody could read, over the rim of the cloth: they are no part of it; what is cut of cloth is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely

from tests.makers.cloth import AnyPrint, CheckPrint, StripePrint, Stripes
from tests.makers.harsh import draw
from tests.makers.shot import shoot
from tests.vision.flat import flat
from tests.vision.test_measure import photo_of
from vision.cloth import find_cloths
from vision.measure import measure_photo
from vision.overhang import overhanging
from vision.square import SquareOn

_STRIPES = StripePrint(across=Stripes(widths_mm=(14.0, 9.0, 5.0), colours=("#7a2233", "#d8c9a8", "#38507a")))
_CHECK = CheckPrint(
    across=Stripes(widths_mm=(14.0, 9.0), colours=("#7a2233", "#d8c9a8")),
    along=Stripes(widths_mm=(11.0, 9.0), colours=("#7a2233", "#d8c9a8")),
)
_TABLE, _RULER = (70, 74, 82), (206, 168, 60)
_CLOTH = ((80.0, 60.0), (230.0, 60.0), (230.0, 180.0), (80.0, 180.0))


def _picture(print_: AnyPrint, cloth: tuple[tuple[float, float], ...], turn_deg: float = 0.0) -> SquareOn:
    """Cloth of an outline, mm, on a plain table of 300 by 220 mm; the print turned."""
    picture = flat(print_, width_mm=300.0, height_mm=220.0, px_per_mm=3.0, turn_deg=turn_deg)
    inside = np.zeros(picture.valid.shape, np.uint8)
    cv2.fillPoly(inside, [_px(cloth, picture)], 1)
    grain = np.random.default_rng(7).normal(0, 2, picture.rgb.shape)
    picture.rgb[inside == 0] = np.clip(np.array(_TABLE) + grain, 0, 255).astype(np.uint8)[inside == 0]
    return picture


def _px(points_mm: tuple[tuple[float, float], ...] | np.ndarray, picture: SquareOn) -> np.ndarray:
    return np.rint(np.asarray(points_mm) * picture.px_per_mm).astype(np.int32)


def _lay(picture: SquareOn, middle: tuple[float, float], size: tuple[float, float], turn_deg: float) -> shapely.Polygon:
    """A ruler with digits and glare, laid on the picture."""
    bar = cv2.boxPoints((middle, size, turn_deg)).astype(np.float64)
    body, ys, xs = np.zeros(picture.valid.shape, np.uint8), *np.mgrid[: picture.rgb.shape[0], : picture.rgb.shape[1]]
    cv2.fillPoly(body, [_px(bar, picture)], 1)
    x, y = np.asarray(middle) * picture.px_per_mm
    glare = 60 * np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (2 * (8 * picture.px_per_mm) ** 2))
    face = np.clip(np.array(_RULER) + glare[..., None], 0, 255).astype(np.uint8)
    for k in range(5):
        at = (round(x - (40 - 20 * k) * picture.px_per_mm), round(y))
        cv2.putText(face, str(k), at, cv2.FONT_HERSHEY_SIMPLEX, 0.5, (60, 50, 30), 1)
    picture.rgb[body > 0] = face[body > 0]
    return shapely.Polygon(bar).intersection(shapely.box(0, 0, 300, 220))


def _outlines(picture: SquareOn) -> list[np.ndarray]:
    return [np.asarray(cloth.outline_mm) for cloth in find_cloths(picture)]


@pytest.mark.parametrize("print_", [_STRIPES, _CHECK])
@pytest.mark.parametrize(
    ("middle", "size", "turn_deg"),
    [
        ((150.0, 52.0), (100.0, 26.0), 3.0),  # shorter than the side it lies over
        ((150.0, 190.0), (220.0, 30.0), -4.0),  # longer than the side
        ((236.0, 40.0), (30.0, 260.0), 3.0),  # cut off by the picture's border
    ],
)
def test_a_ruler_over_the_rim_is_no_part_of_the_cloth(
    print_: AnyPrint, middle: tuple[float, float], size: tuple[float, float], turn_deg: float
) -> None:
    """A bar with digits and glare lies over a side of striped or checked cloth and is found with it: its rectangle is
    given to three millimetres, and what is then found of what it leaves is the cloth."""
    picture = _picture(print_, _CLOTH)
    bar, cloth = _lay(picture, middle, size, turn_deg), shapely.Polygon(_CLOTH)
    found = _outlines(picture)
    assert shapely.Polygon(found[0]).intersection(bar.difference(cloth)).area > 0.5 * bar.difference(cloth).area
    (ruler,) = overhanging(picture, found, ())
    seen = shapely.Polygon(ruler).intersection(shapely.box(0, 0, 300, 220))
    assert seen.buffer(3.0).covers(bar)
    assert bar.buffer(3.0).covers(seen)
    (whole,) = find_cloths(picture, covered_mm=(ruler,))
    outline = shapely.Polygon(whole.outline_mm)
    off = min(outline.symmetric_difference(true).area for true in (cloth, cloth.difference(bar)))
    assert off < 0.03 * cloth.area


@pytest.mark.parametrize(
    "cloth",
    [
        _CLOTH,
        ((80.0, 60.0), (150.0, 60.0), (150.0, 88.0), (230.0, 88.0), (230.0, 180.0), (80.0, 180.0)),
        ((110.0, 60.0), (200.0, 60.0), (200.0, 83.0), (230.0, 83.0), (230.0, 180.0), (80.0, 180.0), (80.0, 83.0),
         (110.0, 83.0)),
        ((60.0, 60.0), (250.0, 60.0), (250.0, 90.0), (230.0, 90.0), (230.0, 180.0), (80.0, 180.0), (80.0, 90.0),
         (60.0, 90.0)),
    ],
)  # fmt: skip
@pytest.mark.parametrize("print_", [_STRIPES, _CHECK])
@pytest.mark.parametrize("turn_deg", [0.0, 90.0])
def test_what_stands_out_of_cloth_is_cloth(
    cloth: tuple[tuple[float, float], ...], print_: AnyPrint, turn_deg: float
) -> None:
    """Whole cloth, cloth of which a corner or both were cut off, and cloth with arms, its stripes either way: none of
    it is a ruler."""
    picture = _picture(print_, cloth, turn_deg)
    assert not overhanging(picture, _outlines(picture), ())


def test_a_border_left_where_a_strip_was_cut_along_it_is_cloth() -> None:
    """Of a cloth with a wide stripe of one colour along its rim half of that stripe was cut off: the other half is
    cloth, though it ends in one straight step of colour, as a ruler does."""
    wide = StripePrint(across=Stripes(widths_mm=(30.0, 200.0), colours=("#cea83c", "#38507a")))
    cloth = ((80.0, 60.0), (155.0, 60.0), (155.0, 90.0), (230.0, 90.0), (230.0, 180.0), (80.0, 180.0))
    picture = flat(wide, width_mm=300.0, height_mm=220.0, px_per_mm=3.0, turn_deg=90.0)
    rows = (picture.rgb[:, 400].astype(int) - picture.rgb[300, 400].astype(int)).sum(axis=1)
    assert np.ptp(rows) > 30  # the stripe lies along the rim below
    step = int(np.flatnonzero(np.abs(np.diff(cv2.blur(rows.astype(np.float64)[:, None], (1, 5))[:, 0])) > 8)[0])
    moved = np.roll(picture.rgb, 270 - step, axis=0)
    inside = np.zeros(picture.valid.shape, np.uint8)
    cv2.fillPoly(inside, [_px(cloth, picture)], 1)
    picture.rgb[:] = np.where(inside[..., None] > 0, moved, np.array(_TABLE, np.uint8))
    assert not overhanging(picture, _outlines(picture), ())


def test_a_tape_from_border_to_border_over_the_rim_is_no_part_of_the_cloth() -> None:
    """A tape that was not read lies over the lower edge of a cloth with dots, and goes on to both borders: what
    stands out from the table has not the shape of cloth, but has it without the tape: its repeats are the maker's."""
    photograph = shoot(draw(98423).shot)
    found = measure_photo(photo_of(photograph)).measurement.main.print
    assert found is not None
    assert found.across is not None
    assert found.along is not None
    repeats_mm = photograph.truth.across_mm, photograph.truth.along_mm
    assert (found.across.value, found.along.value) == pytest.approx(repeats_mm, rel=0.01)
