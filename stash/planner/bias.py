"""Binding on the bias: strips at 45° to the grain, side by side in pieces of any shape, and the length they join to.

A strip has two parallel edges at 45° to the grain and two ends that follow a thread, lengthwise or crosswise, whichever
gives more; it must lie wholly on usable cloth. Its length is counted along its middle. Strips are joined at 45°, and
each join takes up one strip width (plane geometry). All strips of one binding run the same way.

Where the strips lie across a piece is chosen by dynamic programming over candidate places, so gaps round flaws are
allowed; the same over narrower bands, which every strip near a place contains, bounds what any laying could give.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import shapely

from stash.piece import Piece
from stash.planner.halt import Ended, TimeUp, alarm
from stash.planner.plan import Answer, Leftover, Placement, Reason
from stash.planner.region import to_piece, to_print, usable
from stash.planner.spare import leftovers
from stash.planner.stance import FIT_UM, Stance

#: A strip shorter than this is more joins than binding, mm (6 in; our judgement).
SHORTEST_MM: Final = 152.4
#: Seconds that it may take where nothing is said.
LIMIT_S: Final = 60.0
#: The two true bias directions, degrees from the lengthwise grain.
DIRECTIONS: Final = (45.0, -45.0)
#: Places tried within one strip width: first few, then more where the answer hangs on it.
FEW, MANY = 24, 120
#: Bands tried on one piece at most; on a wide piece and for narrow strips there are fewer places a width.
MOST_BANDS: Final = 2500
#: Corners of a piece on which strips are also tried to lie exactly; of outlines with more, the outermost few.
MOST_CORNERS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """The binding that is asked for: cut width and joined length along the middle, mm."""

    width_mm: float
    length_mm: float
    shortest_mm: float = SHORTEST_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """The answer. ``joined_mm`` is what the placements join to, ``most_mm`` what all strips of the pieces would, and
    ``bound_mm`` what no laying exceeds; ``direction_deg`` is the strips' angle to the grain; ``ended``: its time
    was up."""

    answer: Answer
    reason: Reason | None
    proven: bool
    wanted: Wanted
    direction_deg: float
    placements: tuple[Placement, ...]
    joined_mm: float
    most_mm: float
    bound_mm: float
    leftovers: tuple[Leftover, ...]
    ended: Ended | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strip:
    """A strip: its band's middle, its length along it, and where it starts with the slopes of its two ends."""

    piece: int
    middle_mm: float
    start_mm: float
    length_mm: float
    slopes: tuple[int, int]


def joined_mm(lengths_mm: Sequence[float], width_mm: float) -> float:
    """What strips join to at 45°: their lengths along the middle, less one strip width a join."""
    return sum(lengths_mm) - max(0, len(lengths_mm) - 1) * width_mm


def _together_mm(strips: Sequence[_Strip], width_mm: float) -> float:
    """What the strips join to in the best order, each turned as need be.

    The ends of a join follow the same thread. Where some strips have both ends along one thread, the others both along
    the other, and none has one of each to lead over, an end must be cut anew, which takes one width more.
    """
    kinds = {strip.slopes for strip in strips}
    anew = len(kinds) == 2 and all(first == last for first, last in kinds)
    return joined_mm([strip.length_mm for strip in strips], width_mm) - (width_mm if anew else 0.0)


def middle_mm(strip: Placement) -> float:
    """How long a strip is along its middle."""
    first, second, third, fourth = strip.outline_mm
    return (math.dist(second, third) + math.dist(fourth, first)) / 2


def lay_binding(pieces: Sequence[Piece], wanted: Wanted, part: str = "binding", *, limit_s: float = LIMIT_S) -> Binding:
    """Whether the pieces give the binding, and where its strips are cut; the fewest pieces and strips that do.

    A yes holds with every outline moved in by its u95, a no with it moved out and proven by the bound; between them
    it is unsure, by measurement or because a finer search, or more time, might find more.
    """
    nothing = _Found(direction_deg=DIRECTIONS[0], by_piece=(), most_mm=0.0)
    known = _Known(found=nothing, bound_mm=_by_area(pieces, wanted))
    ended: Ended | None = None
    answer: Answer = "unsure"
    reason: Reason | None = "time"
    try:
        with alarm(limit_s):
            answer, reason = _decided(pieces, wanted, known)
    except TimeUp:
        ended = "time"
    return replace(_answer(answer, known.found, pieces, wanted, part, known.bound_mm, reason), ended=ended)


