"""Stripes from turn to turn: whether those that look alike at a glance have colours of their own in every second or
third turn, as A and A′ in A B A′ B.

Side by side in one photograph two colours are compared by more than their means: the light that falls on them changes
slowly over the cloth, while what is printed changes back with every turn. So each stripe is followed over all the turns
in view, in terms that light alone leaves as they are or changes slowly (the logarithm of L* + 16, and a* and b* as
shares of it: CIE 15, where a change of light scales all three), and what comes back with the turns is held against what
does not.

References: least squares with a contrast between groups, and Student's t (any textbook of statistics; from memory);
ISO/CIE 11664-6 for CIEDE2000.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from vision.colour import ciede2000
from vision.profile import Bands
from vision.repeat import RepeatFit
from vision.swatch import TONE_SHIFT, Doubles, Mask

Ints = NDArray[np.int64]

#: Stripes of different turns are of different colours where they differ by so much (CIEDE2000; 2.3 is a common
#: tolerance, practice): less is how evenly cloth is dyed.
OTHER_LOOK = 2.3
#: And where chance would make the difference less often than this (some tens of comparisons a photograph, of which the
#: first limit alone leaves few).
_CHANCE = 1e-4
#: So far from its boundaries a stripe shows its own colour: in blurs of the edges and in samples of the picture, of
#: which the photo's compression mixes the colours of two or three.
_MARGIN_BLURS, _MARGIN_SAMPLES = 2.0, 2.5
#: What is left inside must be so many samples wide: a narrower stripe's look depends on where the samples fall in it,
#: and where the repeat is a third of a sample off, that comes back in every third turn.
_LEAST_SAMPLES = 2.0
#: A turn counts where it shows this share of what the stripe mostly shows in a turn.
_SHOWN = 0.5
#: Light over the turns in view is a polynomial of the degree that so many turns allow: below the first number of turns
#: a line, below the second a parabola, else a cubic.
_FEW_TURNS, _MANY_TURNS = 5, 10
#: Print runs all along its stripes: in each half of what is seen of them, turns differ as they do in the whole, by at
#: least this share of it. A shadow or glare lies on a part.
_ALONG_SHARE = 0.5
#: From few turns their scatter is not known well; it is believed to be about this (of the logarithm, of either share),
#: as surely as if so many further turns had shown it (cloths of our own scenes mostly scatter by two thirds of that).
_USUAL_SCATTER, _BELIEVED = np.array([0.012, 0.004, 0.004]), 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Followed:
    """One stripe over the turns: its mean look (3,), the effect of each of the T turns (T, 3), what is left (K, 3) and
    with how many degrees of freedom, and the covariance (T, T) of the effects for unit noise."""

    stripe: int
    mean: Doubles
    effects: Doubles
    rest: Doubles
    freedom: int
    covariance: Doubles


def other_looks(bands: Bands, fit: RepeatFit, boundaries_mm: Doubles, blur_mm: float, times: int) -> Mask:
    """Which stripes (M,) of a repeat have another colour in some of ``times`` turns, and again in every so many.

    ``boundaries_mm`` (M,) are counted from the fit's origin, ascending, each where a stripe begins; ``blur_mm`` is
    their blur. A stripe too narrow to show its own colour is not told apart.
    """
    looks, weight = _looks(bands, fit, boundaries_mm, blur_mm)
    followed = [one for k in range(len(looks)) if (one := _follow(k, looks[k], weight[k], times)) is not None]
    differ = np.zeros(len(boundaries_mm), bool)
    if not followed:
        return differ
    freedom = sum(one.freedom for one in followed) + _BELIEVED
    common = np.sum([(one.rest**2).sum(axis=0) for one in followed], axis=0) + _BELIEVED * _USUAL_SCATTER**2
    most = float(stdtrit(freedom, 1 - _CHANCE / 2))
    for one in followed:
        differ[one.stripe] = max(apart for _, apart in _surely_apart(one, common / freedom, most)) >= OTHER_LOOK
    if not differ.any():
        return differ
    first = np.cumsum((bands.weight > 0).sum(axis=1)) <= (bands.weight > 0).sum() / 2
    for half in (first, ~first):
        part = replace(bands, weight=np.where(half[:, None], bands.weight, np.float32(0.0)))
        looks, weight = _looks(part, fit, boundaries_mm, blur_mm)
        for one in followed:
            again = _follow(one.stripe, looks[one.stripe], weight[one.stripe], times) if differ[one.stripe] else None
            if again is not None:
                pairs = [pair for pair, apart in _surely_apart(one, common / freedom, most) if apart >= OTHER_LOOK]
                differ[one.stripe] = any(_as_far_apart(again, one, *pair) for pair in pairs)
    return differ


def _as_far_apart(part: _Followed, whole: _Followed, a: int, b: int) -> bool:
    """Whether two turns of a stripe differ in a part of it as they do in all of it."""
    step, own = ((one.effects[a] - one.effects[b]) / _USUAL_SCATTER for one in (whole, part))
    return bool(own @ step >= _ALONG_SHARE * (step @ step))


def _looks(bands: Bands, fit: RepeatFit, boundaries_mm: Doubles, blur_mm: float) -> tuple[Doubles, Doubles]:
    """The look (M, K, 3) of the inside of each stripe in each turn, and how many pixels show it (M, K)."""
    repeat = fit.repeat.value
    u, v = np.broadcast_arrays(bands.u_mm[None, :], bands.v_mm[:, None])
    phase = fit.phase(np.asarray(u), np.asarray(v))
    first = int(np.floor(phase.min())) - 1
    turns = int(np.floor(phase.max())) - first + 1
    margin = max(_MARGIN_BLURS * blur_mm, _MARGIN_SAMPLES * bands.step_mm)
    ends = np.append(boundaries_mm, boundaries_mm[0] + repeat)
    looks, weight = np.zeros((len(boundaries_mm), turns, 3)), np.zeros((len(boundaries_mm), turns))
    rows = np.broadcast_to(np.arange(len(bands.v_mm))[:, None] * turns, phase.shape)
    for k, (start, end) in enumerate(zip(ends[:-1] + margin, ends[1:] - margin, strict=True)):
        if end - start < _LEAST_SAMPLES * bands.step_mm:
            continue
        ahead = phase - start / repeat
        turn = np.floor(ahead).astype(int)
        inside = (ahead - turn < (end - start) / repeat) & (bands.weight > 0)
        index, counted = (rows + turn)[inside] - first, bands.weight[inside].astype(np.float64)
        shape = len(bands.v_mm), turns
        shown = _summed(index, counted, shape)
        tone = np.stack([_summed(index, counted * bands.tone[..., c][inside], shape) for c in range(3)], axis=2)
        weight[k] = shown.sum(axis=0)
        looks[k] = _middle(tone / np.maximum(shown, 1e-9)[..., None], shown)
    light = np.maximum(looks[..., :1], 1e-3)
    return np.concatenate([np.log(light), looks[..., 1:] / light], axis=2), weight


def _summed(index: Ints, values: Doubles, shape: tuple[int, int]) -> Doubles:
    """The sum of values (N,) in each band and turn (B, K)."""
    return np.asarray(np.bincount(index, values, minlength=shape[0] * shape[1]).reshape(shape), dtype=np.float64)


def _middle(tone: Doubles, shown: Doubles) -> Doubles:
    """Of each turn the middle (K, 3) of the bands' tones (B, K, 3), each counted as far as it is ``shown`` (B, K): what
    lies on the cloth, or beside it, is in few of them."""
    middle = np.zeros(tone.shape[1:])
    for turn in np.flatnonzero(shown.any(axis=0)):
        for c in range(3):
            order = np.argsort(tone[:, turn, c], kind="stable")
            below = np.cumsum(shown[order, turn])
            middle[turn, c] = tone[order[np.searchsorted(below, 0.5 * below[-1])], turn, c]
    return middle


def _follow(stripe: int, looks: Doubles, weight: Doubles, times: int) -> _Followed | None:
    """One stripe's looks (K, 3) as slow light, a part that comes back every ``times`` turns, and a rest; None where too
    few turns show."""
    if not weight.any():
        return None
    turn = np.flatnonzero(weight > _SHOWN * np.median(weight[weight > 0]))
    degree = 1 if len(turn) < _FEW_TURNS else 2 if len(turn) < _MANY_TURNS else 3
    light = np.polynomial.chebyshev.chebvander(2 * turn / max(len(weight) - 1, 1) - 1, degree)
    contrast = np.vstack([np.eye(times - 1), -np.ones(times - 1)])  # the effects of all turns add up to nothing
    design = np.hstack([light, contrast[turn % times]])
    freedom = len(turn) - design.shape[1]
    if freedom < 1 or np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    solution = np.linalg.lstsq(design, looks[turn], rcond=None)[0]
    covariance = np.linalg.inv(design.T @ design)[degree + 1 :, degree + 1 :]
    return _Followed(
        stripe=stripe,
        mean=looks[turn].mean(axis=0),
        effects=contrast @ solution[degree + 1 :],
        rest=looks[turn] - design @ solution,
        freedom=freedom,
        covariance=contrast @ covariance @ contrast.T,
    )


def _surely_apart(one: _Followed, common: Doubles, most: float) -> Iterator[tuple[tuple[int, int], float]]:
    """Each two turns of a stripe, and the CIEDE2000 between them in as far as they surely differ: by ``most`` standard
    errors, from the stripe's own scatter or that ``common`` (3,) to all, whichever is more."""
    scatter = np.maximum((one.rest**2).sum(axis=0) / one.freedom, common)
    for a, b in combinations(range(len(one.effects)), 2):
        spread = one.covariance[a, a] + one.covariance[b, b] - 2 * one.covariance[a, b]
        step = one.effects[a] - one.effects[b]
        sure = np.where(np.abs(step) > most * np.sqrt(spread * scatter), step, 0.0)
        yield (a, b), float(ciede2000(_lab(one.mean + sure / 2), _lab(one.mean - sure / 2)))


def _lab(look: Doubles) -> Doubles:
    """CIELAB of a look."""
    light = np.exp(look[0])
    return np.asarray(light * np.array([1.0, look[1], look[2]]) - TONE_SHIFT)
