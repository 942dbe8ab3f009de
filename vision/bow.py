"""Bow: how far stripes bend between their ends, as the crossing threads of a pulled cloth do.

References: ASTM D3882 (bow and skew; printed designs too): bow as the greatest depth over the width, in per cent (the
calculation from memory).
"""

from __future__ import annotations

import math

import numpy as np

from vision.estimate import Estimate
from vision.swatch import Doubles, axes

#: Repeats that must each show the bend: they agree where it is the cloth's.
LEAST_REPEATS = 3
#: A repeat takes part where it is seen over this share of the stripes' length, at so many places.
SEEN_SHARE, LEAST_PLACES = 0.8, 8
#: No bow is known better than this, per cent at 95 %: cloth lies no flatter, lenses draw no straighter (practice).
FLOOR_PERCENT = 0.1


def measure_bow(crossings_mm: Doubles, direction_deg: float) -> Estimate | None:
    """The bow of stripes counted along a direction, per cent, positive where their middle lies ahead of their ends.

    ``crossings_mm`` (M, 4) are places x, y in the plane, their order in repeats and standard deviation, as a print's
    evidence has them. Each repeat is fitted by parabolas of its own; the u95 is that of their mean. None where fewer
    than three repeats show their stripes along most of their length.
    """
    if not len(crossings_mm):
        return None
    n, d = axes(direction_deg)
    u, v = crossings_mm[:, :2] @ n, crossings_mm[:, :2] @ d
    v = v - (v.min() + v.max()) / 2
    span, order = float(np.ptp(v)), crossings_mm[:, 2]
    bends = [
        bend
        for repeat in np.unique(np.floor(order))
        if (bend := _bend(u, v, order, crossings_mm[:, 3], np.floor(order) == repeat, span)) is not None
    ]
    if len(bends) < LEAST_REPEATS:
        return None
    percent = -100.0 * span / 4 * np.asarray(bends)
    middle = float(np.median(percent))
    scatter = 1.4826 * float(np.median(np.abs(percent - middle)))
    return Estimate(middle, math.hypot(2 * 1.25 * scatter / math.sqrt(len(bends)), FLOOR_PERCENT))


def _bend(u: Doubles, v: Doubles, order: Doubles, sigma: Doubles, chosen: np.ndarray, span: float) -> float | None:
    """The coefficient of v² that the edges of one repeat share, each with its own place; None where too few show."""
    if np.count_nonzero(chosen) < LEAST_PLACES or float(np.ptp(v[chosen])) < SEEN_SHARE * span:
        return None
    edges, index = np.unique(np.round(order[chosen] % 1.0, 3), return_inverse=True)
    design = np.zeros((len(index), len(edges) + 2))
    design[np.arange(len(index)), index] = 1
    design[:, -2], design[:, -1] = v[chosen] / span, (v[chosen] / span) ** 2
    weight = 1 / np.maximum(sigma[chosen], 1e-6)
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    solution = np.linalg.lstsq(design * weight[:, None], u[chosen] * weight, rcond=None)[0]
    return float(solution[-1]) / span**2
