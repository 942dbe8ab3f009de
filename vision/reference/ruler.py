"""Rulers and tapes lying in the photograph: found by their ticks, followed tick by tick, read where they are sure."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import chain, islice

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.body import outline_of
from vision.reference.candidate import PLAIN_EVIDENCE, Candidate, candidates
from vision.reference.comb import LEAST_BASE_SIGMA_PX, Comb
from vision.reference.course import course_of
from vision.reference.fold import by_fives
from vision.reference.number import numbering
from vision.reference.pair import settle
from vision.reference.paper import LINE_MM, is_narrow, read_paper
from vision.reference.reading import Reading
from vision.reference.stair import Stair, read_stairs
from vision.reference.tick import pyramid
from vision.reference.unit import Hearing, Verdict, hear

Floats = NDArray[np.float64]

#: A ruler without a stated class is taken to be true to this share at 95 %: class II rigid rules are within 0.5 mm on
#: a metre (2014/32/EU, MI-008), a cloth tape has no tolerance at all.
RULER_RELATIVE_U95 = 0.003
#: Readings beside each other must agree on the size of a millimetre to this share, or one of them is wrong.
AGREE_SHARE = 0.05
#: ... to this one more where they run square to each other (the cosine of a tilt of 25 deg) ...
TILTED_SHARE = 0.1
#: ... but never to this: the sizes of two ways to divide differ by more (a millimetre and a thirty-second: 0.23) ...
MOST_LEEWAY = 0.19
#: ... or, where each beats all other ways to divide by the first (nats), as far as a tilt of 20 deg parts the near side
#: of a picture from its far one.
NO_DOUBT, TILT_LEEWAY = 40.0, 0.35
#: ... unless one has this many times the evidence of the other.
OVERWHELMING = 3.0
#: Ticks whose shared part is no longer than a block of a JPEG (8 px: ITU-T T.81) are seen along the block's own sides
#: where they are faint: their ends lie off by so much, px, over the grey levels by which they stand out, all the same
#: way (rendered scenes: 0.19 px at 2 grey levels, 0.05 at 9; ticks of 10 px and more, none).
BLOCK_PX, OFF_IN_BLOCK_PX = 8.0, 0.45
#: A tick that begins further from the others' course than so many standard deviations is worn there; the course is
#: drawn anew so many times.
SOUND_SIGMAS, SETTLED = 3.0, 8
#: Places along a scale at which it is asked whether lines cross there.
FEW_PLACES = 15
#: Evidence (nats) under which numbers beside the ticks are not asked either.
LEAST_WORTH = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """All rulers seen: those read for sure, best first, and sentences about those that were not."""

    readings: tuple[Reading, ...]
    doubts: tuple[str, ...]


def read_rulers(rgb: NDArray[np.uint8], *, unit: str = "auto") -> tuple[Reading, ...]:
    """Rulers in an upright photo (H, W, 3), best first; empty where none can be read for sure.

    ``unit`` "inch" or "mm" says what the ruler is divided in where the ticks alone leave it open.
    """
    return look_for_rulers(rgb, unit=unit).readings


def look_for_rulers(rgb: NDArray[np.uint8], *, unit: str = "auto") -> Sight:
    """As ``read_rulers``, together with a sentence for each comb of ticks whose unit could not be told."""
    gray = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY) if rgb.ndim == 3 else rgb
    levels = pyramid(np.asarray(gray, dtype=np.uint8))
    sure: list[tuple[Candidate, Verdict, float]] = []
    unsure: list[Candidate] = []
    found, given_way = candidates(levels, lambda comb: _hearing(levels, comb, unit))
    for candidate, verdict, evidence in settle(found):
        if verdict is None:
            unsure.append(candidate)
        else:
            sure.append((candidate, verdict, evidence))
    if not sure:
        told = ((candidate, by_fives(levels, candidate)) for candidate in chain(unsure, given_way()))
        sure = [(candidate, fives, candidate.hearing.evidence()) for candidate, fives in told if fives is not None]
    sure.sort(key=lambda item: -item[2])
    kept, quarrel = _agreeing(sure)
    # lines of millimetre paper cross each other in rows that may look like a scale: where they do, the paper counts
    near = _spread(kept[0][0].comb.places_px) if kept else None
    paper = read_paper(rgb, levels, near) if unit != "inch" else None
    if paper is not None and kept and kept[0][1].division.base_mm == LINE_MM:
        # along a ruler it tells no more than the ticks do; across it may be the grain of the wood
        paper = None if is_narrow(paper, kept[0][0].hearing.shortest * LINE_MM) else paper
    if paper is not None:
        readings: tuple[Reading, ...] = (paper,)
    else:
        readings = tuple(_reading(rgb, candidate.comb, verdict) for candidate, verdict, _ in kept)
        if not readings and not quarrel:
            combs = [one.comb for one in unsure if one.hearing.evidence() > LEAST_WORTH]
            readings = tuple(_by_stair(rgb, stair) for stair in islice(read_stairs(levels, combs, unit=unit), 1))
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
    return len(comb.index) >= 20 and comb.share_present > 0.7 and candidate.hearing.evidence() > LEAST_WORTH


def _hearing(levels: list[NDArray[np.uint8]], comb: Comb, unit: str) -> Hearing:
    both = [(hear(comb.index, comb.lengths(side), unit=unit), side) for side in (0, 1)]
    better, side = max(both, key=lambda h: (h[0].sure(), h[0].evidence() if h[0].verdicts else -math.inf))
    plain = better.best is not None and better.believable() and not better.best.division.by_fives
    if better.evidence() < LEAST_WORTH or (plain and better.margin() > PLAIN_EVIDENCE):
        return better
    assert better.best is not None
    numbers = numbering(levels, comb, side, longest=better.best.longest(comb.index))
    return hear(comb.index, comb.lengths(side), unit=unit, numbers=numbers) if numbers else better


def _agreeing(
    sure: list[tuple[Candidate, Verdict, float]],
) -> tuple[list[tuple[Candidate, Verdict, float]], bool]:
    """The readings that agree with the best one, or with one that does; none, and True, where a strong one contradicts
    them: a tape that bends is read in stretches, the first of which may lie much farther away than the last."""
    if not sure:
        return [], False
    kept, rest = sure[:1], sure[1:]
    while agreed := [one for one in rest if any(_agree(one, other) for other in kept)]:
        kept, rest = kept + agreed, [one for one in rest if one not in agreed]
    if any(weight * OVERWHELMING > sure[0][2] for _, _, weight in rest):
        return [], True
    return [one for one in sure if one in kept], False


def _agree(one: tuple[Candidate, Verdict, float], other: tuple[Candidate, Verdict, float]) -> bool:
    """Whether two readings make a millimetre of about the same size, in their middles or where they come nearest."""
    usual = _mm_px(one[0].comb, one[1]) / _mm_px(other[0].comb, other[1])
    apart = one[0].comb.places_px[:, None] - other[0].comb.places_px
    near = np.unravel_index(int(np.argmin((apart**2).sum(axis=2))), apart.shape[:2])
    spacing = [candidate.comb.spacing_px[k] for (candidate, _, _), k in zip((one, other), near, strict=True)]
    there = spacing[0] / spacing[1] / (one[1].division.base_mm / other[1].division.base_mm)
    return min(abs(math.log(usual)), abs(math.log(there))) < _leeway(one[0], other[0])


def _mm_px(comb: Comb, verdict: Verdict) -> float:
    return comb.period_px / verdict.division.base_mm


def _leeway(one: Candidate, other: Candidate) -> float:
    """By how much (as a logarithm) two combs may differ: perspective changes the scale across the picture, and a tilt
    shortens what runs along it."""
    if min(one.hearing.margin(), other.hearing.margin()) > NO_DOUBT:
        return TILT_LEEWAY
    first, second = one.comb, other.comb
    gap = float(np.hypot(*(first.places_px.mean(axis=0) - second.places_px.mean(axis=0))))
    span = float(np.hypot(*(first.places_px[-1] - first.places_px[0])))
    crossed = abs(float(first.axis[0] * second.axis[1] - first.axis[1] * second.axis[0]))
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
    bases, base_sigma = _standing(comb)
    position = np.stack([number * division.base_mm, np.zeros(len(number))], axis=1)
    return Reading(
        source="ruler",
        unit=division.unit,
        marks_px=bases,
        marks_mm=position,
        marks_sigma_px=np.full(len(number), max(0.05, comb.sigma_px)),
        ticks_px=comb.ends_px,
        ticks_sigma_px=np.full(len(number), math.hypot(max(0.05, noise), _off_in_block(comb))),
        tolerance_relative_u95=RULER_RELATIVE_U95,
        names=names,
        outline_px=outline_of(rgb, comb, course_of(comb, bases), comb.period_px / division.base_mm, whole),
        across_sigma_px=base_sigma,
    )


def _by_stair(rgb: NDArray[np.uint8], stair: Stair) -> Reading:
    """The reading of a scale that only the mean of its wholes shows: all ticks of a whole are off together, and the
    mean's own lean is."""
    reading = _reading(rgb, stair.comb, Verdict(division=stair.division, phase=0, cost=0.0))
    size = len(stair.comb.index)
    shared = stair.sigma_px * math.sqrt(stair.division.top)
    lean = math.hypot(shared, stair.lean_px * math.sqrt(size))
    return replace(
        reading,
        marks_sigma_px=np.full(size, shared),
        ticks_sigma_px=np.hypot(reading.ticks_sigma_px, lean),
    )


