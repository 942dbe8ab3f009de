"""Rulers that nobody could read, right across the cloth: they are no part of it; the arms of a cloth are."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely

from tests.makers.cloth import AnyPrint, CheckPrint, StripePrint, Stripes
from tests.vision.laid import PX_PER_MM, laid
from vision.cloth import find_cloths
from vision.crossing import crossing, widened
from vision.square import SquareOn

_STRIPES = StripePrint(across=Stripes(widths_mm=(14.0, 9.0, 5.0), colours=("#7a2233", "#d8c9a8", "#38507a")))
_CHECK = CheckPrint(
    across=Stripes(widths_mm=(14.0, 9.0), colours=("#7a2233", "#d8c9a8")),
    along=Stripes(widths_mm=(11.0, 9.0), colours=("#7a2233", "#d8c9a8")),
)
_CLOTH = ((-60.0, -90.0), (60.0, -90.0), (60.0, 90.0), (-60.0, 90.0))


def _picture(print_: AnyPrint, cloth: tuple[tuple[float, float], ...], turn_deg: float = 0.0) -> SquareOn:
    """Cloth of an outline, mm, on the makers' table, its print turned."""
    square, turn = laid(), np.radians(turn_deg)
    ys, xs = np.mgrid[: square.rgb.shape[0], : square.rgb.shape[1]] / PX_PER_MM
    u, v = xs * np.cos(turn) - ys * np.sin(turn), xs * np.sin(turn) + ys * np.cos(turn)
    light = print_.light(u.astype(np.float32), v.astype(np.float32), 1 / PX_PER_MM)
    inside = np.zeros(square.valid.shape, np.uint8)
    cv2.fillPoly(inside, [_px(cloth, square)], 1)
    shown = np.clip(255 * np.sqrt(light), 0, 255).astype(np.uint8)
    square.rgb[:] = cv2.GaussianBlur(np.where(inside[..., None] > 0, shown, square.rgb), (0, 0), 0.7)
    return square


def _px(points_mm: tuple[tuple[float, float], ...] | np.ndarray, square: SquareOn) -> np.ndarray:
    return np.rint((np.asarray(points_mm) - square.origin_mm) * PX_PER_MM).astype(np.int32)


def _lay(square: SquareOn, bar: np.ndarray, clear: float) -> None:
    """A ruler with ticks that crowd along one side, laid on the picture: so much of what is below shines through."""
    body, ticks = np.zeros(square.valid.shape, np.uint8), np.zeros(square.valid.shape, np.uint8)
    cv2.fillPoly(body, [_px(bar, square)], 1)
    along, down = bar[1] - bar[0], bar[3] - bar[0]
    for share in np.linspace(0.02, 0.98, 150):
        start = bar[0] + share * along
        cv2.line(ticks, *_px(np.array([start, start + 0.25 * down]), square).tolist(), 1)
    glass = np.where(ticks[..., None] > 0, np.array([30.0, 30.0, 30.0]), np.array([150.0, 170.0, 160.0]))
    laid_on = clear * square.rgb + (1 - clear) * glass
    square.rgb[body > 0] = cv2.GaussianBlur(laid_on, (0, 0), 0.6)[body > 0].astype(np.uint8)


@pytest.mark.parametrize("print_", [_STRIPES, _CHECK])
@pytest.mark.parametrize("clear", [0.0, 0.3])
def test_a_ruler_across_the_cloth_is_no_part_of_it(print_: AnyPrint, clear: float) -> None:
    """A ruler, clear or not, lies across striped or checked cloth and is found with it: its rectangle is given to three
    millimetres, and what is then found is the cloth, to 3 % of its area."""
    square = _picture(print_, _CLOTH)
    bar = cv2.boxPoints(((5.0, -10.0), (220.0, 30.0), 8.0)).astype(np.float64)
    bar = bar if np.hypot(*(bar[1] - bar[0])) > 100 else np.roll(bar, 1, axis=0)
    _lay(square, bar, clear)
    found = [np.asarray(cloth.outline_mm) for cloth in find_cloths(square, ragged=True)]
    (ruler,) = crossing(square, found, ())
    assert shapely.Polygon(ruler).buffer(3.0).covers(shapely.Polygon(bar))
    assert shapely.Polygon(bar).buffer(3.0).covers(shapely.Polygon(ruler))
    (whole,) = find_cloths(square, covered_mm=(ruler,))
    cloth = shapely.Polygon(_CLOTH)
    assert shapely.Polygon(whole.outline_mm).symmetric_difference(cloth).area < 0.03 * cloth.area


@pytest.mark.parametrize("known", [0.4, 1.0])
def test_of_a_clear_ruler_across_the_cloth_all_is_covered(known: float) -> None:
    """Of a clear ruler across striped cloth the part with its ticks is known, or all of it: it is taken as it is to
    three millimetres, and one that is known whole is left as it was."""
    square = _picture(_STRIPES, _CLOTH)
    bar = cv2.boxPoints(((5.0, -10.0), (220.0, 30.0), 8.0)).astype(np.float64)
    bar = bar if np.hypot(*(bar[1] - bar[0])) > 100 else np.roll(bar, 1, axis=0)
    _lay(square, bar, 0.3)
    part = np.array([bar[0], bar[1], bar[1] + known * (bar[2] - bar[1]), bar[0] + known * (bar[3] - bar[0])])
    found = [np.asarray(cloth.outline_mm) for cloth in find_cloths(square, covered_mm=(part,), ragged=True)]
    (ruler,) = widened(square, found, (part,))
    assert (ruler is part) == (known == 1.0)
    assert shapely.Polygon(ruler).buffer(3.0).covers(shapely.Polygon(bar))
    assert shapely.Polygon(bar).buffer(3.0).covers(shapely.Polygon(ruler))


@pytest.mark.parametrize("print_", [_STRIPES, _CHECK])
@pytest.mark.parametrize("turn_deg", [0.0, 90.0])
@pytest.mark.parametrize("top", range(-25, -10, 2))
def test_arms_of_a_cloth_are_cloth(print_: AnyPrint, turn_deg: float, top: int) -> None:
    """A cloth with an arm on either side, wherever in its print their sides lie, has no ruler across it."""
    arms = ((-90.0, top), (-60.0, top), *_CLOTH[:2], (60.0, top), (90.0, top), (90.0, top + 28.0), (60.0, top + 28.0),
            *_CLOTH[2:], (-60.0, top + 28.0), (-90.0, top + 28.0))  # fmt: skip
    square = _picture(print_, arms, turn_deg)
    found = [np.asarray(cloth.outline_mm) for cloth in find_cloths(square, ragged=True)]
    assert not crossing(square, found, ())
