"""Where the cloth is: what differs from the table, its outline and holes in mm, its straight edges."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.colour import srgb_to_lab
from vision.corner import with_corners
from vision.covering import cloth_below, covered_mask
from vision.edge import ClothEdge, sharpened, straight_edges
from vision.filling import patterned_all_over, striped_all_over
from vision.measurement import Point
from vision.square import SquareOn
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask
from vision.table import SURELY_ELSE, Table, candidates

#: Pixels at which table and cloth are told apart; the outline is then sharpened on the picture itself (time).
_WORK_PIXELS = 6.0e5
#: Smaller than this share of the picture, or mm², or narrower than this, mm, is no cloth but dust, a pin, a thread.
LEAST_SHARE = 0.012
LEAST_AREA_MM2 = 900.0
LEAST_WIDTH_MM = 9.0
#: A hole is at least so large, mm²: smaller ones are spots of the table's colour in the print.
LEAST_HOLE_MM2 = 150.0
#: The outline is simplified by at most so much, mm; with the blur of the edge it makes up its uncertainty.
SIMPLIFY_MM = 0.6
_EDGE_U95_PX = 0.8
_CLOSE_MM = 2.5
#: More pieces than this are a print's, not remnants laid out side by side; up to the fewer there is no doubt.
_MOST_BLOBS, _FEW_BLOBS = 14, 3
#: Bars are joined whose ends agree within this share of their length, over a gap of so many widths or mm; more bars
#: than this are specks.
_FLUSH_SHARE, _GAP_WIDTHS, _GAP_MM, _MOST_BARS = 0.06, 2.5, 25.0, 60
#: A table is seen on at least some of the picture.
_MOST_SHARE = 0.97
#: A cloth's area over its hull's: cut-out necks and corners leave it above this (practice).
_LEAST_SOLIDITY = 0.82


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClothRegion:
    """One cloth. ``mask`` (H, W) on the picture it was found in, without what covers it; the outline and holes in mm
    in the plane; its straight edges, longest first; whether the picture's border cuts it off."""

    mask: Mask
    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...]
    u95_mm: float
    edges: tuple[ClothEdge, ...]
    touches_frame: bool

    @property
    def area_mm2(self) -> float:
        """Area within the outline, holes taken off."""
        return _area(self.outline_mm) - sum(_area(hole) for hole in self.holes_mm)


def find_cloths(square: SquareOn, *, covered_mm: Sequence[Doubles] = ()) -> tuple[ClothRegion, ...]:
    """The cloths in a square-on picture, largest first; empty where nothing stands out from what it lies on.

    ``covered_mm`` are polygons (K, 2) of rulers, targets and cards: cloth goes on below one that lies on cloth.
    A cloth that fills the picture is found by its print repeating from border to border.
    """
    work, scale = _reduced(square)
    covered = covered_mask(square, covered_mm, scale, work.shape[:2])
    valid = cv2.resize(square.valid.astype(np.uint8), work.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    per_mm = square.px_per_mm * scale
    tone = _soft(srgb_to_lab(work) + TONE_SHIFT, max(0.5 * per_mm, 0.8))
    usable = valid & ~covered
    def below(cloth: Mask) -> Mask:
        return cloth_below(cloth, covered, square, covered_mm, scale)

    if striped_all_over(work, usable, per_mm):
        return (_whole(square, covered),)
    found: list[_Pieces] = []
    for table in candidates(tone, usable):
        pieces = _pieces(table, usable, valid, below, per_mm)
        if pieces.plain:
            found = [pieces]
            break
        found.append(pieces)
    if not found or not found[0].plain:
        if patterned_all_over(work, usable, per_mm):
            return (_whole(square, covered),)
        found = sorted((pieces for pieces in found if pieces.possible), key=lambda pieces: -pieces.solidity)
    blobs = found[0].blobs if found else ()
    regions = [_region(square, blob, covered) for blob in blobs]
    return tuple(sorted((r for r in regions if r is not None), key=lambda r: -r.area_mm2))


def _reduced(square: SquareOn) -> tuple[np.ndarray, float]:
    height, width = square.valid.shape
    scale = min(1.0, math.sqrt(_WORK_PIXELS / (height * width)))
    if scale == 1.0:
        return square.rgb, 1.0
    size = (round(width * scale), round(height * scale))
    return cv2.resize(square.rgb, size, interpolation=cv2.INTER_AREA), size[0] / width


def _disc(radius_px: float) -> np.ndarray:
    size = 2 * max(round(radius_px), 1) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pieces:
    """What differs from a table. ``plain``: it looks like cloths on a table beyond doubt; ``possible``: it may.
    ``solidity`` is the least area of a piece over its convex hull's."""

    blobs: tuple[Mask, ...]
    plain: bool
    possible: bool
    solidity: float


def _pieces(table: Table, usable: Mask, valid: Mask, below: Callable[[Mask], Mask], per_mm: float) -> _Pieces:
    """The pieces left when a table is taken away.

    Where they run from border to border, are many, ragged, or lie all round, the "table" may be one of the colours of
    a cloth that fills the picture.
    """
    unlike = (table.unlike > SURELY_ELSE) & usable
    unlike = _closed(unlike, cv2.MORPH_CLOSE, _CLOSE_MM * per_mm) & usable
    unlike = _joined(unlike | below(unlike), per_mm)
    unlike = _closed(unlike, cv2.MORPH_OPEN, LEAST_WIDTH_MM / 2 * per_mm) & valid
    solid = _filled(unlike.astype(np.uint8), usable & (table.unlike <= SURELY_ELSE), per_mm)
    least = max(LEAST_AREA_MM2 * per_mm**2, LEAST_SHARE * float(valid.sum()))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(solid, connectivity=4)
    kept = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= least]
    blobs = tuple(np.asarray(labels == k) for k in kept)
    rim = valid & ~(_closed(valid, cv2.MORPH_ERODE, 3.0))
    sides = [_sides_reached(blob & rim, valid) for blob in blobs]
    through = sum(_opposite(s) for s in sides)
    share = sum(int(stats[k, cv2.CC_STAT_AREA]) for k in kept) / max(float(valid.sum()), 1)
    possible = bool(blobs) and through < 2 and len(blobs) <= _MOST_BLOBS and share < _MOST_SHARE
    solidity = min((_solidity(blob) for blob in blobs), default=0.0)
    plain = (
        possible
        and len(blobs) <= _FEW_BLOBS
        and not any(sides)
        and solidity >= _LEAST_SOLIDITY
    )
    return _Pieces(blobs=blobs, plain=plain, possible=possible, solidity=solidity)


