"""A ruler or tape that was not read, lies over the rim of the cloth, and was taken for a part of it.

It stands out from the cloth's side, with straight ends of its own where the cloth is wider or narrower than it, and on
all its length it ends in one straight step of colour, while nothing within it changes so. A stripe or border of the
cloth itself ends where the cloth does; and what of a cloth stands out from its side goes on in it, print and all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import srgb_to_lab
from vision.edge import signed_area
from vision.square import SquareOn
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask

#: How finely it is looked at, px per mm; noise, weave and ticks are smoothed over so much, mm.
_PX_PER_MM, _SOFT_MM = 2.0, 0.5
#: Straight pieces of an outline bend by no more than this, mm, and are so long at least, mm; so many are looked at, the
#: longest (time). Directions so near, degrees, are one; the best is turned by so much, degrees, to see if it is better.
_BENT_MM, _LEAST_PIECE_MM, _MOST_PIECES, _APART_DEG, _TURNS_DEG = 1.2, 8.0, 8, 1.0, (-0.5, 0.0, 0.5)
#: What stands out does so by so much at least, mm. Its ends run on so straight for that, mm, at this share of places,
#: and are so far from the cloth's own sides, mm: fraying is less, and a border of the cloth's own ends where it does.
_LEAST_OUT_MM, _STRAIGHT_MM, _MOST, _FLUSH_MM = 4.0, 1.5, 0.8, 4.0
#: What is narrower than this, mm, is a tuft of the rim.
_FRAYED_MM = 2.0
#: Rulers and tapes are so wide, mm (practice); of one that is cut off by the picture's border so much is seen, mm, and
#: so many times more than it is wide.
_WIDTHS_MM, _LEAST_LONG_MM, _SLENDER = (8.0, 60.0), 50.0, 1.5
#: It is no more of all that was taken for the cloth than this.
_MOST_OF_ALL = 0.45
#: A step of colour is seen between two bands so wide, mm, with so much left out between them, mm.
_BAND_MM, _BETWEEN_MM = 1.5, 1.6
#: The ruler's side makes a step so large at least, tone, on this share of its length; half of its length makes one so
#: many times what half of it makes anywhere within the ruler, and half of its width on this share of its length: glare
#: makes some. So near to its sides and ends, mm, that is not asked.
STEP, _LEAST_SHARE, _TIMES, _NEARLY_ALL, _NEAR_MM = 8.0, 0.75, 2.0, 0.9, 3.0
#: Where it lies over the cloth by so much at least, mm, its ends make steps there, on this share of that.
_LEAST_OVER_MM, _LEAST_ENDS = 4.0, 0.6
#: Cloth narrower than a ruler is that from the ruler's side on, to this, mm: laid askew, it is so from elsewhere on.
_PAST_MM = 8.0
#: Lines of the print that run towards it are seen over so much of the cloth, mm.
_LINED_MM = 15.0
#: So near to the picture's border, mm, the resampled picture is not to be trusted.
_BORDER_MM = 1.5


class Look(NamedTuple):
    """A picture's tone (H, W, 3), what of it (H, W) is seen, what is taken for one cloth (H, W) and its outline."""

    tone: Floats
    seen: Mask
    cloth: Mask
    ring: Doubles
    px_per_mm: float


class _Found(NamedTuple):
    """A ruler's rectangle (4, 2), px, and the step of colour in which it ends, tone times its length, px."""

    corners: Doubles
    step: float


class _End(NamedTuple):
    """An end of what stands out: its column, from which row on the cloth ends elsewhere, None where it does not, and
    whether it then is narrower; ``seen``: whether the end is."""

    column: float
    joins: int | None = None
    narrower: bool = False
    seen: bool = True


def overhanging(square: SquareOn, found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]) -> tuple[Doubles, ...]:
    """Rectangles (4, 2), mm, over the rulers that were taken for a part of what was found (polygons), one of each at
    most. ``covered_mm`` are polygons of what was read."""
    jagged = [outline for outline in found_mm if _jagged(outline)]
    origin = np.asarray(square.origin_mm)
    rulers = [(best, look) for look in looks(square, jagged, covered_mm) if (best := _best(look)) is not None]
    return tuple(origin + best.corners / look.px_per_mm for best, look in rulers)


