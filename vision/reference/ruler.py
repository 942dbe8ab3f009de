"""Rulers and tapes lying in the photograph: found by their ticks, followed tick by tick, read where they are sure."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.body import outline_of
from vision.reference.comb import Comb, follow
from vision.reference.number import numbering
from vision.reference.pair import settle
from vision.reference.paper import read_paper
from vision.reference.reading import Reading
from vision.reference.tick import KIN_PERIOD, Row, fairly, find_rows, pyramid
from vision.reference.unit import Hearing, Verdict, hear

Floats = NDArray[np.float64]

#: Rows looked at on each level of the picture, the most promising first.
ROWS_PER_LEVEL = 10
#: A ruler without a stated class is taken to be true to this share at 95 %: class II rigid rules are within 0.5 mm on
#: a metre (2014/32/EU, MI-008), a cloth tape has no tolerance at all.
RULER_RELATIVE_U95 = 0.003
#: Readings beside each other must agree on the size of a millimetre to this share, or one of them is wrong.
AGREE_SHARE = 0.05
#: ... to this one more where they run square to each other (the cosine of a tilt of 25 deg) ...
TILTED_SHARE = 0.1
#: ... but never to this: the sizes of two ways to divide differ by more (a millimetre and a thirty-second: 0.23).
MOST_LEEWAY = 0.19
#: ... unless one has this many times the evidence of the other.
OVERWHELMING = 3.0
#: More lines of ticks of one kind beside each other are a print: a ruler has two at most, and digits at each
#: millimetre may make one more. They run alike to the second, the cosine of the angle between them.
FIELD_LINES = 3
PARALLEL = 0.99
#: ... and have at least this share of the comb's ticks: shorter ones are chance.
FIELD_SHARE = 0.3
#: Evidence (nats) after which no finer level of the picture is looked at.
PLAIN_EVIDENCE = 60.0
#: Places along a scale at which it is asked whether lines cross there.
FEW_PLACES = 15
#: Evidence (nats) under which numbers beside the ticks are not asked either.
LEAST_WORTH = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """All rulers seen: those read for sure, best first, and sentences about those that were not."""

    readings: tuple[Reading, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A comb with what its tick lengths say on its better side."""

    comb: Comb
    hearing: Hearing


def read_rulers(rgb: NDArray[np.uint8], *, unit: str = "auto") -> tuple[Reading, ...]:
    """Rulers in an upright photo (H, W, 3), best first; empty where none can be read for sure.

    ``unit`` "inch" or "mm" says what the ruler is divided in where the ticks alone leave it open.
    """
    return look_for_rulers(rgb, unit=unit).readings


def look_for_rulers(rgb: NDArray[np.uint8], *, unit: str = "auto") -> Sight:
    """As ``read_rulers``, together with a sentence for each comb of ticks whose unit could not be told."""
    gray = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY) if rgb.ndim == 3 else rgb
    levels = pyramid(np.asarray(gray, dtype=np.uint8))
    candidates = _candidates(levels, unit)
    sure: list[tuple[Candidate, Verdict, float]] = []
    unsure: list[Candidate] = []
    for candidate, verdict, evidence in settle(candidates):
        if verdict is None:
            unsure.append(candidate)
        else:
            sure.append((candidate, verdict, evidence))
    sure.sort(key=lambda item: -item[2])
    kept, quarrel = _agreeing(sure)
    # lines of millimetre paper cross each other in rows that may look like a scale: where they do, the paper counts
    near = _spread(kept[0][0].comb.places_px) if kept else None
    paper = read_paper(rgb, levels, near) if unit != "inch" else None
    if paper is not None:
        readings: tuple[Reading, ...] = (paper,)
    else:
        readings = tuple(_reading(rgb, candidate.comb, verdict) for candidate, verdict, _ in kept)
    doubts = []
    if quarrel and not readings:
        doubts.append(
            "two scales in the photo contradict each other about the size of a millimetre, so neither was used: "
            "say which one counts with --ruler inch or --ruler mm, or leave only one ruler in the picture"
        )
    elif not readings and any(_ruler_like(candidate) for candidate in unsure):
        ticks = max(len(candidate.comb.index) for candidate in unsure if _ruler_like(candidate))
        doubts.append(
            f"a row of {ticks} ticks was found, but not whether they are millimetres or parts of an inch: "
            "say --ruler inch or --ruler mm, or photograph more of the ruler, sharp and without glare"
        )
    return Sight(readings=readings, doubts=tuple(doubts))


