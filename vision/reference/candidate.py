"""Combs of ticks that may be rulers: proposed by beats beside straight edges, else by strokes; each followed once."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from vision.reference.beat import FAINT_STEP, find_beats, straight_lines
from vision.reference.comb import Comb, follow
from vision.reference.even import ragged
from vision.reference.pair import settle
from vision.reference.strip import sample
from vision.reference.tick import KIN_PERIOD, Row, fairly, find_rows
from vision.reference.unit import LEAST_MARGIN, LEAST_TICK_MM, Hearing

Floats = NDArray[np.float64]
Levels = Sequence[NDArray[np.uint8]]

#: Rows followed on each level of the picture, the most promising first: beats, and strokes.
BEATS_PER_LEVEL, STROKES_PER_LEVEL = 5, 10
#: ... and where something is read for sure, so many one after the other that come to nothing (time): what is left then
#: is mostly a weave.
IN_VAIN = 3
#: Where nothing is sure, so many more beats of each level are followed, for the plainest may take in what lies beside
#: the ticks and come to nothing; and so many rows passed over.
MORE_BEATS, AGAIN = 9, 6
#: And parts of the rows that came to nothing, in shares of the strokes' length.
PARTS = ((0.25, 0.75), (0.0, 0.5), (0.5, 1.0))
#: Of a ruler's ticks at least this share is seen: letters stand evenly by chance, and then few of them.
LEAST_PRESENT = 0.4
#: More rows of ticks of one kind beside each other are a print: a ruler has two at most, and digits at each millimetre
#: may make one more.
FIELD_ROWS = 3
#: ... beside the middle of the comb, along so many ticks at most and as far as this to both sides, in spacings, of so
#: many px each: as strokes are seen best.
ALONG, BESIDE, SPACING_PX = 80, 20, 8
#: They run alike to the second, the cosine of the angle between them, and have at least this share of the comb's ticks:
#: shorter ones are chance.
PARALLEL, FIELD_SHARE = 0.99, 0.3
#: Evidence (nats) after which no finer level of the picture is looked at.
PLAIN_EVIDENCE = 60.0
#: With so much of it for each tick as well, what lies on the ticks, or between them, is not followed once more (time):
#: well-shown combs of our scenes and of real rulers have half as much again, prints and rows of digits a third at most.
EACH_TICK = 1.0
#: Spacings are alike where they differ by less than this share.
ALIKE = 0.1
#: A comb with fewer than this share of another's ticks is but a part of it.
PART_SHARE = 0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A comb with what its tick lengths say on its better side."""

    comb: Comb
    hearing: Hearing


def candidates(
    levels: Levels, hearing: Callable[[Comb], Hearing]
) -> tuple[list[Candidate], Callable[[], Iterator[Candidate]]]:
    """All combs of a picture's pyramid that stand alone, each with what ``hearing`` makes of it; and, if they are asked
    for, those that gave way to one of the same ticks, spaced otherwise, that had more to go by.

    Beats show fainter and softer ticks than strokes do, and sooner; strokes show those that no straight edge runs along
    and those too few for a beat. So strokes are asked where beats leave nothing sure, then the beats that are less
    plain. Where none does, alone or through a neighbour, those that came to nothing are followed in parts, and beats
    are looked for beside edges too that hardly differ from what lies beside them.
    """
    search = _Search(levels, hearing)
    lines = straight_lines(levels)
    beats = [find_beats(levels, level, lines) for level in range(len(levels))]
    search.over(beats.__getitem__, BEATS_PER_LEVEL)
    if not search.sure():
        search.over(lambda level: fairly(find_rows(levels[level], level)), STROKES_PER_LEVEL)
    if not search.sure():
        search.over(beats.__getitem__, MORE_BEATS)
    if not search.sure():
        search.once_more()
    if not search.settled():
        search.in_parts()
    if not search.settled():
        faint = straight_lines(levels, step=FAINT_STEP)
        search.over(lambda level: find_beats(levels, level, faint), BEATS_PER_LEVEL)
    return search.alone(), search.given_way