@dataclass(slots=True)
class _Known:
    """The best that was found, and what no laying exceeds."""

    found: _Found
    bound_mm: float


def _decided(pieces: Sequence[Piece], wanted: Wanted, known: _Known) -> tuple[Answer, Reason | None]:
    """First with few places, then with many; what is found on the way is noted in ``known``."""
    for places in (FEW, MANY):
        known.found = _best(pieces, wanted, Stance.STRICT, places)
        if _enough(known.found.most_mm, wanted):
            return "yes", None
        known.bound_mm = min(known.bound_mm, _bound(pieces, wanted, places))
        if not _enough(known.bound_mm, wanted):
            return "no", None
    generous = _best(pieces, wanted, Stance.GENEROUS, MANY)
    measured = any(piece.outline_u95_mm for piece in pieces) and _enough(generous.most_mm, wanted)
    return "unsure", "measurement" if measured else "time"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """The strips of every piece in one direction, and what all of them join to."""

    direction_deg: float
    by_piece: tuple[tuple[_Strip, ...], ...]
    most_mm: float


def _enough(length_mm: float, wanted: Wanted) -> bool:
    return length_mm >= wanted.length_mm - FIT_UM / 1000


def _best(pieces: Sequence[Piece], wanted: Wanted, stance: Stance, places: int) -> _Found:
    found = []
    for direction in DIRECTIONS:
        by_piece = tuple(
            _Cloth(usable(piece, stance), direction, wanted, stance).strips(index, places)
            for index, piece in enumerate(pieces)
        )
        most_mm = _together_mm([strip for strips in by_piece for strip in strips], wanted.width_mm)
        found.append(_Found(direction_deg=direction, by_piece=by_piece, most_mm=most_mm))
    return max(found, key=lambda row: (round(row.most_mm, 3), row.direction_deg))


def _bound(pieces: Sequence[Piece], wanted: Wanted, places: int) -> float:
    """What no laying exceeds, by the bands' cores."""
    cloths = [usable(piece, Stance.GENEROUS) for piece in pieces]
    most_mm = 0.0
    for direction in DIRECTIONS:
        gains = [_Cloth(cloth, direction, wanted, Stance.GENEROUS).bound_mm(places) for cloth in cloths]
        if any(gain is not None for gain in gains):
            most_mm = max(most_mm, wanted.width_mm + sum(gain or 0.0 for gain in gains))
    return most_mm


def _by_area(pieces: Sequence[Piece], wanted: Wanted) -> float:
    """What no laying exceeds, by the area alone, for strips cover their length times their width."""
    cloths = [usable(piece, Stance.GENEROUS) for piece in pieces]
    return float(sum(cloth.area + FIT_UM / 1000 * cloth.length for cloth in cloths) / wanted.width_mm)


def _answer(
    answer: Answer, found: _Found, pieces: Sequence[Piece], wanted: Wanted, part: str, bound_mm: float,
    reason: Reason | None,
) -> Binding:  # fmt: skip
    chosen = _chosen(found, wanted) if answer == "yes" else ()
    placements = tuple(
        _placement(strip, number, part, pieces[strip.piece], found.direction_deg, wanted)
        for number, strip in enumerate(chosen, 1)
    )
    return Binding(
        answer=answer,
        reason=reason,
        proven=answer != "unsure",
        wanted=wanted,
        direction_deg=found.direction_deg,
        placements=placements,
        joined_mm=_together_mm(chosen, wanted.width_mm),
        most_mm=max(0.0, found.most_mm),
        bound_mm=bound_mm,
        leftovers=leftovers(pieces, placements),
    )