def _spread(places_px: Floats) -> Floats:
    """A few of the places (N, 2), all along."""
    return places_px[np.unique(np.linspace(0, len(places_px) - 1, FEW_PLACES).round().astype(np.int64))]


def _ruler_like(candidate: Candidate) -> bool:
    """Whether an unread comb is worth a word: many ticks, few missing, and not all alike."""
    comb = candidate.comb
    return len(comb.index) >= 20 and comb.share_present > 0.8 and candidate.hearing.evidence() > LEAST_WORTH


def _candidates(levels: list[NDArray[np.uint8]], unit: str) -> list[Candidate]:
    found: list[Candidate] = []
    tried: list[Row] = []
    seen: list[Row] = []
    for level in range(len(levels) - 1, -1, -1):
        looked = 0
        rows = find_rows(levels[level], level)
        seen += rows
        for row in fairly(rows):
            if looked >= ROWS_PER_LEVEL:
                break
            if any(_covers(candidate.comb, row) for candidate in found) or any(_repeats(row, other) for other in tried):
                continue
            looked += 1
            tried.append(row)
            comb = follow(levels, row)
            if comb is None:
                continue
            found = _joined(found, Candidate(comb=comb, hearing=_hearing(levels, comb, unit)))
            # where gaps stand evenly, the ticks between them do
            counter = follow(levels, _between(comb, row))
            if counter is not None:
                found = _joined(found, Candidate(comb=counter, hearing=_hearing(levels, counter, unit)))
        if any(_plain(candidate, level) and not _one_of_many(candidate.comb, seen) for candidate in found):
            break
    return [candidate for candidate in found if not _one_of_many(candidate.comb, seen)]


def _repeats(row: Row, other: Row) -> bool:
    """Whether a row is a part of one that was followed before, with whatever success."""
    if row.dark != other.dark or abs(row.period_px / other.period_px - 1) > 0.1:
        return False
    off = row.bases_px - other.bases_px.mean(axis=0)
    along, across = np.abs(off @ other.axis), np.abs(off @ np.array([-other.axis[1], other.axis[0]]))
    half = 0.5 * float(np.ptp(other.bases_px @ other.axis)) + other.period_px
    return bool(((along < half) & (across < 0.5 * other.period_px)).mean() > 0.7)


def _one_of_many(comb: Comb, rows: list[Row]) -> bool:
    """Whether even rows of the comb's own kind stand along it, one beside the other: a print, not a ruler."""
    normal = np.array([-comb.axis[1], comb.axis[0]])
    middle = comb.places_px.mean(axis=0)
    half = 0.5 * float(np.ptp(comb.places_px @ comb.axis))
    apart = comb.period_px + comb.band_px
    lines = [0.0]
    for row in rows:
        if row.weight < FIELD_SHARE * len(comb.index):
            continue
        off = row.bases_px - middle
        across = float(np.median(off @ normal))
        alike = abs(math.log(row.period_px / comb.period_px)) < KIN_PERIOD
        alike = alike and abs(float(row.axis @ comb.axis)) > PARALLEL and (np.abs(off @ comb.axis) < half).mean() > 0.5
        if alike and min(abs(across - line) for line in lines) > apart:
            lines.append(across)
    return len(lines) > FIELD_LINES


def _joined(found: list[Candidate], fresh: Candidate) -> list[Candidate]:
    """The candidates with a new one, where it is worth more than all that are the same ticks."""
    rivals = [other for other in found if _same(other.comb, fresh.comb)]
    if any(_worth(fresh) <= _worth(other) for other in rivals):
        return found
    return [other for other in found if not _same(other.comb, fresh.comb)] + [fresh]


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
    """Whether a comb is so clearly read, and so wide, that the finer levels have nothing to add."""
    wide = candidate.comb.period_px / 2**level > 5.0
    return candidate.hearing.sure() and candidate.hearing.evidence() > PLAIN_EVIDENCE and wide


def _hearing(levels: list[NDArray[np.uint8]], comb: Comb, unit: str) -> Hearing:
    both = [(hear(comb.index, comb.lengths(side), unit=unit), side) for side in (0, 1)]
    better, side = max(both, key=lambda h: (h[0].sure(), h[0].evidence() if h[0].verdicts else -math.inf))
    if better.margin() > PLAIN_EVIDENCE or better.evidence() < LEAST_WORTH:
        return better
    assert better.best is not None
    numbers = numbering(levels, comb, side, longest=better.best.longest(comb.index))
    return hear(comb.index, comb.lengths(side), unit=unit, numbers=numbers) if numbers else better