class _Search:
    """The combs found so far, and the rows that were followed, with whatever success."""

    def __init__(self, levels: Levels, hearing: Callable[[Comb], Hearing]) -> None:
        self._levels, self._hearing = levels, hearing
        self._found: list[Candidate] = []
        self._lost: list[Candidate] = []
        self._tried: list[Row] = []
        self._passed: list[Row] = []
        self._vain: list[Row] = []
        self._lonely: dict[Comb, bool] = {}

    def alone(self) -> list[Candidate]:
        """Those found that are no print's."""
        return [candidate for candidate in self._found if self._stands_alone(candidate)]

    def given_way(self) -> Iterator[Candidate]:
        """The best of those of each spacing that gave way to one of the same ticks, and are no print's."""
        for candidate in self._lost:
            if not any(_alike(candidate, other) for other in self._found) and self._stands_alone(candidate):
                yield candidate

    def sure(self) -> bool:
        """Whether any comb found is read for sure."""
        return any(candidate.hearing.sure() and self._stands_alone(candidate) for candidate in self._found)

    def settled(self) -> bool:
        """Whether any comb found is read for sure, alone or through a neighbour."""
        return self.sure() or any(verdict is not None for _, verdict, _ in settle(self.alone()))

    def over(self, rows_of: Callable[[int], Iterable[Row]], most: int) -> None:
        """Follow rows of each level, the coarsest first, until one is plainly read."""
        for level in range(len(self._levels) - 1, -1, -1):
            vain = 0
            for row in islice(self._fresh(rows_of(level)), most):
                self._tried.append(row)
                vain = 0 if self._follow(row) else vain + 1
                if vain == IN_VAIN and self.sure():
                    break
            if any(_plain(candidate, level) and self._stands_alone(candidate) for candidate in self._found):
                return

    def _fresh(self, rows: Iterable[Row]) -> Iterator[Row]:
        for row in rows:
            if any(_repeats(row, other) for other in self._tried):
                continue
            if any(_covers(candidate, row) for candidate in self._found):
                self._passed.append(row)
            else:
                yield row

    def once_more(self) -> None:
        """Follow the longest of the rows passed over as parts of combs found before, until one is plainly read."""
        for row in islice(self._untried(), AGAIN):
            self._tried.append(row)
            self._follow(row)
            if any(_plain(candidate, row.level) and self._stands_alone(candidate) for candidate in self._found):
                return

    def in_parts(self) -> None:
        """Follow parts of the rows that came to nothing, until one is read for sure: beats reach beyond the ticks."""
        for row, (low, high) in itertools.product(tuple(self._vain), PARTS):
            if self._follow(_part(row, low, high)) and self.sure():
                return

    def _untried(self) -> Iterator[Row]:
        for row in sorted(self._passed, key=lambda row: -len(row.bases_px)):
            if not any(_repeats(row, other) for other in self._tried):
                yield row

    def _follow(self, row: Row) -> bool:
        """Whether a row, or what lies between its strokes, gives a comb to keep that is read for sure."""
        comb = follow(self._levels, row)
        if comb is None:
            self._vain.append(row)
            return False
        kept = self._take(comb)
        if any(_settled(candidate) and _same(candidate.comb, comb) for candidate in self._found):
            return kept
        # where gaps stand evenly, the ticks between them do
        counter = follow(self._levels, _between(comb, row))
        return (counter is not None and self._take(counter)) or kept

    def _stands_alone(self, candidate: Candidate) -> bool:
        """Whether no more rows of the comb's own kind stand beside it than a ruler has: if not, it is a print's."""
        comb = candidate.comb
        if comb not in self._lonely:
            self._lonely[comb] = _rows_beside(self._levels, comb) <= FIELD_ROWS
        return self._lonely[comb]

    def _take(self, comb: Comb) -> bool:
        """Keep a comb where it is worth more than all that are the same ticks; whether it is kept and read for sure."""
        if comb.share_present < LEAST_PRESENT or ragged(comb.places_px @ comb.axis, comb.index):
            return False
        fresh = Candidate(comb=comb, hearing=self._hearing(comb))
        rivals = [other for other in self._found if _same(other.comb, comb)]
        if all(_better(fresh, other) for other in rivals):
            self._found = [other for other in self._found if not _same(other.comb, comb)] + [fresh]
            self._give_way(rivals)
            return fresh.hearing.sure()
        self._give_way([fresh])
        return False

    def _give_way(self, losers: Sequence[Candidate]) -> None:
        """Keep of losers of one spacing that are the same ticks the one with most to go by."""
        for loser in losers:
            alike = [other for other in self._lost if _alike(loser, other)]
            if all(_better(loser, other) for other in alike):
                self._lost = [other for other in self._lost if other not in alike] + [loser]


