"""Where a straight side really runs: how far the cloth reaches all along it, tuft by tuft, and the line through that.

A contour goes round the tips of a frayed edge, past the notches between them, and past stripes of the table's colour.
But a print tells what the cloth would look like at its very rim: as it looks one repeat further in, or further along a
stripe. Line by line across the edge, the cloth is sought to reach to where that and the table, with a soft step between
them, look most like the picture; where table and cloth look alike, a line tells nothing, and counts for nothing.

References: C. M. Bishop, Pattern Recognition and Machine Learning (2006), 1.5 (the mean of what is likely, from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.special import ndtr

from vision.colour import linear
from vision.edge import ClothEdge
from vision.estimate import Estimate
from vision.measurement import Print
from vision.square import SquareOn
from vision.swatch import Doubles, Floats, Mask, axes, folded_deg

#: Lines across the side begin so far out on the table, and end so far in on the cloth, mm; to so far on either side of
#: it the cloth may reach (practice: fraying of two or three mm), and the table is learnt beyond.
_OUT_MM, _IN_MM, _FRAY_MM, _BEYOND_MM = 6.0, 7.0, 3.5, 3.5
#: They lie no closer than this, mm, nor their samples, mm, and px of the picture (time).
_LINES_MM, _SAMPLE_MM, _SAMPLE_PX = 0.5, 0.15, 0.5
#: Whether a side is the cloth's at all, lines so far apart tell as well, mm (time).
_LOOK_MM = 1.2
#: Places to which the cloth may reach are told apart to this, mm; its rim is as soft as one of these, mm.
_REACH_MM, _SOFT_MM = 0.1, (0.15, 0.3, 0.5, 0.8)
#: The cloth is seen again at least so far in, mm (fraying and a finger's breadth), in so many places of the print, of
#: as many repeats at most; along a stripe it is looked at so often, mm.
_DEEP_MM, _PLACES, _REPEATS, _ALONG_MM = 8.0, 6, 3, 4.0
#: What a side is held against to see whether it is the cloth's comes from all over the cloth: from so many places, of
#: as many repeats, as far in, mm; but not from so near to what lies on it, mm, as no ruler is wide: it may be wider and
#: longer than was found.
_FAR_PLACES, _FAR_REPEATS, _FAR_MM, _ASIDE_MM = 24, 6, 140.0, 35.0
#: It keeps so far clear of the cloth's own outline, mm.
_CLEAR_MM = 1.5
#: The table's colour is that of so much of its length, mm; light changes as slowly.
_TABLE_MM = 8.0
#: On this share of that length it is seen at least, however near a ruler lies.
_LEAST_TABLE = 0.2
#: What cloth just inside, from so far in, mm, is lighter or darker than what it repeats, at most.
_LIGHT_FROM_MM, _LIGHT = 2.5, (0.6, 1.6)
#: Samples are not independent: so many mm of a line tell one thing (the lens's blur, threads).
_TOGETHER_ALONG_MM = 0.6
#: Of the table's largest variance, that of its other directions of light is at least this share (noise of the camera).
_LEAST_NOISE = 0.02
#: A line counts by half where it leaves its reach open by so much, mm, and not at all above the second.
_OPEN_MM, _MOST_OPEN_MM = 0.35, 0.8
#: Tufts, stripes and the table's grain hang together over at most so much of an edge, mm (practice).
_TOGETHER_MM = 12.0
#: Nor is an edge known better than tufts so long, mm, leave it: from few lines what they share is found too small.
_TUFT_MM = 1.6
_FEWEST_LINES = 20
#: Lines of this share of a side must tell, or its direction is not known.
_LEAST_TOLD = 0.3
#: A step from table to cloth explains this share of what the lines see, or no cloth ends there (0.68 and more where one
#: does, 0.46 and less, mostly far less, where a ruler was taken for cloth: own scenes).
_LEAST_EXPLAINED = 0.6
#: Cloth goes on beyond a side where it reaches farther than this, mm: outlines go round the tips of tufts.
_OVERRUN_MM = 1.0
#: It is followed so often at most, and no more once its ends moved by less than this, mm.
_PASSES, _STILL_MM = 3, 0.2
#: No edge of cloth is straight to better than this, degrees (95 %).
_LEAST_U95_DEG = 0.04
#: Cloth that lies flat still rises here and there, and is seen so far out of its place at each end, mm (creases of half
#: a millimetre, seen at half of unit slope; practice).
_LIE_MM = 0.1
_FACING = {"top": (0.0, -1.0), "bottom": (0.0, 1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}


def repeats_inwards(print_: Print, inwards: Doubles, *, far: bool = False) -> Doubles:
    """Moves (M, 2), mm, that bring a print onto itself and lead into the cloth, the shortest first; none where what is
    known of the print tells no such move. ``inwards`` is the unit vector into the cloth.

    With ``far`` they lead to places all over the cloth, else to those nearby.
    """
    first, second = _basis(print_)
    repeats = _FAR_REPEATS if far else _REPEATS
    once = np.arange(-repeats, repeats + 1)[:, None] if first is not None else np.zeros((1, 1))
    often = np.arange(-6 * repeats, 6 * repeats + 1)[:, None] if second is not None else np.zeros((1, 1))
    nothing = np.zeros(2)
    steps = (once * (nothing if first is None else first))[:, None] + often * (nothing if second is None else second)
    moves = steps.reshape(-1, 2)
    moves = moves[moves @ inwards >= _DEEP_MM]
    size = (moves * moves).sum(axis=1)
    deep = moves[np.argsort(size, kind="stable")]
    if not far:
        return deep[:_PLACES]
    near = deep[: int((size <= _FAR_MM**2).sum())]
    return near[:: max(len(near) // _FAR_PLACES, 1)]


def _basis(print_: Print) -> tuple[Doubles | None, Doubles | None]:
    """Two moves that bring a print onto itself; along plain stripes any will do."""
    if print_.lattice is not None:
        return np.asarray(print_.lattice.a_mm), np.asarray(print_.lattice.b_mm)
    if print_.kind == "plain":
        return np.array([_ALONG_MM, 0.0]), np.array([0.0, _ALONG_MM])
    if print_.across_direction_deg is None:
        return None, None
    n, d = axes(print_.across_direction_deg.value)
    across = None if print_.across is None else print_.across.value * n
    if print_.kind == "stripe":
        return across, _ALONG_MM * d
    down = print_.along_direction_deg
    along = None if print_.along is None or down is None else print_.along.value * axes(down.value)[0]
    # a check's lines across and along are not square to each other: what moves one kind must not move the other
    return (None, None) if print_.kind == "check" else (across, along)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """The picture in which a side is sought: in linear light (H, W, 3), where it shows something that nothing covers,
    where the inside of the cloth (H, W), and where surely nothing but cloth (H, W)."""

    square: SquareOn
    light: Floats
    shown: Mask
    inside: Mask
    sure: Mask


def seen_cloth(square: SquareOn, outline_mm: Doubles, covered_mm: Sequence[Doubles]) -> Seen:
    """The picture of a cloth of that outline (N, 2), below polygons (K, 2) that cover it."""
    cloth, free = np.zeros(square.valid.shape, np.uint8), square.valid.astype(np.uint8)

    def pixels(ring: Doubles) -> np.ndarray:
        return np.asarray(np.rint((ring - np.asarray(square.origin_mm)) * square.px_per_mm), dtype=np.int32)

    cv2.fillPoly(cloth, [pixels(outline_mm)], 1)
    covers = np.ones_like(free)
    for cover in covered_mm:
        cv2.fillPoly(covers, [pixels(cover)], 0)
    free &= covers
    size = 2 * max(round(_CLEAR_MM * square.px_per_mm), 1) + 1
    inner = cv2.erode(cloth, np.ones((size, size), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
    light = linear(np.arange(256) / 255).astype(np.float32)[square.rgb]
    shown = free > 0
    aside = cv2.distanceTransform(covers, cv2.DIST_L2, 3) >= _ASIDE_MM * square.px_per_mm
    inside = (inner > 0) & shown
    return Seen(square=square, light=np.asarray(light), shown=shown, inside=inside, sure=inside & aside)


def confirmed(edge: ClothEdge, seen: Seen, print_: Print) -> bool | None:
    """Whether what lies within a side looks as the cloth does further in: else the side is another thing's. None where
    table and cloth are too alike to tell, too little is seen, or the print does not tell what the cloth looks like."""
    middle, unit, out, half = placed(edge)
    lines = _lines(seen, middle, unit, out, half, print_, far=True, evened=False, every_mm=_LOOK_MM)
    return None if lines is None else lines.explained >= _LEAST_EXPLAINED


def overrun(edge: ClothEdge, seen: Seen, print_: Print) -> bool:
    """Whether cloth goes on beyond a side, along most of what tells of it: the side is but where a stripe of the
    table's colour begins."""
    middle, unit, out, half = placed(edge)
    lines = _lines(seen, middle, unit, out, half, print_, far=True, evened=True, every_mm=_LOOK_MM)
    if lines is None:
        return False
    return float(lines.weight @ (lines.reach < -_OVERRUN_MM)) > 0.5 * float(lines.weight.sum())


