"""Where the cloth is: what differs from the table, its outline and holes in mm, its straight edges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from vision.colour import srgb_to_lab
from vision.corner import with_corners
from vision.covering import beside_mask, cloth_below, covered_mask, of_the_cloth
from vision.edge import ClothEdge, sharpened, straight_edges
from vision.filling import patterned_all_over, striped_all_over
from vision.measurement import Point
from vision.scrap import FEW_BLOBS, LEAST_HOLE_MM2, STRAIGHT, Scraps, apart, closed, scraps, wide_tone, within
from vision.square import SquareOn
from vision.strewn import strewn
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask
from vision.table import CARES, SURELY_ELSE, Care, Surface, shaded, surfaces, unlike, unlike_lined, without_lines

#: Pixels at which table and cloth are told apart; the outline is then sharpened on the picture itself (time).
_WORK_PIXELS = 3.5e5
#: The outline is simplified by at most so much, mm; with the blur of the edge it makes up its uncertainty.
SIMPLIFY_MM = 0.6
_EDGE_U95_PX = 0.8
#: Noise, weave and speckle are smoothed over so much before table and cloth are told apart, mm.
_SOFT_MM = 0.8
#: A cloth with straight frayed edges is so solid (own scenes). Below it, finer and coarser distinctions are tried, and
#: preferred where they leave it more solid by so much; then the table is learnt anew, apart from the cloth.
_WHOLE, _MORE_SOLID = 0.98, 0.005
#: Of findings that are straight the larger by this is likelier (stains make it less solid).
_LARGER = 1.03
#: A straight cloth over whose rim a ruler lies is still so solid: the ruler takes a notch out of it.
_NOTCHED = 0.9
#: A table's colour is seen again in so much of the cloth at most; that of a stripe, in a tenth or more.
_AGAIN = 0.06
#: Shade that was taken for cloth is no more of it than this, unless straight cloths, beyond doubt, are left.
_MOST_SHADE = 0.4
#: Of a table so much looks unlike it where lines are drawn on it (0.003 of one without, by SURELY_ELSE).
_LINED = 0.015
#: More surfaces round the picture than this are a print (time).
_MOST_TABLES = 3
#: What is seen of a table along the border varies by no more than this in tone: light that falls by half all along it
#: makes 40, the grain of wood 20 (own scenes); the stripes of a cloth that fills the picture make more.
_PLAIN_RING = 80.0
#: So near to what covers the cloth, mm, its contour may be that of what covers it.
_BESIDE_MM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClothRegion:
    """One cloth. ``mask`` (H, W) on the picture it was found in, without what covers it; the outline and holes in mm
    in the plane; its straight edges, longest first; whether the picture's border cuts it off. ``doubt_mm``: how far it
    may go on where it can hardly be told from the table, as ``u95_mm`` then says too. ``clear``: along which share of
    its own rim, of what is seen of that, it stands out from the table beyond doubt; 1 where that was not looked at."""

    mask: Mask
    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...]
    u95_mm: float
    edges: tuple[ClothEdge, ...]
    touches_frame: bool
    doubt_mm: float = 0.0
    clear: float = 1.0

    @property
    def area_mm2(self) -> float:
        """Area within the outline, holes taken off."""
        return _area(self.outline_mm) - sum(_area(hole) for hole in self.holes_mm)


def find_cloths(
    square: SquareOn, *, covered_mm: Sequence[Doubles] = (), ragged: bool = False
) -> tuple[ClothRegion, ...]:
    """The cloths in a square-on picture, largest first; empty where nothing stands out from what it lies on.
    ``ragged``: rather what stands out though it has not the shape of cloth, because of what lies over its rim.

    ``covered_mm`` are polygons (K, 2) of rulers, targets and cards: cloth goes on below one that lies on cloth.
    A cloth that fills the picture is found by its print repeating from border to border.
    """
    work, scale = _reduced(square)
    covered = covered_mask(square, covered_mm, scale, work.shape[:2])
    beside = beside_mask(square, covered_mm, scale, work.shape[:2])
    valid = cv2.resize(square.valid.astype(np.uint8), work.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    per_mm = square.px_per_mm * scale
    tone = _soft(srgb_to_lab(work) + TONE_SHIFT, max(_SOFT_MM * per_mm, 0.8))
    usable = valid & ~covered

    def left(surface: Surface, care: Care, away: Mask | None = None, *, in_shade: bool = False) -> Scraps:
        far = unlike(tone, usable, surface, care, away)
        if in_shade:
            far = np.where(shaded(tone, usable, surface, far, per_mm), np.float32(0.0), far)

        inner = None if away is None else within(unlike(wide(), usable, surface, care, away), usable, per_mm)
        return pieces(far, inner)

    def unlined(surface: Surface, care: Care) -> list[Scraps]:
        seen = unlike_lined(tone, even(), usable, surface, care, per_mm)
        return [] if seen is None else [pieces(*seen)]

    def pieces(far: Floats, inner: Mask | None) -> Scraps:
        def below(cloth: Mask) -> Mask:
            own = of_the_cloth(cloth, tone, usable & (far <= SURELY_ELSE), beside, per_mm)
            return cloth_below(own, covered, square, covered_mm, scale)

        return scraps(far, usable, valid, below, per_mm, inner)

    @cache
    def wide() -> Floats:
        return wide_tone(tone, usable, per_mm)

    @cache
    def even() -> Floats:
        return without_lines(tone, per_mm)

    tables = surfaces(tone, usable, valid)
    found = [left(surface, CARES[0]) for surface in tables]
    tabled = any(pieces.plain or _framed(pieces, tone, usable) for pieces in found)
    # the stripes of a print that fills the picture are several pieces
    tabled = tabled or any(len(pieces.blobs) == 1 and _straight_once(pieces) for pieces in found)
    whole = not tabled and striped_all_over(work, usable, per_mm)
    for number, surface in enumerate(tables[: 1 if whole else _MOST_TABLES]):
        best = found[number]
        for care in CARES[-1:] if whole else CARES[1:]:
            if not best.plain or best.solidity < _WHOLE:
                best = _better(best, left(surface, care))
        if not whole and (not best.plain or best.solidity < _WHOLE or _lined(best, usable)):
            best = _without_lines(best, [one for care in CARES for one in unlined(surface, care)])
        if best.solidity < _WHOLE and not whole:
            away = apart(best, valid, per_mm)
            for care in CARES if away is not None else ():
                best = _better(best, left(surface, care, away))
            best = _without_shade(best, left(surface, CARES[0], in_shade=True))
        if best.plain:
            return _regions(square, best.blobs, covered)
        found[number] = best
    likely = _likeliest([pieces for pieces in found if pieces.possible], tone, usable)
    fills = whole or (likely is not None and likely.all_round)
    cut_off = likely is not None and _cut_off(likely, tone, usable)
    inner = closed(valid, cv2.MORPH_ERODE, 3.0)
    part = None if any(pieces.blobs for pieces in found) or not found else strewn(found[0].other, beside, inner, per_mm)
    if part is not None:  # its sides are its motifs' rows, and not the cloth's
        return tuple(replace(region, edges=()) for region in _regions(square, (part,), covered))
    if fills or (not cut_off and patterned_all_over(work, usable, per_mm)):
        return (picture_of_cloth(square, covered),)
    if likely is None and ragged:
        few = [pieces for pieces in found if pieces.framed and 0 < len(pieces.blobs) <= FEW_BLOBS]
        likely = max(few, key=lambda pieces: pieces.solidity, default=None)
    return () if likely is None else _regions(square, likely.blobs, covered)


def _framed(pieces: Scraps, tone: Floats, usable: Mask) -> bool:
    """Whether something lies on a plain table that is seen along the whole border; a print's colours are none."""
    ring = usable & ~closed(usable, cv2.MORPH_ERODE, 3.0) & ~pieces.other
    return pieces.framed and bool(pieces.blobs) and float(tone[ring].var(axis=0).sum()) <= _PLAIN_RING


