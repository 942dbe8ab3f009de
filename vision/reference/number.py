"""After how many ticks a ruler's numbers come round: once a centimetre or once an inch, whatever the digits are.

What stands beside the ticks, where the long ones point, is looked at tick by tick, at several distances: digits are
full of edges, stains and shadows are not. Digits so faint that noise has more edges are still as dark as the ticks, all
told. Where ticks stand far enough apart, so is what stands between them. If it is numbers, they come round with the
scale's whole centimetres or inches; how well a period explains them is told by the squares that it saves, with a
penalty for each free value (Schwarz 1978, Annals of Statistics 6, 461-464). Digits are wider than ticks: what comes
round on the ticks' own lines alone is ends of long ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb
from vision.reference.strip import sample, strip_level

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Between ticks numbers are looked for where those are at least so far apart, px, in so many rows of places, over this
#: share of the gap to both sides of its middle: the ticks' own blur does not reach so far.
WIDE_PX, GAP_ROWS, GAP_SHARE = 9.0, 12, 0.22
#: Beside a tick's own line, from the first of these to the second, in spacings, there are parts of digits and no ticks.
ASIDE = (0.25, 0.6)
#: Ink is counted from the middle one of so many ticks, most of which are bare, in their usual differences, of which no
#: place counts more than so many: glare, stains and knots of wood are larger.
BARE_TICKS, MOST_INK = 17, 6.0
#: Numbers are looked for as far from the ticks' line as this many times their length.
FAR = 3.2
#: This share of the ticks is no longer than those between the numbered ones.
USUAL = 0.85
#: The shortest of the longest ticks, this share of them, do not run into their numbers; numbers begin so much farther.
UNTOUCHED, BEYOND = 0.3, 1.05
#: ... but nearly all of them may. They do not end farther beyond the next kind than that, of which at least the first
#: share of the others is shorter, beyond the shortest, of which the second share is (common practice: the steps of a
#: scale are much alike), where these are told apart by the third share of the shortest.
NEXT, SHORTEST, APART = 0.92, 0.2, 0.3
#: Rows of places looked at.
ROWS = 28
#: Places looked at across each tick's own stretch of the row.
ACROSS = 9
#: Longest period tried, ticks: an inch has 32 of the finest.
LONGEST = 34
#: A number covers at most so many ticks to either side of its own; farther ones count as bare.
SPILL = 3
#: Where fewer ticks than this in a row are not seen they are worn, and a number may stand there all the same; what
#: hides more hides numbers too.
WORN_RUN = 3
#: So many neighbouring rows are pooled, fewer or more of them: no row cuts every digit.
POOLED = (2, 5)
#: Smaller differences from place to place are noise, grey levels.
LEAST_EDGE = 0.2
#: At least so many numbers must be seen, and the second share of all, each with the third share of the usual edges.
FEWEST, PRESENT, PLAIN = 3, 0.7, 0.4


class Numbers(NamedTuple):
    """Something that stands beside each ``period``-th tick, the one numbered ``tick`` among them; ``evidence`` (nats)
    says how much better that is explained by this period than by any other, or none; ``at_halves`` how much better by
    twice this period, every other one being something else."""

    period: int
    tick: int
    evidence: float
    at_halves: float = 0.0


class _Stands(NamedTuple):
    """Where ticks stand: their numbers (N,), their places (N, 2) and the spacing at each (N,), px."""

    number: Ints
    places_px: Floats
    spacing_px: Floats


def numbering(
    levels: Sequence[NDArray[np.uint8]], comb: Comb, side: int, *, longest: NDArray[np.bool_]
) -> tuple[Numbers, ...]:
    """What comes round beyond the ticks' ends on a side (0 against, 1 along ``tick``), or between the ticks as far as
    the longest reach there, the best of each period.

    Each row of places speaks for the period that explains it best: digits at each millimetre and larger ones at each
    centimetre stand in rows of their own. ``longest`` (N,) says which ticks are taken for the longest: what stands
    lower than they reach may be ticks. So may all that comes round, where off the ticks' own lines, beside or between
    them, only every other one has anything.
    """
    stands, out = _stands(comb), _beyond(comb, side, longest)
    across = np.linspace(-0.5, 0.5, ACROSS)
    views = [_rough(levels, comb, out, across, stands), _ink(levels, comb, out, across, stands)]
    gaps = [_between(levels, comb, side, stands)] if comb.period_px >= WIDE_PX else []
    found, aside = _found([*views, *gaps], stands.number), np.linspace(*ASIDE, ACROSS // 2 + 1)
    if not found:
        return ()
    sides = [_rough(levels, comb, out, way * aside, stands) for way in (-1.0, 1.0)]
    wide = {one.period: one.evidence for one in _found([0.5 * (sides[0] + sides[1]), *gaps], stands.number)}
    return tuple(one for one in found if wide.get(2 * one.period, 0.0) <= wide.get(one.period, 0.0))


def _stands(comb: Comb) -> _Stands:
    """The comb's ticks, and between them those of which fewer than ``WORN_RUN`` in a row are not seen."""
    every = np.arange(comb.index[0], comb.index[-1] + 1)
    after = np.clip(np.searchsorted(comb.index, every), 1, comb.index.size - 1)
    number = every[(comb.index[after] - comb.index[after - 1] <= WORN_RUN) | np.isin(every, comb.index)]
    places = np.stack([np.interp(number, comb.index, comb.places_px[:, k]) for k in (0, 1)], axis=1)
    return _Stands(number, places, np.interp(number, comb.index, comb.spacing_px))


