"""What lies on the cloth and hides it: where cloth goes on below a ruler, a target or a card."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np

from vision.square import SquareOn
from vision.swatch import Doubles, Floats, Mask

#: Rulers cast shadows about so wide, mm, and their outline is known no better.
_MARGIN_MM = 2.0
#: The shadow of a ruler and the last of its edge, mm; and how narrow and how wide rulers and tapes are (practice).
SHADOW_MM = 1.5
NARROWEST_RULER_MM = 11.0
WIDEST_RULER_MM = 35.0
#: A tape goes on where its marks can be read no more: what is found there is its tail where this share of it lies in
#: line with it, this far beside it, mm, and this near to its end, mm. Tapes are so many times longer than wide or more.
TAIL_SHARE, BESIDE_MM, NEAR_MM, SLENDER = 0.6, 3.0, 25.0, 3.0
#: The rest of a ruler of which a part only was known lies along all of that part: its ends in line with it to this, mm,
#: no farther from it than its shadow, mm, and both together no wider than rulers are, mm (practice).
_FLUSH_MM, _APART_MM, _WIDEST_MM = 6.0, 5.0, 60.0
#: What lies beside a ruler, as far as rulers are wide and at least so far, mm, and is unlike the table may be the rest
#: of the ruler, or its shadow: where at least this share of a piece lies there, its colours must be the cloth's.
_LEAST_BESIDE_MM, _SHARE_BESIDE = 9.0, 0.8
#: They are where this share of it is clearly nearer to one of the cloth's colours than to the table's (within the next
#: share of the distance), and like it within this, tone (what weave, noise and blur leave inside cloth, own scenes), or
#: within this share of how far it is from the table.
_LEAST_ALIKE, _CLEARLY, _LIKE, _NEARLY = 0.5, 0.7, 5.0, 0.3
#: So many colours are taken for the cloth's, from so many places (time); the table's is that of so much round, mm.
_COLOURS, _SAMPLES, _TABLE_MM = 8, 2000, 10.0
#: Directions across a ruler in which cloth is joined below it, degrees from square: its edges may cross at a slant.
_SLANTS_DEG = np.arange(-48.0, 48.1, 8.0)


class Box(NamedTuple):
    """A rectangle: its middle, its sides, the longer first, and unit vectors along both."""

    middle: Doubles
    long: float
    short: float
    axis: Doubles
    across: Doubles


def long_box(polygon: Doubles) -> Box:
    """The smallest rectangle round a polygon (N, 2)."""
    (x, y), (long, short), angle = cv2.minAreaRect(polygon.astype(np.float32))
    if long < short:
        long, short, angle = short, long, angle + 90
    turn = math.radians(angle)
    axis, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    return Box(np.array([x, y]), long, short, axis, across)


def covered_mask(square: SquareOn, outlines_mm: Sequence[Doubles], scale: float, shape: tuple[int, ...]) -> Mask:
    """Where (H, W) anything covers what is below, a margin for its shadow included."""
    mask = np.zeros(shape[:2], np.uint8)
    for outline in outlines_mm:
        cv2.fillPoly(mask, [np.rint(_pixels(square, outline, scale)).astype(np.int32)], 1)
    size = 2 * max(round(_MARGIN_MM * square.px_per_mm * scale), 1) + 1
    return np.asarray(cv2.dilate(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))) > 0)


def grown(polygon_mm: Doubles) -> Doubles:
    """A rectangle (4, 2) round what hides the cloth, with room for its shadow.

    No ruler is narrower than NARROWEST_RULER_MM: where less of it was found, its body may lie on either side.
    """
    middle, size, angle = cv2.minAreaRect(polygon_mm.astype(np.float32))
    room = SHADOW_MM if min(size) >= NARROWEST_RULER_MM else WIDEST_RULER_MM - min(size)
    wide = (
        size[0] + 2 * (room if size[0] <= size[1] else SHADOW_MM),
        size[1] + 2 * (room if size[1] < size[0] else SHADOW_MM),
    )
    return np.asarray(cv2.boxPoints((middle, wide, angle)), dtype=np.float64)


def tails(outlines_mm: Sequence[Doubles], found_mm: Sequence[Doubles]) -> tuple[Doubles, ...]:
    """Rectangles (4, 2) over those of what was found (polygons) that go on in line with a ruler or tape: its own ends,
    taken for cloth."""
    out = []
    for outline in outlines_mm:
        middle, long, short, axis, across = long_box(outline)
        if long < SLENDER * short:
            continue
        half = short / 2 + BESIDE_MM
        for polygon in found_mm:
            u, v = (polygon - middle) @ axis, (polygon - middle) @ across
            if max(u.min(), -u.max()) > long / 2 + NEAR_MM or _share_beside(u, v, half) < TAIL_SHARE:
                continue
            ends = [(end, side) for end, side in ((u.min(), -half), (u.max(), -half), (u.max(), half), (u.min(), half))]
            out.append(np.array([middle + end * axis + side * across for end, side in ends]))
    return tuple(out)


def with_rests(outlines_mm: Sequence[Doubles], found_mm: Sequence[Doubles]) -> tuple[Doubles, ...]:
    """What covers (polygons), each ruler with its rest: that of what was found (polygons, the cloth first) which lies
    beside it, as long as it and flush with it, as the other half of a ruler does whose scale alone was known."""
    return tuple(
        next((whole for found in found_mm[1:] if (whole := _joined(outline, found)) is not None), outline)
        for outline in outlines_mm
    )


def _joined(outline: Doubles, found: Doubles) -> Doubles | None:
    """The rectangle (4, 2) round a ruler and its rest; None where what was found is something else."""
    middle, long, short, axis, across = long_box(outline)
    u, v = (found - middle) @ axis, (found - middle) @ across
    low, high = min(float(v.min()), -short / 2), max(float(v.max()), short / 2)
    flush = max(abs(float(u.min()) + long / 2), abs(float(u.max()) - long / 2)) <= _FLUSH_MM
    beside = max(float(v.min()), -float(v.max())) <= short / 2 + _APART_MM
    if not (flush and beside and high - low <= _WIDEST_MM and long >= SLENDER * (high - low)):
        return None
    ends = ((-long / 2, low), (long / 2, low), (long / 2, high), (-long / 2, high))
    return np.array([middle + end * axis + side * across for end, side in ends])


def _share_beside(u: Doubles, v: Doubles, half: float) -> float:
    """How much of a polygon lies within ``half`` of the line v = 0."""
    low = np.array([u.min(), v.min()])
    size = np.ceil(np.array([np.ptp(u), np.ptp(v)])).astype(int) + 2
    mask = np.zeros((int(size[1]), int(size[0])), np.uint8)
    cv2.fillPoly(mask, [np.rint(np.stack([u, v], axis=1) - low).astype(np.int32)], 1)
    rows = np.arange(mask.shape[0]) + low[1]
    return float(mask[np.abs(rows) <= half].sum() / max(int(mask.sum()), 1))


def of_the_cloth(pieces: Mask, tone: Floats, table: Mask, beside: Mask, per_mm: float) -> Mask:
    """What may be cloth (H, W) without the pieces ``beside`` (H, W) what covers it that have not its colours.

    ``tone`` is the picture's (H, W, 3), ``table`` where (H, W) it shows the table.
    """
    colours = tone[pieces & ~beside]
    if len(colours) < _COLOURS:
        return pieces
    count, labels, stats, _ = cv2.connectedComponentsWithStats(pieces.astype(np.uint8), connectivity=8)
    inside = np.bincount(labels[beside], minlength=count)
    asked = [k for k in range(1, count) if inside[k] >= _SHARE_BESIDE * stats[k, cv2.CC_STAT_AREA]]
    own = main_colours(colours) if asked else colours
    kept, room = pieces.copy(), round(_TABLE_MM * per_mm)
    for k in asked:
        left, top, width, height = stats[k, :4]
        around = np.s_[max(top - room, 0) : top + height + room, max(left - room, 0) : left + width + room]
        there, bare = labels[around] == k, table[around]
        if bare.any() and not _alike(tone[around][there], own, np.median(tone[around][bare], axis=0)):
            kept[around] &= ~there
    return kept


def main_colours(tone: Floats) -> Floats:
    """The colours (K, 3) that places (N, 3) have most."""
    cv2.setRNGSeed(1)
    sample = np.ascontiguousarray(tone[:: max(len(tone) // _SAMPLES, 1)])
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 15, 0.3)
    return np.asarray(cv2.kmeans(sample, _COLOURS, np.empty(0, np.int32), criteria, 1, cv2.KMEANS_PP_CENTERS)[2])


def _alike(seen: Floats, own: Floats, table: Floats) -> bool:
    """Whether most places (N, 3) are like one of the cloth's ``own`` colours (K, 3), and not like the table's (3,)."""
    off = np.linalg.norm(seen - table, axis=1)
    away = np.linalg.norm(seen[:, None] - own, axis=2).min(axis=1)
    return bool(((away < _CLEARLY * off) & (away < np.maximum(_LIKE, _NEARLY * off))).mean() >= _LEAST_ALIKE)


def beside_mask(square: SquareOn, outlines_mm: Sequence[Doubles], scale: float, shape: tuple[int, ...]) -> Mask:
    """Where (H, W) more of the rulers may lie of which these (polygons) are what was found, or their shadows."""
    wider = []
    for outline in outlines_mm:
        middle, size, angle = cv2.minAreaRect(outline.astype(np.float32))
        room = 2 * max(WIDEST_RULER_MM - min(size), _LEAST_BESIDE_MM)
        box = cv2.boxPoints((middle, (size[0] + room, size[1] + room), angle))
        wider.append(np.asarray(box, dtype=np.float64))
    return covered_mask(square, wider, scale, shape)


def cloth_below(cloth: Mask, covered: Mask, square: SquareOn, outlines_mm: Sequence[Doubles], scale: float) -> Mask:
    """The covered pixels that lie between cloth on both sides of what covers them, straight across or at a slant.

    Between two places of a straight-edged cloth there is cloth; so nothing is added beyond its edges.
    """
    found = np.zeros_like(covered)
    for outline in outlines_mm:
        found |= _between(cloth, covered, _pixels(square, outline, scale), _MARGIN_MM * square.px_per_mm * scale)
    return np.asarray(found & covered)


def _between(cloth: Mask, covered: Mask, outline: Doubles, margin: float) -> Mask:
    height, width = cloth.shape
    box = long_box(outline)
    wide = box.short + 2 * margin + 4
    reach = int(wide * 1.6) + 4
    size = (int(box.long + 2 * reach), int(wide + 2 * reach))
    corner = box.middle - box.axis * size[0] / 2 - box.across * size[1] / 2
    matrix = np.column_stack([box.axis, box.across, corner])
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    turned = cv2.warpAffine(cloth.astype(np.uint8), matrix, size, flags=flags)
    joined = turned
    for slant in _SLANTS_DEG:
        bar = _bar(wide / math.cos(math.radians(slant)), slant)
        joined = np.maximum(joined, cv2.morphologyEx(turned, cv2.MORPH_CLOSE, bar))
    back = cv2.warpAffine(joined, matrix, (width, height), flags=cv2.INTER_NEAREST)
    return np.asarray(cv2.morphologyEx(back & covered.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) > 0)


def _bar(length: float, slant_deg: float) -> np.ndarray:
    """A line through the middle of a square, ``slant_deg`` from upright, as a structuring element."""
    half = max(round(length / 2), 1)
    kernel = np.zeros((2 * half + 1, 2 * half + 1), np.uint8)
    dx, dy = math.sin(math.radians(slant_deg)) * half, math.cos(math.radians(slant_deg)) * half
    cv2.line(kernel, (round(half - dx), round(half - dy)), (round(half + dx), round(half + dy)), 1)
    return kernel


def _pixels(square: SquareOn, outline_mm: Doubles, scale: float) -> Doubles:
    return np.asarray((np.asarray(outline_mm, np.float64) - np.asarray(square.origin_mm)) * square.px_per_mm * scale)
