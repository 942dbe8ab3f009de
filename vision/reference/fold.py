"""Into how many parts long ticks' intervals are divided, told by laying all intervals on one another.

Fine ticks that drown in noise or blur one by one, so that neither their number nor their lengths can be followed, stand
out together once the picture is folded by the longer ticks between them, which are seen: what repeats a whole number
of times an interval adds up, all else averages out (epoch folding: Leahy et al. 1983, ApJ 266, 160).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.reference.candidate import Candidate
from vision.reference.comb import Comb
from vision.reference.division import Division
from vision.reference.strip import sample, stretches, strip_level
from vision.reference.unit import LEAST_EVIDENCE, LEAST_TICK_MM, LEAST_UNSEEN, MOST_TICK_MM, Verdict

Floats = NDArray[np.float64]

#: Half centimetres with millimetres between them, every second one longer: no inch is divided by five, but into tenths,
#: which look like millimetres in any case.
PARTS = 5
FIVES = Division(unit="mm", base_mm=5.0, top=2, longer=(2,), cost=0.0)
#: Fewer long ticks tell too little of what lies between them.
FEWEST = 12
#: Places an interval, and heights at which it is looked at, from where the long ticks are seen to both sides, in
#: intervals: ticks as long as any ruler's, and what lies beyond.
PLACES, HEIGHT, STEP = 40, 2.4, 0.08
#: At a height that shows the parts their wave is so many standard deviations, and so many times any other (of drowned
#: millimetres in rendered scenes: 7 to 13 times, the others twice at most; of chance eight others reach three).
PLAIN, ALONE = 5.0, 2.5
#: The parts begin at the long ticks: their wave peaks there, but for so much of it (1 is exactly) ...
IN_STEP = 0.8
#: ... and they stand beside where long ticks are seen, so far at most, in intervals; what shows them at more heights
#: than two elsewhere is a cloth's weave.
BESIDE, STRAYS = 0.5, 2


def by_fives(levels: Sequence[NDArray[np.uint8]], candidate: Candidate) -> Verdict | None:
    """The verdict on a comb as half centimetres, where every second tick is longer and the picture shows each interval
    divided into five by ticks that end; None elsewhere."""
    comb, heard = candidate.comb, candidate.hearing
    best = heard.best
    if best is None or best.division.unit != "none" or best.division.longer[0] != 2 or len(comb.index) < FEWEST:
        return None
    if heard.evidence() < max(LEAST_EVIDENCE, LEAST_UNSEEN * heard.unseen):
        return None
    heights, wave, plain = _parts(levels, comb)
    first, last = max(stretches(plain), key=lambda one: one[1] - one[0], default=(0, 0))
    tall_mm = (last - first) * STEP * FIVES.base_mm
    if not LEAST_TICK_MM <= tall_mm <= MOST_TICK_MM or plain.sum() > last - first + STRAYS:
        return None
    if first == 0 or last == len(heights):
        return None
    low, high = np.sort(np.median(comb.reach_px, axis=0) - comb.middle_px) / comb.period_px
    if heights[first] > high + BESIDE or heights[last - 1] < low - BESIDE:
        return None
    ink = -wave[first:last] if comb.dark else wave[first:last]
    if ink.real.sum() < IN_STEP * np.abs(ink).sum():
        return None
    return Verdict(division=FIVES, phase=best.phase % FIVES.top, cost=0.0)


def _parts(levels: Sequence[NDArray[np.uint8]], comb: Comb) -> tuple[Floats, NDArray[np.complex128], NDArray[np.bool_]]:
    """Heights (V,) in intervals; the wave (V,) there that comes five times an interval, its phase counted from the
    ticks, grey levels; and whether it alone is seen there."""
    count = np.arange(comb.index[0], comb.index[-1], 1 / PLACES)
    line, lean = (
        np.stack([np.interp(count, comb.index, of[:, k]) for k in (0, 1)], axis=1) for of in (comb.places_px, comb.lean)
    )
    heights = np.arange(-HEIGHT, HEIGHT, STEP)
    away = heights[:, None] * np.interp(count, comb.index, comb.spacing_px)
    seen = sample(levels, strip_level(levels, comb.period_px / PARTS), line + away[..., None] * lean)
    folded = np.fft.rfft(seen.astype(np.float64).reshape(len(heights), -1, PLACES), axis=2)[..., 1 : 2 * PARTS]
    waves = folded.mean(axis=1)
    size = folded.shape[1]
    noise = np.sqrt((np.abs(folded - waves[:, None]) ** 2).sum(axis=1) / (size * (size - 1)))
    told = np.abs(waves) / np.maximum(noise, 1e-9)
    ours, others = told[:, PARTS - 1], np.delete(told, PARTS - 1, axis=1).max(axis=1)
    return heights, waves[:, PARTS - 1] * 2 / PLACES, (ours >= PLAIN) & (ours >= ALONE * others)