def _cut_off(pieces: Scraps, tone: Floats, usable: Mask) -> bool:
    """Whether these are cloths that the picture's border cuts off, on a plain table seen all along the rest of it: few,
    and with straight edges, as the motifs of a print that fills the picture are not."""
    return len(pieces.blobs) <= FEW_BLOBS and pieces.solidity >= _WHOLE and _framed(pieces, tone, usable)


def _once(pieces: Scraps) -> bool:
    """Whether the table's colour comes nowhere in the pieces, as a colour of their print would."""
    return pieces.again <= _AGAIN


def _laid(pieces: Scraps) -> bool:
    """Whether something straight lies within the picture on a table whose colour comes nowhere in it: one that is seen
    all round, or few pieces, for motifs of a print that the picture cuts off are many."""
    few = pieces.framed or len(pieces.blobs) <= FEW_BLOBS
    return pieces.laid and few and not pieces.all_round and _once(pieces)


def _straight_once(pieces: Scraps) -> bool:
    """Whether these are straight cloths, but for a ruler, on a table whose colour comes nowhere in them."""
    return pieces.possible and pieces.solidity >= _NOTCHED and not pieces.all_round and _once(pieces)


def _likeliest(found: Sequence[Scraps], tone: Floats, usable: Mask) -> Scraps | None:
    """Of the findings whose table does not come again in the pieces, where there are any, the most solid. Where what is
    taken for the table in one is the cloth in the other, both are straight: then the one of which something lies within
    the picture, else the one with a print, or the larger.
    """
    straight = [pieces for pieces in found if _laid(pieces)] or [pieces for pieces in found if _straight_once(pieces)]
    if not straight:
        once = [pieces for pieces in found if _once(pieces)]
        return max(once or found, key=lambda pieces: pieces.solidity, default=None)
    covers = [np.any(pieces.blobs, axis=0) & usable for pieces in straight]
    printed = [float(tone[cover].var(axis=0).sum()) > _PLAIN_RING for cover in covers]
    best = max(range(len(straight)), key=lambda k: (printed[k], int(covers[k].sum())))
    return straight[best]