def _off_in_block(comb: Comb) -> float:
    """How far ends of ticks, px, may all lie off within a JPEG's blocks: one standard deviation each, so large that it
    leaves as much open of how all of them converge as it would if it did not average out.

    Where ends of N ticks lie off by s at both ends of a ruler, and evenly less towards its middle, they say as much
    about their directions as N ends do that lie off by √(2N/3)·s each, by chance (least squares).
    """
    if comb.band_px > BLOCK_PX:
        return 0.0
    return math.sqrt(2 / 3 * len(comb.index)) * OFF_IN_BLOCK_PX / comb.contrast


def _standing(comb: Comb) -> tuple[Floats, float]:
    """Where the ticks stand (N, 2), and one standard deviation of it across the ruler, px.

    Worn ticks begin short of there, whole stretches of them: they are taken to stand where the sound ones say.
    """
    bases, _ = comb.bases()
    along = comb.index - comb.index.mean()
    height = ((bases - comb.places_px) * comb.lean).sum(axis=1) / (comb.lean**2).sum(axis=1)
    starts = (np.full(height.size, np.median(height)), _line_through_most(along, height))
    courses = [_course_of_most(along, height, start) for start in starts]
    course = min(courses, key=lambda one: float(np.median(np.abs(height - one))))
    off = np.abs(height - course)
    sigma = max(1.4826 * float(np.median(off)), LEAST_BASE_SIGMA_PX)
    scatter = sigma
    for _ in range(SETTLED):
        # what is worn says nothing of how well the sound ones stand
        scatter = max(1.4826 * float(np.median(off[off <= SOUND_SIGMAS * scatter])), LEAST_BASE_SIGMA_PX)
    worn = off > SOUND_SIGMAS * scatter
    return np.where(worn[:, None], comb.places_px + course[:, None] * comb.lean, bases), sigma


def _course_of_most(along: Floats, height: Floats, course: Floats) -> Floats:
    """Heights (N,) of the cubic through the half of the heights that lies nearest to it, from a first ``course`` on."""
    for _ in range(SETTLED):
        off = np.abs(height - course)
        # the nearer half only (least trimmed squares, Rousseeuw 1984): a third may be worn
        sound = off <= max(float(np.median(off)), SOUND_SIGMAS * LEAST_BASE_SIGMA_PX)
        course = np.asarray(np.polyval(np.polyfit(along[sound], height[sound], 3), along), dtype=np.float64)
    return course


def _line_through_most(along: Floats, height: Floats) -> Floats:
    """Heights (N,) of the line that half of them may lie far from: by repeated medians (Siegel 1982)."""
    run = along[:, None] - along
    np.fill_diagonal(run, np.nan)
    slope = float(np.median(np.nanmedian((height[:, None] - height) / run, axis=1)))
    return np.asarray(slope * along + np.median(height - slope * along), dtype=np.float64)
