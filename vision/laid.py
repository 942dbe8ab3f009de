"""What lies on cloth that fills the picture and was taken for cloth on a table: a ruler or tape that was not read."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.covering import SLENDER
from vision.filling import striped_all_over
from vision.square import SquareOn
from vision.swatch import Doubles, Floats, Mask

#: Rulers and tapes, however they curve, are so many times longer than wide or more (SLENDER) and, all together, hide
#: no more of the picture than this: what is left of it must show its stripes.
_MOST_SHARE = 0.4
#: So much is left out round them, mm: shadows, and what the outline leaves ragged.
_ROOM_MM = 5.0
#: No ruler or tape is wider, mm (practice).
_WIDEST_MM = 60.0
#: A tape whose rectangle is so many times wider than it is itself lies in a curve, and is covered length by length, of
#: which none longer than so many times its width is left in a curve.
_CURVES, _LEAST_LENGTHS = 1.3, 2.0


def laid_on_stripes(
    square: SquareOn, found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]
) -> tuple[Doubles, ...]:
    """Rectangles (4, 2) over what was found (polygons), where it is slender and all the rest of the picture shows one
    print of stripes or checks, as no table does; none otherwise. ``covered_mm`` are polygons of what was read."""
    if not found_mm or not all(_slender(outline) for outline in found_mm):
        return ()
    grown = tuple(box for outline in found_mm for box in _lengths(_points(outline), _width_mm(outline)))
    rest = _rest(square, (*covered_mm, *grown))
    if rest.sum() < (1 - _MOST_SHARE) * square.valid.sum():
        return ()
    return grown if striped_all_over(square.rgb, rest, square.px_per_mm) else ()


def _slender(outline: Doubles) -> bool:
    """Whether what a polygon (N, 2), mm, holds is nowhere wider than a ruler, and much longer than wide, along whatever
    curve it lies."""
    width, area = _width_mm(outline), cv2.contourArea(outline.astype(np.float32))
    return width <= _WIDEST_MM and area >= SLENDER * width**2


def _width_mm(outline: Doubles) -> float:
    """How wide a polygon (N, 2), mm, is at its widest place."""
    return 2 * float(cv2.distanceTransform(np.pad(_inside(outline)[0], 1), cv2.DIST_L2, 5).max())


def _inside(outline: Doubles) -> tuple[NDArray[np.uint8], Doubles]:
    """What a polygon (N, 2), mm, holds: a pixel (H, W) every millimetre, and where the first of them lies (2,)."""
    low = np.floor(outline.min(axis=0))
    columns, rows = np.ceil(outline.max(axis=0) - low).astype(int) + 1
    inside = np.zeros((rows, columns), np.uint8)
    cv2.fillPoly(inside, [np.rint(outline - low).astype(np.int32)], 1)
    return inside, low


def _points(outline: Doubles) -> Floats:
    """Places (N, 2), mm, all over a polygon (N, 2), its own corners with them."""
    inside, low = _inside(outline)
    return np.concatenate([np.argwhere(inside)[:, ::-1] + low, outline]).astype(np.float32)


def _lengths(points: Floats, width: float) -> list[Doubles]:
    """Rectangles (4, 2) over a ruler's or tape's points (N, 2), with room: one, or those of its halves if it curves."""
    middle, size, turn = cv2.minAreaRect(points)
    if min(size) <= _CURVES * width or max(size) <= _LEAST_LENGTHS * width:
        sides = (size[0] + 2 * _ROOM_MM, size[1] + 2 * _ROOM_MM)
        return [np.asarray(cv2.boxPoints((middle, sides, turn)), dtype=np.float64)]
    angle = math.radians(turn if size[0] >= size[1] else turn + 90)
    first = (points - np.asarray(middle)) @ np.array([math.cos(angle), math.sin(angle)]) < 0
    return [box for half in (points[first], points[~first]) for box in _lengths(half, width)]


def _rest(square: SquareOn, polygons_mm: Sequence[Doubles]) -> Mask:
    """What of the picture (H, W) lies below none of some polygons."""
    free = square.valid.astype(np.uint8)
    for polygon in polygons_mm:
        corners = (polygon - np.asarray(square.origin_mm)) * square.px_per_mm
        cv2.fillPoly(free, [np.rint(corners).astype(np.int32)], 0)
    return np.asarray(free > 0)
