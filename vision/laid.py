"""What lies on cloth that fills the picture and was taken for cloth on a table: a ruler or tape that was not read."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision.covering import SLENDER
from vision.filling import striped_all_over
from vision.square import SquareOn
from vision.swatch import Doubles, Mask

#: Rulers and tapes are so many times longer than wide or more (SLENDER) and, all together, hide no more of the picture
#: than this: what is left of it must show its stripes.
_MOST_SHARE = 0.4
#: So much is left out round them, mm: shadows, and what the outline leaves ragged.
_ROOM_MM = 5.0
#: No ruler or tape is wider, mm (practice).
_WIDEST_MM = 60.0


def laid_on_stripes(
    square: SquareOn, found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]
) -> tuple[Doubles, ...]:
    """Rectangles (4, 2) over what was found (polygons), where it is slender and all the rest of the picture shows one
    print of stripes or checks, as no table does; none otherwise. ``covered_mm`` are polygons of what was read."""
    boxes = [cv2.minAreaRect(outline.astype(np.float32)) for outline in found_mm]
    sides = [sorted(size) for _, size, _ in boxes]
    if not boxes or any(short > _WIDEST_MM or long < SLENDER * short for short, long in sides):
        return ()
    grown = tuple(
        np.asarray(cv2.boxPoints((middle, (size[0] + 2 * _ROOM_MM, size[1] + 2 * _ROOM_MM), turn)), dtype=np.float64)
        for middle, size, turn in boxes
    )
    rest = _rest(square, (*covered_mm, *grown))
    if rest.sum() < (1 - _MOST_SHARE) * square.valid.sum():
        return ()
    return grown if striped_all_over(square.rgb, rest, square.px_per_mm) else ()


def _rest(square: SquareOn, polygons_mm: Sequence[Doubles]) -> Mask:
    """What of the picture (H, W) lies below none of some polygons."""
    free = square.valid.astype(np.uint8)
    for polygon in polygons_mm:
        corners = (polygon - np.asarray(square.origin_mm)) * square.px_per_mm
        cv2.fillPoly(free, [np.rint(corners).astype(np.int32)], 0)
    return np.asarray(free > 0)