def _closed(mask: Mask, operation: int, radius_px: float) -> Mask:
    """A morphological operation with a disc, the picture's border continued outwards."""
    pad = int(radius_px) + 3
    grown = np.pad(mask.astype(np.uint8), pad, mode="edge" if operation != cv2.MORPH_ERODE else "constant")
    return np.asarray(cv2.morphologyEx(grown, operation, _disc(radius_px))[pad:-pad, pad:-pad] > 0)


def _sides_reached(touch: Mask, valid: Mask) -> set[str]:
    """The borders of the picture that a piece reaches over some length, by the part of the picture they lie in."""
    ys, xs = np.nonzero(touch)
    if len(ys) < 8:
        return set()
    rows, columns = np.flatnonzero(valid.any(axis=1)), np.flatnonzero(valid.any(axis=0))
    top, left, height, width = rows[0], columns[0], np.ptp(rows) + 1, np.ptp(columns) + 1
    away = np.stack([(ys - top) / height, 1 - (xs - left) / width, 1 - (ys - top) / height, (xs - left) / width])
    nearest = away.argmin(axis=0)
    return {name for k, name in enumerate(("top", "right", "bottom", "left")) if (nearest == k).sum() >= 8}


def _opposite(sides: set[str]) -> bool:
    return {"top", "bottom"} <= sides or {"left", "right"} <= sides


def _solidity(blob: Mask) -> float:
    """A piece's area over that of its convex hull."""
    hull = cv2.convexHull(np.argwhere(blob)[:, ::-1].astype(np.int32))
    return float(blob.sum()) / max(cv2.contourArea(hull), 1.0)


def _filled(mask: np.ndarray, table: Mask, per_mm: float) -> np.ndarray:
    """Holes closed but for those that show the table over a large enough area."""
    outside = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((outside == 0).astype(np.uint8), connectivity=4)
    filled = mask.copy()
    inner = labels[1:-1, 1:-1]
    for k in range(1, count):
        if k == labels[0, 0]:
            continue
        hole = inner == k
        if stats[k, cv2.CC_STAT_AREA] < LEAST_HOLE_MM2 * per_mm**2 or table[hole].mean() < 0.7:
            filled[hole] = 1
    return filled


def _soft(tone: Floats, sigma_px: float) -> Floats:
    """The picture with its noise and weave smoothed away."""
    return np.asarray(cv2.GaussianBlur(tone, (0, 0), sigma_px), dtype=np.float32)


def _joined(mask: Mask, per_mm: float) -> Mask:
    """Bars that lie side by side with their ends in line are one cloth with a stripe of the table's colour."""
    joined = mask.astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=4)
    kept = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= LEAST_WIDTH_MM**2 * per_mm**2]
    if not 2 <= len(kept) <= _MOST_BARS:
        return mask
    hulls = [
        np.asarray(cv2.convexHull(points), dtype=np.float32).reshape(-1, 2)
        for points in (np.argwhere(labels == k)[:, ::-1].astype(np.float32) for k in kept)
    ]
    for i, bar in enumerate(hulls):
        for other in hulls[:i] + hulls[i + 1 :]:
            if _in_line(bar, other, per_mm):
                hull = cv2.convexHull(np.concatenate([bar, other])).astype(np.int32)
                cv2.fillPoly(joined, [hull], 1)
    return np.asarray(joined > 0)