def _worth(candidate: Candidate) -> tuple[bool, float]:
    return candidate.hearing.sure(), candidate.hearing.evidence() + 0.1 * len(candidate.comb.index)


def _covers(comb: Comb, row: Row) -> bool:
    """Whether a row is part of a comb already followed (same ticks, or ticks of the same period and line)."""
    inside = _inside(comb, row.bases_px)
    alike = abs(row.period_px / comb.period_px - 1) < 0.1
    return bool(inside.mean() > 0.7 and alike and row.dark == comb.dark)


def _same(one: Comb, other: Comb) -> bool:
    """Whether two combs are the same ticks, or one the gaps or a part of the other."""
    small, large = (one, other) if len(one.index) <= len(other.index) else (other, one)
    return bool(_inside(large, small.places_px).mean() > 0.5 and abs(float(one.axis @ other.axis)) > 0.98)


def _inside(comb: Comb, points: Floats) -> NDArray[np.bool_]:
    """Which points lie on a comb's ticks or just beside them."""
    first, last = comb.places_px[0], comb.places_px[-1]
    axis = last - first
    span = float(np.hypot(*axis))
    axis = axis / span
    normal = np.array([-axis[1], axis[0]])
    off = points - first
    along, across = off @ axis, np.abs(off @ normal)
    hit = (along > -comb.period_px) & (along < span + comb.period_px) & (across < 1.0 * comb.band_px + comb.period_px)
    return np.asarray(hit, dtype=np.bool_)


def _agreeing(
    sure: list[tuple[Candidate, Verdict, float]],
) -> tuple[list[tuple[Candidate, Verdict, float]], bool]:
    """The readings that agree with the best one; none, and True, where a strong one contradicts it."""
    if not sure:
        return [], False
    best, verdict, evidence = sure[0]
    size = _mm_px(best.comb, verdict)
    kept = [sure[0]]
    for other, its, weight in sure[1:]:
        if abs(math.log(_mm_px(other.comb, its) / size)) < _leeway(best.comb, other.comb):
            kept.append((other, its, weight))
        elif weight * OVERWHELMING > evidence:
            return [], True
    return kept, False


def _mm_px(comb: Comb, verdict: Verdict) -> float:
    return comb.period_px / verdict.division.base_mm


def _leeway(one: Comb, other: Comb) -> float:
    """By how much (as a logarithm) two combs may differ: perspective changes the scale across the picture, and a tilt
    shortens what runs along it."""
    gap = float(np.hypot(*(one.places_px.mean(axis=0) - other.places_px.mean(axis=0))))
    span = float(np.hypot(*(one.places_px[-1] - one.places_px[0])))
    crossed = abs(float(one.axis[0] * other.axis[1] - one.axis[1] * other.axis[0]))
    return min(AGREE_SHARE * (1.0 + 3.0 * gap / max(span, 1.0)) + TILTED_SHARE * crossed, MOST_LEEWAY)


def _reading(rgb: NDArray[np.uint8], comb: Comb, verdict: Verdict) -> Reading:
    division = verdict.division
    number = comb.index - verdict.phase
    first = number[0] // division.top
    number = number - first * division.top
    whole = number % division.top == 0
    named = division.top == division.numbered
    names = tuple(str(int(n // division.top)) if w and named else "" for n, w in zip(number, whole, strict=True))
    span = comb.ends_px[:, 1] - comb.ends_px[:, 0]
    across = span @ comb.axis
    along = np.arange(len(across), dtype=np.float64)
    trend = np.polyval(np.polyfit(along, across, 1), along)
    noise = 1.4826 * float(np.median(np.abs(across - trend))) / math.sqrt(2)
    bases, base_sigma = comb.bases()
    position = np.stack([number * division.base_mm, np.zeros(len(number))], axis=1)
    return Reading(
        source="ruler",
        unit=division.unit,
        marks_px=bases,
        marks_mm=position,
        marks_sigma_px=np.full(len(number), max(0.05, comb.sigma_px)),
        ticks_px=comb.ends_px,
        ticks_sigma_px=np.full(len(number), max(0.05, noise)),
        tolerance_relative_u95=RULER_RELATIVE_U95,
        names=names,
        outline_px=outline_of(rgb, comb, comb.period_px / division.base_mm, whole),
        across_sigma_px=base_sigma,
    )
