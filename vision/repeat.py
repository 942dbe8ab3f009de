"""The true repeat of a profile: the whole colour sequence, found by lags, tested by colour, fitted by least squares."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, minimum_filter1d

from vision.colour import ciede2000
from vision.estimate import Estimate
from vision.profile import Bands, detrended
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
#: A fit is trusted no further than this: cloth does not lie flatter (practice).
FLATNESS_RELATIVE_U95 = 0.0008
_WINDOWS = 12
_PASSES = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepeatFit:
    """The repeat and how it lies: boundaries of order k at u = ``origin_mm`` + k·``repeat`` + ``slope``·v (+ bend).

    ``repeats`` is how many show. ``bend`` (3,) holds the coefficients of u², u·v and v² (per mm), ``direction_u95_deg``
    what the fit leaves open of the direction, ``residual_mm`` its scatter. ``crossings`` (M, 4): u, v, order, sigma.
    """

    repeat: Estimate
    slope: float
    origin_mm: float
    bend: Doubles
    direction_u95_deg: float
    residual_mm: float
    repeats: float
    crossings: Doubles

    def phase(self, u_mm: Doubles, v_mm: Doubles) -> Doubles:
        """How many repeats (fractional) a place is from the origin."""
        b = self.bend
        straight = u_mm - self.slope * v_mm - (b[0] * u_mm**2 + b[1] * u_mm * v_mm + b[2] * v_mm**2)
        return np.asarray((straight - self.origin_mm) / self.repeat.value)


def find_repeat(tone: Doubles, weight: Doubles, step_mm: float, same_look: float = SAME_LOOK) -> float | None:
    """The true repeat (mm, to a part of a sample) of a profile (N, 3) in tone, or None where none shows.

    The shortest lag at which the profile looks the same everywhere; a lag at which some colour differs lastingly is a
    fraction of the repeat, however well the rest agrees (A B A' B is a repeat of four). ``same_look`` is the CIEDE2000
    up to which two places look the same.
    """
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
    lags = [lag for lag in _dips(difference, LAG_SHARE * typical) if lag * step_mm >= LEAST_REPEAT_MM]
    if not lags:
        return None
    judged = [(lag, _lasting(profile, weight, lag + _dip_shift(difference, lag), step_mm)) for lag in lags]
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


def refine_repeat(bands: Bands, repeat_mm: float, *, angle_u95_deg: float = 0.0) -> RepeatFit:
    """Fit every window of every band to the mean repeat: u = offset of the window + k·repeat + slope·v + bend.

    The uncertainty is that of the fit, its scatter counted once for each repeat (neighbours err alike), and of the
    cloth's flatness; it leaves out the plane's. References: JCGM 100:2008, 4.2 and 5.1.
    """
    used = bands.u_mm[(bands.weight > 0).any(axis=0)]
    extent = float(used[-1] - used[0]) + bands.step_mm
    fit = RepeatFit(
        repeat=Estimate(repeat_mm, repeat_mm),  # not fitted yet: not known
        slope=0.0,
        origin_mm=float(used[0]),
        bend=np.zeros(3),
        direction_u95_deg=angle_u95_deg,
        residual_mm=bands.step_mm,
        repeats=extent / repeat_mm,
        crossings=np.zeros((0, 4)),
    )
    blur_mm = max(0.03 * repeat_mm, 1.5 * bands.step_mm)
    for turn in range(_PASSES):
        cells = _shifts(bands, fit, blur_mm)
        if len(cells) < 6 or np.ptp(cells[:, 2]) == 0:  # of one repeat alone nothing tells its length
            break
        fit = _solve(cells, fit, extent, bent=turn > 0)
        blur_mm = max(blur_mm / 2, 0.8 * bands.step_mm)
    return replace(fit, origin_mm=fit.origin_mm % fit.repeat.value)


def _shifts(bands: Bands, fit: RepeatFit, blur_mm: float) -> Doubles:
    """Rows (u, v, order, window, shift, weight): how far each window of a repeat lies from where the fit puts it."""
    size = max(round(fit.repeat.value / bands.step_mm * 2), 4 * _WINDOWS)
    size = min(size, 2400) // _WINDOWS * _WINDOWS
    u, v = bands.u_mm[None, :], bands.v_mm[:, None]
    phase = fit.phase(np.broadcast_to(u, bands.weight.shape), np.broadcast_to(v, bands.weight.shape))
    low, high = int(np.floor(phase.min())), int(np.ceil(phase.max()))
    places = low + (np.arange((high - low) * size) + 0.5) / size
    tones = np.zeros((len(bands.v_mm), len(places), 3))
    covers = np.zeros((len(bands.v_mm), len(places)))
    spread = max(blur_mm / bands.step_mm, 0.5)
    for j in range(len(bands.v_mm)):
        cover = gaussian_filter1d((bands.weight[j] > 0).astype(np.float64), spread, mode="constant")
        smooth = gaussian_filter1d(bands.tone[j] * (bands.weight[j] > 0)[:, None], spread, axis=0, mode="constant")
        smooth = smooth / np.maximum(cover, 1e-6)[:, None]
        for channel in range(3):
            tones[j, :, channel] = np.interp(places, phase[j], smooth[:, channel])
        seen = np.interp(places, phase[j], (cover > 0.95).astype(np.float64), left=0, right=0)
        covers[j] = seen > 0.99
    shape = (len(bands.v_mm), high - low, size)
    cell, cover = tones.reshape(*shape, 3), covers.reshape(shape)
    total = cover.sum(axis=(0, 1))
    mean = (cell * cover[..., None]).sum(axis=(0, 1)) / np.maximum(total, 1)[:, None]
    slope = np.gradient(np.concatenate([mean[-2:], mean, mean[:2]]), axis=0)[2:-2] * size / fit.repeat.value  # per mm
    parts = (*shape[:2], _WINDOWS, size // _WINDOWS)
    weight = cover.reshape(parts)
    gain = _gain(cell, mean, cover)
    rest = (mean * gain[..., None, None] - cell).reshape(*parts, 3)
    tilt = slope.reshape(_WINDOWS, -1, 3) * 1.0
    power = (tilt * tilt).sum(-1)
    information = (weight * power).sum(-1)
    shift = ((rest * tilt).sum(-1) * weight).sum(-1) / np.maximum(information, 1e-9)
    full = (weight.mean(-1) > 0.98) & (information > 0.15 * information.max())
    band, order, window = np.nonzero(full)
    limit = 0.2 * fit.repeat.value
    step = np.clip(shift[full], -limit, limit)
    where = order + low + (window + 0.5) / _WINDOWS
    u_mm = fit.origin_mm + where * fit.repeat.value + fit.slope * bands.v_mm[band]
    u_mm = u_mm + fit.bend[0] * u_mm**2 + fit.bend[1] * u_mm * bands.v_mm[band] + fit.bend[2] * bands.v_mm[band] ** 2
    return np.stack([u_mm + step, bands.v_mm[band], order + low, window, step, information[full]], axis=1)


def _gain(cell: Doubles, mean: Doubles, cover: Doubles) -> Doubles:
    """The light of each repeat in each band (B, K) as a factor on the mean's tone."""
    common = ((cell * mean).sum(-1) * cover).sum(-1)
    energy = ((mean * mean).sum(-1) * cover).sum(-1)
    return np.asarray(np.where(energy > 0, common / np.maximum(energy, 1e-9), 1.0))


def _solve(cells: Doubles, fit: RepeatFit, extent: float, *, bent: bool) -> RepeatFit:
    """Weighted robust least squares for offsets of the windows, repeat, slope and (where enough shows) bend."""
    u, v, order, window, _, information = cells.T
    kinds, index = np.unique(window, return_inverse=True)
    offsets = np.zeros((len(u), len(kinds)))
    offsets[np.arange(len(u)), index] = 1
    columns = [offsets, order[:, None], v[:, None]]
    curved = bent and fit.repeats >= 3
    if curved:
        columns.append(np.stack([u**2, u * v, v**2], axis=1))
    design = np.concatenate(columns, axis=1)
    scale = np.maximum(np.abs(design).max(axis=0), 1e-9)
    design = design / scale
    weight = information / information.max()
    robust = np.ones(len(u))
    for _ in range(4):
        normal = design.T @ (design * (weight * robust)[:, None])
        solution = np.linalg.lstsq(normal, design.T @ (u * weight * robust), rcond=None)[0]
        rest = u - design @ solution
        sigma = 1.4826 * float(np.median(np.abs(rest))) + 1e-6
        robust = 1 / (1 + (rest / (2.5 * sigma)) ** 2) ** 2
    number = len(kinds)
    solution = solution / scale
    deviation = np.sqrt(np.clip(np.diag(_covariance(design, weight * robust, rest, order, v)), 0, None)) / scale
    repeat = float(solution[number])
    u95 = float(np.hypot(2 * deviation[number], FLATNESS_RELATIVE_U95 * repeat))
    starts = solution[:number] - (kinds + 0.5) / _WINDOWS * repeat
    origin = float(np.average(starts, weights=np.bincount(index, weights=weight)))
    return RepeatFit(
        repeat=Estimate(repeat, u95),
        slope=float(solution[number + 1]),
        origin_mm=origin,
        bend=solution[number + 2 :] if curved else np.zeros(3),
        direction_u95_deg=float(np.degrees(2 * deviation[number + 1])),
        residual_mm=float(np.sqrt(np.average(rest**2, weights=weight * robust))),
        repeats=extent / repeat,
        crossings=np.stack([u, v, order + (window + 0.5) / _WINDOWS, np.full(len(u), sigma)], axis=1),
    )


def _covariance(design: Doubles, weight: Doubles, rest: Doubles, order: Doubles, v: Doubles) -> Doubles:
    """Covariance of the solution with neighbours allowed to err alike: scores are summed in blocks before squaring.

    A block is one repeat by a quarter of the height: a wave in the cloth moves all of it at once. The clustered
    ("sandwich") estimate, White 1980 and Liang and Zeger 1986 (from memory), with the small-sample factor G/(G - 1).
    """
    bread = np.linalg.pinv(design.T @ (design * weight[:, None]))
    span = np.ptp(v) + 1e-9
    quarter = np.minimum((4 * (v - v.min()) / span).astype(int), 3)
    _, block = np.unique(order * 4 + quarter, return_inverse=True)
    groups = int(block.max()) + 1
    scores = np.zeros((groups, design.shape[1]))
    np.add.at(scores, block, design * (weight * rest)[:, None])
    factor = groups / max(groups - 1, 1)
    return np.asarray(bread @ (scores.T @ scores) @ bread * factor)
