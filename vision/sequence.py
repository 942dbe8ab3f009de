"""The true repeat of a profile: the whole colour sequence, found by lags and tested by colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, minimum_filter1d

from vision.colour import ciede2000
from vision.profile import detrended
from vision.spectrum import lag_difference, light_change, parabola
from vision.swatch import TONE_SHIFT, Doubles

#: Two places look the same up to this CIEDE2000. About 1 can just be seen side by side and 2.3 is a common tolerance
#: (practice); twice that leaves room for the photograph's noise and its uneven light.
SAME_LOOK = 4.5
#: A difference counts where it lasts this long, mm, or this many samples: less is an edge that does not quite match.
LASTING_MM = 0.7
LASTING_PX = 2.0
#: Shorter repeats are the weave (two stripes of the finest width, 1.5 mm, make 3 mm).
LEAST_REPEAT_MM = 2.5
#: At a true repeat the profile differs by less than this share of what it does at other lags (measured on our scenes).
LAG_SHARE = 0.30
#: And by less than this share where something that is not cloth lies on it (half of the cloth hidden doubles it).
HIDDEN_SHARE = 0.65
#: A repeat is measured where the profile shows this many of it; below two, the reader is told that it rests on few.
LEAST_REPEATS = 1.35
FULL_REPEATS = 1.9
#: Boundaries that must be seen twice where less than so many repeats show: one more than chance would line up. Of two
#: colours seen 2.4 times each may be seen whole but once, and the next be wider.
LEAST_PAIRS, PAIRED_REPEATS = 3, 2.5
#: What rules out a part of a repeat must come back with the repeat: at least this share (the rest may be blemish).
COMES_BACK = 0.6
#: A cloth is uneven rather than printed otherwise where it differs no more than this many times what it does a whole
#: number of lags on, and in the mean square by no more than this share (a photographed check's uneven yarns: 1.6, 1.2).
UNEVEN_TIMES, UNEVEN_SHARE = 2.0, 1.8
#: A lag counts as a whole number of times another within this share of it.
_WHOLE_SHARE = 0.04


def find_repeat(tone: Doubles, weight: Doubles, step_mm: float, same_look: float = SAME_LOOK) -> float | None:
    """The true repeat (mm, to a part of a sample) of a profile (N, 3) in tone, or None where none shows.

    The shortest lag at which the profile looks the same everywhere; a lag at which some colour differs lastingly is a
    fraction of the repeat, however well the rest agrees (A B A' B is a repeat of four). ``same_look`` is the CIEDE2000
    up to which two places look the same.
    """
    compared = _compared(tone, weight, step_mm)
    if compared is None:
        return None
    profile, weight, difference, typical = compared
    size = float((weight > 0).sum())
    lags = [lag for lag in _dips(difference, LAG_SHARE * typical) if lag * step_mm >= LEAST_REPEAT_MM]
    if not lags:
        return None
    judged = _judged(profile, weight, lags, difference, step_mm, same_look)
    fits = [lag for lag, change in judged if change <= same_look or _as_uneven(lag, judged, difference, same_look)]
    lag = fits[0] if fits else _best_beyond(judged, difference, same_look)
    if lag is None:
        return None
    parts = [part for part, _ in judged if _is_part(part, lag)]
    if any(difference[part] <= difference[lag] for part in parts):
        return None  # the longer lag passes by its greater play alone
    lag = _borne_out(profile, weight, lag, parts, step_mm, same_look)
    if lag is None:
        return None
    if size / lag < PAIRED_REPEATS and _pairs(profile, weight, lag, step_mm, same_look) < LEAST_PAIRS:
        return None
    return _sharpened(difference, lag) * step_mm


def likely_repeats(tone: Doubles, weight: Doubles, step_mm: float, most: int = 4) -> list[float]:
    """The lags (mm), shortest first, at which a profile comes near to itself, though something may be in the way."""
    compared = _compared(tone, weight, step_mm)
    if compared is None:
        return []
    _, _, difference, typical = compared
    lags = [lag for lag in _dips(difference, HIDDEN_SHARE * typical) if lag * step_mm >= LEAST_REPEAT_MM]
    best = sorted(lags, key=lambda lag: float(difference[lag]))[: 2 * most]
    return [_sharpened(difference, lag) * step_mm for lag in sorted(best)[:most]]


def _compared(tone: Doubles, weight: Doubles, step_mm: float) -> tuple[Doubles, Doubles, Doubles, float] | None:
    """Profile and weight of what is well seen, its difference from itself at each lag, and what that typically is."""
    weight = np.asarray(weight, dtype=np.float64)
    seen = weight > 0.2 * np.median(weight[weight > 0]) if (weight > 0).any() else weight > 0
    blur_px = max(0.25 / step_mm, 0.6)
    profile = gaussian_filter1d(np.asarray(tone, dtype=np.float64), blur_px, axis=0)
    reach = 2 * round(2 * blur_px) + 1  # what the blur mixes with what is not seen
    seen = minimum_filter1d(seen.astype(np.uint8), reach, mode="constant", cval=0) > 0
    weight = weight * seen
    size = float(seen.sum())
    most = int(size / LEAST_REPEATS)
    least_px = np.median(weight[seen]) * max(0.25 * size, 3) if seen.any() else 1.0
    if most * step_mm < LEAST_REPEAT_MM:
        return None
    difference, _ = lag_difference(profile, weight, least_px, most)
    typical = 2 * float((detrended(profile, weight) ** 2).sum(1) @ weight / weight.sum())
    return profile, weight, difference, typical


def _judged(
    profile: Doubles, weight: Doubles, lags: list[int], difference: Doubles, step_mm: float, same_look: float
) -> list[tuple[int, float]]:
    """Lags, ascending, with the change that lasts at each; none beyond the first that surely fits."""
    judged: list[tuple[int, float]] = []
    for lag in lags:
        judged.append((lag, _lasting(profile, weight, lag + _dip_shift(difference, lag), step_mm)))
        changes = [change for _, change in judged]
        if changes[-1] <= same_look and not any(change <= UNEVEN_TIMES * same_look for change in changes[:-1]):
            break
    return judged


def _dips(difference: Doubles, below: float) -> list[int]:
    """Lags of local minima below a level, ascending; the first descent from lag 0 is not one."""
    finite = np.where(np.isfinite(difference), difference, np.inf)
    rising = np.nonzero(finite > below)[0]
    if len(rising) == 0:
        return []
    reach = np.arange(len(finite))
    lags = []
    for lag in reach[rising[0] + 1 : len(finite) - 1]:
        width = max(int(0.03 * lag), 1)
        near = finite[max(lag - width, 1) : lag + width + 1]
        if np.isfinite(finite[lag]) and finite[lag] <= below and finite[lag] == near.min():
            lags.append(int(lag))
    return lags


def _as_uneven(lag: int, judged: list[tuple[int, float]], difference: Doubles, same_look: float) -> bool:
    """Whether the cloth differs from itself at this lag only as it does at every whole number of such lags: its yarns
    and its light are so uneven, and nothing is printed otherwise."""
    times = {one: one / lag for one, _ in judged}
    multiples = [(one, change) for one, change in judged if times[one] > 1.5 and abs(times[one] % 1 - 0.5) > 0.35]
    if not multiples:
        return False
    own = dict(judged)[lag]
    mildest = min(change for _, change in multiples)
    least = min(_least_difference(difference, one) for one, _ in multiples)
    return own <= UNEVEN_TIMES * min(mildest, same_look) and _least_difference(difference, lag) <= UNEVEN_SHARE * least


def _least_difference(difference: Doubles, lag: int) -> float:
    """The difference at the minimum that lies within a sample of a lag."""
    left, middle, right = (float(one) for one in difference[lag - 1 : lag + 2])
    bend = left - 2 * middle + right
    return middle - (left - right) ** 2 / (8 * bend) if bend > 0 and np.isfinite(bend) else middle


def _is_part(part: int, lag: int) -> bool:
    """Whether a lag is a whole number of times another."""
    times = round(lag / part)
    return times >= 2 and abs(lag / part - times) <= _WHOLE_SHARE * times


def _borne_out(
    profile: Doubles, weight: Doubles, lag: int, parts: list[int], step_mm: float, same_look: float
) -> int | None:
    """The lag, where what rules out its parts comes back with it; None where there is no telling.

    A true repeat of several alike parts (A B A' B) differs from its parts in every turn: each of two places that a part
    would make alike is seen again a lag away, looking the same. A blemish is not seen again; where it lies in the
    middle, a long lag compares it with nothing, which is no reason to believe that lag.
    """
    seen = _seen_again(profile, weight, lag, step_mm, same_look)
    for part in parts:
        places = np.flatnonzero(_change(profile, weight, float(part), step_mm) > same_look)
        if len(places) and float((seen[places] & seen[places + part]).mean()) < COMES_BACK:
            return None
    return lag


def _seen_again(
    profile: Doubles, weight: Doubles, lag: int, step_mm: float, same_look: float
) -> NDArray[np.bool_]:
    """The places (N,) that are seen once more a lag before or after, looking the same."""
    change = _change(profile, weight, float(lag), step_mm)
    compared = np.minimum(weight[: len(change)], weight[lag : lag + len(change)]) > 0
    same = (change <= same_look) & compared
    seen = np.zeros(len(profile), bool)
    seen[: len(same)] |= same
    seen[lag : lag + len(same)] |= same
    return seen


def _lasting(profile: Doubles, weight: Doubles, lag: float, step_mm: float) -> float:
    """The largest CIEDE2000 between the profile and itself one lag on that lasts, edges allowed a little play."""
    change = _change(profile, weight, lag, step_mm)
    return float(change.max()) if len(change) else 0.0


def _change(profile: Doubles, weight: Doubles, lag: float, step_mm: float) -> Doubles:
    """At each place the CIEDE2000 between the profile and itself one lag on, as far as it lasts."""
    count = len(profile) - int(np.ceil(lag))
    places = np.arange(count, dtype=np.float64)
    first, second = profile[:count], _at(profile, places + lag)
    both = np.minimum(weight[:count], weight[np.minimum((places + np.ceil(lag)).astype(int), len(weight) - 1)])
    gain = light_change(first, second, both)[:, None]
    play = max(1.0, 0.008 * lag)
    change = np.full(count, np.inf)
    for shift in np.linspace(-play, play, 2 * int(np.ceil(2 * play)) + 1):
        change = np.minimum(change, ciede2000(_at(first * gain, places + shift) - TONE_SHIFT, second - TONE_SHIFT))
    change[both <= 0] = 0
    length = max(round(LASTING_MM / step_mm), round(LASTING_PX), 1)
    return np.asarray(maximum_filter1d(minimum_filter1d(change, length), length), dtype=np.float64)


def _at(profile: Doubles, places: Doubles) -> Doubles:
    """The profile (N, C) at fractional samples."""
    samples = np.arange(len(profile))
    return np.stack([np.interp(places, samples, column) for column in profile.T], axis=1)


def _best_beyond(judged: list[tuple[int, float]], difference: Doubles, same_look: float) -> int | None:
    """Where no lag agrees everywhere (a fold, a shadow): the one that stands out clearly, if one does."""
    least = min(difference[lag] for lag, _ in judged)
    near = [(lag, change) for lag, change in judged if difference[lag] <= 1.6 * least]
    lag, change = min(near)
    mildest = min(c for _, c in judged)
    return lag if change <= 2 * same_look and change <= mildest + 2.0 else None


def _pairs(profile: Doubles, weight: Doubles, lag: int, step_mm: float, same_look: float) -> int:
    """How many boundaries of the profile are seen again one lag on."""
    edges = step_places(profile, step_mm, least=same_look)
    edges = edges[weight[edges] > 0]
    play = max(2, round(0.01 * lag))
    return sum(bool((np.abs(edges - (edge + lag)) <= play).any()) for edge in edges)


def step_places(profile: Doubles, step_mm: float, *, wrap: bool = False, least: float = SAME_LOOK) -> np.ndarray:
    """Samples at which a profile steps from one look to another: local maxima of its slope that matter."""
    reach = max(round(0.5 / step_mm), 1)
    mode = "wrap" if wrap else "nearest"
    slope = gaussian_filter1d(profile, max(0.3 / step_mm, 0.7), axis=0, order=1, mode=mode)
    steep = np.sqrt((slope * slope).sum(1))
    peak = (steep == maximum_filter1d(steep, 2 * reach + 1, mode=mode)) & (steep > 0)
    places = np.nonzero(peak)[0]
    before, after = places - 2 * reach, places + 2 * reach
    if wrap:
        sides = profile[before % len(profile)], profile[after % len(profile)]
    else:
        sides = profile[np.maximum(before, 0)], profile[np.minimum(after, len(profile) - 1)]
    change = ciede2000(sides[0] - TONE_SHIFT, sides[1] - TONE_SHIFT) if len(places) else np.zeros(0)
    return np.asarray(places[change > 0.6 * least])


def _sharpened(difference: Doubles, lag: int) -> float:
    """The lag to a fraction of a sample, from its multiples as far as they show (each finer than the last)."""
    exact = float(lag) + _dip_shift(difference, lag)
    multiple = 2
    while True:
        near = round(exact * multiple)
        window = max(2, round(0.01 * near))
        low, high = near - window, near + window + 1
        if high >= len(difference) or not np.isfinite(difference[low:high]).all():
            return exact
        best = low + int(np.argmin(difference[low:high]))
        if low < best < high - 1:
            exact = (best + _dip_shift(difference, best)) / multiple
        multiple = multiple * 2 if multiple < 4 else multiple + 1


def _dip_shift(difference: Doubles, lag: int) -> float:
    if lag + 1 >= len(difference) or not np.isfinite(difference[lag - 1 : lag + 2]).all():
        return 0.0
    return parabola(*(float(v) for v in difference[lag - 1 : lag + 2]))
