"""Millimetres or parts of an inch: told from which ticks are longer, and from how two scales on one ruler compare.

On a metric scale every fifth and tenth tick is longer, on an inch scale every second, fourth, eighth and sixteenth
(common practice of all rulers). Each way of dividing is a hypothesis; what it costs to explain the tick lengths with
it, in nats, is compared with all others. A scale counts as read only where the best beats every hypothesis with
another size of tick by a stated margin.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.reference.division import DIVISIONS, OTHERS, TENTHS, Division
from vision.reference.number import Numbers

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: The best hypothesis must beat the next one with another tick size by so much (nats; odds of about 1 to 400).
LEAST_MARGIN = 6.0
#: ... and must beat "all ticks alike" by so much: textures have chance hierarchies, rulers have clear ones.
LEAST_EVIDENCE = 10.0
#: ... and by so much a tick: a true hierarchy explains every tick, a chance one a few.
LEAST_SHARE = 0.25
#: ... and by so much for each place where a tick should stand and none is seen: of a ruler's ticks most are seen,
#: however worn (rendered scenes: mostly nine in ten); strokes of numbers and prints fill such places by chance.
LEAST_UNSEEN = 0.75
#: The margin needed between two divisions of a unit that the person has told (nats).
TOLD_MARGIN = 3.0
#: Numbers beside the ticks help with at most so much (nats).
MOST_FROM_NUMBERS = 12.0
#: What stands beside some wholes, evenly, and has less than this share of the evidence of what stands beside each may
#: be numbers of the ruler's other scale: five centimetres are nearly two inches.
FAINT_SHARE = 0.33
#: They stand beside their tick, or off it by a tick, or by this share of the way to the next number.
BESIDE_SHARE = 0.15
#: Share of ticks whose length may be wrong altogether (digits, scratches, glare).
ASTRAY_SHARE = 0.08
#: Share of the longer ticks of each kind that are worn or hidden in part, so that they look shorter by any amount.
WORN_SHARE = 0.15
#: At least this share of the ticks of one kind is alike, however many are worn or run into a number; where none are
#: worn, at least the second.
ALIKE_SHARE, MOST_SHARE = 0.35, 0.5
#: Share of the longest ticks that their numbers touch, so that they look longer still by any amount.
TOUCHED_SHARE = 0.3
#: A scale's longest ticks are longer than its shortest by at least this share of the shortest ...
LEAST_STEP = 0.12
#: ... and each kind longer than the next shorter one by this (thirty-seconds have five steps to share), and by this
#: share of the usual step (common practice: the steps of a scale are much alike).
LEAST_KIND_STEP, LEAST_STEP_SHARE = 0.08, 0.4
#: Most nats against halves as long as wholes: there are such scales (our estimate of practice).
AS_LONG = 9.0
#: From the half inch's tick to the inch's it is as far as from kind to kind, within these shares (common practice).
HALF_STEPS = (0.6, 1.4)
#: A tick runs into its number where it is longer by so many steps than it should be, and by so many standard deviations
#: of ends; all may where this share of wholes does, of every second one and of those between.
BEYOND_STEPS, BEYOND_SCATTER, TOUCHING_SHARE = 1.0, 3.0, 0.33
#: Standard deviations of where ticks end, told in two ways, in those of a normal value over the root of its number.
PAIRS_SIGMAS, SHORTER_SIGMAS = 1.02, 1.43
#: Ticks of one kind differ by at least this share of the shortest (one mean deviation): print, and how ends are seen.
LEAST_BREADTH = 0.03
#: Residues tried as the longest ticks' place: chance, or a number that touches its tick, may lengthen another.
PHASES = 3
#: So few ticks tell no growth from a hierarchy cut off by the frame; it is looked for between stretches of so many, so
#: many of these at most.
LEAST_LEVELLED, STRETCH_TICKS, MOST_STRETCHES = 24, 12, 8
#: The shortest ticks of rulers are about 3 mm long, most between 1.2 and 7.5 mm (common practice; a weak prior).
TICK_MM, TICK_SPREAD = 3.2, 0.6
#: No ruler's shortest ticks are shorter than this, mm (common practice). Where the best division makes them so, the
#: lengths were misread (digits that touch the ticks), and nothing is sure ...
LEAST_TICK_MM = 1.0
#: ... but where its numbers come round with it as well (nats): a scale printed small, whose ticks are this long, mm.
SMALL_TICK_MM, BY_NUMBERS = 0.4, 6.0
#: ... nor longer than this, mm (common practice: the longest are hardly ever 15 mm). Where they seem so, the scale is
#: divided more finely.
MOST_TICK_MM = 8.5
#: ... nor, as a share of the spacing, than this: shorter are the tips of ticks whose finer neighbours were overlooked.
LEAST_TICK_SHARE = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The best division for one size of tick; ``phase`` is the index (mod ``top``) of the longest ticks."""

    division: Division
    phase: int
    cost: float

    def longest(self, index: Ints) -> NDArray[np.bool_]:
        """Which ticks numbered ``index`` (N,) are of the longest kind."""
        return np.asarray((index - self.phase) % self.division.top == 0, dtype=np.bool_)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """What a comb's tick lengths say: the best verdict of each tick size, and the cost of "all alike".

    ``told``: the person said which unit it is. ``shortest`` is how long the short ticks are, in spacings. ``unseen`` is
    how many ticks are missing between the first and the last. ``numbered`` is what numbers speak for the best verdict.
    """

    verdicts: tuple[Verdict, ...]
    alike: float
    ticks: int
    told: bool = False
    shortest: float = math.inf
    unseen: int = 0
    numbered: float = 0.0

    @property
    def best(self) -> Verdict | None:
        """The cheapest verdict."""
        return self.verdicts[0] if self.verdicts else None

    def margin(self) -> float:
        """By how much the best verdict beats the best one with another tick size (nats)."""
        if len(self.verdicts) < 2:
            return math.inf if self.verdicts else -math.inf
        return self.verdicts[1].cost - self.verdicts[0].cost

    def evidence(self) -> float:
        """By how much the best verdict beats "all ticks alike" (nats)."""
        return self.alike - self.verdicts[0].cost if self.verdicts else -math.inf

    def believable(self) -> bool:
        """Whether the best verdict is a ruler's, with ticks as long as rulers have them. Each fifth line is stronger on
        grids of any size: that they are millimetres the numbers must bear out."""
        best = self.best
        if best is None or best.division.unit == "none" or self.shortest < LEAST_TICK_SHARE:
            return False
        if best.division.by_fives and not self.told and self.numbered < BY_NUMBERS:
            return False
        least = SMALL_TICK_MM if self.numbered >= BY_NUMBERS else LEAST_TICK_MM
        return least <= self.shortest * best.division.base_mm <= MOST_TICK_MM

    def sure(self) -> bool:
        """Whether the tick lengths alone settle the size of a tick."""
        if not self.believable():
            return False
        if self.told:
            return self.margin() >= TOLD_MARGIN and self.evidence() >= LEAST_EVIDENCE
        asked = max(LEAST_EVIDENCE, LEAST_SHARE * self.ticks, LEAST_UNSEEN * self.unseen)
        return self.margin() >= LEAST_MARGIN and self.evidence() >= asked


