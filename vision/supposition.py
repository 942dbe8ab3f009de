"""Cloth supposed to fill the picture where none stands out from what it lies on, or but a corner of the table.

Stripes that fan out or crowd, because the reference left a rest of the camera's tilt or of the lens, are not one
sequence from border to border, and so pass for nothing that is known. Stripes that level the plane are evenly spaced
once it is level: if those then explain the picture all over, it is all cloth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.cloth import ClothRegion, picture_of_cloth
from vision.covering import covered_mask, grown
from vision.filling import mostly_striped, striped_all_over
from vision.level import level, needs_levelling
from vision.plane import Plane
from vision.square import SquareOn
from vision.swatch import Doubles, Mask

#: Of a table that cloth leaves free at the picture's border at most this share of the picture shows. Cloth that the
#: border cuts off so that no more of it shows is hardly ever what is photographed (practice).
CORNER_SHARE = 0.05


def or_supposed(
    found: tuple[ClothRegion, ...],
    plane: Plane,
    square: SquareOn,
    rgb: NDArray[np.uint8],
    covered_mm: Sequence[Doubles],
) -> tuple[ClothRegion, ...]:
    """The cloths found in a square-on picture of the photo ``rgb`` (H, W, 3); where there are none, or nothing but what
    may be corners of a table, the cloth that is supposed to fill the rest, if its stripes do."""
    if sum(float(region.mask.mean()) for region in found) > CORNER_SHARE or not all(one.touches_frame for one in found):
        return found
    corners = [np.asarray(region.outline_mm, dtype=np.float64) for region in found]
    return supposed_cloth(plane, square, rgb, covered_mm, corners) or found


def supposed_cloth(
    plane: Plane,
    square: SquareOn,
    rgb: NDArray[np.uint8],
    covered_mm: Sequence[Doubles],
    table_mm: Sequence[Doubles] = (),
) -> tuple[ClothRegion, ...]:
    """The cloth that fills a square-on picture of the photo ``rgb`` (H, W, 3), if its own stripes are level all over
    it in the plane that they level; none otherwise. ``covered_mm``: polygons (K, 2) of what lies on it, ``table_mm`` of
    where it is not.

    Only whether there is cloth is told so: the plane itself stays as it is.
    """
    else_mm = (*covered_mm, *table_mm)
    seen = _uncovered(square, else_mm)
    if not mostly_striped(square.rgb, seen, square.px_per_mm):
        return ()
    open_tilt = needs_levelling(plane, _middle_mm(square))
    levelled = level(plane, square, seen, rgb, open_tilt=open_tilt)
    if levelled is plane:
        return ()
    fresh = levelled.square_on(rgb, px_per_mm=square.px_per_mm)
    there = [levelled.to_mm(plane.to_px(polygon)) for polygon in else_mm]
    if not striped_all_over(fresh.rgb, _uncovered(fresh, there), fresh.px_per_mm):
        return ()
    shape = square.valid.shape
    rest = replace(square, valid=square.valid & ~covered_mask(square, table_mm, 1.0, shape))
    return (picture_of_cloth(rest, covered_mask(square, covered_mm, 1.0, shape)),)


def _uncovered(square: SquareOn, covered_mm: Sequence[Doubles]) -> Mask:
    """Where (H, W) the picture shows what lies below, neither what covers it nor its shadow."""
    return np.asarray(square.valid & ~covered_mask(square, [*map(grown, covered_mm)], 1.0, square.valid.shape))


def _middle_mm(square: SquareOn) -> Doubles:
    height, width = square.valid.shape
    return np.asarray(square.origin_mm) + np.array([width - 1, height - 1]) / 2 / square.px_per_mm