def settled(edge: ClothEdge, seen: Seen, print_: Print) -> ClothEdge | None:
    """A side with its ends and direction by how far the cloth reaches along it; None where table and cloth are too
    alike, too little of it is seen, or the print does not tell what the cloth looks like there."""
    return _followed(edge, seen, print_, far=False) or _followed(edge, seen, print_, far=True)


def _followed(edge: ClothEdge, seen: Seen, print_: Print, *, far: bool) -> ClothEdge | None:
    """The side as cloth nearby tells, or as cloth from ``far`` in does, where that is as it is expected."""
    middle, unit, out, half = placed(edge)
    u95 = scatter = 0.0
    for _ in range(_PASSES):
        lines = _lines(seen, middle, unit, out, half, print_, far=far, evened=True)
        if lines is None or lines.explained < _LEAST_EXPLAINED:
            return None
        ends = lines.weight * (np.abs(lines.reach) < _FRAY_MM - _REACH_MM)
        if _few(ends):
            return None
        inset, slope, u95, scatter = _slope(replace(lines, weight=ends))
        middle = middle - inset * out
        unit = (unit - slope * out) / math.hypot(1.0, slope)
        out = _outwards(unit, out)
        if abs(inset) + half * abs(slope) <= _STILL_MM:
            break
    lie = 2 * math.sqrt(2) * _LIE_MM / (2 * half)
    direction = folded_deg(math.degrees(math.atan2(-unit[1], unit[0])))
    start, end = middle - half * unit, middle + half * unit
    return replace(
        edge,
        start_mm=(float(start[0]), float(start[1])),
        end_mm=(float(end[0]), float(end[1])),
        direction_deg=Estimate(direction, math.hypot(math.degrees(math.hypot(u95, lie)), _LEAST_U95_DEG)),
        scatter_mm=scatter,
    )


