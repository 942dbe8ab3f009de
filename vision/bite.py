"""Bites out of a cloth's rim: what looks like the table there, and yet is cloth, because the print says so.

Where a light stripe meets the edge of a check, its squares may have the table's colour, and the table is all that is
seen there. But cloth is cut or torn straight: what lies inside the straight sides that the other stripes show, where
the print would look as the picture does, and not clearly otherwise, is cloth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

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
_DEEP_MM, _LEAST_KNOWN, _MOST_TABLE = 1.2, 0.6, 0.25
#: A dent or bump in a straight side no deeper than this, mm, is believed only where at least so much of it clearly
#: shows the table's colour, or the cloth's; a deeper one is no cloth where at least the second share shows the table's.
_DENT_MM, _MOST_BARE, _LEAST_BARE = 5.0, 0.3, 0.6
#: Beside a stripe's border, so near, mm, a print laid slightly askew is not what its sequences add up to.
_ASKEW_MM = 1.0
#: The picture tells that a bite is cloth where at least this share of it shows the print or the cloth's colours.
_LEAST_TOLD = 0.25
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
#: Sides that turn by more than this meet in a corner, deg.
_CORNER_DEG = 40.0
#: The outline is drawn anew so much finer than the surroundings are looked at.
_FINER = 3

Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mended:
    """A cloth with its bites filled, and where in mm they were: polygons. ``unsure_mm`` is how deep the deepest was in
    which the picture tells neither print nor table, so that only the straight sides say that it is cloth."""

    region: ClothRegion
    bites_mm: tuple[Doubles, ...] = ()
    unsure_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Side:
    """A straight side: a point of it and its unit vector, px."""

    middle: Doubles
    along: Doubles


def without_bites(
    plane: Plane, region: ClothRegion, print_: Print | None, rgb: NDArray[np.uint8], other_mm: Sequence[Doubles] = ()
) -> Mended:
    """The cloth with what of its rim was taken for the table, and without what of the table was taken for cloth.

    ``other_mm`` are polygons (K, 2) of what else lies in the photo ``rgb`` (H, W, 3): rulers and other cloths.
    """
    mended = Mended(region=region)
    if not region.edges and (region.touches_frame or region.doubt_mm):  # the sides of its motifs are not the cloth's
        return mended
    ground: Ground | None = None
    for _ in range(_PASSES):
        region = mended.region
        outline = np.asarray(region.outline_mm, dtype=np.float64)
        holes = [np.asarray(hole, dtype=np.float64) for hole in region.holes_mm]
        ground = (ground and ground.redrawn(outline)) or ground_of(plane, outline, holes, rgb, other_mm)
        surround = surround_of(ground, print_)
        shown = _hanging_on(ground, surround)
        sides = _sides(ground, surround, shown)
        bites, bumps, unsure = shown, np.zeros_like(shown), 0.0
        if len(sides) >= 3:
            within = _drawn(_corners(sides), ground.cloth.shape)
            filled, unsure = _bites(ground, within, surround)
            bites = bites | filled
            bumps = _bumps(ground, within, surround)
        if not (bites | bumps).any():
            break
        corners = _corners(sides) if len(sides) >= 3 else None
        mended = Mended(
            region=replace(region, outline_mm=_outline(outline, corners, bites, bumps, ground)),
            bites_mm=(*mended.bites_mm, *_rings(bites | bumps, ground)),
            unsure_mm=max(mended.unsure_mm, unsure),
        )
    return mended


def _sides(ground: Ground, surround: Surround, shown: Mask) -> list[_Side]:
    """The straight sides in order round the cloth: the hull's, laid through the cloth's own edge where that is seen."""
    per_mm = ground.square.px_per_mm
    contour = _contour(ground.cloth)
    more = cv2.findNonZero(shown.astype(np.uint8))
    whole = contour if more is None else np.concatenate([contour, more.reshape(-1, 2).astype(np.float64)])
    maybe = _opened(surround.known & ~surround.table, _SPECK_MM * per_mm)
    at = contour.astype(int)
    own = contour[~grown(maybe, _BESIDE_MM * per_mm)[at[:, 1], at[:, 0]]]
    hull = cv2.convexHull(whole.astype(np.float32))
    corners = cv2.approxPolyDP(hull, _BENT_MM * per_mm, True).reshape(-1, 2).astype(np.float64)
    ends = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
    found = [_side(own, start, end, per_mm) for start, end in ends]
    return [
        side if side is not None else _Side(middle=(start + end) / 2, along=(end - start) / math.dist(start, end))
        for k, ((start, end), side) in enumerate(zip(ends, found, strict=True))
        if side is not None or not _cuts_a_corner(found, k)
    ]


def _cuts_a_corner(sides: list[_Side | None], k: int) -> bool:
    """Whether the sides before and after one that is not seen meet in a corner, so that there is none between them."""
    seen = [side for side in (*sides[k:], *sides[:k]) if side is not None]
    if len(seen) < 2:
        return False
    turn = float(seen[-1].along[0] * seen[0].along[1] - seen[-1].along[1] * seen[0].along[0])
    return abs(turn) >= math.sin(math.radians(_CORNER_DEG))


def _side(own: Doubles, start: Doubles, end: Doubles, per_mm: float) -> _Side | None:
    """The line along which the cloth's own edge (N, 2) is seen between two corners; None where too little of it is."""
    length = math.dist(start, end)
    if length < _LEAST_SIDE_MM * per_mm:
        return None
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


