"""Two scales on one ruler settle each other's unit: a sixteenth of an inch is 1.5875 mm, however the ticks look.

So do the fine ticks of a scale and its long ones, where these two were followed each by themselves: what stands at each
fifth of the others, every second of them longer, are half centimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb
from vision.reference.division import DIVISIONS
from vision.reference.unit import (
    LEAST_EVIDENCE,
    LEAST_MARGIN,
    LEAST_TICK_SHARE,
    LEAST_UNSEEN,
    Ints,
    Verdict,
)

if TYPE_CHECKING:
    from vision.reference.candidate import Candidate

#: Two scales of one ruler agree to this share (one standard deviation): print, and perspective across its width.
RATIO_SIGMA = 0.006
#: Combs whose ratio is off by more than so many of these are not two scales of one ruler, whatever each says alone.
RATIO_SIGMAS = 6.0
#: Unrelated combs have ratios of their periods spread over about this range of logarithms.
RATIO_RANGE = 3.0
#: Combs are scales of one ruler only if they lie within so many of the larger period from each other.
NEAR_PERIODS = 45.0
#: ... and run alike, deg.
PARALLEL_DEG = 3.0
#: Two scales of one ruler whose millimetres differ by more than this (as a logarithm) contradict each other: half of
#: what parts the two sizes of tick that are nearest to each other, a millimetre and a thirty-second of an inch (0.23).
CONTRADICTED = 0.115
#: A scale of this share of another's evidence contradicts it all the same where it is this many times as sure of the
#: size of its ticks: that they are not alike may be plain, and whether they are sixteenths or thirty-seconds not.
LIGHTEST, SURER = 0.25, 5.0
#: Half centimetres stand at millimetres, off each by at most this share of the spacing, at least this share of them at
#: each fifth one; so many must be seen, by which chance would do so once in 5 to that power.
OFF_SHARE, SAME_SHARE, FEWEST_FIVES = 0.25, 0.9, 12


def settle(candidates: Sequence[Candidate]) -> list[tuple[Candidate, Verdict | None, float]]:
    """Each candidate with its verdict where it is sure, alone or through a neighbour, and the evidence in nats.

    What a plainer scale of the same ruler contradicts is not sure, though that scale be not sure itself: the strokes of
    large numbers stand as evenly as ticks, with a hierarchy by chance, beside the worn ticks that they belong to.
    """
    out: list[tuple[Candidate, Verdict | None, float]] = []
    for one in candidates:
        beside = [other for other in candidates if other is not one and _neighbours(one.comb, other.comb)]
        doubted = any(_contradicts(other, one) for other in beside)
        verdict: Verdict | None = one.hearing.best if one.hearing.sure() and not doubted else None
        evidence = one.hearing.evidence()
        for other in beside:
            for joint, weight in (_joint(one, other), _by_fives(one, other)):
                if joint is not None and (verdict is None or weight > evidence):
                    verdict, evidence = joint, weight
        out.append((one, verdict, evidence))
    return out


def _neighbours(one: Comb, other: Comb) -> bool:
    if abs(float(one.axis @ other.axis)) < math.cos(math.radians(PARALLEL_DEG)):
        return False
    normal = np.array([-one.axis[1], one.axis[0]])
    gap = abs(float(np.median((other.places_px - one.places_px.mean(axis=0)) @ normal)))
    along = np.sort((other.places_px - one.places_px[0]) @ one.axis)
    own = np.sort((one.places_px - one.places_px[0]) @ one.axis)
    shared = min(along[-1], own[-1]) - max(along[0], own[0])
    least = 0.3 * min(along[-1] - along[0], own[-1] - own[0])
    return gap < NEAR_PERIODS * max(one.period_px, other.period_px) and shared > least


def _contradicts(other: Candidate, one: Candidate) -> bool:
    """Whether a neighbour with more evidence, and a margin of its own, or with a far greater margin, makes the
    millimetre another size."""
    theirs, ours = other.hearing.best, one.hearing.best
    if theirs is None or ours is None or not (other.hearing.believable() and one.hearing.believable()):
        return False
    asked = 1.0 if other.hearing.margin() < SURER * one.hearing.margin() else LIGHTEST
    if other.hearing.evidence() <= asked * one.hearing.evidence() or other.hearing.margin() < LEAST_MARGIN:
        return False
    sizes = _local_ratio(one.comb, other.comb) * theirs.division.base_mm / ours.division.base_mm
    return abs(math.log(sizes)) > CONTRADICTED


def _local_ratio(one: Comb, other: Comb) -> float:
    """Period of one over period of the other, both taken where they stand side by side."""
    along = (other.places_px - one.places_px[0]) @ one.axis
    own = (one.places_px - one.places_px[0]) @ one.axis
    low, high = max(along.min(), own.min()), min(along.max(), own.max())
    periods = []
    for u, comb in ((own, one), (along, other)):
        chosen = (u >= low) & (u <= high)
        slope = np.polyfit(comb.index[chosen], u[chosen], 1)[0] if chosen.sum() >= 3 else comb.period_px
        periods.append(abs(float(slope)))
    return periods[0] / periods[1]


def _joint(one: Candidate, other: Candidate) -> tuple[Verdict | None, float]:
    """The verdict on ``one`` that both combs together make sure, and its evidence over "no rulers at all"."""
    if one.hearing.shortest < LEAST_TICK_SHARE or not other.hearing.verdicts:
        return None, 0.0
    ratio = _local_ratio(one.comb, other.comb)
    unrelated = one.hearing.alike + other.hearing.alike
    best: dict[float, tuple[float, Verdict]] = {}
    apart = math.inf
    for mine in one.hearing.verdicts:
        for its in other.hearing.verdicts:
            cost = mine.cost + its.cost
            if not mine.division.base_mm or not its.division.base_mm:
                apart = min(apart, cost)
                continue
            off = math.log(ratio * its.division.base_mm / mine.division.base_mm) / RATIO_SIGMA
            if abs(off) > RATIO_SIGMAS:
                apart = min(apart, cost)
                continue
            density = math.exp(-0.5 * off * off) / (RATIO_SIGMA * math.sqrt(2 * math.pi))
            cost -= math.log(density * RATIO_RANGE)
            held = best.get(mine.division.base_mm)
            if held is None or cost < held[0]:
                best[mine.division.base_mm] = (cost, mine)
    ranked = sorted(best.values(), key=lambda item: item[0])
    if not ranked:
        return None, 0.0
    cost, verdict = ranked[0]
    rival = min(apart, ranked[1][0] if len(ranked) > 1 else math.inf, unrelated + LEAST_MARGIN - LEAST_EVIDENCE)
    # the other may be a ruler, and this one only something printed on it
    rival = min(rival, other.hearing.verdicts[0].cost + one.hearing.alike)
    evidence = unrelated - cost
    sure = rival - cost >= LEAST_MARGIN and evidence >= 2 * LEAST_EVIDENCE
    return (verdict if sure else None), evidence


def _by_fives(one: Candidate, other: Candidate) -> tuple[Verdict | None, float]:
    """The verdict on ``one`` as millimetres, the ``other``'s ticks being its half centimetres, and its evidence: that
    of every second of these being longer."""
    fives = other.hearing.best
    if fives is None or fives.division.longer != (2,) or one.hearing.told or other.hearing.margin() < LEAST_MARGIN:
        return None, 0.0
    unseen = int(np.ptp(one.comb.index)) + 1 - len(one.comb.index)
    if other.hearing.evidence() < max(LEAST_EVIDENCE, LEAST_UNSEEN * unseen):
        return None, 0.0
    number, at = _numbers_at(one.comb, other.comb)
    if number.size < FEWEST_FIVES or np.bincount(number % 5).max() < SAME_SHARE * number.size:
        return None, 0.0
    tens = number[(other.comb.index[at] - fives.phase) % 2 == 0]
    phase = int(np.argmax(np.bincount(tens % 10, minlength=10)))
    if (tens % 10 == phase).mean() < SAME_SHARE:
        return None, 0.0
    division = next(each for each in DIVISIONS if each.base_mm == 1.0 and each.longer == (5, 10))
    return Verdict(division=division, phase=phase, cost=0.0), other.hearing.evidence()


def _numbers_at(fine: Comb, coarse: Comb) -> tuple[Ints, Ints]:
    """Which of the fine comb's ticks, by their numbers, stand where those of a coarse one do, and at which of these."""
    along, there = ((comb.places_px - fine.places_px[0]) @ fine.axis for comb in (fine, coarse))
    order = np.argsort(along)
    place = np.interp(there, along[order], fine.index[order])
    inside = (there >= along.min()) & (there <= along.max())
    # the two are followed at other heights of ticks that lean: all are off alike
    place = place - _common(place[inside]) if inside.any() else place
    number = np.rint(place).astype(np.int64)
    at = np.flatnonzero(inside & (np.abs(place - number) <= OFF_SHARE))
    return number[at], at


def _common(place: NDArray[np.float64]) -> float:
    """The share of a spacing by which places (N,) mostly lie beyond whole numbers."""
    turn = np.exp(2j * np.pi * place).mean()
    return float(np.angle(turn) / (2 * np.pi))
