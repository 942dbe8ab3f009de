"""What is left when the table is taken away: pieces that may be cloth, and whether they look like cloth on a table."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.swatch import Doubles, Floats, Mask
from vision.table import SURELY_ELSE

#: Smaller than this share of the picture, or mm², or narrower than this, mm, is no cloth but dust, a pin, a thread.
LEAST_SHARE = 0.012
LEAST_AREA_MM2 = 900.0
LEAST_WIDTH_MM = 9.0
#: A hole is at least so large, mm²: smaller ones are spots of the table's colour in the print.
LEAST_HOLE_MM2 = 150.0
_CLOSE_MM = 2.5
#: More pieces than this are a print's, not remnants laid out side by side; up to the fewer there is no doubt.
_MOST_BLOBS, FEW_BLOBS = 14, 3
#: Bars are joined whose ends agree within this share of their length, over a gap of so many widths or mm, as wide all
#: along to the last share of that length, as a stripe is; more bars than this are specks.
_FLUSH_SHARE, _GAP_WIDTHS, _GAP_MM, _MOST_BARS, _EVEN_SHARE = 0.06, 2.5, 25.0, 60, 0.05
#: It is looked at in so many places along them.
_PLACES = 9
#: A bar ends below what covers it where its end, which is so much of its length, lies so near to that, mm (its shadow,
#: and what a slanting end makes).
_END_SHARE, _HIDDEN_MM = 0.04, 5.0
#: A table is seen on at least some of the picture.
_MOST_SHARE = 0.97
#: A cloth's area over its hull's: cut-out necks and corners leave it above this (practice).
_LEAST_SOLIDITY = 0.82
#: What is unlike the table and narrower than this, mm, is noise; of more than this share of the cloths' area lying
#: outside them, they are not all that lies on the table.
_SPECK_MM, _MOST_MISSED = 2.0, 0.1
#: The table is learnt anew so far from the cloth, mm, and from all that is unlike it and at least so large, mm².
_APART_MM, _LEAST_SPOT_MM2 = 4.0, 30.0
#: Standard deviation of a wide average, mm, and how far beyond a cloth's edge it is coloured by it.
_WIDE_MM, _INSET_MM = 3.0, 6.5
#: A piece that reaches all four borders and is less solid is pierced by its own print: no table lies all over a cloth.
_PIERCED = 0.95
#: A tape runs out of the picture in two places, a cloth in as many; together they are no more of the border than this.
_FEW_PLACES, _FEW_PLACES_SHARE = 4, 0.2
#: What lies within the picture and is so solid is a cloth, and no motif or stain of one; a ruler is longer than so many
#: of its widths (practice).
STRAIGHT, _RULER_WIDTHS = 0.95, 4.0
#: Of a piece at least this share is seen, and not only believed to go on below what covers it.
_LEAST_SEEN = 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scraps:
    """What differs from a table. ``plain``: it looks like cloths on a table beyond doubt; ``possible``: it may.
    ``solidity`` is the least area of a piece over its convex hull's; ``other`` (H, W) all that is not the table.
    ``all_round``: one piece reaches all four borders and is pierced by what was taken for the table: its print.
    ``framed``: the table is seen along the whole border but for a few places, where a tape runs out of the picture.
    ``again``: the share of the pieces that looks like the table. ``laid``: one of the pieces lies within the picture,
    straight and too broad for a ruler."""

    blobs: tuple[Mask, ...]
    other: Mask
    plain: bool
    possible: bool
    all_round: bool
    framed: bool
    solidity: float
    again: float
    laid: bool


def scraps(
    unlike: Floats,
    usable: Mask,
    valid: Mask,
    below: Callable[[Mask], Mask],
    per_mm: float,
    inner: Mask | None = None,
) -> Scraps:
    """The pieces left when a table is taken away; ``inner``: what is known to be none of it, however like it looks.

    Where they run from border to border, are many, ragged, or lie all round, the "table" may be one of the colours of
    a cloth that fills the picture.
    """
    other = (unlike > SURELY_ELSE) & usable
    held = other if inner is None else other | inner
    joined = closed(held, cv2.MORPH_CLOSE, _CLOSE_MM * per_mm) & usable
    joined = _joined(joined | below(joined), valid & ~usable, per_mm)
    joined = closed(joined, cv2.MORPH_OPEN, LEAST_WIDTH_MM / 2 * per_mm) & valid
    filled = _filled(joined.astype(np.uint8), usable & ~held, per_mm)
    least = max(LEAST_AREA_MM2 * per_mm**2, LEAST_SHARE * float(valid.sum()))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(filled, connectivity=4)
    kept = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= least]
    blobs = tuple(blob for blob in (np.asarray(labels == k) for k in kept) if usable[blob].mean() >= _LEAST_SEEN)
    rim = valid & ~(closed(valid, cv2.MORPH_ERODE, 3.0))
    sides = [_sides_reached(blob & rim, valid) for blob in blobs]
    through = sum(_opposite(s) for s in sides)
    share = sum(int(blob.sum()) for blob in blobs) / max(float(valid.sum()), 1)
    solidities = [_solidity(blob) for blob in blobs]
    solidity = min(solidities, default=0.0)
    all_round = any(len(s) == 4 and solid < _PIERCED for s, solid in zip(sides, solidities, strict=True))
    inside = [blob for blob, s, solid in zip(blobs, sides, solidities, strict=True) if not s and solid >= STRAIGHT]
    ragged = through > 0 and solidity < _LEAST_SOLIDITY and not all_round
    possible = bool(blobs) and through < 2 and not ragged and len(blobs) <= _MOST_BLOBS and share < _MOST_SHARE
    pieces = _any(blobs, other.shape)
    other = closed(other, cv2.MORPH_OPEN, _SPECK_MM / 2 * per_mm)
    missed = float((other & ~pieces).sum()) / max(float(valid.sum()) * share, 1)
    plain = (
        possible
        and len(blobs) <= FEW_BLOBS
        and not any(sides)
        and solidity >= _LEAST_SOLIDITY
        and missed <= _MOST_MISSED
    )
    return Scraps(
        blobs=blobs,
        other=other,
        plain=plain,
        possible=possible,
        all_round=all_round,
        framed=_framed(other & rim, usable & rim),
        solidity=solidity,
        again=float((pieces & usable & ~other).sum()) / max(float((pieces & usable).sum()), 1),
        laid=any(map(_broad, inside)),
    )


def wide_tone(tone: Floats, usable: Mask, per_mm: float) -> Floats:
    """Tone (H, W, 3) averaged so widely that stripes and motifs on a ground like the table colour the ground too."""
    seen = usable.astype(np.float32)
    size = (0, 0)
    mean = cv2.GaussianBlur(tone * seen[..., None], size, _WIDE_MM * per_mm)
    cover = cv2.GaussianBlur(seen, size, _WIDE_MM * per_mm)
    return np.asarray(mean / np.maximum(cover, 1e-3)[..., None], dtype=np.float32)


def within(unlike: Floats, usable: Mask, per_mm: float) -> Mask:
    """Where a wide average differs from the table, so far in that nothing beside the cloth has been averaged."""
    return closed((unlike > SURELY_ELSE) | ~usable, cv2.MORPH_ERODE, _INSET_MM * per_mm) & usable


def _framed(other: Mask, rim: Mask) -> bool:
    """Whether the border shows the table but for a few places."""
    count = cv2.connectedComponents(other.astype(np.uint8), connectivity=8)[0] - 1
    return count <= _FEW_PLACES and float(other.sum()) <= _FEW_PLACES_SHARE * float(rim.sum())


def _any(blobs: Sequence[Mask], shape: tuple[int, ...]) -> Mask:
    return np.asarray(np.any(blobs, axis=0)) if blobs else np.zeros(shape, bool)


def _disc(radius_px: float) -> np.ndarray:
    size = 2 * max(round(radius_px), 1) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))


def closed(mask: Mask, operation: int, radius_px: float) -> Mask:
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
    rings = cv2.findContours(blob.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[-2]
    return float(blob.sum()) / max(cv2.contourArea(cv2.convexHull(np.concatenate(rings))), 1.0)


def _broad(blob: Mask) -> bool:
    """Whether a piece is too broad for a ruler."""
    sides = cv2.minAreaRect(_hull(blob))[1]
    return max(sides) <= _RULER_WIDTHS * min(sides)


def apart(found: Scraps, valid: Mask, per_mm: float) -> Mask | None:
    """Where nothing is to be learnt of the table: the convex hull of all that is not the table, with a margin.

    None where there is nothing, or where it reaches the picture's border.
    """
    rings = cv2.findContours(found.other.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[-2]
    rings = [ring for ring in rings if cv2.contourArea(ring) >= _LEAST_SPOT_MM2 * per_mm**2]
    if not rings:
        return None
    inside = np.zeros(valid.shape, np.uint8)
    cv2.fillPoly(inside, [cv2.convexHull(np.concatenate(rings))], 1)
    held: Mask = np.asarray(cv2.dilate(inside, _disc(_APART_MM * per_mm)) > 0)
    return None if (held & ~closed(valid, cv2.MORPH_ERODE, 3.0)).any() else held


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


def _joined(mask: Mask, covered: Mask, per_mm: float) -> Mask:
    """Bars that lie side by side with their ends in line are one cloth with a stripe of the table's colour; where what
    lies on them (``covered``, (H, W)) hides an end, the other ends tell."""
    joined = mask.astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=4)
    kept = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= LEAST_WIDTH_MM**2 * per_mm**2]
    if not 2 <= len(kept) <= _MOST_BARS:
        return mask
    hulls = [_hull(labels == k) for k in kept]
    near = cv2.dilate(covered.astype(np.uint8), _disc(_HIDDEN_MM * per_mm)) > 0
    for i, bar in enumerate(hulls):
        for other in hulls[:i] + hulls[i + 1 :]:
            if _in_line(bar, other, near, per_mm):
                hull = cv2.convexHull(np.concatenate([bar, other])).astype(np.int32)
                cv2.fillPoly(joined, [hull], 1)
    return np.asarray(joined > 0)


def _hull(bar: Mask) -> Floats:
    """The convex hull (N, 2) of a piece: that of the two ends of each of its rows."""
    rows = np.flatnonzero(bar.any(axis=1))
    first, last = bar[rows].argmax(axis=1), bar.shape[1] - 1 - bar[rows, ::-1].argmax(axis=1)
    ends = np.stack([np.concatenate([first, last]), np.concatenate([rows, rows])], axis=1)
    return np.asarray(cv2.convexHull(ends.astype(np.float32)), dtype=np.float32).reshape(-1, 2)


def _in_line(bar: Floats, other: Floats, hidden: Mask, per_mm: float) -> bool:
    """Whether ``bar`` is long, lies beside ``other`` at no great distance, the same all along, and ends where it ends,
    or where the shorter of them goes on ``hidden`` (H, W): at one end, for at the other its length must be told."""
    _, (width, height), angle = cv2.minAreaRect(bar)
    long, short = max(width, height), min(width, height)
    if long < 2.0 * short or cv2.contourArea(bar) < 0.75 * long * short:
        return False
    turn = math.radians(angle + (0 if width >= height else 90))
    axis, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    (low, high), (low2, high2) = _reach(bar, axis), _reach(other, axis)
    most = _FLUSH_SHARE * max(high - low, high2 - low2)
    first = abs(low - low2) <= most or _ends_hidden(bar if low > low2 else other, -axis, hidden)
    last = abs(high - high2) <= most or _ends_hidden(bar if high < high2 else other, axis, hidden)
    if not (first and last) or min(abs(low - low2), abs(high - high2)) > most:
        return False
    (left, right), (left2, right2) = _reach(bar, across), _reach(other, across)
    gap = max(left2 - right, left - right2)
    if not 0 < gap < max(_GAP_WIDTHS * short, _GAP_MM * per_mm):
        return False
    way = across if left2 > right else -across
    places = np.linspace(max(low, low2), min(high, high2), _PLACES + 2)[1:-1]
    between = -_side(other, axis, -way, places) - _side(bar, axis, way, places)
    return float(np.ptp(between)) <= _EVEN_SHARE * long


def _side(hull: Floats, axis: Doubles, way: Doubles, places: Doubles) -> Doubles:
    """How far a convex hull (N, 2) reaches along a unit vector ``way``, at places (K,) of its own along another."""
    along, out = (np.stack([hull @ one, np.roll(hull, -1, axis=0) @ one], axis=1) for one in (axis, way))
    low, high = along.min(axis=1), along.max(axis=1)
    share = (places[:, None] - along[:, 0]) / np.where(high > low, along[:, 1] - along[:, 0], np.inf)
    spans = (places[:, None] >= low) & (places[:, None] <= high) & (high > low)
    reached = np.where(spans, out[:, 0] + share * (out[:, 1] - out[:, 0]), -np.inf)
    return np.asarray(reached.max(axis=1), dtype=np.float64)


def _ends_hidden(hull: Floats, way: Doubles, hidden: Mask) -> bool:
    """Whether the end of a piece that lies farthest along a unit vector is where (H, W) what follows is hidden."""
    along = hull @ way
    end = hull[along >= along.max() - _END_SHARE * np.ptp(along)].mean(axis=0)
    x, y = np.rint(end).astype(int)
    return bool(hidden[y, x])


def _reach(hull: Floats, axis: Doubles) -> tuple[float, float]:
    along = hull @ axis
    return float(along.min()), float(along.max())