def placed(edge: ClothEdge) -> tuple[Doubles, Doubles, Doubles, float]:
    """A side's middle, the unit vectors along it and out of the cloth, and half its length, mm."""
    start, end = np.asarray(edge.start_mm), np.asarray(edge.end_mm)
    half = float(np.hypot(*(end - start))) / 2
    unit = (end - start) / (2 * half)
    return (start + end) / 2, unit, _outwards(unit, np.asarray(_FACING[edge.side])), half


def _outwards(unit: Doubles, about: Doubles) -> Doubles:
    out = np.array([unit[1], -unit[0]])
    return out if out @ about > 0 else -out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Lines across a side, ``step`` mm apart: where they cross it (N,), how far inwards of it the cloth ends on each,
    mm, how much each counts, and which share of what all of them see a step from table to cloth
    explains."""

    along: Doubles
    reach: Doubles
    open_mm: Doubles
    weight: Doubles
    step: float
    explained: float


def _lines(
    seen: Seen,
    middle: Doubles,
    unit: Doubles,
    out: Doubles,
    half: float,
    print_: Print,
    *,
    far: bool,
    evened: bool,
    every_mm: float = 0.0,
) -> _Lines | None:
    """The lines across a side, held against cloth nearby or ``far`` in; None where too few of them tell.

    ``evened``: what the table's own light varies by most counts least. A long side has a line ``every_mm`` only.
    """
    moves = repeats_inwards(print_, -out, far=far)
    if not len(moves):
        return None
    px_per_mm = seen.square.px_per_mm
    step = max(1 / px_per_mm, _LINES_MM, min(every_mm, half / _FEWEST_LINES))
    along = np.arange(-half, half, step)
    across = np.arange(-_OUT_MM, _IN_MM, max(_SAMPLE_PX / px_per_mm, _SAMPLE_MM))
    places = middle + along[:, None, None] * unit - across[None, :, None] * out
    shown = read(seen.shown.astype(np.float32), places, seen.square) > 0.99
    cloth, known = expected_cloth(seen, seen.sure if far else seen.inside, places, moves)
    colour = light_at(seen, places)
    near, beyond = np.abs(across) <= _FRAY_MM, across < -_BEYOND_MM
    table, told = _table(colour[:, beyond], shown[:, beyond], _TABLE_MM / step)
    counts = told & shown[:, near].all(axis=1) & (known[:, near].mean(axis=1) > 0.9)
    if _few(counts):
        return None
    known *= shown
    cloth = cloth * _lightness(colour, cloth, known, across, _TABLE_MM / step)[:, None, None]
    colour = (colour - table[:, None]) * shown[..., None]
    expected = (cloth - table[:, None]) * known[..., None]
    if evened:
        even = _evened(colour[counts][:, beyond][shown[counts][:, beyond]])
        colour, expected = colour @ even, expected @ even
    reach, open_mm, left = _reach(colour, expected, across)
    weight = counts * np.clip((_MOST_OPEN_MM - open_mm) / _MOST_OPEN_MM, 0, 1)
    if _few(weight):
        return None
    explained = 1 - float(counts @ left) / max(float(counts @ (colour * colour).sum(axis=(1, 2))), 1e-12)
    return _Lines(along=along, reach=reach, open_mm=open_mm, weight=weight, step=step, explained=explained)


def _few(weight: Doubles | Mask) -> bool:
    """Whether too few lines (N,) of a side count at all."""
    return int((weight > 0).sum()) < max(_FEWEST_LINES, _LEAST_TOLD * len(weight))


def read(picture: Floats, places_mm: Doubles, square: SquareOn) -> Doubles:
    """What a picture shows at places (N, K, 2); nothing beyond it."""
    x, y = np.moveaxis(((places_mm - np.asarray(square.origin_mm)) * square.px_per_mm).astype(np.float32), 2, 0)
    read = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(read, dtype=np.float64)


def light_at(seen: Seen, places_mm: Doubles) -> Doubles:
    """The light (N, K, 3) that a picture shows at places (N, K, 2)."""
    return read(seen.light, places_mm, seen.square)


def expected_cloth(seen: Seen, inside: Mask, places: Doubles, moves: Doubles) -> tuple[Doubles, Doubles]:
    """What cloth would look like (N, K, 3) at each place, the mean of where its print comes again ``inside`` (H, W),
    and whether it does (N, K)."""
    total, count = np.zeros((*places.shape[:2], 3)), np.zeros(places.shape[:2])
    cover = inside.astype(np.float32)
    for move in moves:
        there = read(cover, places + move, seen.square) > 0.99
        total += read(seen.light, places + move, seen.square) * there[..., None]
        count += there
    return total / np.maximum(count, 1)[..., None], (count > 0).astype(np.float64)


def _table(colour: Doubles, shown: Mask, lines: float) -> tuple[Doubles, Mask]:
    """The table's colour (N, 3) at each line, of what is ``shown`` (N, K) of it there and on its neighbours, and where
    (N,) enough of it is."""
    told: Mask = np.asarray(shown.any(axis=1))
    here = np.zeros((len(colour), 3))
    here[told] = np.nanmedian(np.where(shown[told][..., None], colour[told], np.nan), axis=1)
    share = _mean_along(told[:, None].astype(np.float64), lines)
    return _mean_along(here, lines) / np.maximum(share, 1e-9), share[:, 0] > _LEAST_TABLE


def _lightness(colour: Doubles, cloth: Doubles, known: Doubles, across: Doubles, lines: float) -> Doubles:
    """How much lighter (N,) the cloth near each line is than what it repeats."""
    inner = (across > _LIGHT_FROM_MM) * known
    common = ((colour * cloth).sum(axis=2) * inner).sum(axis=1)
    energy = ((cloth * cloth).sum(axis=2) * inner).sum(axis=1)
    ratio = _mean_along(common[:, None], lines) / np.maximum(_mean_along(energy[:, None], lines), 1e-12)
    return np.asarray(np.clip(ratio[:, 0], *_LIGHT))


def _reach(picture: Doubles, cloth: Doubles, across: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """How far inwards (N,) the cloth ends on each line, how open (N,) that is, one standard deviation, mm, and what of
    the picture (N,) the likeliest step leaves unexplained, a sum of squares.

    Both pictures (N, K, 3) are told from the table's. All reaches count by how likely they make the picture.
    """
    pull, power = (picture * cloth).sum(axis=2), (cloth * cloth).sum(axis=2)
    reaches = np.arange(-_FRAY_MM, _FRAY_MM + _REACH_MM / 2, _REACH_MM)
    steps = [ndtr((across[:, None] - reaches) / soft) for soft in _SOFT_MM]
    costs = [power @ (share * share) - 2 * (pull @ share) for share in steps]
    cost = min(costs, key=lambda one: float(np.median(one.min(axis=1))))
    left = (picture * picture).sum(axis=(1, 2)) + cost.min(axis=1)
    together = max(_TOGETHER_ALONG_MM / float(across[1] - across[0]), 1.0)
    noise = max(float(np.median(left)) / len(across), 1e-9) * together
    likely = np.exp(-(cost - cost.min(axis=1, keepdims=True)) / (2 * noise))
    likely /= likely.sum(axis=1, keepdims=True)
    reach = likely @ reaches
    return np.asarray(reach), np.sqrt(np.maximum(likely @ reaches**2 - reach**2, 0.0)), np.asarray(left)


def _evened(table: Doubles) -> Doubles:
    """A matrix (3, 3) that makes light vary alike in all its directions as it does on a table (N, 3), told from its
    mean: where the grain of wood is light and dark, colour tells more.

    On the whole it leaves light as strong as it is.
    """
    values, vectors = np.linalg.eigh(np.cov(table.T))
    values = np.maximum(values, max(float(values.max()) * _LEAST_NOISE, 1e-12))
    return np.asarray((vectors / np.sqrt(values / values.mean())) @ vectors.T)


def _mean_along(values: Doubles | Floats, lines: float) -> Doubles:
    """The mean of values (N, C) over so many lines."""
    size = int(lines) | 1
    mean = cv2.blur(values.astype(np.float64), (1, size), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(mean, dtype=np.float64).reshape(len(values), -1)


def _slope(lines: _Lines) -> tuple[float, float, float, float]:
    """The robust line through the insets at its middle, its slope, the slope's u95, and the scatter about it.

    A line counts the less, the more it leaves open beside what all scatter. Neighbours are not independent: what they
    share is counted as it is found.
    """
    along, inset, step = lines.along, lines.reach, lines.step
    used, trust = lines.weight > 0, lines.weight
    level = slope = scatter = 0.0
    rest, centred = inset, along
    for _ in range(8):
        centred = along - np.average(along, weights=trust)
        level = float(np.average(inset, weights=trust))
        slope = float((trust * centred * inset).sum() / max((trust * centred * centred).sum(), 1e-12))
        rest = inset - level - slope * centred
        scatter = 1.4826 * float(np.median(np.abs(rest[used]))) + 0.02
        weight = lines.weight / (1 + (lines.open_mm / max(scatter, _OPEN_MM)) ** 2)
        trust = weight / (1 + (rest / (3 * scatter)) ** 2) ** 2
    together = round(_TOGETHER_MM / step)
    pull = trust * centred
    push = rest * pull
    own = total = float(push @ push)
    for lag in range(1, min(together, len(push) - 1)):
        total += 2 * (1 - lag / together) * float(push[lag:] @ push[:-lag])
    tufts = scatter**2 * float(pull @ pull) * max(_TUFT_MM / step, 1.0)
    u95 = 2 * math.sqrt(max(total, own, tufts)) / max(float(pull @ centred), 1e-12)
    return level - slope * float(np.average(along, weights=trust)), slope, u95, scatter
