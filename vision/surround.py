"""What lies round a cloth as found: more of its print, or the table.

A print of stripes one or both ways is one sequence along each of its axes, added up: what it looks like at any place is
known from where the same two stripes are seen elsewhere. Round the cloth the picture is compared with that and with the
table beside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import linear
from vision.measurement import Print
from vision.plane import Plane
from vision.square import SquareOn
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask, axes

#: How finely the surroundings are looked at, px per mm and px in all, and how far round the cloth, mm.
_PX_PER_MM, _MOST_PIXELS, _ROUND_MM = 2.5, 4.0e5, 10.0
#: As much as this, mm, is enough.
_LEAST_ROUND_MM = 5.0
#: Noise is smoothed over so much, mm; what is compared, over so much more.
_SOFT_MM, _COMPARED_MM = 0.5, 1.0
#: The print is learnt so far inside the outline, mm, in steps so wide, mm, over so much of each at least, mm.
_INSIDE_MM, _STEP_MM, _LEAST_SEEN_MM = 1.5, 0.6, 3.0
_ROUNDS = 6
#: One place of so many is learnt from: stripes are seen over many times more (time).
_EVERY = 5
#: As far in as the print is learnt, and a little more, mm, a stripe seen to the end is taken to go on.
_CARRIED_MM = 2.0
#: Of a check of which only one direction is known the other is square to it within this, deg (practice: skew).
_TURNS_DEG = (-3.0, -1.5, 0.0, 1.5, 3.0)
#: Stripes both ways must explain this share of all change, or the print is not made of them.
_LEAST_EXPLAINED = 0.9
#: The table is learnt so far from the cloth, mm, and its light changes over such a distance, mm.
_TABLE_MM, _TABLE_WIDE_MM = 2.5, 8.0
#: So wide, px, is that distance in the small picture in which it is learnt.
_SMALL_SIGMA_PX = 4.0
#: A place is like the print within this, tone (twice what weave and light leave inside cloth, own scenes), or within
#: this share of how far it is from the table; and clearly more like one than the other within the last share.
_LIKE, _NEARLY, _CLEARLY = 2.5, 0.3, 0.7
#: Print and table are told apart by at least so much, tone.
_APART = 3.0
#: Where the print would only come again, by so much (shade and the grain of a table make less, own scenes); it is that
#: within this share of how far it is from the table, and along this share of the cloth.
_FAR_APART, _AGAIN_NEARLY, _AGAIN_LONG = 6.0, 0.45, 0.5
#: So many colours are taken for the cloth's, from so many places (time).
_COLOURS, _SAMPLES = 8, 4000
#: They are learnt without what is narrower than twice this, mm: spots of the table taken for bumps of the rim.
_BROAD_MM = 8.0
_LIGHT = linear(np.arange(256) / 255).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """A cloth and its surroundings: the picture's light and tone (H, W, 3), the cloth as found, where nothing else
    lies, and how far (H, W) every place is in tone from the nearest of the cloth's colours."""

    square: SquareOn
    light: Floats
    tone: Floats
    cloth: Mask
    free: Mask
    off_colour: Floats

    def redrawn(self, outline_mm: Doubles) -> Ground | None:
        """The same surroundings of the cloth with another outline (N, 2); None where the picture shows too few of
        them."""
        ring = pixels(outline_mm, self.square)
        room = _LEAST_ROUND_MM * self.square.px_per_mm
        if (ring < room).any() or (ring > np.array(self.cloth.shape[::-1]) - 1 - room).any():
            return None
        return replace(self, cloth=_inside(ring, self.cloth.shape))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surround:
    """Outside the cloth as found (H, W): where its print is ``known``, where the picture clearly shows it (``like``),
    and where it clearly shows the ``table`` instead. Everywhere: where the picture is clearly nearer to one of the
    cloth's colours than to the table's (``coloured``), and where it is clearly the other way (``bare``)."""

    known: Mask
    like: Mask
    table: Mask
    coloured: Mask
    bare: Mask