def _chosen(found: _Found, wanted: Wanted) -> tuple[_Strip, ...]:
    """Strips that are enough: the smallest single piece that will do, else the fewest pieces; the longest strips of
    them, the last one the shortest that still does."""

    def most(strips: Sequence[_Strip]) -> float:
        return _together_mm(strips, wanted.width_mm)

    pieces = sorted((strips for strips in found.by_piece if strips), key=most)
    single = next((strips for strips in pieces if _enough(most(strips), wanted)), None)
    pool: list[_Strip] = list(single or ())
    while single is None and pieces and not _enough(most(pool), wanted):
        pool += pieces.pop()
    pool.sort(key=lambda strip: (-strip.length_mm, strip.piece, strip.middle_mm))
    taken: list[_Strip] = []
    while pool and not _enough(most(taken), wanted):
        taken.append(pool.pop(0))
    for other in reversed(pool):
        if _enough(most([*taken[:-1], other]), wanted):
            taken[-1] = other
            break
    return tuple(sorted(taken, key=lambda strip: (strip.piece, strip.middle_mm, strip.start_mm)))


def _placement(strip: _Strip, number: int, part: str, piece: Piece, direction_deg: float, wanted: Wanted) -> Placement:
    half = wanted.width_mm / 2
    left, right = strip.middle_mm - half, strip.middle_mm + half
    end = strip.start_mm + strip.length_mm
    first, last = strip.slopes
    corners = (
        (left, strip.start_mm - first * half),
        (right, strip.start_mm + first * half),
        (right, end + last * half),
        (left, end - last * half),
    )
    return Placement(
        part=f"{part}-{number}", segment=1, piece=piece.id, stripe=None, finished_mm=None, turned=False,
        outline_mm=tuple(to_piece(u, v, direction_deg) for u, v in corners),
    )  # fmt: skip


class _Cloth:
    """A piece's usable cloth, turned so that strips run along the second axis."""

    def __init__(self, cloth: Any, direction_deg: float, wanted: Wanted, stance: Stance) -> None:
        self.cloth = to_print(cloth, direction_deg)
        # at 45° to an edge of the cloth a strip's corner passes it by √2 times as much as the strip's side
        self.wanted, self.fit_mm = wanted, stance.fit_um / 1000 / (math.sqrt(2) if stance is Stance.STRICT else 1.0)
        self.least_mm = max(wanted.shortest_mm, wanted.width_mm)
        shapely.prepare(self.cloth)

    def strips(self, piece: int, places: int) -> tuple[_Strip, ...]:
        """The strips that join to the most among the candidate places."""
        width = self.wanted.width_mm
        rows = [
            (low, low + width - self.fit_mm, tuple(self._in_band(piece, low, low + width)))
            for low in self._places(places)
        ]
        gains = [sum(strip.length_mm - width for strip in strips) for _, _, strips in rows]
        chosen = _schedule([(low, high) for low, high, _ in rows], gains)
        return tuple(strip for index in chosen for strip in rows[index][2])

    def bound_mm(self, places: int) -> float | None:
        """What strips anywhere can join to at most, but for the first one's width; None where none finds room.

        Any strip whose first edge lies between two places contains the band's core between them.
        """
        width = self.wanted.width_mm
        spots = list(self._places(places))
        spans, gains, room = [], [], False
        for low, high in pairwise(spots):
            step = high - low
            lengths = [end - start + step for start, end in self._gaps(high, low + width).widest()]
            enough = [length for length in lengths if length >= self.least_mm - self.fit_mm]
            room = room or bool(enough)
            gains.append(sum(length - width for length in enough))
            spans.append((high, low + width - self.fit_mm))
        return sum(gains[index] for index in _schedule(spans, gains)) if room else None

    def _places(self, count: int) -> Iterator[float]:
        """First edges of bands: evenly spread, and such that strips lie exactly at the piece's corners."""
        if self.cloth.is_empty:
            return
        width = self.wanted.width_mm
        left, _, right, _ = self.cloth.bounds
        count = max(FEW, min(count, int(MOST_BANDS * width / (right - left + width))))
        offsets = {round(k * width / count, 6) for k in range(count)}
        offsets |= {round((u - left) % width, 6) for u in self._corners()}
        first, last = -1, math.ceil((right - left) / width)
        yield from (left + k * width + offset for k in range(first, last + 1) for offset in sorted(offsets))

    def _corners(self) -> list[float]:
        corners = sorted({round(float(u), 4) for u, _ in shapely.get_coordinates(self.cloth)})
        half = MOST_CORNERS // 2
        return corners if len(corners) <= MOST_CORNERS else corners[:half] + corners[-half:]

    def _in_band(self, piece: int, low: float, high: float) -> Iterator[_Strip]:
        gaps = self._gaps(low, high)
        for start, length, slopes in gaps.best(self.least_mm - self.fit_mm, self.wanted.width_mm):
            yield _Strip(piece=piece, middle_mm=(low + high) / 2, start_mm=start, length_mm=length, slopes=slopes)

    def _gaps(self, low: float, high: float) -> _Gaps:
        """What bars a band. A strip crosses all of it, so each part that is not cloth lies wholly before or behind."""
        if high - low <= 2 * self.fit_mm:
            return _Gaps([])
        _, top, _, bottom = self.cloth.bounds
        far = high - low + 1.0
        box = shapely.box(low + self.fit_mm, top - far, high - self.fit_mm, bottom + far)
        barred = [_reach(part, (low + high) / 2) for part in shapely.get_parts(box.difference(self.cloth))]
        return _Gaps(sorted(barred, key=lambda reach: sum(reach[0]) + sum(reach[1])))


