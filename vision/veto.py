"""The print's veto: what was taken for a ruler and shows it is cloth, and what was taken for cloth and shows nothing of
it along a whole side is a ruler.

How wide a ruler is, is told by its colour. Where cloth or table have nearly that colour it is believed to reach over
them, and where its numbers are crowded, to end with its ticks; one that was not read may pass for the cloth's rim. But
a ruler shows no print: line by line along its side the picture is compared with what the print would look like there,
which is seen where it comes again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cloth import ClothRegion
from vision.covering import long_box
from vision.edge import ClothEdge
from vision.measurement import Print
from vision.plane import Plane
from vision.rim import Seen, expected_cloth, placed, read, repeats_inwards, seen_cloth
from vision.swatch import Doubles

Flags = NDArray[np.bool_]

#: How finely it is looked at, px per mm and px in all, and how far round the cloth, mm; what covers and comes no nearer
#: to the outline than the last, mm, is left as it is.
_PX_PER_MM, _MOST_PIXELS, _ROUND_MM, _NEAR_MM = 2.5, 1.0e6, 10.0, 5.0
#: Lines lie so far apart, mm, their places so far, mm. They begin so far out of the side of what covers, mm, where its
#: shadow ends, and go on outwards as far as rulers are wide, mm (practice).
_LINES_MM, _PLACES_MM, _BEFORE_MM, _WIDEST_MM = 1.0, 1.0, 2.0, 45.0
#: Of the places where the print comes again one of so many is looked at (time).
_EVERY = 3
#: A line shows the print where over so much of it, mm, all of it known, whose light varies by such a share of itself,
#: the picture varies as the print would (coefficient of correlation, and how strongly).
_WINDOW_MM, _VARIED, _ALIKE, _STRENGTH = 25.0, 0.12, 0.75, (0.4, 1.8)
#: A line is a ruler's where over so much of it, mm, the print would be seen, and at most this share shows it; cloth's
#: where at least the second does.
_LEAST_MM, _NONE, _MOST = 25.0, 0.1, 0.6
#: Beside its own side a ruler's shadow lies and its rim is drawn, mm; only what is wider is taken from it or added. So
#: much of it is left, mm, as no ruler is narrower, and so much room is left beside it, mm.
_RIM_MM, _NARROWEST_MM, _ROOM_MM = 7.0, 8.0, 2.5
#: Rulers and tapes are so many times longer than wide or more; targets, cards and sheets of paper, whose size is known,
#: are not (ISO/IEC 7810 ID-1: 1.59; ISO 216: 1.41).
_SLENDER = 2.0
#: Along a side it is looked so far past its ends, mm, and this share of its half more, for sides leave corners out. A
#: band of the cloth's own ends where the cloth does, to this, mm; ends are where so many of the lines have them.
_PAST_MM, _PAST_SHARE, _FLUSH_MM, _LEAST_SHARE = 25.0, 0.2, 8.0, 0.5


def by_the_print(
    plane: Plane,
    region: ClothRegion,
    print_: Print | None,
    rgb: NDArray[np.uint8],
    covered_mm: Sequence[Doubles],
    hidden_mm: Sequence[Doubles],
) -> tuple[Doubles, ...] | None:
    """What covers a cloth, polygons (K, 2): drawn back to rectangles on the sides on which they show its print, drawn
    out on those on which what was taken for cloth shows none, the others as they were; and rectangles over rulers
    within its outline, along one of its sides. None where the print has nothing against what was known.

    ``hidden_mm`` are the same polygons with their shadows: nothing is learnt of the print there.
    """
    if print_ is None or print_.across_direction_deg is None:
        return None
    outline = np.asarray(region.outline_mm, dtype=np.float64)
    if not region.edges and not any(_near(outline, one) for one in covered_mm):
        return None  # nothing is there to be doubted: no picture need be made (time)
    low, high = outline.min(axis=0) - _ROUND_MM, outline.max(axis=0) + _ROUND_MM
    per_mm = min(_PX_PER_MM, math.sqrt(_MOST_PIXELS / float(np.prod(high - low))))
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    seen = seen_cloth(plane.square_on(rgb, px_per_mm=per_mm, region_mm=box), outline, hidden_mm)
    return vetoed(seen, outline, region.edges, print_, covered_mm)


def vetoed(
    seen: Seen, outline_mm: Doubles, edges: Sequence[ClothEdge], print_: Print, covered_mm: Sequence[Doubles]
) -> tuple[Doubles, ...] | None:
    """What covers a cloth that is ``seen``, of that outline (N, 2) with those straight sides; see ``by_the_print``."""
    known = [_drawn(one, seen, print_) if _near(outline_mm, one) else one for one in covered_mm]
    bands = [band for edge in edges if (band := _band(edge, seen, print_)) is not None]
    changed = bands or any(one is not other for one, other in zip(known, covered_mm, strict=True))
    return (*known, *bands) if changed else None


class _Beyond(NamedTuple):
    """The picture, and the moves (M, 2) by which the print comes again, mm."""

    seen: Seen
    moves: Doubles


def _near(outline_mm: Doubles, polygon: Doubles) -> bool:
    """Whether an outline (N, 2) comes near what covers."""
    ring, ends = polygon.astype(np.float32), np.roll(outline_mm, -1, axis=0)
    places = [
        start + share * (end - start)
        for start, end in zip(outline_mm, ends, strict=True)
        for share in np.linspace(0, 1, max(math.ceil(math.dist(start, end) / _NEAR_MM), 1), endpoint=False)
    ]
    return any(cv2.pointPolygonTest(ring, (float(x), float(y)), True) > -_NEAR_MM for x, y in places)


def _drawn(polygon: Doubles, seen: Seen, print_: Print) -> Doubles:
    """The rectangle (4, 2) of a ruler with its long sides where the print has them; itself where they are there, and
    what is no ruler."""
    middle, long, short, axis, across = long_box(polygon)
    if long < _SLENDER * short or len(polygon) > 4:  # a tape that bends has no straight sides to be moved
        return polygon
    back = [
        _back_mm(middle - way * short / 2 * across, axis, way * across, (long, short), seen, print_)
        for way in (1.0, -1.0)
    ]
    width = short - sum(back)
    if not any(back) or not _NARROWEST_MM <= width <= max(_WIDEST_MM, short):
        return polygon
    low, high = -short / 2 + back[0], short / 2 - back[1]
    ends = ((-long / 2, low), (long / 2, low), (long / 2, high), (-long / 2, high))
    return np.array([middle + u * axis + v * across for u, v in ends])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """Lines along a side, N places of each of K: where the print is ``told`` and where the picture is ``alike`` it, and
    where the inside of what was taken for cloth is seen."""

    told: Flags
    alike: Flags
    inside: Flags

    def share(self, part: Flags) -> tuple[Flags, Doubles]:
        """Of a part (N,) of their places, which lines (K,) are seen well inside of the cloth, and the share of each
        that shows the print."""
        here = (self.told & self.inside)[part]
        many = here.sum(axis=0)
        return many >= _LEAST_MM / _PLACES_MM, (self.alike[part] & here).sum(axis=0) / np.maximum(many, 1)


def _look(side: Doubles, ways: tuple[Doubles, Doubles], along: Doubles, depth: Doubles, beyond: _Beyond) -> _Look:
    """What is seen ``along`` (N,) the first way from a place of a side and to a ``depth`` (K,) the second way."""
    places = side + along[:, None, None] * ways[0] + depth[None, :, None] * ways[1]
    cloth, known = expected_cloth(beyond.seen, beyond.seen.inside, places, beyond.moves)
    alike, told = _alike(read(beyond.seen.light, places, beyond.seen.square), cloth, known)
    inside = read(beyond.seen.inside.astype(np.float32), places, beyond.seen.square) > 0.5
    return _Look(told=told, alike=alike, inside=np.asarray(inside))


def _back_mm(
    side: Doubles, axis: Doubles, into: Doubles, size_mm: tuple[float, float], seen: Seen, print_: Print
) -> float:
    """How far, mm, one of the long sides of what covers, whose middle is given, is to be drawn back, less than 0 for
    out; 0 where the print is not known there, or shines through all of it, as through clear plastic."""
    long, short = size_mm
    moves = np.concatenate([repeats_inwards(print_, way * into, far=True)[::_EVERY] for way in (-1, 1)])
    if not len(moves):
        return 0.0
    along, depth = np.arange(-long / 2, long / 2, _PLACES_MM), np.arange(-_WIDEST_MM, short, _LINES_MM)
    look = _look(side, (axis, into), along, depth, _Beyond(seen, moves))
    begin = int(np.searchsorted(depth, -_BEFORE_MM))
    printed = look.alike[:, begin:]
    reach = np.where(printed.all(axis=1), 0, printed.argmin(axis=1))
    back = float(depth[begin + reach.max(initial=0)])
    well, share = look.share(np.ones(len(along), bool))
    return back - _ROOM_MM if back >= _RIM_MM else -_out_mm(well[begin::-1], share[begin::-1])


def _out_mm(well: Flags, share: Doubles) -> float:
    """How far, mm, a ruler goes on outwards from its side: lines there (K,), which are seen well inside of what was
    taken for cloth, and the share of each that shows the print. Beyond it is cloth, or none."""
    ruler = well & (share <= _NONE)
    first = int(np.argmin(ruler))
    beyond = slice(first + round(2 * _BEFORE_MM / _LINES_MM), None)
    if ruler.all() or not (~well | (share >= _MOST))[beyond].all():
        return 0.0
    out = _BEFORE_MM + first * _LINES_MM
    return out + _ROOM_MM if out >= _RIM_MM + _BEFORE_MM else 0.0


def _band(edge: ClothEdge, seen: Seen, print_: Print) -> Doubles | None:
    """The rectangle (4, 2) of a ruler that lies along a side of what was taken for the cloth; None where there is none.

    A band of the cloth's own may show no print either, but ends where the cloth does.
    """
    middle, unit, out, half = placed(edge)
    beyond = _Beyond(seen, repeats_inwards(print_, -out, far=True)[::_EVERY])
    reach = half * (1 + _PAST_SHARE) + _PAST_MM
    along, depth = np.arange(-reach, reach, _PLACES_MM), np.arange(_BEFORE_MM, _WIDEST_MM + _PAST_MM, _LINES_MM)
    for part in (depth[: round(_NARROWEST_MM / _LINES_MM)], depth):  # most sides are settled by the first (time)
        if not len(beyond.moves):
            return None
        look = _look(middle, (unit, -out), along, part, beyond)
        well, share = look.share(np.abs(along) <= half)
        ruler, cloth = well & (share <= _NONE), well & (share >= _MOST)
        if not ruler[: round(_NARROWEST_MM / _LINES_MM)].all():
            return None
    first = int(np.argmin(ruler))
    begins = first + int(np.argmax(cloth[first:]))
    rest = slice(begins, begins + round(_NARROWEST_MM / _LINES_MM))
    if ruler.all() or begins - first > _RIM_MM / _LINES_MM or not cloth[rest].all():
        return None
    own = along[(look.inside & look.told & ~look.alike)[:, :first].mean(axis=1) > _LEAST_SHARE]
    beside = along[(look.inside & look.told)[:, rest].mean(axis=1) > _LEAST_SHARE]  # as far as print can be told
    if not len(own) or not len(beside) or max(np.abs(np.subtract(_ends(own), _ends(beside)))) <= _FLUSH_MM:
        return None
    u, v = _ends(own), (-_BEFORE_MM, float(depth[first]) + _BEFORE_MM)
    return np.array([middle + a * unit - b * out for a, b in ((u[0], v[0]), (u[1], v[0]), (u[1], v[1]), (u[0], v[1]))])


def _ends(along: Doubles) -> tuple[float, float]:
    return float(along.min()), float(along.max())


def _alike(picture: Doubles, cloth: Doubles, known: Doubles) -> tuple[Flags, Flags]:
    """Where (N, K) the light of a picture (N, K, 3) varies along its lines, the first axis, as that of the cloth would,
    where that is ``known`` (N, K) and varies; and where it does."""

    def mean(values: Doubles) -> Doubles:
        size = (1, 2 * round(_WINDOW_MM / _PLACES_MM / 2) + 1)
        return np.asarray(cv2.blur(values, size, borderType=cv2.BORDER_REPLICATE), dtype=np.float64)

    there, here = mean(cloth), mean(picture)
    power = np.maximum((mean(cloth * cloth) - there * there).sum(axis=2), 0.0)
    own = np.maximum((mean(picture * picture) - here * here).sum(axis=2), 0.0)
    both = (mean(cloth * picture) - there * here).sum(axis=2)
    told = (mean(known) > 0.99) & (np.sqrt(power / 3) >= _VARIED * there.mean(axis=2)) & (power > 0)
    strength = both / np.maximum(power, 1e-12)
    alike = both >= _ALIKE * np.sqrt(power * own)
    return np.asarray(told & alike & (strength >= _STRENGTH[0]) & (strength <= _STRENGTH[1])), np.asarray(told)