def _in_line(bar: Floats, other: Floats, per_mm: float) -> bool:
    """Whether ``bar`` is long, lies beside ``other`` at no great distance, and ends where it ends."""
    _, (width, height), angle = cv2.minAreaRect(bar)
    long, short = max(width, height), min(width, height)
    if long < 2.0 * short or cv2.contourArea(bar) < 0.75 * long * short:
        return False
    turn = math.radians(angle + (0 if width >= height else 90))
    axis, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    (low, high), (low2, high2) = _reach(bar, axis), _reach(other, axis)
    if max(abs(low - low2), abs(high - high2)) > _FLUSH_SHARE * max(high - low, high2 - low2):
        return False
    (left, right), (left2, right2) = _reach(bar, across), _reach(other, across)
    gap = max(left2 - right, left - right2)
    return 0 < gap < max(_GAP_WIDTHS * short, _GAP_MM * per_mm)


def _reach(hull: Floats, axis: Doubles) -> tuple[float, float]:
    along = hull @ axis
    return float(along.min()), float(along.max())


def _region(square: SquareOn, blob: Mask, covered: Mask) -> ClothRegion | None:
    """Outline, holes and edges of one piece, sharpened on the picture itself."""
    height, width = square.valid.shape
    big = cv2.resize(blob.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR) > 0.5
    hidden = cv2.resize(covered.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    rings, family = cv2.findContours(big.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[-2:]
    if not rings:
        return None
    tone = _soft(srgb_to_lab(square.rgb) + TONE_SHIFT, 0.7)
    outer = max((k for k in range(len(rings)) if family[0][k][3] < 0), key=lambda k: cv2.contourArea(rings[k]))
    holes = [k for k in range(len(rings)) if family[0][k][3] == outer]
    contour = rings[outer].reshape(-1, 2).astype(np.float64)
    if len(contour) < 20:
        return None
    inner = _closed(square.valid, cv2.MORPH_ERODE, 3.0)
    at = np.rint(contour).astype(int)
    free = inner[at[:, 1], at[:, 0]]
    seen = free & ~hidden[at[:, 1], at[:, 0]]
    sharp = np.where(seen[:, None], sharpened(tone, contour), contour)
    sharp, seen, free = with_corners(sharp, np.asarray(seen), np.asarray(free), hidden, square.px_per_mm)
    mm = np.asarray(square.origin_mm) + sharp / square.px_per_mm
    outline = _simplified(mm)
    if len(outline) < 3:
        return None
    return ClothRegion(
        mask=np.asarray(big & square.valid & ~hidden),
        outline_mm=outline,
        holes_mm=tuple(
            ring
            for ring in (
                _simplified(np.asarray(square.origin_mm) + rings[k].reshape(-1, 2) / square.px_per_mm) for k in holes
            )
            if len(ring) >= 3 and _area(ring) >= LEAST_HOLE_MM2
        ),
        u95_mm=math.hypot(_EDGE_U95_PX / square.px_per_mm, SIMPLIFY_MM),
        edges=straight_edges(mm, np.asarray(seen)),
        touches_frame=bool((~free).mean() > 0.01),
    )


def _whole(square: SquareOn, covered: Mask) -> ClothRegion:
    """The cloth that fills the picture: its outline is the picture's, none of it the cloth's own."""
    height, width = square.valid.shape
    hidden = cv2.resize(covered.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    rings = cv2.findContours(square.valid.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[-2]
    ring = max(rings, key=cv2.contourArea).reshape(-1, 2).astype(np.float64)
    return ClothRegion(
        mask=np.asarray(square.valid & ~hidden),
        outline_mm=_simplified(np.asarray(square.origin_mm) + ring / square.px_per_mm),
        holes_mm=(),
        u95_mm=math.hypot(_EDGE_U95_PX / square.px_per_mm, SIMPLIFY_MM),
        edges=(),
        touches_frame=True,
    )


def _simplified(points_mm: Doubles) -> tuple[Point, ...]:
    fine = np.rint(points_mm * 64).astype(np.int32).reshape(-1, 1, 2)
    ring = cv2.approxPolyDP(fine, SIMPLIFY_MM * 64, True).reshape(-1, 2) / 64
    return tuple((float(x), float(y)) for x, y in ring)


def _area(points: Sequence[Point]) -> float:
    ring: Floats | Doubles = np.asarray(points, dtype=np.float64)
    x, y = ring[:, 0], ring[:, 1]
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