def ground_of(
    plane: Plane,
    outline_mm: Doubles,
    holes_mm: Sequence[Doubles],
    rgb: NDArray[np.uint8],
    other_mm: Sequence[Doubles],
) -> Ground:
    """The cloth of an outline (N, 2) in the photo ``rgb`` (H, W, 3); ``other_mm``: polygons of what else lies there."""
    low, high = outline_mm.min(axis=0) - _ROUND_MM, outline_mm.max(axis=0) + _ROUND_MM
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    per_mm = min(_PX_PER_MM, math.sqrt(_MOST_PIXELS / float(np.prod(high - low))))
    square = plane.square_on(rgb, px_per_mm=per_mm, region_mm=box)
    cloth, free = _inside(pixels(outline_mm, square), square.valid.shape), square.valid
    for polygon in (*holes_mm, *other_mm):
        free = free & ~_inside(pixels(polygon, square), square.valid.shape)
    light = np.asarray(cv2.GaussianBlur(_LIGHT[square.rgb], (0, 0), _SOFT_MM * per_mm), dtype=np.float32)
    tone = _tone(light)
    off = _from_colours(tone, eroded(_broad(cloth, _BROAD_MM * per_mm), _INSIDE_MM * per_mm) & free)
    return Ground(square=square, light=light, tone=tone, cloth=cloth, free=free, off_colour=off)


def _inside(ring: NDArray[np.int32], shape: tuple[int, ...]) -> Mask:
    """The inside (H, W) of a polygon (N, 2), px."""
    drawn = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(drawn, [ring], 1)
    return np.asarray(drawn > 0)


def surround_of(ground: Ground, print_: Print | None) -> Surround:
    """What lies round a cloth; where its print is not made of stripes one or both ways, only its colours tell."""
    per_mm = ground.square.px_per_mm
    seen = ground.tone
    look = None if print_ is None else _look(ground, print_)
    nowhere = np.zeros_like(ground.cloth)
    around = np.asarray(ground.free & ~ground.cloth)
    outside = nowhere if look is None else np.asarray(look.known & around)
    further = nowhere if look is None else np.asarray((look.known | look.again) & around)
    near = _Near.of(further, per_mm)
    seen_there = seen[further]
    print_tone = seen_there if look is None else _tone(look.light_at(further)[None])[0]
    away = near.distance(seen_there, print_tone)
    like = table = bare = coloured = nowhere
    for _ in range(2):  # again without what turns out to be cloth
        clear = ground.free & ~grown(ground.cloth | like, _TABLE_MM * per_mm)
        table_tone = _table_tone(ground.light, clear, _TABLE_WIDE_MM * per_mm)
        off, apart = (near.distance(tone, table_tone[further]) for tone in (seen_there, print_tone))
        like = outside & (away < _CLEARLY * off) & (away < np.maximum(_LIKE, _NEARLY * off))
        more = further & ~outside & (apart > _FAR_APART) & (away < _AGAIN_NEARLY * off)
        like = np.asarray(like | _along_the_cloth(more, ground.cloth))
        table = np.asarray(outside & (off < _CLEARLY * away) & (apart > _APART))
        rest = np.sqrt(_square(seen - table_tone))
        coloured = np.asarray(ground.off_colour < _CLEARLY * rest)
        bare = np.asarray(rest < _CLEARLY * ground.off_colour)
        if not like.any():
            break
    return Surround(known=outside, like=like, table=table, coloured=coloured, bare=bare)