#: Slopes of the two threads in the strips' frame.
_SLOPES: Final = (1, -1)
Reach = tuple[tuple[float, float], tuple[float, float]]
Stretch = tuple[float, float, tuple[int, int]]


def _reach(part: Any, middle_mm: float) -> Reach:
    """From where to where a part reaches along the middle, projected along either thread."""
    corners = shapely.get_coordinates(part)
    spans = []
    for slope in _SLOPES:
        along = corners[:, 1] - slope * (corners[:, 0] - middle_mm)
        spans.append((float(along.min()), float(along.max())))
    return spans[0], spans[1]


class _Gaps:
    """The gaps between what bars a band: where each begins and ends by the thread that its end follows."""

    def __init__(self, barred: Sequence[Reach]) -> None:
        ways = range(len(_SLOPES))
        count = max(0, len(barred) - 1)
        self.starts = [[max(reach[way][1] for reach in barred[: k + 1]) for way in ways] for k in range(count)]
        self.ends = [[min(reach[way][0] for reach in barred[k + 1 :]) for way in ways] for k in range(count)]

    def widest(self) -> Iterator[tuple[float, float]]:
        """Each gap from its first start to its last end."""
        for starts, ends in zip(self.starts, self.ends, strict=True):
            yield min(starts), max(ends)

    def best(self, least_mm: float, width_mm: float) -> list[Stretch]:
        """The strips that join to the most, (start, length, slopes of the ends). Where two gaps meet, the end of one
        and the start of the next follow the same thread, so that they cannot cross."""
        best: list[tuple[float, list[Stretch]]] = [(0.0, []), (0.0, [])]
        for starts, ends in zip(self.starts, self.ends, strict=True):
            after: list[tuple[float, list[Stretch]]] = list(best)
            for first, start in enumerate(starts):
                for last, end in enumerate(ends):
                    gain = best[first][0] + end - start - width_mm
                    if end - start >= least_mm and gain > after[last][0]:
                        stretch = (start, end - start, (_SLOPES[first], _SLOPES[last]))
                        after[last] = (gain, [*best[first][1], stretch])
            best = after
        return max(best, key=lambda row: row[0])[1]


def _schedule(spans: Sequence[tuple[float, float]], gains: Sequence[float]) -> list[int]:
    """Which spans to take so that none overlap and the gains add up to the most; spans rise by their ends."""
    ends = [high for _, high in spans]
    best: list[tuple[float, int | None, int]] = []
    for index, (low, _) in enumerate(spans):
        before = _last_at_most(ends, low, index)
        taken = gains[index] + (best[before][0] if before >= 0 else 0.0)
        skipped = best[index - 1][0] if index else 0.0
        best.append((taken, index, before) if taken > skipped + 1e-9 else (skipped, None, index - 1))
    chosen = []
    index = len(best) - 1
    while index >= 0:
        _, here, before = best[index]
        if here is not None:
            chosen.append(here)
        index = before
    return chosen[::-1]


def _last_at_most(ends: Sequence[float], value: float, below: int) -> int:
    """The last of the first ``below`` ends that is at most the value, -1 where none is."""
    return bisect_right(ends, value, 0, below) - 1
