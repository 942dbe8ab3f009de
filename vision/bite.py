"""Bites out of a cloth's rim: what looks like the table there, and yet is cloth, because the print says so.

Where a light stripe meets the edge of a check, its squares may have the table's colour, and the table is all that is
seen there. But cloth is cut or torn straight: what lies inside the straight sides that the other stripes show, where
the print would look as the picture does, and not clearly otherwise, is cloth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cloth import ClothRegion
from vision.edge import line_through
from vision.measurement import Point, Print
from vision.plane import Plane
from vision.surround import Ground, Surround, disc, ground_of, grown, surround_of
from vision.swatch import Doubles, Mask

#: A bite is deeper than this, mm (fraying is not); it is the print's where at least this share of it is known by the
#: print, and at most this share is clearly table.
_DEEP_MM, _LEAST_KNOWN, _MOST_TABLE = 1.2, 0.6, 0.12
#: Beside a stripe's border, so near, mm, a print laid slightly askew is not what its sequences add up to.
_ASKEW_MM = 1.0
#: Sides of a cloth: bent by no more than this, mm, so long at least, mm, and this share of them seen so near, mm.
_BENT_MM, _LEAST_SIDE_MM, _LEAST_SHOWN, _NEAR_MM = 2.5, 12.0, 0.25, 1.2
#: A side is no side where what is seen of it is in pieces no longer than this, mm.
_LEAST_PIECE_MM = 4.0
#: What shows the print is wider than twice this, mm; narrower, it is noise.
_SPECK_MM = 0.8
#: Beside what may be cloth, so near, mm, the contour is not the cloth's own edge.
_BESIDE_MM = 1.5
#: Sides that turn by less than this are one side, deg.
_LEAST_TURN_DEG = 15.0
#: With what was filled the print is known better, and more may be filled.
_PASSES = 2
#: The outline is drawn anew so much finer than the surroundings are looked at.
_FINER = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mended:
    """A cloth with its bites filled, and where in mm they were: polygons, and whether the picture itself shows the
    print there (if not, only that it shows no table)."""

    region: ClothRegion
    bites_mm: tuple[Doubles, ...] = ()
    shown: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Side:
    """A straight side: a point of it and its unit vector, px."""

    middle: Doubles
    along: Doubles


def without_bites(
    plane: Plane, region: ClothRegion, print_: Print, rgb: NDArray[np.uint8], other_mm: Sequence[Doubles] = ()
) -> Mended:
    """The cloth with what of its rim was taken for the table and is its print.

    ``other_mm`` are polygons (K, 2) of what else lies in the photo ``rgb`` (H, W, 3): rulers and other cloths.
    """
    mended = Mended(region=region)
    for _ in range(_PASSES):
        region = mended.region
        outline = np.asarray(region.outline_mm, dtype=np.float64)
        holes = [np.asarray(hole, dtype=np.float64) for hole in region.holes_mm]
        ground = ground_of(plane, outline, holes, rgb, other_mm)
        surround = surround_of(ground, print_)
        sides = [] if surround is None else _sides(ground, surround)
        if surround is None or len(sides) < 3:
            break
        corners = _corners(sides)
        bites = _bites(ground, corners, surround) | _hanging_on(ground, surround)
        if not bites.any():
            break
        mended = Mended(
            region=replace(region, outline_mm=_outline(outline, corners, bites, ground)),
            bites_mm=(*mended.bites_mm, *_rings(bites, ground)),
            shown=mended.shown and bool((surround.like & bites).sum() >= bites.sum() / 2),
        )
    return mended


def _sides(ground: Ground, surround: Surround) -> list[_Side]:
    """The straight sides of the hull along which the cloth's own edge is seen, in order round it."""
    per_mm = ground.square.px_per_mm
    contour = _contour(ground.cloth)
    shown = cv2.findNonZero(_hanging_on(ground, surround).astype(np.uint8))
    whole = contour if shown is None else np.concatenate([contour, shown.reshape(-1, 2).astype(np.float64)])
    maybe = _opened(surround.known & ~surround.table, _SPECK_MM * per_mm)
    at = contour.astype(int)
    own = contour[~grown(maybe, _BESIDE_MM * per_mm)[at[:, 1], at[:, 0]]]
    hull = cv2.convexHull(whole.astype(np.float32))
    corners = cv2.approxPolyDP(hull, _BENT_MM * per_mm, True).reshape(-1, 2).astype(np.float64)
    sides = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if math.dist(start, end) >= _LEAST_SIDE_MM * per_mm:
            side = _side(own, start, end, per_mm)
            sides.extend([side] if side is not None else [])
    return sides