def _better(one: Scraps, other: Scraps) -> Scraps:
    """The second where it looks more like cloths on a table, or leaves them clearly more solid."""
    solid = other.solidity > one.solidity + _MORE_SOLID
    if other.plain:
        return other if not one.plain or solid else one
    if other.framed and not one.framed and other.possible and other.solidity >= _WHOLE and solid:
        return other  # straight cloths and the table all round, where the first had taken some of it for cloth
    fewest = len(one.blobs) + one.plain  # what is plain gives way to more pieces only
    if other.framed and other.possible and one.possible and len(other.blobs) >= fewest:
        return _likelier(one, other)  # several cloths, the table all round the second's
    return other if other.possible and not one.possible else one


def _without_shade(one: Scraps, other: Scraps) -> Scraps:
    """The second, from which shade was taken away, where it has the cloths of the first, and they are straighter so; or
    more of them, where those of the first, that shade may have joined, are not straight; or cloths beyond doubt, where
    the first, that shade may have drawn to the picture's borders, has none."""
    if not one.possible:
        sure = other.plain and other.solidity >= _NOTCHED
        return other if sure or (other.possible and other.framed and _laid(other)) else one
    area, area2 = (sum(int(blob.sum()) for blob in pieces.blobs) for pieces in (one, other))
    more = len(other.blobs) > len(one.blobs)
    if more and one.solidity < STRAIGHT <= other.solidity and other.plain and not one.plain:
        return other
    same = len(other.blobs) == len(one.blobs) or (more and one.solidity < _NOTCHED)
    same = same and other.possible and area2 > (1 - _MOST_SHADE) * area
    return other if same and other.plain >= one.plain and other.solidity > one.solidity + _MORE_SOLID else one


def _lined(pieces: Scraps, usable: Mask) -> bool:
    """Whether much of what lies round the pieces is not the table."""
    round_ = usable & ~np.any(pieces.blobs, axis=0)
    return float((pieces.other & round_).sum()) > _LINED * float(round_.sum())


def _without_lines(one: Scraps, others: Sequence[Scraps]) -> Scraps:
    """Of those from which lines drawn on the table were taken away the most solid that is cloth on a table beyond
    doubt, where the first is not, or is less solid."""
    plain = max((pieces for pieces in others if pieces.plain), key=lambda pieces: pieces.solidity, default=one)
    return plain if not one.plain or plain.solidity > one.solidity else one


