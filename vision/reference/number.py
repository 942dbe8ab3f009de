"""After how many ticks a ruler's numbers come round: once a centimetre or once an inch, whatever the digits are.

The ink beside the ticks is summed up tick by tick at several distances. If it is numbers, it repeats with the scale's
whole centimetres or inches; how well a period explains it is told by an analysis of variance with a penalty for each
of the period's free means (Schwarz 1978, Annals of Statistics 6, 461-464).
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
FAR = 3.5
#: Rows of places looked at on either side.
ROWS = 14
#: Longest period tried, ticks: an inch has 32 of the finest.
LONGEST = 34
#: Ink of neighbouring ticks belongs to the same digit: so much of the nominal evidence counts.
INDEPENDENT = 0.25
#: Ink whose variance is under this (grey levels squared) is sensor noise.
LEAST_SPREAD = 2.0


def numbering(levels: Sequence[NDArray[np.uint8]], comb: Comb) -> dict[int, float]:
    """Evidence (nats) that what stands beside the ticks repeats every n ticks, by n, over "it does not repeat".

    Taken at the distance from the ticks where one period explains most; only periods seen at least twice over are
    judged. Empty where nothing repeats there.
    """
    ink = _ink(levels, comb)
    index = comb.index - comb.index[0]
    longest = min(LONGEST, int(index[-1] + 1) // 2)
    best: dict[int, float] = {}
    for column in ink.T:
        spread = float(column.var())
        if spread <= LEAST_SPREAD:
            continue
        gains = {n: INDEPENDENT * _gain(column, index % n, n, spread) for n in range(2, longest + 1)}
        if gains and max(gains.values()) > max(best.values(), default=1.0):
            best = gains
    return best


def _gain(ink: Floats, residue: NDArray[np.int64], period: int, spread: float) -> float:
    count = np.bincount(residue, minlength=period)
    mean = np.bincount(residue, ink, period) / np.maximum(count, 1)
    within = float(np.mean((ink - mean[residue]) ** 2))
    size = ink.size
    within = max(within * size / max(size - period, 1), 0.02 * spread)
    return 0.5 * size * math.log(spread / within) - 0.5 * (period - 1) * math.log(size)


def _ink(levels: Sequence[NDArray[np.uint8]], comb: Comb) -> Floats:
    """Mean ink (N ticks, 2·ROWS places) over one spacing about each tick, at distances to both sides of the ticks."""
    up = float(np.quantile(comb.reach_px[:, 1], 0.97)) - comb.middle_px
    down = comb.middle_px - float(np.quantile(comb.reach_px[:, 0], 0.03))
    tall = max(up, down)
    away = np.linspace(1.1, FAR, ROWS) * tall
    heights = np.concatenate([-away + (tall - down), away - (tall - up)])
    offsets = np.linspace(-0.5, 0.5, 7)[:-1] + 1 / 14
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