def _side(own: Doubles, start: Doubles, end: Doubles, per_mm: float) -> _Side | None:
    """The line along which the cloth's own edge (N, 2) is seen between two corners; None where too little of it is."""
    length = math.dist(start, end)
    unit = (end - start) / length
    place, off = (own - start) @ unit, (own - start) @ np.array([-unit[1], unit[0]])
    near = own[(np.abs(off) < _BENT_MM * per_mm) & (place > 0) & (place < length)]
    if len(near) < _LEAST_PIECE_MM * per_mm:
        return None
    middle, along, rest = line_through(near)
    along = along if along @ unit > 0 else -along
    on = (near - start)[np.abs(rest) < _NEAR_MM * per_mm] @ unit
    pieces = np.bincount(np.clip(on / (_LEAST_PIECE_MM * per_mm), 0, None).astype(int))
    seen = float((pieces >= _LEAST_PIECE_MM * per_mm / 2).sum()) * _LEAST_PIECE_MM * per_mm
    return _Side(middle=middle, along=along) if seen >= _LEAST_SHOWN * length else None


def _corners(sides: list[_Side]) -> Doubles:
    """The corners (N, 2), px, in which sides meet; where two are one, the place between them."""
    found = []
    for one, two in zip(sides, [*sides[1:], sides[0]], strict=True):
        cross = float(one.along[0] * two.along[1] - one.along[1] * two.along[0])
        if abs(cross) < math.sin(math.radians(_LEAST_TURN_DEG)):
            found.append((one.middle + two.middle) / 2)
        else:
            step = two.middle - one.middle
            found.append(one.middle + float(step[0] * two.along[1] - step[1] * two.along[0]) / cross * one.along)
    return np.array(found)


def _bites(ground: Ground, corners: Doubles, surround: Surround) -> Mask:
    """What (H, W) lies inside the sides, is no cloth yet, and by its print may well be."""
    per_mm = ground.square.px_per_mm
    left = _drawn(corners, ground.cloth.shape) & ~ground.cloth & ground.free
    deep = _opened(left, _DEEP_MM / 2 * per_mm)
    table = _opened(surround.table, _ASKEW_MM * per_mm)
    bites = np.zeros_like(left)
    count, labels = cv2.connectedComponents(left.astype(np.uint8), connectivity=4)
    for k in range(1, count):
        bite = np.asarray(labels == k)
        middle = bite & deep
        if not middle.any():
            continue
        if surround.known[middle].mean() >= _LEAST_KNOWN and table[middle].mean() <= _MOST_TABLE:
            bites |= bite
    return bites


def _hanging_on(ground: Ground, surround: Surround) -> Mask:
    """What (H, W) shows the print and hangs on the cloth."""
    per_mm = ground.square.px_per_mm
    count, labels = cv2.connectedComponents(_opened(surround.like, _SPECK_MM * per_mm).astype(np.uint8), connectivity=4)
    touched = np.bincount(labels[grown(ground.cloth, _BESIDE_MM * per_mm)], minlength=count) > 0
    touched[0] = False
    return np.asarray(touched[labels])


def _outline(outline_mm: Doubles, corners: Doubles, bites: Mask, ground: Ground) -> tuple[Point, ...]:
    """The outline with the bites, elsewhere as it was, drawn anew."""
    square = ground.square
    shape = (bites.shape[0] * _FINER, bites.shape[1] * _FINER)
    middle = (_FINER - 1) / 2
    near = cv2.resize(grown(bites, 1.0).astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    old = (outline_mm - np.asarray(square.origin_mm)) * square.px_per_mm
    shown = cv2.resize(bites.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    whole = _drawn(old * _FINER + middle, shape) | (_drawn(corners * _FINER + middle, shape) & near) | shown
    whole = np.asarray(cv2.morphologyEx(whole.astype(np.uint8), cv2.MORPH_CLOSE, disc(_FINER)) > 0)
    ring = (_contour(whole) - middle) / (_FINER * square.px_per_mm) + np.asarray(square.origin_mm)
    return tuple((float(x), float(y)) for x, y in ring)


def _rings(mask: Mask, ground: Ground) -> tuple[Doubles, ...]:
    """The outlines of the parts of a mask (H, W), mm."""
    rings = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[-2]
    origin, per_mm = np.asarray(ground.square.origin_mm), ground.square.px_per_mm
    return tuple(origin + np.asarray(ring, dtype=np.float64).reshape(-1, 2) / per_mm for ring in rings)


def _drawn(corners: Doubles, shape: tuple[int, ...]) -> Mask:
    """The inside (H, W) of a polygon (N, 2), px."""
    drawn = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(drawn, [np.rint(np.clip(corners, -1e4, 1e4) * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return np.asarray(drawn > 0)


def _contour(mask: Mask) -> Doubles:
    """The longest outer contour (N, 2), px; none of nothing."""
    rings = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[-2]
    points = [np.asarray(ring, dtype=np.float64).reshape(-1, 2) for ring in rings]
    return max(points, key=len, default=np.zeros((0, 2)))


def _opened(mask: Mask, radius_px: float) -> Mask:
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, disc(radius_px)) > 0)