def _likelier(one: Scraps, other: Scraps) -> Scraps:
    """Of two findings straight enough to be cloth the one of more pieces, for neighbours may have been joined; then the
    larger, for half of a cloth may be straight too. Else the one that is clearly more solid."""
    straight = [pieces.solidity >= STRAIGHT for pieces in (one, other)]
    if all(straight) and len(other.blobs) > len(one.blobs):
        return other
    area, area2 = (sum(int(blob.sum()) for blob in pieces.blobs) for pieces in (one, other))
    if all(straight) and max(area, area2) > _LARGER * min(area, area2):
        return other if area2 > area else one
    return other if other.solidity > one.solidity + _MORE_SOLID else one


def _regions(square: SquareOn, blobs: Sequence[Mask], covered: Mask) -> tuple[ClothRegion, ...]:
    tone = _soft(srgb_to_lab(square.rgb) + TONE_SHIFT, 0.7)
    regions = [_region(square, blob, covered, tone) for blob in blobs]
    return tuple(sorted((r for r in regions if r is not None), key=lambda r: -r.area_mm2))


def _reduced(square: SquareOn) -> tuple[np.ndarray, float]:
    height, width = square.valid.shape
    scale = min(1.0, math.sqrt(_WORK_PIXELS / (height * width)))
    if scale == 1.0:
        return square.rgb, 1.0
    size = (round(width * scale), round(height * scale))
    return cv2.resize(square.rgb, size, interpolation=cv2.INTER_AREA), size[0] / width


def _soft(tone: Floats, sigma_px: float) -> Floats:
    """The picture with its noise and weave smoothed away."""
    return np.asarray(cv2.GaussianBlur(tone, (0, 0), sigma_px), dtype=np.float32)


def _region(square: SquareOn, blob: Mask, covered: Mask, tone: Floats) -> ClothRegion | None:
    """Outline, holes and edges of one piece, sharpened on the picture: its tone (H, W, 3)."""
    height, width = square.valid.shape
    big = cv2.resize(blob.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR) > 0.5
    hidden = cv2.resize(covered.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    rings, family = cv2.findContours(big.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[-2:]
    if not rings:
        return None
    outer = max((k for k in range(len(rings)) if family[0][k][3] < 0), key=lambda k: cv2.contourArea(rings[k]))
    holes = [k for k in range(len(rings)) if family[0][k][3] == outer]
    contour = rings[outer].reshape(-1, 2).astype(np.float64)
    if len(contour) < 20:
        return None
    inner = closed(square.valid, cv2.MORPH_ERODE, 3.0)
    at = np.rint(contour).astype(int)
    free = inner[at[:, 1], at[:, 0]]
    seen = free & ~_beside(hidden, square)[at[:, 1], at[:, 0]]
    sharp = np.where(seen[:, None], sharpened(tone, contour), contour)
    sharp, seen, free = with_corners(sharp, np.asarray(seen), np.asarray(free), hidden, square.px_per_mm)
    mm = np.asarray(square.origin_mm) + sharp / square.px_per_mm
    outline = _simplified(mm)
    shown = np.asarray(square.valid & ~hidden)
    if len(outline) < 3:
        return None
    return ClothRegion(
        mask=np.asarray(big & shown),
        outline_mm=outline,
        holes_mm=tuple(_hole(square, tone, rings[k]) for k in holes if _large(rings[k], square.px_per_mm)),
        u95_mm=math.hypot(_EDGE_U95_PX / square.px_per_mm, SIMPLIFY_MM),
        edges=straight_edges(mm, np.asarray(seen)),
        touches_frame=bool((~free).mean() > 0.01),
    )


def _large(ring: np.ndarray, px_per_mm: float) -> bool:
    return cv2.contourArea(ring) >= LEAST_HOLE_MM2 * px_per_mm**2


def _hole(square: SquareOn, tone: Floats, ring: np.ndarray) -> tuple[Point, ...]:
    rim = sharpened(tone, ring.reshape(-1, 2).astype(np.float64), hole=True)
    return _simplified(np.asarray(square.origin_mm) + rim / square.px_per_mm)


def _beside(hidden: Mask, square: SquareOn) -> Mask:
    """What covers, and as far beside it as a contour there may run along it instead of along cloth."""
    size = 2 * max(round(_BESIDE_MM * square.px_per_mm), 2) + 1
    return np.asarray(cv2.dilate(hidden.astype(np.uint8), np.ones((size, size), np.uint8)) > 0)


def picture_of_cloth(square: SquareOn, covered: Mask) -> ClothRegion:
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