def _found(views: Sequence[Floats], index: Ints) -> tuple[Numbers, ...]:
    """What comes round in rows of edges or ink (N ticks, rows), the best of each period."""
    found: dict[int, Numbers] = {}
    for view, count in product(views, POOLED):
        for first in range(0, view.shape[1] - count + 1, 2):
            best = _coming_round(view[:, first : first + count].mean(axis=1), index)
            if best is not None and best.evidence > found.get(best.period, best._replace(evidence=0.0)).evidence:
                found[best.period] = best
    return tuple(found.values())


def _coming_round(edges: Floats, index: Ints) -> Numbers | None:
    """What explains one row's edges (N,) at ticks numbered ``index`` best, where anything does."""
    size = edges.size
    if size < FEWEST:
        return None
    least = size * LEAST_EDGE**2
    whole = least + float(((edges - edges.mean()) ** 2).sum())
    gains: dict[int, float] = {}
    best: Numbers | None = None
    for period in range(2, min(LONGEST, int(index[-1] - index[0] + 1) // 2) + 1):
        tick = _middle(edges, index, period)
        off = (index - tick + period // 2) % period - period // 2
        away = np.minimum(np.abs(off), SPILL)
        count = np.bincount(away, minlength=2)
        mean = np.bincount(away, edges, count.size) / np.maximum(count, 1)
        left = edges - mean[away]
        rest = float(left @ left)
        # where neighbouring ticks err alike they are one sight
        alike = float(np.clip((left[1:] @ left[:-1]) / max(rest, 1e-9), 0.0, 0.9))
        sights = size * (1 - alike) / (1 + alike)
        gain = 0.5 * sights * math.log(whole / (least + rest)) - 0.5 * count.size * math.log(size) - math.log(period)
        gains[period] = gain
        if gain > (best.evidence if best else 0.0) and _each_time(
            edges - mean[-1], (index - tick - off) // period, away
        ):
            best = Numbers(period, tick, gain)
    if best is None:
        return None
    rival = max(0.0, *(gain for n, gain in gains.items() if n % best.period), 0.0)
    return best._replace(evidence=best.evidence - rival, at_halves=gains.get(2 * best.period, 0.0) - rival)


def _middle(edges: Floats, index: Ints, period: int) -> int:
    """The tick, of the first ``period``, round which most edges stand."""
    place = index % period
    mean = np.bincount(place, edges, period) / np.maximum(np.bincount(place, minlength=period), 1)
    ring = np.concatenate([mean[-1:], mean, mean[:1]])
    return int(np.argmax(mean + 0.5 * (ring[:-2] + ring[2:])))


def _each_time(above: Floats, turn: Ints, away: Ints) -> bool:
    """Whether numbers stand in nearly each ``turn`` (N,) of the period, not in a few: by the edges ``above`` (N,) the
    bare ruler's."""
    near = away <= 1
    _, turn = np.unique(turn[near], return_inverse=True)
    if not turn.size:
        return False
    shown = np.bincount(turn, above[near]) > PLAIN * above[near].mean() * np.bincount(turn)
    # where a long tick hides the middle of a number, the rest of it may show or not
    counted = shown | (np.bincount(turn, away[near] == 0) > 0)
    # no number stands at a scale's zero, nor all of one where the picture ends
    counted[[0, -1]] &= shown[[0, -1]]
    return bool(shown.sum() >= FEWEST and shown[counted].mean() >= PRESENT)


def _beyond(comb: Comb, side: int, longest: NDArray[np.bool_]) -> Floats:
    """Distances (ROWS,) along the ticks, px, beyond their ends. What reaches so far itself runs into its number."""
    way = 1.0 if side else -1.0
    reach = way * (comb.reach_px[:, side] - comb.middle_px)
    nearest = max(1.1 * float(np.quantile(reach, USUAL)), BEYOND * _untouched(comb, side, longest))
    return way * np.linspace(nearest, max(FAR * float(np.quantile(reach, 0.97)), 1.5 * nearest), ROWS)


def _untouched(comb: Comb, side: int, longest: NDArray[np.bool_]) -> float:
    """How far the longest ticks reach, px from their places, where they run into no number."""
    tall, foot = np.abs(comb.reach_px[:, side] - comb.reach_px[:, 1 - side]), np.median(comb.reach_px[:, 1 - side])
    end = float(np.quantile(tall[longest], UNTOUCHED))
    if not longest.all():
        following, shortest = (float(np.quantile(tall[~longest], share)) for share in (NEXT, SHORTEST))
        if following > (1 + APART) * shortest:
            end = min(end, 2 * following - shortest)
    return end - abs(float(foot) - comb.middle_px)


def _between(levels: Sequence[NDArray[np.uint8]], comb: Comb, side: int, stands: _Stands) -> Floats:
    """As ``_rough``, in the gap after each tick (N, GAP_ROWS), from the ticks' feet as far as the longest go."""
    way = 1.0 if side else -1.0
    reach = way * (comb.reach_px - comb.middle_px)
    out = np.linspace(float(np.median(reach[:, 1 - side])), float(np.quantile(reach[:, side], 0.97)), GAP_ROWS)
    return _rough(levels, comb, way * out, 0.5 + np.linspace(-GAP_SHARE, GAP_SHARE, ACROSS), stands)


def _rough(levels: Sequence[NDArray[np.uint8]], comb: Comb, out_px: Floats, across: Floats, stands: _Stands) -> Floats:
    """How much grey changes (N ticks, rows) from place to place (``across``, in spacings from each tick) at distances
    (rows,) along the ticks, more than it mostly does there."""
    edges = np.abs(np.diff(_grey(levels, comb, out_px, across, stands), axis=-1)).mean(axis=-1)
    return np.asarray(edges - np.median(edges, axis=0), dtype=np.float64)


def _ink(levels: Sequence[NDArray[np.uint8]], comb: Comb, out_px: Floats, across: Floats, stands: _Stands) -> Floats:
    """How much more ink there is (N ticks, rows) than mostly round about, in the usual differences there."""
    grey = _grey(levels, comb, out_px, across, stands).mean(axis=-1)
    off = (-grey if comb.dark else grey) - _usual_round(-grey if comb.dark else grey)
    usual = np.maximum(_usual_round(np.abs(off)), np.maximum(np.median(np.abs(off), axis=0), LEAST_EDGE / 1.4826))
    return np.asarray(np.clip(off / (1.4826 * usual), -MOST_INK, MOST_INK), dtype=np.float64)


def _usual_round(rows: Floats) -> Floats:
    """The running middle of rows (N ticks, rows) over ``BARE_TICKS`` ticks."""
    size = min(BARE_TICKS, (len(rows) - 1) // 2 * 2 + 1)
    padded = np.pad(rows, ((size // 2, size // 2), (0, 0)), mode="reflect")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, size, axis=0), axis=-1))


def _grey(levels: Sequence[NDArray[np.uint8]], comb: Comb, out_px: Floats, across: Floats, stands: _Stands) -> Floats:
    """Grey levels (N ticks, rows, places) at places across each tick's stretch, in spacings, and rows along it."""
    points = (
        stands.places_px[:, None, None, :]
        + (across[None, None, :] * stands.spacing_px[:, None, None])[..., None] * comb.axis
        + out_px[None, :, None, None] * comb.tick
    )
    size = stands.number.size
    level = strip_level(levels, comb.period_px)
    grey = sample(levels, level, points.reshape(size, -1, 2)).reshape(size, out_px.size, across.size)
    return grey.astype(np.float64)