def looks(square: SquareOn, found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]) -> tuple[Look, ...]:
    """What is looked at of each of what was found (polygons); what is covered (polygons) is not seen."""
    if not found_mm:
        return ()
    scale = min(1.0, _PX_PER_MM / square.px_per_mm)
    size = (round(square.rgb.shape[1] * scale), round(square.rgb.shape[0] * scale))
    per_mm = square.px_per_mm * scale
    rgb = cv2.resize(square.rgb, size, interpolation=cv2.INTER_AREA)
    seen = cv2.resize(square.valid.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    origin = np.asarray(square.origin_mm)
    for polygon in covered_mm:
        cv2.fillPoly(seen, [np.rint((polygon - origin) * per_mm).astype(np.int32)], 0)
    border = 2 * max(round(_BORDER_MM * per_mm), 1) + 1
    seen = cv2.erode(seen, np.ones((border, border), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
    tone = np.asarray(cv2.GaussianBlur(srgb_to_lab(rgb) + TONE_SHIFT, (0, 0), _SOFT_MM * per_mm), dtype=np.float32)
    found = []
    for outline in found_mm:
        cloth, ring = np.zeros_like(seen), (outline - origin) * per_mm
        cv2.fillPoly(cloth, [np.rint(ring).astype(np.int32)], 1)
        found.append(Look(tone, np.asarray(seen > 0), np.asarray(cloth > 0), ring, per_mm))
    return tuple(found)


def _jagged(outline: Doubles) -> bool:
    """Whether an outline (N, 2), mm, has a dent as wide as a ruler makes that stands out from a side."""
    ring = np.rint(outline - outline.min(axis=0)).astype(np.int32) + 1
    dents = np.zeros(tuple(ring.max(axis=0)[::-1] + 2), np.uint8)
    cv2.fillPoly(dents, [cv2.convexHull(ring)], 1)
    cv2.fillPoly(dents, [ring], 0)
    return float(cv2.distanceTransform(dents, cv2.DIST_L2, 3).max()) >= _LEAST_OUT_MM / 2


class _Line(NamedTuple):
    """A line that a ruler may have as its outer side: its direction, degrees, what lies below it being the ruler, and
    a place of it (2,), px; None where it lies as far out as anything of the cloth does."""

    turn_deg: float
    place: Doubles | None


def _best(look: Look) -> _Found | None:
    """The ruler within what was taken for a cloth that ends in the longest and strongest step."""
    hits = [(found, line) for line in _lines(look) if (found := _ruler(look, line)) is not None]
    if not hits:
        return None
    _, line = max(hits, key=lambda hit: hit[0].step)
    turned = [_Line(line.turn_deg + turn, line.place) for turn in _TURNS_DEG]
    return max((found for one in turned if (found := _ruler(look, one)) is not None), key=lambda found: found.step)


def _lines(look: Look) -> list[_Line]:
    """Lines along the straight pieces of the outline, and as far out as it goes in their directions."""
    corners = cv2.approxPolyDP(look.ring.astype(np.float32), _BENT_MM * look.px_per_mm, True).reshape(-1, 2)
    pieces = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        middle, way = (start + end) / 2, end - start
        x, y = np.rint(middle).astype(int)
        inside = 0 <= x < look.seen.shape[1] and 0 <= y < look.seen.shape[0]
        if inside and look.seen[y, x] and math.hypot(*way) >= _LEAST_PIECE_MM * look.px_per_mm:
            pieces.append((math.hypot(*way), math.degrees(math.atan2(way[1], way[0])), middle))
    pieces = sorted(pieces, key=lambda piece: -piece[0])[:_MOST_PIECES]
    turned = 0.0 if signed_area(look.ring) > 0 else 180.0
    lines = [_Line(turn + turned, np.asarray(middle, dtype=np.float64)) for _, turn, middle in pieces]
    kept: list[float] = []
    for line in lines:
        turn = line.turn_deg % 90
        if all(min(abs(turn - other), 90 - abs(turn - other)) >= _APART_DEG for other in kept):
            kept.append(turn)
    return lines + [_Line(turn + quarter, None) for turn in kept for quarter in (0.0, 90.0, 180.0, 270.0)]


def _ruler(look: Look, line: _Line) -> _Found | None:
    """What stands out below a line, where it is a ruler."""
    per_mm = look.px_per_mm
    turn = math.radians(line.turn_deg)
    along, down = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    u, v = look.ring @ along, look.ring @ down
    top = round(_WIDTHS_MM[0] / 2 * per_mm)
    highest = float(v.min() if line.place is None else line.place @ down)
    corner = along * (u.min() - top) + down * (highest - top)
    size = (int(np.ptp(u)) + 2 * top, int((_WIDTHS_MM[1] + _LEAST_OUT_MM) * per_mm) + 2 * top)
    matrix, flags = np.column_stack([along, down, corner]), cv2.WARP_INVERSE_MAP
    cloth, seen = (
        cv2.warpAffine(part.astype(np.uint8), matrix, size, flags=flags | cv2.INTER_NEAREST) > 0
        for part in (look.cloth, look.seen)
    )
    begin = top + round(_BORDER_MM * per_mm)
    there = np.flatnonzero(cloth[begin])
    if not len(there):
        return None
    middle = float(np.median(there)) if line.place is None else float((line.place - corner) @ along)
    ends = _ends(np.asarray(cloth), np.asarray(seen), begin, round(middle), per_mm)
    if ends is None:
        return None
    tone = cv2.warpAffine(look.tone, matrix, size, flags=flags | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    turned = Look(np.asarray(tone, dtype=np.float32), np.asarray(seen), np.asarray(cloth), look.ring, per_mm)
    side = _side(turned, ends, top)
    if side is None:
        return None
    long, wide = side.last - side.first, side.row - top
    if long < _SLENDER * wide or long * wide > _MOST_OF_ALL * abs(signed_area(look.ring)):
        return None
    rectangle = ((side.first, top), (side.last, top), (side.last, side.row), (side.first, side.row))
    corners = np.array([corner + x * along + y * down for x, y in rectangle])
    return _Found(corners, side.step * (side.last - side.first))


def _ends(cloth: Mask, seen: Mask, begin: int, middle: int, per_mm: float) -> tuple[_End, _End] | None:
    """The ends of what stands out, in the rows of a cloth (H, W) from one on, about its ``middle`` column, as far as it
    is ``seen`` (H, W); None of nothing."""
    below, width = cloth[begin:, middle], cloth.shape[1]
    rows = np.arange(begin, begin + (len(below) if below.all() else int(below.argmin())))
    if not len(rows):
        return None
    left, right = cloth[rows, middle::-1], cloth[rows, middle:]
    columns = (
        middle + 1 - np.where(left.all(axis=1), left.shape[1], left.argmin(axis=1)),
        middle - 1 + np.where(right.all(axis=1), right.shape[1], right.argmin(axis=1)),
    )
    known = [seen[rows, column] for column in columns]
    joins = [_joins(rows, column, shown, per_mm) for shown, column in zip(known, columns, strict=True)]
    met = min((row for row in joins if row is not None), default=begin)
    if met - begin < (_LEAST_OUT_MM - _BORDER_MM) * per_mm:
        return None
    ends = []
    for shown, column, row, beyond in zip(known, columns, joins, (0, width - 1), strict=True):
        places = column[shown & (rows < met)]
        there = len(places) >= _LEAST_OUT_MM / 2 * per_mm
        at = float(np.median(places)) if there else float(beyond)
        straight = not there or float(np.quantile(np.abs(places - at), _MOST)) <= _STRAIGHT_MM * per_mm
        inwards = row is not None and bool((column[rows == row] > at)[0]) == (beyond == 0)
        ends.append(_End(at, joins=row if straight else None, narrower=inwards, seen=there))
    return (ends[0], ends[1]) if any(end.joins is not None for end in ends) else None


def _joins(rows: NDArray[np.intp], column: NDArray[np.intp], seen: Mask, per_mm: float) -> int | None:
    """The first of some rows (N,) from which on the end of a cloth (N,) lies elsewhere than it did so far, as far as it
    is ``seen`` (N,): from where it is seen, where before that the picture ended."""
    least, far = max(round(_FRAYED_MM * per_mm), 1), _FLUSH_MM * per_mm
    first = int(seen.argmax())
    if first >= _LEAST_OUT_MM * per_mm and abs(column[first] - column[first - 1]) >= far:
        return int(rows[first])
    rows, column = rows[seen], column[seen]
    for k in range(least, len(rows) - least):
        so_far = float(np.median(column[:k]))
        if (np.abs(column[k : k + least] - so_far) >= far).all():
            return int(rows[k])
    return None


class _Side(NamedTuple):
    """The side of a ruler that lies on the cloth: its row, its step, and the columns of the ruler's ends."""

    row: int
    step: float
    first: float
    last: float


def _side(look: Look, ends: tuple[_End, _End], top: int) -> _Side | None:
    """The side that a ruler ends in, whose outer side is the row ``top``; None where there is none."""
    per_mm = look.px_per_mm
    near = round(_NEAR_MM * per_mm)
    left, right = round(ends[0].column) + near, round(ends[1].column) - near
    if right - left < _LEAST_LONG_MM * per_mm:
        return None
    shown = cv2.erode((look.seen & look.cloth).astype(np.uint8), _upright(per_mm))[:, left:right] > 0
    enough = shown.sum(axis=1) >= _LEAST_LONG_MM * per_mm
    if not enough.any():
        return None
    steps = np.where(shown & enough[:, None], stepping(look.tone, per_mm)[:, left:right], np.nan)
    middle, share = np.zeros(len(steps)), np.zeros(len(steps))
    middle[enough] = np.nanmedian(steps[enough], axis=1)
    share[enough] = (steps[enough] >= STEP).sum(axis=1) / shown[enough].sum(axis=1)
    low, high = (top + round(width * per_mm) for width in _WIDTHS_MM)
    for row in range(low, min(high, len(middle) - near)):
        if share[row] < _LEAST_SHARE or middle[row] < middle[row - near // 2 : row + near // 2 + 1].max():
            continue
        inner = slice(top + near, max(row - near, top + near + 1))
        along = np.median(stepping(look.tone[inner].transpose(1, 0, 2), per_mm), axis=1)[left:right]
        most = max(float(middle[inner].max()), float(np.quantile(along, _NEARLY_ALL)))
        if middle[row] < _TIMES * most:
            return None
        on = left + np.flatnonzero(np.nan_to_num(steps[row]) >= STEP)
        told = [_told(look, end, stop, top, row) for end, stop in zip(ends, (on[0] - near, on[-1] + near), strict=True)]
        over = any(own and not end.narrower for end, own in told)
        apart = all(end.joins is not None or not end.seen for end, _ in told)
        below = look.tone[row + near : row + near + round(_LINED_MM * per_mm)]
        lines = np.median(stepping(below.transpose(1, 0, 2), per_mm), axis=1)[left:right]
        lined = float(np.quantile(lines, _NEARLY_ALL)) >= max(STEP, _TIMES * most)
        if not over and not (apart and (lined or any(own for _, own in told))):
            return None
        return _Side(row, float(middle[row]), told[0][0].column, told[1][0].column)
    return None


def _told(look: Look, end: _End, stop: int, top: int, row: int) -> tuple[_End, bool]:
    """An end of a ruler that ends in a row, where it really is, and whether it surely is a ruler's: the cloth there is
    narrower, or it is seen on the cloth. ``stop``: how far the step goes on at its side."""
    per_mm = look.px_per_mm
    gap = round(_BETWEEN_MM * per_mm)
    joins = end.joins
    if joins is not None and (joins - row > _PAST_MM * per_mm or (end.narrower and row - joins > _PAST_MM * per_mm)):
        end, joins = _End(end.column), None
    if joins is not None:
        return end, end.narrower or _across(look, round(end.column), slice(joins, row - gap))
    if not end.seen or abs(stop - end.column) < _FLUSH_MM * per_mm:
        return end, False
    own = _across(look, stop, slice(top + gap, row - gap))
    return _End(float(stop), joins=top if own else None), own


def _across(look: Look, column: int, rows: slice) -> bool:
    """Whether an end of a ruler is seen on the cloth all along some rows, in a column or near it."""
    if rows.stop - rows.start < (_LEAST_OVER_MM - _BETWEEN_MM) * look.px_per_mm:
        return False
    near = round(_NEAR_MM * look.px_per_mm)
    beside = look.tone[rows, max(column - 3 * near, 0) : column + 3 * near]
    steps = stepping(beside.transpose(1, 0, 2), look.px_per_mm)
    middle = steps[len(steps) // 2 - 3 * near // 2 : len(steps) // 2 + 3 * near // 2]
    return bool((middle.max(axis=0) >= STEP).mean() >= _LEAST_ENDS)


def stepping(tone: Floats, per_mm: float) -> Doubles:
    """How far (H, W) the tone (H, W, 3) above each row is from that below it."""
    band, gap = max(round(_BAND_MM * per_mm), 1), max(round(_BETWEEN_MM / 2 * per_mm), 1)
    total = np.cumsum(np.concatenate([np.zeros((1, *tone.shape[1:])), tone]), axis=0)
    mean = (total[band:] - total[:-band]) / band
    steps = np.zeros(tone.shape[:2])
    apart = 2 * gap + band
    if len(mean) > apart:
        steps[band + gap : band + gap + len(mean) - apart] = np.linalg.norm(mean[apart:] - mean[:-apart], axis=2)
    return steps


def _upright(per_mm: float) -> np.ndarray:
    """What is seen where a step is, as a structuring element."""
    return np.ones((2 * round((_BAND_MM + _BETWEEN_MM / 2) * per_mm) + 1, 1), np.uint8)
