"""The other half of a ruler of which only the part about its scale was known, taken for a part of the cloth.

Crowded numbers, stains or a second scale hide from what follows a ruler's colour that it goes on beside its ticks.
Seen square-on it does so in one colour for all of its length, ends in one straight step along all of it, and no
farther along than the part that was known. A stripe of the cloth that lies so would have to end where the ruler does,
show writing on it, or lie by turns on cloth and on the table.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np

from vision.colour import srgb_to_lab
from vision.covering import SLENDER, long_box
from vision.overhang import STEP, stepping
from vision.square import SquareOn
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask

#: How finely it is looked at, px per mm; noise, weave and ticks are smoothed over so much, mm.
_PX_PER_MM, _SOFT_MM = 2.0, 0.5
#: A remainder is so wide at least, mm, and with what was known no wider than rulers are, mm (practice).
_LEAST_MM, _WIDEST_MM = 4.0, 60.0
#: It is asked for only where what is seen so far beside a ruler, mm, was taken for cloth over this length, mm.
_BESIDE_MM, _LEAST_BESIDE_MM = (3.0, 5.0), 25.0
#: So much of the ruler must be seen, mm; its ends are left out by so much, mm, and looked at so far beyond, mm.
_LEAST_LONG_MM, _INSET_MM, _PAST_MM = 25.0, 3.0, 8.0
#: The step at its side is seen on this share of its length, and is the largest within so much, mm.
_LEAST_SHARE, _NEAR_MM = 0.9, 3.0
#: It is of one colour where its parts, so many along it, differ by no more than this in the same light, tone; a place
#: has that colour within the second; in each part this share of it has, and beyond each end no more than the last.
_PARTS, _ALIKE, _LIKE, _LEAST_OWN, _MOST_BEYOND = 8, 6.0, 9.0, 0.55, 0.25
#: Writing differs from it by so much, tone, on this share of it; what lies beyond its side is not all one cloth where
#: it differs by so much from part to part, tone.
_INK, _LEAST_INK, _OTHERS = 15.0, 0.006, 5.0


class _Strip(NamedTuple):
    """What lies beside a ruler: tone (H, W, 3), rows outwards from its side, columns along it; where (H, W) it is
    seen, and where it was taken for cloth; and the columns in which the ruler begins and ends."""

    tone: Floats
    seen: Mask
    cloth: Mask
    first: int
    last: int
    px_per_mm: float


def with_remainders(
    square: SquareOn, found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]
) -> tuple[Doubles, ...]:
    """What covers (polygons), each ruler drawn out over its other half where that was taken for a part of what was
    found (polygons); the others as they were."""
    if not any(_beside(found_mm, outline, way) for outline in covered_mm for way in (-1, 1)):
        return tuple(covered_mm)
    scale = min(1.0, _PX_PER_MM / square.px_per_mm)
    size = (round(square.rgb.shape[1] * scale), round(square.rgb.shape[0] * scale))
    rgb = cv2.resize(square.rgb, size, interpolation=cv2.INTER_AREA)
    per_mm = square.px_per_mm * scale
    tone = np.asarray(cv2.GaussianBlur(srgb_to_lab(rgb) + TONE_SHIFT, (0, 0), _SOFT_MM * per_mm), dtype=np.float32)
    valid = cv2.resize(square.valid.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    origin = np.asarray(square.origin_mm)
    cloth = np.zeros_like(valid)
    for ring in found_mm:
        cv2.fillPoly(cloth, [np.rint((ring - origin) * per_mm).astype(np.int32)], 1)
    drawn = []
    for outline in covered_mm:
        seen = valid.copy()
        for other in covered_mm:
            if other is not outline:
                cv2.fillPoly(seen, [np.rint((other - origin) * per_mm).astype(np.int32)], 0)
        out = [
            _width_mm(_strip(tone, seen, cloth, outline - origin, way, per_mm))
            if _beside(found_mm, outline, way)
            else 0.0
            for way in (-1, 1)
        ]
        drawn.append(_drawn_out(outline, out) if any(out) else outline)
    return tuple(drawn)


def _beside(found_mm: Sequence[Doubles], outline: Doubles, way: int) -> bool:
    """Whether what lies beside one long side of a ruler was taken for cloth."""
    middle, long, short, axis, across = long_box(outline)
    if long < SLENDER * short or cv2.contourArea(outline.astype(np.float32)) < 0.8 * long * short:
        return False
    rings = [ring.astype(np.float32) for ring in found_mm]
    places = [
        middle + u * axis + way * (short / 2 + v) * across
        for u in np.linspace(-long / 2, long / 2, 41)[1:-1]
        for v in _BESIDE_MM
    ]
    inside = [any(cv2.pointPolygonTest(ring, (float(x), float(y)), False) >= 0 for ring in rings) for x, y in places]
    return sum(inside) * long >= _LEAST_BESIDE_MM * len(inside)


def _strip(tone: Floats, seen: np.ndarray, cloth: np.ndarray, outline: Doubles, way: int, per_mm: float) -> _Strip:
    """What lies beside a ruler's long side, as far out as rulers are wide."""
    middle, long, short, axis, across = long_box(outline)
    corner = middle - (long / 2 + _PAST_MM) * axis + way * short / 2 * across
    matrix = np.column_stack([axis, way * across, corner * per_mm])
    size = (round((long + 2 * _PAST_MM) * per_mm), round((_WIDEST_MM - short + 2 * _NEAR_MM) * per_mm))
    turned = cv2.warpAffine(
        tone, matrix, size, flags=cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    shown, taken = (
        cv2.warpAffine(mask, matrix, size, flags=cv2.WARP_INVERSE_MAP | cv2.INTER_NEAREST) > 0 for mask in (seen, cloth)
    )
    past = round(_PAST_MM * per_mm)
    tones = np.asarray(turned, dtype=np.float32)
    return _Strip(tones, np.asarray(shown), np.asarray(taken), past, size[0] - past, per_mm)


def _width_mm(strip: _Strip) -> float:
    """How far, mm, a ruler goes on in a strip beside it; 0 where that is not seen."""
    per_mm = strip.px_per_mm
    inset, near = round(_INSET_MM * per_mm), round(_NEAR_MM * per_mm)
    columns = slice(strip.first + inset, strip.last - inset)
    high = np.ones((2 * near + 1, 1), np.uint8)
    shown = cv2.erode(strip.seen.astype(np.uint8), high, borderType=cv2.BORDER_REPLICATE)[:, columns] > 0
    bare = shown & ~strip.cloth[:, columns]  # the table shows the side plainer than cloth of whatever colours
    shown = np.where((bare.sum(axis=1) >= _LEAST_LONG_MM * per_mm)[:, None], bare, shown)
    change = np.where(shown, stepping(strip.tone, per_mm)[:, columns], np.nan)
    many = shown.sum(axis=1)
    told = many >= _LEAST_LONG_MM * per_mm
    share, middle = np.zeros(len(change)), np.zeros(len(change))
    share[told] = (change[told] >= STEP).sum(axis=1) / many[told]
    middle[told] = np.nanmedian(change[told], axis=1)
    for row in range(round(_LEAST_MM * per_mm), len(change) - near):
        if share[row] >= _LEAST_SHARE and middle[row] >= middle[row - near : row + near + 1].max():
            return row / per_mm if _is_remainder(strip, row) else 0.0
    return 0.0


def _is_remainder(strip: _Strip, row: int) -> bool:
    """Whether what lies in a strip up to a row is the rest of the ruler."""
    per_mm = strip.px_per_mm
    near = round(_NEAR_MM / 2 * per_mm)
    rows, beyond = slice(round(per_mm), row - near), slice(row + near, row + 2 * near)
    if rows.stop - rows.start < near:
        return False
    edges = np.linspace(strip.first, strip.last, _PARTS + 1).round().astype(int)
    parts, others, ink, whole = [], [], 0, 0
    for first, last in itertools.pairwise(edges):
        band, here = strip.tone[rows, first:last], strip.seen[rows, first:last]
        if here.mean() < 0.5:
            continue
        own = np.median(band[here], axis=0)
        off = np.linalg.norm(band[here] - own, axis=1)
        if (off <= _LIKE).mean() < _LEAST_OWN:
            return False
        parts.append(own)
        ink, whole = ink + int((off >= _INK).sum()), whole + len(off)
        outside = strip.seen[beyond, first:last]
        others += [np.median(strip.tone[beyond, first:last][outside], axis=0)] if outside.any() else []
    if len(parts) < 2 or _apart(np.array(parts)) > _ALIKE or len(others) < 2:
        return False
    ends = [
        (strip.tone[rows, side], strip.seen[rows, side], own)
        for side, own in (
            (slice(0, strip.first - near), parts[0]),
            (slice(strip.last + near, None), parts[-1]),
        )
    ]
    told = [
        float((np.linalg.norm(tone[seen] - own, axis=1) <= _LIKE).mean())
        for tone, seen, own in ends
        if seen.mean() > 0.5
    ]
    by_turns = _apart(np.array(others)) >= _OTHERS
    if not told:  # the picture ends where the ruler would
        return by_turns
    return max(told) <= _MOST_BEYOND and (by_turns or ink >= _LEAST_INK * whole)


def _apart(colours: Doubles) -> float:
    """How far colours (N, 3), tone, differ in the same light."""
    size = np.linalg.norm(colours, axis=1, keepdims=True)
    same = colours / size * np.median(size)
    return float(np.linalg.norm(same - np.median(same, axis=0), axis=1).max())


def _drawn_out(outline: Doubles, out_mm: Sequence[float]) -> Doubles:
    """The rectangle (4, 2) of a ruler whose long sides lie so much farther out."""
    middle, long, short, axis, across = long_box(outline)
    low, high = -short / 2 - out_mm[0], short / 2 + out_mm[1]
    ends = ((-long / 2, low), (long / 2, low), (long / 2, high), (-long / 2, high))
    return np.array([middle + u * axis + v * across for u, v in ends])