def _along_the_cloth(mask: Mask, cloth: Mask) -> Mask:
    """The parts of a mask (H, W) that are long for the cloth: a stripe is, a shadow's or a stain's end is not."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    size = math.sqrt(float(cloth.sum()))
    long = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) >= _AGAIN_LONG * size
    long[0] = False
    return np.asarray(long[labels] if count > 1 else np.zeros_like(mask))


def _broad(cloth: Mask, radius_px: float) -> Mask:
    """A cloth (H, W) without what is narrower than twice a radius: no bump of its rim; all of it where it is narrow."""
    deep = cv2.distanceTransform(np.pad(cloth, 1).astype(np.uint8), cv2.DIST_L2, 3)
    radius = min(radius_px, float(deep.max()) / 2)
    away = cv2.distanceTransform((deep <= radius).astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(away[1:-1, 1:-1] < radius) & cloth


def _from_colours(tone: Floats, inside: Mask) -> Floats:
    """How far (H, W) every place is in tone (H, W, 3) from the nearest of the cloth's colours, seen ``inside`` it."""
    sample = tone[inside]
    sample = np.ascontiguousarray(sample[:: max(len(sample) // _SAMPLES, 1)])
    if len(sample) < _COLOURS:
        return np.zeros(tone.shape[:2], np.float32)
    cv2.setRNGSeed(1)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 15, 0.3)
    found = cv2.kmeans(sample, _COLOURS, np.empty(0, np.int32), criteria, 1, cv2.KMEANS_PP_CENTERS)[2]
    centres = np.asarray(found, dtype=np.float32)
    # |t - c|² = |t|² + |c|² - 2 t·c, the last two for all colours at once (time)
    rest = cv2.transform(tone, np.column_stack([-2 * centres, _square(centres)]))
    least = cv2.reduce(rest.reshape(-1, _COLOURS), 1, cv2.REDUCE_MIN).reshape(tone.shape[:2])
    return np.asarray(np.sqrt(np.maximum(_square(tone) + least, 0.0)), dtype=np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Near:
    """Places (H, W) round each of which pictures are compared, over ``sigma_px``, and how many of them lie there."""

    where: Mask
    sigma_px: float
    cover: Floats

    @classmethod
    def of(cls, where: Mask, per_mm: float) -> _Near:
        sigma = _COMPARED_MM * per_mm
        return cls(where=where, sigma_px=sigma, cover=_softened(where.astype(np.float32), sigma))

    def distance(self, one: Floats, other: Floats) -> Floats:
        """How unlike (H, W) two pictures (N, 3), told at each of the places, are round them, tone."""
        square = np.zeros(self.where.shape, np.float32)
        square[self.where] = _square(one - other)
        return np.asarray(np.sqrt(_softened(square, self.sigma_px) / np.maximum(self.cover, 1e-6)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """Which step (H, W) of each of two sequences of light (N, 3) every place lies in: added up they are what the print
    would look like there. Where that is seen elsewhere in the cloth (``known``, (H, W)) or only would come ``again``
    after a repeat, and the share of all change inside the cloth that this explains."""

    steps: tuple[NDArray[np.int32], NDArray[np.int32]]
    sequences: tuple[Floats, Floats]
    known: Mask
    again: Mask
    explained: float

    def light_at(self, where: Mask) -> Floats:
        """The light (N, 3) the print would have at the places of a mask (H, W)."""
        first, second = (sequence[step[where]] for step, sequence in zip(self.steps, self.sequences, strict=True))
        return np.asarray(first + second)


def _look(ground: Ground, print_: Print) -> _Look | None:
    """What the print would look like; None where it is not made of stripes one or both ways."""
    inside = eroded(ground.cloth, _INSIDE_MM * ground.square.px_per_mm) & ground.free
    if print_.kind not in ("check", "stripe") or print_.across_direction_deg is None or not inside.any():
        return None
    across = print_.across_direction_deg.value
    if print_.kind == "stripe":
        tried = [_added_up(ground, inside, across, None, 0.0 if print_.across is None else print_.across.value)]
    elif print_.along_direction_deg is not None:
        tried = [_added_up(ground, inside, across, print_.along_direction_deg.value)]
    else:
        tried = [_added_up(ground, inside, across, across + 90.0 + turn) for turn in _TURNS_DEG]
    best = max(tried, key=lambda one: one.explained)
    return best if best.explained >= _LEAST_EXPLAINED else None


def _added_up(ground: Ground, inside: Mask, across: float, along: float | None, period_mm: float = 0.0) -> _Look:
    """Two sequences that add up to the light inside the cloth, put together everywhere; without ``along`` only one,
    which comes again after ``period_mm``."""
    step = _STEP_MM * ground.square.px_per_mm
    least = _LEAST_SEEN_MM * ground.square.px_per_mm * step / _EVERY
    inside = inside & _thin(inside.shape)
    first = _steps(inside.shape, across, step)
    second = np.zeros_like(first) if along is None else _steps(inside.shape, along, step)
    a, b, light = first[inside], second[inside], ground.light[inside].astype(np.float64)
    one, two = np.zeros((int(first.max()) + 1, 3)), np.zeros((int(second.max()) + 1, 3))
    seen_one, seen_two = np.bincount(a, minlength=len(one)), np.bincount(b, minlength=len(two))
    for _ in range(_ROUNDS if along is not None else 1):
        one = _means(a, light - two[b], seen_one)
        two = two if along is None else _means(b, light - one[a], seen_two)
    rest = light - one[a] - two[b]
    explained = 1 - float(rest.var(axis=0).sum()) / max(float(light.var(axis=0).sum()), 1e-12)
    one, again = _repeated(one, seen_one >= least, period_mm)
    one, known_one = _carried_on(one, seen_one >= least, again)
    two, known_two = _carried_on(two, seen_two >= least, np.zeros(len(two), bool))
    return _Look(
        steps=(first, second),
        sequences=(one.astype(np.float32), two.astype(np.float32)),
        known=np.asarray(known_one[first] & known_two[second]),
        again=np.asarray(again[first]),
        explained=explained,
    )


def _carried_on(sequence: Doubles, known: Mask, again: Mask) -> tuple[Doubles, Mask]:
    """A sequence (N, 3) that goes on for a little as it ends, unless it is known to come ``again``; and where (N,) it
    then is known."""
    places, there = np.arange(len(known)), np.flatnonzero(known)
    if not len(there):
        return sequence, known
    right = np.clip(np.searchsorted(there, places), 0, len(there) - 1)
    left = np.maximum(right - 1, 0)
    nearest = np.where(np.abs(there[left] - places) <= np.abs(there[right] - places), there[left], there[right])
    near = np.asarray(np.abs(nearest - places) <= _CARRIED_MM / _STEP_MM)
    return sequence[np.where(again, places, nearest)], near


def _repeated(sequence: Doubles, known: Mask, period_mm: float) -> tuple[Doubles, Mask]:
    """A sequence (N, 3) that comes again after a period, and where (N,) it does."""
    out, again = sequence.copy(), np.zeros_like(known)
    for turn in (-1, 1, -2, 2) if period_mm > 0 else ():
        source = np.arange(len(known)) + round(turn * period_mm / _STEP_MM)
        found = ~known & ~again & (source >= 0) & (source < len(known))
        found[found] = known[source[found]]
        out[found], again = sequence[source[found]], again | found
    return out, again


def _thin(shape: tuple[int, ...]) -> Mask:
    """One of ``_EVERY`` places (H, W), as many in every row as in every column."""
    rows, columns = np.arange(shape[0])[:, None], np.arange(shape[1])[None, :]
    return np.asarray((2 * rows + columns) % _EVERY == 0)


def _steps(shape: tuple[int, ...], direction_deg: float, step: float) -> NDArray[np.int32]:
    """Which step (H, W) along a direction every pixel lies in, from 0."""
    n, _ = axes(direction_deg)
    across, down = np.arange(shape[1]) * (n[0] / step), np.arange(shape[0]) * (n[1] / step)
    return np.asarray(
        (down - down.min()).astype(np.float32)[:, None] + (across - across.min()).astype(np.float32)[None, :],
        dtype=np.int32,
    )


def _means(index: NDArray[np.int32], values: Doubles, count: NDArray[np.int64]) -> Doubles:
    sums = [np.bincount(index, values[:, k], len(count)) for k in range(3)]
    return np.asarray(np.stack(sums, axis=1) / np.maximum(count, 1)[:, None])


def _tone(light: Floats) -> Floats:
    clear = np.clip(light, 0, 1).astype(np.float32)
    return np.asarray(cv2.cvtColor(clear, cv2.COLOR_LRGB2LAB) + TONE_SHIFT, dtype=np.float32)


def _square(difference: Floats) -> Floats:
    """The square of the length (...) of differences (..., 3)."""
    return np.asarray(np.einsum("...k,...k->...", difference, difference))


def _softened(picture: Floats, sigma_px: float) -> Floats:
    """A picture (H, W) or (H, W, C) averaged round each place."""
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma_px), dtype=np.float32)


def _table_tone(light: Floats, clear: Mask, sigma_px: float) -> Floats:
    """The tone (H, W, 3) of the table, learnt where it is ``clear`` (H, W) round each place, in a small picture (time):
    it is as smooth as it is wide."""
    size = (light.shape[1], light.shape[0])
    small = tuple(max(round(side * _SMALL_SIGMA_PX / sigma_px), 1) for side in size)
    weight = clear.astype(np.float32)
    cover = cv2.resize(weight, small, interpolation=cv2.INTER_AREA)
    total = cv2.resize(light * weight[..., None], small, interpolation=cv2.INTER_AREA)
    sums, count = (cv2.GaussianBlur(part, (0, 0), _SMALL_SIGMA_PX) for part in (total, cover))
    mean = np.asarray(sums / np.maximum(count, 1e-6)[..., None], dtype=np.float32)
    return np.asarray(cv2.resize(_tone(mean), size, interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def disc(radius_px: float) -> NDArray[np.uint8]:
    """A round structuring element."""
    size = 2 * max(round(radius_px), 1) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), dtype=np.uint8)


def eroded(mask: Mask, radius_px: float) -> Mask:
    """A mask (H, W) without its rim; the picture's border is one."""
    kernel = disc(radius_px)
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0)


def grown(mask: Mask, radius_px: float) -> Mask:
    """A mask (H, W) and what lies so near it."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), disc(radius_px)) > 0)


def pixels(points_mm: Doubles, square: SquareOn) -> NDArray[np.int32]:
    """The nearest pixels (N, 2) of places in the plane."""
    return np.asarray(np.rint((points_mm - np.asarray(square.origin_mm)) * square.px_per_mm), dtype=np.int32)