def _bites(ground: Ground, within: Mask, surround: Surround) -> tuple[Mask, float]:
    """What (H, W) lies inside the sides, is no cloth yet, and may well be: by its print, or, where it is no deeper than
    a dent, by its colours; and how deep it is, mm, where the picture leaves that open."""
    per_mm = ground.square.px_per_mm
    left = within & ~ground.cloth & ground.free
    table = _opened(surround.table, _ASKEW_MM * per_mm)
    depth = cv2.distanceTransform(within.astype(np.uint8), cv2.DIST_L2, 3) / per_mm
    known, bare = surround.known.ravel(), surround.bare.ravel()
    like, coloured, table = surround.like.ravel(), surround.coloured.ravel(), table.ravel()
    bites, unsure = np.zeros(left.size, bool), 0.0
    for bite, middle, deep in _parts(left, depth):
        printed = known[middle].mean() >= _LEAST_KNOWN and table[middle].mean() <= _MOST_TABLE
        if printed or (deep <= _DENT_MM and bare[middle].mean() <= _MOST_BARE):
            bites[bite] = True
            told = max(like[middle].mean(), coloured[middle].mean())
            unsure = max(unsure, deep if told < _LEAST_TOLD else 0.0)
    return bites.reshape(left.shape), unsure


def _bumps(ground: Ground, within: Mask, surround: Surround) -> Mask:
    """What (H, W) of the cloth lies outside the sides and is the table's by its colours."""
    depth = cv2.distanceTransform(1 - within.astype(np.uint8), cv2.DIST_L2, 3) / ground.square.px_per_mm
    bare, coloured = surround.bare.ravel(), surround.coloured.ravel()
    bumps = np.zeros(within.size, bool)
    for bump, middle, deep in _parts(ground.cloth & ~within, depth):
        if bare[middle].mean() >= _LEAST_BARE or (deep <= _DENT_MM and coloured[middle].mean() <= _MOST_BARE):
            bumps[bump] = True
    return bumps.reshape(within.shape)


def _parts(mask: Mask, depth: NDArray[Any]) -> list[tuple[Places, Places, float]]:
    """The parts of a mask (H, W) that are deeper than fraying, each with its middle and its depth, mm: places counted
    row by row."""
    labels = np.asarray(cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)[1]).ravel()
    core = np.ravel(cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)
    places = np.flatnonzero(mask)
    places = places[np.argsort(labels[places], kind="stable")]
    found = []
    for part in np.split(places, np.flatnonzero(np.diff(labels[places])) + 1):
        deepest = float(np.max(depth.ravel()[part], initial=0.0))
        if deepest >= _DEEP_MM:
            middle = part[core[part]]
            found.append((part, middle if len(middle) else part, deepest))
    return found


def _hanging_on(ground: Ground, surround: Surround) -> Mask:
    """What (H, W) shows the print and hangs on the cloth."""
    per_mm = ground.square.px_per_mm
    count, labels = cv2.connectedComponents(_opened(surround.like, _SPECK_MM * per_mm).astype(np.uint8), connectivity=4)
    touched = np.bincount(labels[grown(ground.cloth, _BESIDE_MM * per_mm)], minlength=count) > 0
    touched[0] = False
    return np.asarray(touched[labels])


def _outline(
    outline_mm: Doubles, corners: Doubles | None, bites: Mask, bumps: Mask, ground: Ground
) -> tuple[Point, ...]:
    """The outline with the bites and without the bumps, elsewhere as it was, drawn anew."""
    square = ground.square
    shape = (bites.shape[0] * _FINER, bites.shape[1] * _FINER)
    middle = (_FINER - 1) / 2

    def large(mask: Mask) -> Mask:
        return np.asarray(cv2.resize(mask.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST) > 0)

    old = (outline_mm - np.asarray(square.origin_mm)) * square.px_per_mm
    whole = _drawn(old * _FINER + middle, shape) | large(bites)
    if corners is not None:
        within = _drawn(corners * _FINER + middle, shape)
        whole = (whole | (within & large(grown(bites, 1.0)))) & (within | ~large(grown(bumps, 1.0)))
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