def hear(
    index: Ints, size: Floats, *, unit: str = "auto", numbers: Sequence[Numbers] = (), worn: bool = True
) -> Hearing:
    """What the lengths (N,) of ticks numbered ``index``, in spacings, say about the size of a tick.

    ``unit`` "inch" or "mm" leaves only that unit's divisions. ``numbers`` are what comes round beside the ticks.
    ``worn`` is whether ticks may look too short.
    """
    divisions = [d for d in DIVISIONS if unit in ("auto", d.unit)]
    told = unit != "auto"
    if unit == "inch":
        divisions += TENTHS
    if not told:
        divisions += OTHERS
    size = levelled(index, size)
    order = np.argsort(size)
    size, index = size[order], index[order]
    shortest = max(float(np.quantile(size, 0.2)), 0.2)
    room = max(float(np.quantile(size, 0.98)) * 1.5, 3.0 * shortest)
    alike = _cost(size, np.zeros(size.size, np.int64), 1, shortest, room, worn)
    assert alike is not None
    best: dict[float, Verdict] = {}
    if size[-max(1, size.size // 40)] < (1 + LEAST_STEP) * shortest:
        return Hearing(verdicts=(), alike=alike, ticks=size.size, told=told)
    span = int(index.max() - index.min()) + 1
    phases: dict[int, list[int]] = {}
    for division in divisions:
        if span < 0.6 * division.top:
            continue
        if division.top not in phases:
            phases[division.top] = _phases(index, size, division.top)
        for phase in phases[division.top]:
            rank = _rank(index - phase, division.longer)
            if division.base_mm and not _enough(rank, division):
                continue
            if np.bincount(rank, minlength=len(division.longer) + 1).min() < 1:
                continue
            cost = _cost(size, rank, len(division.longer) + 1, shortest, room, worn)
            if cost is None:
                continue
            cost += math.log(division.top)
            meanings = [(division, cost)]
            halved = division.halved()
            if halved is not None:
                meanings.append((halved, cost + _as_long_cost(index, size, rank, division, phase, numbers)))
            for meant, nats in meanings:
                prior = meant.cost + (tick_length_cost(shortest * meant.base_mm) if meant.base_mm else 0.0)
                nats += prior - _from_numbers(numbers, meant, phase)
                held = best.get(meant.base_mm)
                if held is None or nats < held.cost:
                    best[meant.base_mm] = Verdict(division=meant, phase=phase, cost=nats)
    verdicts = tuple(sorted(best.values(), key=lambda v: v.cost))
    return Hearing(
        verdicts=verdicts,
        alike=alike,
        ticks=size.size,
        told=told,
        shortest=shortest,
        unseen=span - size.size,
        numbered=_from_numbers(numbers, verdicts[0].division, verdicts[0].phase) if verdicts else 0.0,
    )


def levelled(index: Ints, size: Floats) -> Floats:
    """Lengths (N,) of ticks without their steady growth along the ruler.

    Perspective shortens the spacing faster than the ticks. The growth is that of the shortest kind, which makes up half
    of any scale: the lower quartiles of several stretches belong to it. Of the slopes between every two of them the
    middle one counts (Theil 1950, Sen 1968).
    """
    if index.size < LEAST_LEVELLED or size.min() <= 0:
        return size
    stretches = np.array_split(np.argsort(index), min(index.size // STRETCH_TICKS, MOST_STRETCHES))
    place = np.array([index[part].mean() for part in stretches])
    low = np.array([np.quantile(np.log(size[part]), 0.25) for part in stretches])
    one, other = np.triu_indices(len(stretches), 1)
    growth = float(np.median((low[other] - low[one]) / (place[other] - place[one])))
    return np.asarray(size * np.exp(-growth * (index - np.median(index))), dtype=np.float64)


def _from_numbers(numbers: Sequence[Numbers], division: Division, phase: int) -> float:
    """Nats for a division from what stands beside each whole of it, by as much as it is plainer than what stands beside
    halves too, or beside each half: from afar worn numbers and the long ticks of half inches look alike. What stands
    beside each second, third or fourth whole alone speaks against it, but where that is far fainter than what stands
    beside each. What comes round otherwise, or stands elsewhere, says nothing.
    """
    whole = division.numbered
    beside = [one for one in numbers if _beside(one, division, phase)]
    halves = [one for one in beside if 2 * one.period == whole]
    as_plain = max((one.evidence for one in halves), default=0.0)
    told = [one.evidence - as_plain for one in beside if one.period == whole]
    told += [one.at_halves for one in halves]
    most = max(told, default=0.0)
    rarer = [one for one in beside if whole and one.period > whole and one.period % whole == 0]
    other = max((one.evidence for one in rarer), default=0.0)
    return min(MOST_FROM_NUMBERS, most) - (min(MOST_FROM_NUMBERS, other) if other > FAINT_SHARE * most else 0.0)


def _as_long_cost(
    index: Ints, size: Floats, rank: Ints, division: Division, phase: int, numbers: Sequence[Numbers]
) -> float:
    """Nats against a division's wholes being wholes and halves in turn: by how much their ticks speak for no step from
    one to the other, as there hardly ever is none. Ends that are seen badly hide a step.

    Where numbers stand beside all of the longest, or many of both run into numbers, they are wholes.
    """
    kinds = len(division.longer)
    longest = rank == kinds
    if np.count_nonzero(longest) < 2:
        return 0.0
    if _from_numbers(numbers, division, phase) >= BY_NUMBERS:
        return AS_LONG
    turn = (index[longest] - phase) // division.top % 2 == 0
    ones, others = size[longest][turn], size[longest][~turn]
    if not (ones.size and others.size):
        return 0.0
    of_kinds = [size[rank == kind] for kind in range(kinds + 1)]
    middle = np.array([_usual(of_kind, ALIKE_SHARE) for of_kind in of_kinds])
    off = np.concatenate([np.abs(of_kind - np.median(of_kind)) for of_kind in of_kinds[1:]])
    scatter = max(1.4826 * float(np.median(off)), LEAST_BREADTH * float(middle[0]))
    step = _usual_step(middle)
    touching = middle[-2] + (1 + BEYOND_STEPS) * step + BEYOND_SCATTER * scatter
    if all((of_turn > touching).sum() >= max(2, TOUCHING_SHARE * of_turn.size) for of_turn in (ones, others)):
        return AS_LONG
    told, steps = [], np.linspace(*HALF_STEPS, 9) * step
    for usual, sigmas in ((_middle_of_pairs, PAIRS_SIGMAS), (_shorter, SHORTER_SIGMAS)):
        apart = abs(usual(ones) - usual(others))
        sigma = sigmas * math.sqrt(1 / ones.size + 1 / others.size) * scatter
        stepped = np.exp(np.maximum(-0.5 * ((apart - steps) / sigma) ** 2, -700.0)).mean()
        told.append(-0.5 * (apart / sigma) ** 2 - math.log(stepped))
    return float(np.clip(max(told), 0.0, AS_LONG))


def _middle_of_pairs(size: Floats) -> float:
    """The middle of sorted lengths: the median of the means of all pairs (Hodges & Lehmann 1963)."""
    one, other = np.triu_indices(size.size)
    return float(np.median(0.5 * (size[one] + size[other])))


def _shorter(size: Floats) -> float:
    """Where sorted lengths would end if most ran into numbers: their lower fifth."""
    return float(np.quantile(size, 0.2))


def _beside(numbers: Numbers, division: Division, phase: int) -> bool:
    """Whether numbers stand beside longest ticks: where those come more often, beside some of them."""
    every = min(numbers.period, division.top)
    off = (numbers.tick - phase + every // 2) % every - every // 2
    return abs(off) <= max(1.0, BESIDE_SHARE * numbers.period)


def _phases(index: Ints, size: Floats, top: int) -> list[int]:
    """The residues whose ticks are longest: nowhere else can the longest ticks lie. Of sorted lengths, the middle one
    of each residue, so that a worn tick does not move it."""
    residue = index % top
    order = np.argsort(residue, kind="stable")
    count = np.bincount(residue, minlength=top)
    start = np.cumsum(count) - count
    seen = np.flatnonzero(count)
    low, high = start[seen] + (count[seen] - 1) // 2, start[seen] + count[seen] // 2
    middle = 0.5 * (size[order][low] + size[order][high])
    return [int(seen[r]) for r in np.argsort(-middle, kind="stable")[:PHASES]]


def tick_length_cost(shortest_mm: float) -> float:
    """Nats against a shortest tick of this length, by the weak prior of what rulers have."""
    far = math.log(max(shortest_mm, 1e-3) / TICK_MM) / TICK_SPREAD
    return 0.5 * far * far


def _rank(number: Ints, longer: Sequence[int]) -> Ints:
    rank = np.zeros(number.size, np.int64)
    for step, every in enumerate(longer, start=1):
        rank[number % every == 0] = step
    return rank


def _enough(rank: Ints, division: Division) -> bool:
    """Whether the longest ticks are seen often enough to say that they are the longest there are."""
    counts = np.bincount(rank, minlength=len(division.longer) + 1)
    if (counts[:-2] < 2).any() or (counts[-2:] < 1).any():
        return False
    return bool(counts[-2] + counts[-1] >= 3 and (len(division.longer) > 1 or counts[-1] >= 2)) or (
        division.unit == "inch" and len(division.longer) > 1
    )


def _cost(size: Floats, rank: Ints, kinds: int, shortest: float, room: float, worn: bool) -> float | None:
    """Nats to explain sorted lengths with one length for each kind of tick; None where a longer kind is not longer."""
    alike = ALIKE_SHARE if worn else MOST_SHARE
    middle = np.array([_usual(size[rank == kind], alike) for kind in range(kinds)])
    if not _rising(middle, shortest):
        # of few ticks most may be worn: then the longer half tells where they would end
        of_kinds = [size[rank == kind] for kind in range(1, kinds)]
        middle[1:] = [_usual(of_kind[of_kind.size // 2 :], alike) for of_kind in of_kinds]
        if not worn or not _rising(middle, shortest):
            return None
    plain = _chance_cost(size, rank, middle, shortest, room, worn)
    if kinds == 1:
        return plain
    # nearly all of the longest ticks may run into their numbers: then the shorter of them tell where they would end
    of_kind = size[rank == kinds - 1]
    middle[-1] = of_kind[of_kind.size // 5]
    if middle[-1] - middle[-2] < LEAST_KIND_STEP * shortest:
        return plain
    return min(plain, _chance_cost(size, rank, middle, shortest, room, worn))


def _rising(middle: Floats, shortest: float) -> bool:
    """Whether each kind of tick is longer than the one before, by steps that are much alike: the last may look larger,
    where the longest ticks run into their numbers."""
    step = middle[1:] - middle[:-1]
    return not step.size or bool(step.min() >= max(LEAST_KIND_STEP * shortest, LEAST_STEP_SHARE * _usual_step(middle)))


def _usual_step(middle: Floats) -> float:
    """The step from one kind of tick to the next longer, by the middles (K,) of all kinds."""
    step = middle[1:] - middle[:-1]
    return float(min(step.mean(), step[:-1].mean()) if step.size > 1 else step.sum())


def _usual(size: Floats, share: float) -> float:
    """The length about which a share of sorted lengths lies: worn ticks look shorter, touched ones longer."""
    most = max(2, math.ceil(share * size.size))
    if size.size < most:
        return float(size[0])
    first = int((size[most - 1 :] - size[: size.size - most + 1]).argmin())
    low, high = size[first], size[first + most - 1]
    begin, end = int(size.searchsorted(2 * low - high)), int(size.searchsorted(2 * high - low, side="right"))
    return float(0.5 * (size[(begin + end - 1) // 2] + size[(begin + end) // 2]))


def _chance_cost(size: Floats, rank: Ints, middle: Floats, shortest: float, room: float, worn: bool) -> float:
    kinds = len(middle)
    off = np.abs(size - middle[rank])
    longer = (rank == kinds - 1) & (size > middle[-1]) & (kinds > 1)
    breadth = max(float(np.mean(np.minimum(off[~longer], 0.5 * shortest))), LEAST_BREADTH * shortest, 0.03)
    chance = (1 - ASTRAY_SHARE) * np.exp(-off / breadth) / (2 * breadth) + ASTRAY_SHARE / room
    touched = TOUCHED_SHARE / max(room - middle[-1], shortest)
    chance[longer] = (1 - TOUCHED_SHARE) * chance[longer] + touched
    marked = (rank > 0) & worn
    chance[marked] = (1 - WORN_SHARE) * chance[marked] + (WORN_SHARE / middle[rank] * (size < middle[rank]))[marked]
    return float(-np.log(chance).sum() + 0.5 * (kinds + 1) * math.log(size.size))
