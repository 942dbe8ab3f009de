"""The true repeat of a profile: the whole colour sequence, found by lags and tested by colour."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import find_objects, gaussian_filter1d, label, maximum_filter1d, minimum_filter1d

from vision.change import SAME_LOOK, change_at, step_places
from vision.profile import detrended
from vision.spectrum import lag_difference, parabola
from vision.swatch import Doubles

#: Shorter repeats are the weave (two stripes of the finest width, 1.5 mm, make 3 mm).
LEAST_REPEAT_MM = 2.5
#: At a true repeat the profile differs by less than this share of what it does at other lags (measured on our scenes).
LAG_SHARE = 0.30
#: And by less than this share where something that is not cloth lies on it (half of the cloth hidden doubles it).
HIDDEN_SHARE = 0.65
#: A repeat of a part of the cloth is another than that of all where it is so much shorter.
PART_AT_MOST = 0.75
#: A lag at which it differs by no more than this many times what it does at the best is as likely, and shorter.
NEARLY_BEST = 1.35
#: A repeat is measured where the profile shows this many of it; below two, the reader is told that it rests on few.
LEAST_REPEATS = 1.35
FULL_REPEATS = 1.9
#: Boundaries that must be seen twice where less than so many repeats show: one more than chance would line up. Of two
#: colours seen 2.4 times each may be seen whole but once, and the next be wider.
LEAST_PAIRS, PAIRED_REPEATS = 3, 2.5
#: What rules out a part of a repeat must come back with the repeat: at least this share (the rest may be blemish) of
#: what is in view once more, and that must be at least so much of it (of two repeats, a half of what differs, mostly).
COMES_BACK = 0.6
COULD_COME_BACK = 0.2
#: Where nothing differs at a part, a lag must differ by so much less to be more than it.
MUCH_LESS = 0.5
#: A change has come back where it is nearly as strong again.
SAME_AGAIN = 0.75
#: A cloth is uneven rather than printed otherwise where it differs by no more than this many times the same look, and
#: nothing of that comes back (a photographed check's uneven yarns: 1.6).
UNEVEN_TIMES = 2.0
#: A cloth's border is no print: what differs only within so many mm of an end (fringes of our scenes: 2), or so much of
#: the lag.
BORDER_MM, BORDER_SHARE = 3.0, 0.15
#: Nor is a lone place that differs weakly over less than the finest stripe, mm.
FINEST_STRIPE_MM = 1.5
#: Places that are not seen are stripes taken for the table where they are so many at least (two rulers hide two),
#: each this share of a lag wide, and evenly apart within the last share (by which a lag is off that compares a stripe
#: with one like it, not with itself: 5 % in a scene of ours).
EVEN_GAPS, LEAST_GAP, GAP_SHARE = 3, 0.15, 0.12
#: A lag counts as a whole number of times another within this share of it.
_WHOLE_SHARE = 0.04


def find_repeat(tone: Doubles, weight: Doubles, step_mm: float, same_look: float = SAME_LOOK) -> float | None:
    """The true repeat (mm, to a part of a sample) of a profile (N, 3) in tone, or None where none shows.

    The shortest lag at which the profile looks the same everywhere; a lag at which some colour differs lastingly is a
    fraction of the repeat, however well the rest agrees (A B A' B is a repeat of four). ``same_look`` is the CIEDE2000
    up to which two places look the same. Where none shows often in steady light, shadows may fall on the cloth, and
    print is told from them at the boundaries of stripes. Where less than two show, the middle is compared with nothing:
    if the ends repeat by less, what is there may lie on the cloth as well as be print, and None is told.
    """
    compared = _compared(tone, weight, step_mm)
    if compared is None:
        return None
    profile, weight, difference, _ = compared
    lag = _whole_lag(compared, step_mm, same_look, steady=True)
    if lag is not None and _shows_often(weight, lag):
        return _sharpened(difference, lag) * step_mm
    shaded = _whole_lag(compared, step_mm, same_look, steady=False)
    if shaded is not None and _shows_often(weight, shaded):
        return _sharpened(difference, shaded) * step_mm
    if lag is None or _pairs(profile, weight, lag, step_mm, same_look) < LEAST_PAIRS:
        return None
    repeat = _sharpened(difference, lag) * step_mm
    twice = _seen_again(weight, lag)
    ends = np.pad(twice, (0, lag)) | np.pad(twice, (lag, 0))
    shorter = find_repeat(tone, weight * ends, step_mm, same_look) if (ends < (weight > 0)).any() else None
    return None if shorter is not None and shorter < PART_AT_MOST * repeat else repeat


def _seen_again(weight: Doubles, lag: int) -> NDArray[np.bool_]:
    """Which places (N - lag,) are seen again one lag on."""
    return np.asarray((weight[:-lag] > 0) & (weight[lag:] > 0))


def _shows_often(weight: Doubles, lag: int) -> bool:
    """Whether so many of a lag show that chance does not line them up."""
    return bool(_seen_again(weight, lag).sum() >= (PAIRED_REPEATS - 1) * lag)


def _whole_lag(
    compared: tuple[Doubles, Doubles, Doubles, float], step_mm: float, same_look: float, *, steady: bool
) -> int | None:
    """The lag of the whole sequence, where the light is ``steady`` or where it may change fast; None where none is."""
    profile, weight, difference, typical = compared
    dips = [lag for lag in _dips(difference, LAG_SHARE * typical) if lag * step_mm >= LEAST_REPEAT_MM]
    lags = [lag for lag in dips if not _hidden_more_rarely(weight, lag)]

    def at(lag: int, play_of: int | None = None) -> _Lag:
        return _Lag.at(lag, profile, weight, difference, step_mm, same_look, play_of=play_of, steady=steady)

    judged = _judged(at, lags, difference)
    fitting = (one for one in judged if one.most <= same_look or _as_uneven(one, judged, difference))
    whole = next((one for one in fitting if _borne_out(one, judged, difference)), None)
    if whole is None:
        return None
    parts = [one for one in judged if _seen_once(one, whole) and _borne_out(one, judged, difference)]
    eased = (at(one.lag, whole.lag) for one in parts)
    return next((one.lag for one in eased if one.most <= same_look), whole.lag)


def _hidden_more_rarely(weight: Doubles, lag: int) -> bool:
    """Whether places that are not seen (weight 0) lie evenly apart, and every second or third lag only: they are
    stripes that were taken for the table, and the repeat is as long as theirs."""
    ends = np.flatnonzero(np.diff(np.concatenate([[1], (weight > 0).astype(int), [1]])))  # borders are no gaps' ends
    gaps = ends.reshape(-1, 2)
    gaps = gaps[(gaps[:, 0] > 0) & (gaps[:, 1] < len(weight)) & (gaps[:, 1] - gaps[:, 0] >= LEAST_GAP * lag)]
    if len(gaps) < EVEN_GAPS:
        return False
    apart = np.diff(gaps.mean(axis=1))
    times = float(np.median(apart)) / lag
    even = np.abs(apart / np.median(apart) - 1).max() <= GAP_SHARE
    return bool(even and round(times) >= 2 and abs(times - round(times)) <= GAP_SHARE * round(times))


def likely_repeat(tone: Doubles, weight: Doubles, step_mm: float, least_repeats: float) -> float | None:
    """The shortest lag (mm) at which a profile comes about as near to itself as at any that shows so many times, though
    something may be in the way; None where it comes near at none."""
    compared = _compared(tone, weight, step_mm)
    if compared is None:
        return None
    _, weight, difference, typical = compared
    most = (weight > 0).sum() / least_repeats
    dips = _dips(difference, HIDDEN_SHARE * typical)
    lags = [lag for lag in dips if LEAST_REPEAT_MM / step_mm <= lag <= most]
    least = min((float(difference[lag]) for lag in lags), default=0.0)
    near = (_sharpened(difference, lag) * step_mm for lag in lags if difference[lag] <= NEARLY_BEST * least)
    return next(near, None)


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
    if most * step_mm < LEAST_REPEAT_MM:
        return None
    again = np.maximum((LEAST_REPEATS - 1) * np.arange(most + 1), 3)  # in parts, if something lies across the stripes
    difference, _ = lag_difference(profile, weight, np.median(weight[seen]) * again, most)
    typical = 2 * float((detrended(profile, weight) ** 2).sum(1) @ weight / weight.sum())
    return profile, weight, difference, typical


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lag:
    """A lag and what changes at it: ``change`` (N - lag,) as CIEDE2000 at each place, nan where nothing is compared;
    ``differs`` (M,) the places at which it looks otherwise."""

    lag: int
    change: Doubles
    differs: NDArray[np.intp]
    same_look: float

    @classmethod
    def at(
        cls,
        lag: int,
        profile: Doubles,
        weight: Doubles,
        difference: Doubles,
        step_mm: float,
        same_look: float,
        *,
        play_of: int | None = None,
        steady: bool = True,
    ) -> _Lag:
        """What changes at a lag, in light that is ``steady`` or not; edges are allowed the play of another lag where
        that is given."""
        exact = lag + _dip_shift(difference, lag)
        change = change_at(profile, weight, exact, step_mm, play_of or exact, steady=steady)
        change = _as_print(change, lag, step_mm, same_look)
        return cls(lag=lag, change=change, differs=np.flatnonzero(change > same_look), same_look=same_look)

    @property
    def most(self) -> float:
        """The largest change."""
        return float(np.nanmax(self.change, initial=0.0))


def _judged(at: Callable[[int], _Lag], lags: list[int], difference: Doubles) -> list[_Lag]:
    """Lags, ascending, with the change that lasts ``at`` each; none beyond the first that surely is the repeat."""
    judged: list[_Lag] = []
    for lag in lags:
        judged.append(at(lag))
        same_look = judged[-1].same_look
        uneven = any(one.most <= UNEVEN_TIMES * same_look for one in judged[:-1])
        if judged[-1].most <= same_look and not uneven and _borne_out(judged[-1], judged, difference):
            break
    return judged


def _as_print(change: Doubles, lag: int, step_mm: float, same_look: float) -> Doubles:
    """The change at a lag less what no stripe makes: what differs at the very ends, where the cloth's border is (a
    fringe, a ruler's shadow), and a lone place too narrow and too weak for one. What is left out is not compared."""
    stretches = [one for (one,) in find_objects(label(change > same_look)[0])]
    if not stretches:
        return change
    compared, border = np.flatnonzero(np.isfinite(change)), min(BORDER_MM / step_mm, BORDER_SHARE * lag)
    first, last = compared[0] + border, compared[-1] - border
    inside = [one for one in stretches if one.stop - 1 > first and one.start < last]
    if len(inside) > 1 or not all(_is_speck(change[one], step_mm, same_look) for one in inside):
        return change
    return np.where(change > same_look, np.nan, change)


def _is_speck(change: Doubles, step_mm: float, same_look: float) -> bool:
    """Whether a stretch that differs is too narrow and too weak for a stripe."""
    return len(change) * step_mm < FINEST_STRIPE_MM and bool(change.max() <= UNEVEN_TIMES * same_look)


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


def _as_uneven(one: _Lag, judged: list[_Lag], difference: Doubles) -> bool:
    """Whether what changes at this lag comes back with no whole number of such lags: then the cloth, its light or what
    tilt is left is so uneven, and nothing is printed otherwise."""
    if one.most > UNEVEN_TIMES * one.same_look:
        return False
    multiples = [other for other in judged if _is_part(one.lag, other.lag)]
    shares = {other.lag: _coming_back(one, other, again=True) for other in multiples}
    seen = [lag for lag, (_, known) in shares.items() if known >= COULD_COME_BACK]
    printed = [lag for lag, share in shares.items() if _comes_back(share) and difference[lag] < difference[one.lag]]
    return bool(seen) and not printed


def _is_part(part: float, lag: float) -> bool:
    """Whether a lag is a whole number of times another."""
    times = round(lag / part)
    return times >= 2 and abs(lag / part - times) <= _WHOLE_SHARE * times


def _borne_out(whole: _Lag, judged: list[_Lag], difference: Doubles) -> bool:
    """Whether what rules out each part of a lag comes back with it: seen once, it may be a blemish. And a lag that
    differs more than its part passes by its greater play alone."""
    parts = [part for part in judged if _is_part(part.lag, whole.lag)]
    own = _least_difference(difference, whole.lag)
    for part in parts:
        enough = 1.0 if len(part.differs) else MUCH_LESS
        if own >= enough * _least_difference(difference, part.lag):
            return False
    return all(_returns(part, whole, judged) for part in parts if len(part.differs))


def _returns(part: _Lag, whole: _Lag, judged: list[_Lag]) -> bool:
    """Whether what changes at a part of a lag comes back with it, or, where what lies along the stripes hides all that
    could, with a whole number of such lags at which nothing changes."""
    share = _coming_back(part, whole, again=False)
    if share[1] >= COULD_COME_BACK:
        return _comes_back(share)
    multiples = (other for other in judged if _is_part(whole.lag, other.lag) and other.most <= other.same_look)
    return any(_comes_back(_coming_back(part, other, again=False)) for other in multiples)


def _seen_once(part: _Lag, whole: _Lag) -> bool:
    """Whether a lag is a part of another, and what changes at it is not seen to change again one whole lag on: edges
    that a crease has moved by more than the play that short lags are allowed, not print."""
    back, known = _coming_back(part, whole, again=True)
    return _is_part(part.lag, whole.lag) and known >= COULD_COME_BACK and not _comes_back((back, known))


def _least_difference(difference: Doubles, lag: int) -> float:
    """The difference at the minimum that lies within a sample of a lag."""
    left, middle, right = (float(one) for one in difference[lag - 1 : lag + 2])
    bend = left - 2 * middle + right
    return middle - (left - right) ** 2 / (8 * bend) if bend > 0 and np.isfinite(bend) else middle


def _comes_back(share: tuple[float, float]) -> bool:
    """Whether enough of what changes at a part of a lag comes back with the lag, of what is seen again at all."""
    back, known = share
    return known >= COULD_COME_BACK and back >= COMES_BACK * known


def _coming_back(part: _Lag, whole: _Lag, *, again: bool) -> tuple[float, float]:
    """Of what changes at one lag, which share is seen to come back with a longer one, and of which share that could be
    seen.

    A true repeat of several alike parts (A B A' B) differs from its parts in every turn: wherever two places differ
    that a part would make alike, so do those a whole lag before and after, each looking as its like does. A blemish, a
    crease or the end of a light is seen once; and where it lies in the middle, a long lag compares it with nothing.
    With ``again`` the places must also be seen to differ again, which narrow differences do not at every place.
    """
    places = part.differs
    stretch = np.cumsum(np.diff(places, prepend=places[:1]) > 1)
    strongest = np.zeros(int(stretch.max(initial=0)) + 1)
    np.maximum.at(strongest, stretch, part.change[places])
    half = strongest[stretch] / 2
    play = max(2, round(0.01 * whole.lag))
    near = np.where(np.isfinite(part.change), maximum_filter1d(np.nan_to_num(part.change), 2 * play + 1), np.nan)
    known, back = np.zeros(len(places), bool), np.ones(len(places), bool)
    for there in (places + whole.lag, places - whole.lag):
        first = np.minimum(there, places)
        there_too = _at_places(near, there)
        one, other = (_at_places(whole.change, first + k) for k in (0, part.lag))
        seen = np.isfinite(there_too) & np.isfinite(one) & np.isfinite(other)
        known |= seen
        alike = (one <= half) & (other <= half)
        back &= ~seen | (alike & (there_too >= SAME_AGAIN * part.change[places]) if again else alike)
    strength = part.change[places]
    total = max(float(strength.sum()), 1e-9)
    return float(strength[known & back].sum()) / total, float(strength[known].sum()) / total


def _at_places(change: Doubles, places: NDArray[np.intp]) -> Doubles:
    """The change at places, nan beyond its ends."""
    inside = (places >= 0) & (places < len(change))
    return np.asarray(np.where(inside, change[np.clip(places, 0, len(change) - 1)], np.nan))


def _pairs(profile: Doubles, weight: Doubles, lag: int, step_mm: float, same_look: float) -> int:
    """How many boundaries of the profile are seen again one lag on."""
    edges = step_places(profile, step_mm, least=same_look)
    edges = edges[weight[edges] > 0]
    play = max(2, round(0.01 * lag))
    return sum(bool((np.abs(edges - (edge + lag)) <= play).any()) for edge in edges)


def _sharpened(difference: Doubles, lag: int) -> float:
    """The lag to a fraction of a sample, from its multiples as far as they show (each finer than the last); as it is
    where they lead away from it, as those of what does not repeat do."""
    exact = float(lag) + _dip_shift(difference, lag)
    multiple = 2
    while True:
        near = round(exact * multiple)
        window = max(2, round(0.01 * near))
        low, high = near - window, near + window + 1
        if low < 1 or high >= len(difference) or not np.isfinite(difference[low:high]).all():
            return exact
        best = low + int(np.argmin(difference[low:high]))
        if low < best < high - 1:
            exact = (best + _dip_shift(difference, best)) / multiple
        if abs(exact - lag) > 1:
            return float(lag)
        multiple = multiple * 2 if multiple < 4 else multiple + 1


def _dip_shift(difference: Doubles, lag: int) -> float:
    if lag + 1 >= len(difference) or not np.isfinite(difference[lag - 1 : lag + 2]).all():
        return 0.0
    return parabola(*(float(v) for v in difference[lag - 1 : lag + 2]))
