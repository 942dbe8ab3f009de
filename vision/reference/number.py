"""After how many ticks a ruler's numbers come round: once a centimetre or once an inch, whatever the digits are.

What stands beside the ticks, where the long ones point, is taken as blank or inked, tick by tick, at several distances.
If it is numbers, the inked places repeat with the scale's whole centimetres or inches; how well a period explains them
is told by the entropy it saves, with a penalty for each free share (Schwarz 1978, Annals of
Statistics 6, 461-464).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb
from vision.reference.strip import sample, strip_level

Floats = NDArray[np.float64]

#: Numbers are looked for as far from the ticks' line as this many times their length.
FAR = 3.2
#: This share of the ticks is no longer than those between the numbered ones.
USUAL = 0.85
#: The shortest of the longest ticks, this share of them, do not run into their numbers; ink begins so much farther.
UNTOUCHED, BEYOND = 0.3, 1.05
#: Rows of places looked at.
ROWS = 28
#: Longest period tried, ticks: an inch has 32 of the finest.
LONGEST = 34
#: A number covers at most so many ticks to either side of its own; farther ones count as bare.
SPILL = 3
#: So many neighbouring rows are pooled: no row cuts every digit.
POOLED = 5
#: A place is inked where it differs from the ground by this share of what the inked ones do, and by so much (grey).
INKED_SHARE, LEAST_INK = 0.12, 4.0
#: A row of numbers inks more than the first share of the places (one of 32 at least) and less than the second; the
#: first is left to noise, the second to what lies beside the ruler.
SPARSE, CROWDED = 0.025, 0.7


def numbering(
    levels: Sequence[NDArray[np.uint8]], comb: Comb, side: int, *, longest: NDArray[np.bool_]
) -> dict[int, float]:
    """Evidence (nats) that something beyond the ticks' ends on a side (0 against, 1 along ``tick``) repeats every n
    ticks, by n: over "it does not repeat" and over all other periods.

    Each row of places speaks for the period that explains it best: digits at each millimetre and larger ones at each
    centimetre stand in rows of their own. Only periods seen at least twice over are judged. ``longest`` (N,) says which
    ticks are taken for the longest: what stands lower than they reach may be ticks.
    """
    index = comb.index - comb.index[0]
    periods = range(2, min(LONGEST, int(index[-1] + 1) // 2) + 1)
    evidence: dict[int, float] = {}
    recent: list[NDArray[np.bool_]] = []
    for column in _ink(levels, comb, side, longest).T:
        strong = float(np.quantile(np.abs(column), 0.96))
        inked = np.abs(column) > max(INKED_SHARE * strong, LEAST_INK)
        if not SPARSE < inked.mean() < CROWDED:
            recent = []
            continue
        recent = [*recent[1 - POOLED :], inked]
        for seen in (inked, np.logical_or.reduce(recent)) if len(recent) > 1 else (inked,):
            # neighbouring ticks under one digit are one sight of it
            runs = max(1, int(seen[0]) + int(np.count_nonzero(seen[1:] & ~seen[:-1])))
            gains = {n: runs / seen.sum() * _gain(seen, index, n) for n in periods}
            best = max(gains, key=lambda n: gains[n], default=0)
            if best:
                rival = max((gain for n, gain in gains.items() if n % best and best % n), default=0.0)
                evidence[best] = max(evidence.get(best, 0.0), gains[best] - max(rival, 0.0))
    return evidence


def _gain(inked: NDArray[np.bool_], index: NDArray[np.int64], period: int) -> float:
    """Nats saved by saying that one number stands once a period, spilling over to the next ticks."""
    count = np.maximum(np.bincount(index % period, minlength=period), 1)
    share = np.bincount(index % period, inked, period) / count
    middle = int(np.argmax(share + 0.5 * (np.roll(share, 1) + np.roll(share, -1))))
    away = (index - middle) % period
    away = np.minimum(np.minimum(away, period - away), SPILL)
    count = np.bincount(away)
    share = np.bincount(away, inked) / np.maximum(count, 1)
    saved = inked.size * _entropy(inked.mean()) - float((count * _entropy(share)).sum())
    return float(saved - 0.5 * (count.size - 1) * math.log(inked.size) - math.log(period))


def _entropy(share: Floats | float) -> Floats:
    p = np.clip(share, 0.02, 0.98)
    return np.asarray(-p * np.log(p) - (1 - p) * np.log(1 - p), dtype=np.float64)


def _ink(levels: Sequence[NDArray[np.uint8]], comb: Comb, side: int, longest: NDArray[np.bool_]) -> Floats:
    """Mean ink (N ticks, ROWS places) to both sides of each tick's line, at distances beyond most ticks' ends."""
    way = 1.0 if side else -1.0
    reach = way * (comb.reach_px[:, side] - comb.middle_px)
    # the longest ticks may run into their numbers, so the ink is taken beside the ticks, not on them
    # ... and beyond the ends of those that do not
    nearest = max(1.1 * float(np.quantile(reach, USUAL)), BEYOND * float(np.quantile(reach[longest], UNTOUCHED)))
    heights = way * np.linspace(nearest, max(FAR * float(np.quantile(reach, 0.97)), 1.5 * nearest), ROWS)
    offsets = np.array([-0.5, -0.4, -0.3, 0.3, 0.4])
    points = (
        comb.places_px[:, None, None, :]
        + (offsets[None, None, :] * comb.spacing_px[:, None, None])[..., None] * comb.axis
        + heights[None, :, None, None] * comb.tick
    )
    level = strip_level(levels, comb.period_px)
    size = len(comb.index)
    grey = sample(levels, level, points.reshape(size, -1, 2)).reshape(size, heights.size, offsets.size)
    mean = grey.mean(axis=-1)
    # slow shading along the ruler is no ink
    width = min(41, size // 2 * 2 - 1)
    padded = np.pad(mean, ((width // 2, width // 2), (0, 0)), mode="reflect")
    slow = np.median(np.lib.stride_tricks.sliding_window_view(padded, width, axis=0), axis=-1)
    return np.asarray(mean - slow, dtype=np.float64)
