"""Evenly spaced places seen in perspective: u = (a + b·k)/(1 + c·k), fitted so that stray places do not matter."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Ticks further from the even comb than this share of the period are not its ticks.
OUTLIER_SHARE = 0.15
#: Random triples tried for the comb that most places agree with: misses one in a thousand at a half astray.
TRIALS = 50
#: Between places of which the last comes so few after the first, a straight line is drawn: they tell of no tilt.
SHORT_SPAN = 12
#: A comb whose spacing changes by more than this over a hundred ticks is no flat ruler seen from above.
MOST_CHANGE = 0.6
#: A comb may leave at most this root mean square, in periods, to count as even.
UNEVEN_SHARE = 0.07
#: Ticks lie this far, at most, from half-way between their neighbours (one standard deviation of a tick): px, and of
#: their spacing. Real and rendered rulers stay under two thirds of it mostly, rows met by chance above it (0.4 to 2 px
#: at spacings of 7 to 30 px).
ROUGH_PX, ROUGH_SHARE = 0.2, 0.03
#: Beyond a gap a comb goes on where the ticks there are more than this share of those the gap has lost.
GAP_SHARE = 0.5
#: Ticks of which this share stand at every n-th number only were sought at an n-th of their spacing.
WHOLE_SHARE = 0.9


def fit_even(u: Floats, index: Ints) -> tuple[NDArray[np.bool_], Floats] | None:
    """Robust fit of u = (a + b·k)/(1 + c·k), k counted from the middle; None where the places are not even.

    Returns which places belong, and (a, b, c, middle). Places beyond a lost count or another scale are left out.
    """
    if u.size < 6:
        return None
    period = float(np.median(np.diff(u) / np.maximum(1, np.diff(index))))
    keep = _agreeing(u, index.astype(np.float64), period)
    if keep is None:
        return None
    middle = float(index[keep].mean())
    k = np.asarray(index - middle, dtype=np.float64)
    a = b = c = 0.0
    for _ in range(6):
        a, b, c = _solve(u[keep], k[keep], period)
        off = np.abs(u - (a + b * k) / (1 + c * k)) / period
        fresh = off < max(0.06, min(OUTLIER_SHARE, 3.5 * 1.4826 * float(np.median(off[keep])) + 0.02))
        if fresh.sum() < 6:
            return None
        if (fresh == keep).all():
            break
        keep = fresh
    inside = (index >= index[keep].min()) & (index <= index[keep].max())
    off = u[keep] - (a + b * k[keep]) / (1 + c * k[keep])
    if np.sqrt(np.mean(off**2)) > UNEVEN_SHARE * period + 0.15 or keep.sum() < 0.6 * inside.sum():
        return None
    return keep, np.array([a, b, c, middle])


def beside_px(off_px: Floats) -> float:
    """One standard deviation of places, px, told by how far each lies off (N,) beside the middle of its neighbours.

    What bends the whole row, a lens or a tape that curls, is no noise of its places.
    """
    return 1.4826 * float(np.median(np.abs(np.diff(off_px, 2)))) / math.sqrt(6)  # 1 + 4 + 1 variances


def whole(u: Floats, index: Ints) -> tuple[Floats, Ints]:
    """Ticks renumbered where nearly all stand at every second, third or fifth number only: they were sought at a part
    of their true spacing, and the few between them are chance."""
    for parts in (2, 3, 5):
        count = np.bincount(index % parts, minlength=parts)
        usual = int(np.argmax(count))
        if count[usual] >= WHOLE_SHARE * index.size:
            belong = index % parts == usual
            return whole(u[belong], (index[belong] - usual) // parts)
    return u, index


def ragged(u: Floats, index: Ints) -> bool:
    """Whether places (N,), numbered in order, lie further off their neighbours' course than a ruler's ticks do.

    A tilt, a lens and a bent tape move neighbours alike. Strokes met by chance lie anywhere within what counts as even.
    """
    share = (index[1:-1] - index[:-2]) / (index[2:] - index[:-2])
    off = u[1:-1] - (1 - share) * u[:-2] - share * u[2:]
    off = off / np.sqrt(1 + share**2 + (1 - share) ** 2)
    period = abs(float(np.median(np.diff(u) / np.diff(index))))
    return 1.4826 * float(np.median(np.abs(off))) > ROUGH_PX + ROUGH_SHARE * period


def gathered(index: Ints) -> NDArray[np.bool_]:
    """The ticks (N,), numbered in order, of a comb without strays far beyond its ends: what stands there by chance."""
    step = 1.0 - GAP_SHARE * (np.diff(index, prepend=index[:1]) - 1)
    step[0] = 1.0
    # the stretch of most ticks, less its gaps: the largest sum of neighbours (Kadane)
    best, first, held, start = 0.0, 0, 0.0, 0
    last = 0
    for k, own in enumerate(step):
        if held + own < 1.0:
            held, start = 1.0, k
        else:
            held += own
        if held > best:
            best, first, last = held, start, k
    place = np.arange(index.size)
    return np.asarray((place >= first) & (place <= last), dtype=np.bool_)


def _solve(u: Floats, k: Floats, period: float) -> tuple[float, float, float]:
    """Least squares for (a + b·k)/(1 + c·k); c is held near 0 where few ticks say little about it."""
    design = np.stack([np.ones(u.size), k, -k * (u - u.mean())], axis=1)
    target = u - u.mean()
    if u.size < 15:
        design = np.vstack([design, [0.0, 0.0, 0.02 * period * max(1.0, float(np.abs(k * target).max()))]])
        target = np.append(target, 0.0)
    a, b, c = np.linalg.lstsq(design, target, rcond=None)[0]
    return float(a + u.mean()), float(b + c * u.mean()), float(c)


def _agreeing(u: Floats, index: Floats, period: float) -> NDArray[np.bool_] | None:
    """The largest set of places that one evenly tilted comb explains, from triples all along it."""
    first, last = _spans(u.size)
    mid = (first + last) // 2
    k = index - index[mid][:, None]
    near, far = (np.stack([k[np.arange(len(mid)), end], u[end] - u[mid]]) for end in (first, last))
    # u·(1 + c·k) = b·k, both counted from the middle one, at the other two
    with np.errstate(divide="ignore", invalid="ignore"):
        c = (near[1] / near[0] - far[1] / far[0]) / (far[1] - near[1])
        b = near[1] / near[0] + c * near[1]
        guess = u[mid][:, None] + b[:, None] * k / (1 + c[:, None] * k)
    for trial in np.flatnonzero(last - first < SHORT_SPAN):
        part = slice(first[trial], last[trial] + 1)
        middle = index[part].mean()
        slope = float((index[part] - middle) @ u[part]) / float((index[part] - middle) @ (index[part] - middle))
        guess[trial] = u[part].mean() + slope * (index - middle)
        c[trial] = 0.0
    hit = (np.abs(u - guess) < OUTLIER_SHARE * period) & (np.abs(c) * 100 <= MOST_CHANGE)[:, None]
    count = hit.sum(axis=1)
    best = int(np.argmax(count))
    return hit[best] if count[best] >= 6 else None


@cache
def _spans(size: int) -> tuple[Ints, Ints]:
    """The first and last place of each trial, the same each time for so many places."""
    rng = np.random.default_rng(size)
    first = np.empty(TRIALS, np.int64)
    span = np.empty(TRIALS, np.int64)
    for trial in range(TRIALS):
        first[trial] = rng.integers(0, size - 5)
        span[trial] = rng.integers(5, size - first[trial])
    return first, first + span


def robust_line(u: Floats, v: Floats) -> tuple[float, float, float]:
    """Robust straight line: slope, scatter (median deviation), offset."""
    weight = np.ones(u.size)
    slope, offset = 0.0, float(np.median(v))
    span = max(float(np.ptp(u)), 1.0)
    for _ in range(12):
        w = weight.sum()
        mu, mv = float((weight * u).sum() / w), float((weight * v).sum() / w)
        den = float((weight * (u - mu) ** 2).sum()) + 1e-9 * span**2
        slope = float((weight * (u - mu) * (v - mv)).sum()) / den
        offset = mv - slope * mu
        off = np.abs(v - slope * u - offset)
        scale = max(float(np.median(off)), 0.1)
        weight = 1.0 / (1.0 + (off / (1.5 * scale)) ** 2)
    return slope, scale, offset