def _rows_beside(levels: Levels, comb: Comb) -> int:
    """How many rows of strokes as evenly spaced as a comb's ticks stand along them, the ticks themselves counted."""
    middle, ticks = int(np.median(comb.index)), min(ALONG, int(np.ptp(comb.index)))
    count = middle + np.arange(-ticks / 2, ticks / 2, 1 / SPACING_PX)
    line = np.stack([np.interp(count, comb.index, comb.places_px[:, k]) for k in (0, 1)], axis=1)
    beside = np.arange(-BESIDE, BESIDE, 1 / SPACING_PX) * comb.period_px
    at = line[len(line) // 2] + beside[:, None] * comb.tick
    height, width = levels[0].shape
    seen = (at[:, 0] >= 0) & (at[:, 0] < width) & (at[:, 1] >= 0) & (at[:, 1] < height) | (np.abs(beside) < 1)
    level = int(np.clip(math.floor(math.log2(comb.period_px / SPACING_PX)), 0, len(levels) - 1))
    laid = sample(levels, level, line[None] + beside[seen, None, None] * comb.tick)
    places = [float(np.argmin(np.abs(beside[seen])))]
    apart = SPACING_PX * (1 + comb.band_px / comb.period_px)
    for row in find_rows(np.rint(laid).astype(np.uint8), 0):
        alike = abs(math.log(row.period_px / SPACING_PX)) < KIN_PERIOD and abs(float(row.axis[0])) > PARALLEL
        place = float(np.median(row.bases_px[:, 1]))
        if alike and row.weight >= FIELD_SHARE * ticks and min(abs(place - other) for other in places) > apart:
            places.append(place)
    return len(places)


def _repeats(row: Row, other: Row) -> bool:
    """Whether a row is a part of one that was followed before, with whatever success."""
    if row.dark != other.dark or abs(row.period_px / other.period_px - 1) > 0.1:
        return False
    off = row.bases_px - other.bases_px.mean(axis=0)
    along, across = np.abs(off @ other.axis), np.abs(off @ np.array([-other.axis[1], other.axis[0]]))
    half = 0.5 * float(np.ptp(other.bases_px @ other.axis)) + other.period_px
    return bool(((along < half) & (across < 0.5 * other.period_px)).mean() > 0.7)


def _part(row: Row, low: float, high: float) -> Row:
    """What of a row's strokes lies between two shares of their length."""
    start = row.bases_px + low * row.length_px * row.tick
    return replace(row, bases_px=start, length_px=(high - low) * row.length_px)


def _between(comb: Comb, row: Row) -> Row:
    """The row of what lies between the ticks of a comb, in the other polarity."""
    return Row(
        bases_px=comb.ends_px[:, 0] + 0.5 * comb.spacing_px[:, None] * comb.axis,
        axis=comb.axis,
        tick=comb.tick,
        period_px=comb.period_px,
        length_px=comb.band_px,
        dark=not comb.dark,
        level=row.level,
    )


def _plain(candidate: Candidate, level: int) -> bool:
    """Whether a comb is so clearly read, and so wide, that the finer levels have nothing to add. Where its ticks are
    shorter than rulers' they may be the tips of every second one."""
    hearing = candidate.hearing
    if not hearing.sure() or hearing.evidence() <= PLAIN_EVIDENCE or hearing.best is None:
        return False
    wide = candidate.comb.period_px / 2**level > 5.0
    return wide and hearing.shortest * hearing.best.division.base_mm >= LEAST_TICK_MM


def _better(one: Candidate, other: Candidate) -> bool:
    """Whether of two combs of the same ticks one says more: the one that has more to go by; or the one that is sure,
    where the other has another spacing or nothing to say against it."""
    if one.hearing.sure() == other.hearing.sure():
        return _weight(one) > _weight(other)
    sure, unsure = (one, other) if one.hearing.sure() else (other, one)
    alike = abs(one.comb.period_px / other.comb.period_px - 1) < ALIKE
    return (sure is one) != (alike and _weight(unsure) >= _weight(sure) and _gainsays(unsure, sure))


def _weight(candidate: Candidate) -> float:
    """What a comb has to go by, nats."""
    return candidate.hearing.evidence() + 0.1 * len(candidate.comb.index)


def _gainsays(unsure: Candidate, sure: Candidate) -> bool:
    """Whether a comb that is not sure speaks all the same against a sure one of the same ticks: it takes them for
    something else, and either plainly, or the sure one is but a part of it, which may look like another ruler."""
    ours, theirs = unsure.hearing.best, sure.hearing.best
    if ours is None or theirs is None or ours.division.base_mm == theirs.division.base_mm:
        return False
    part = len(sure.comb.index) < PART_SHARE * len(unsure.comb.index)
    return part or unsure.hearing.margin() >= LEAST_MARGIN


def _settled(candidate: Candidate) -> bool:
    """Whether a comb is read beyond all doubt, tick by tick."""
    evidence = candidate.hearing.evidence()
    return candidate.hearing.sure() and evidence > max(PLAIN_EVIDENCE, EACH_TICK * len(candidate.comb.index))


def _covers(candidate: Candidate, row: Row) -> bool:
    """Whether a row is part of a comb already followed (the same ticks, or the gaps between them, which are followed
    with them); of one that is settled, also where only its longest ticks reach."""
    comb = candidate.comb
    beside = float(np.ptp(comb.reach_px)) if _settled(candidate) else comb.band_px
    inside = _inside(comb, row.bases_px, beside)
    # a tilt makes the spacing at one end another than in the middle
    along = (comb.places_px - comb.places_px[0]) @ comb.axis
    middle = float((row.bases_px.mean(axis=0) - comb.places_px[0]) @ comb.axis)
    order = np.argsort(along)
    there = float(np.interp(middle, along[order], comb.spacing_px[order]))
    return bool(inside.mean() > 0.7 and abs(row.period_px / there - 1) < 0.1)


def _same(one: Comb, other: Comb) -> bool:
    """Whether two combs are the same ticks, or one the gaps or a part of the other."""
    small, large = (one, other) if len(one.index) <= len(other.index) else (other, one)
    shared = _inside(large, small.places_px, large.band_px).mean()
    return bool(shared > 0.5 and abs(float(one.axis @ other.axis)) > 0.98)


def _alike(one: Candidate, other: Candidate) -> bool:
    """Whether two combs are the same ticks, spaced alike."""
    return _same(one.comb, other.comb) and abs(one.comb.period_px / other.comb.period_px - 1) < ALIKE


def _inside(comb: Comb, points: Floats, beside_px: float) -> NDArray[np.bool_]:
    """Which points lie on a comb's ticks, as far to both sides, or just beside them."""
    first, last = comb.places_px[0], comb.places_px[-1]
    axis = last - first
    span = float(np.hypot(*axis))
    axis = axis / span
    normal = np.array([-axis[1], axis[0]])
    off = points - first
    along, across = off @ axis, np.abs(off @ normal)
    hit = (along > -comb.period_px) & (along < span + comb.period_px) & (across < beside_px + comb.period_px)
    return np.asarray(hit, dtype=np.bool_)
