"""A comb of ticks followed along its line: each tick's place to a fraction of a pixel, its direction and its length."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.even import beside_px, fit_even, gathered, robust_line, whole
from vision.reference.lean import converging, leaning
from vision.reference.strip import (
    LEAST_STRENGTH,
    SAMPLES,
    reaches,
    ridge_matrix,
    sample,
    span_inside,
    standing_out,
    strip_level,
)
from vision.reference.tick import Row

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A tick is sought within this share of a period of where it is expected.
SEARCH_SHARE = 0.3
#: The following stops after so many missing ticks in a row; glare or a hand may hide some.
LONGEST_GAP = 12
#: A comb with fewer ticks says nothing about its unit; ticks stand out from both flanks by so many grey levels.
LEAST_TICKS, LEAST_CONTRAST = 10, 2.0
#: A tick's end is not known better than this across the ruler, px: blur, and the ruler's own edge beside it.
LEAST_BASE_SIGMA_PX = 0.15
#: So many ticks end alike on that side; on the other a fifth or more of any scale's end farther out (fives and tens).
#: What runs on by more than so many lengths of a tick is no end: there are stripes beyond the ruler's edge (geometry).
ALIKE_SHARE, RUN_ON = 0.9, 1.5
#: Heights at which a tick's middle is sought.
HEIGHTS = 7
#: The ticks' common direction is mended at most so many times, or until it turns by less than this (a tenth of a deg).
AIMS, AIMED = 5, 0.002


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comb:
    """Ticks numbered by ``index`` (N,) (whole numbers, gaps where ticks are hidden), in full-size photo pixels.

    ``places_px`` (N, 2) lie in the middle of the part all ticks share; ``ends_px`` (N, 2, 2) are that part's near and
    far end. ``reach_px`` (N, 2) is how far each tick goes along ``tick``, with its near and its far end, counted from
    the comb's line; on that scale the places lie at ``middle_px``. ``spacing_px`` (N,) is the spacing at each tick,
    ``period_px`` the middle one, ``sigma_px`` one standard deviation of a place along ``axis``. ``lean`` (N, 2) is the
    ticks' direction, changing steadily along the comb.
    """

    index: Ints
    places_px: Floats
    ends_px: Floats
    reach_px: Floats
    lean: Floats
    spacing_px: Floats
    axis: Floats
    tick: Floats
    period_px: float
    middle_px: float
    band_px: float
    sigma_px: float
    evenness: float
    contrast: float
    dark: bool

    def lengths(self, side: int) -> Floats:
        """How far each tick goes to one side (0 against, 1 along ``tick``) from where its neighbours end on the other,
        in spacings.

        The far ends are taken as a running middle, so that a bowed ruler does not make its ticks longer or shorter.
        """
        far = self.reach_px[:, 1 - side]
        size = min(15, len(far) // 2 * 2 - 1)
        padded = np.pad(far, size // 2, mode="edge")
        base = np.median(np.lib.stride_tricks.sliding_window_view(padded, size), axis=1)
        return np.asarray(np.abs(self.reach_px[:, side] - base) / self.spacing_px, dtype=np.float64)

    def bases(self) -> tuple[Floats, float]:
        """Where the ticks stand: their ends (N, 2) on the side where they end alike, and how far one may be off, px.

        Unlike the places, which lie on a straight line by the way they are found, these show whether the ruler does.
        """
        along = self.index - self.index.mean()
        best, span = (math.inf, 0, math.inf), float(np.median(np.ptp(self.reach_px, axis=1)))
        for side in (0, 1):
            rest = self.reach_px[:, side]
            for _ in range(3):
                kept = np.abs(rest) <= max(3 * 1.4826 * float(np.median(np.abs(rest))), 0.2)
                rest = self.reach_px[:, side] - np.polyval(np.polyfit(along[kept], self.reach_px[kept, side], 3), along)
            off = np.abs(rest)
            off = off[off <= max(RUN_ON * span, float(np.median(off)))]
            best = min(best, (float(np.quantile(off, ALIKE_SHARE)), side, 1.4826 * float(np.median(off))))
        _, side, sigma = best
        start = self.places_px - self.middle_px * self.lean
        return start + self.reach_px[:, side, None] * self.lean, max(sigma, LEAST_BASE_SIGMA_PX)

    @property
    def share_present(self) -> float:
        """Ticks seen over ticks expected between the first and the last."""
        return len(self.index) / float(self.index[-1] - self.index[0] + 1)


@dataclass(slots=True, kw_only=True, eq=False)
class _Track:
    """The state of following: the line, and the ticks found along it (u in px from ``origin``)."""

    origin: Floats
    axis: Floats
    tick: Floats
    low: float
    high: float
    period: float
    u: Floats
    k: Ints


def follow(levels: Sequence[NDArray[np.uint8]], row: Row) -> Comb | None:
    """The whole comb that a row belongs to, or None where no even comb is there."""
    track = _begin(row)
    span = float(track.u[-1] - track.u[0])
    for _ in range(9):
        grown = _grow(levels, track, row.dark, margin=max(0.6 * span, 8 * track.period))
        if grown is None:
            return None
        fresh = float(grown.u[-1] - grown.u[0])
        track, stalled = grown, fresh < 1.05 * span
        span = fresh
        if stalled:
            break
    track = _aimed(levels, track, row.dark)
    halves = _halved(levels, track, row.dark)
    if halves is not None:
        track = halves
    return _finish(levels, track, row.dark)


def _begin(row: Row) -> _Track:
    origin = row.bases_px.mean(axis=0)
    u = np.sort((row.bases_px - origin) @ row.axis)
    k = np.rint((u - u[len(u) // 2]) / row.period_px).astype(np.int64)
    k, first = np.unique(k, return_index=True)
    low, high = 0.12 * row.length_px, 0.88 * row.length_px
    return _Track(
        origin=origin, axis=row.axis, tick=row.tick, low=low, high=high, period=row.period_px, u=u[first], k=k
    )


def _strip(
    levels: Sequence[NDArray[np.uint8]], track: _Track, us: Floats, vs: Floats, dark: bool
) -> NDArray[np.float32]:
    """Ink along the comb (V, U): how much darker (lighter) each place is than its neighbourhood along the axis."""
    points = track.origin + us[None, :, None] * track.axis + vs[:, None, None] * track.tick
    grey = sample(levels, strip_level(levels, track.period), points)
    return -grey if dark else grey


def _profile(ink: NDArray[np.float32]) -> Floats:
    """The mean of the band's rows against a running mean over one period, lightly smoothed."""
    line = ink.mean(axis=0, keepdims=True)
    ground = cv2.blur(line, (2 * SAMPLES + 1, 1), borderType=cv2.BORDER_REFLECT)
    return np.asarray(cv2.GaussianBlur(line - ground, (0, 0), 0.12 * SAMPLES, sigmaY=0.1).ravel(), dtype=np.float64)


def _grow(levels: Sequence[NDArray[np.uint8]], track: _Track, dark: bool, margin: float) -> _Track | None:
    shape = (levels[0].shape[0], levels[0].shape[1])
    low, high = span_inside(shape, track.origin, track.axis)
    start, stop = max(low, track.u[0] - margin), min(high, track.u[-1] + margin)
    step = track.period / SAMPLES
    us = np.arange(start, stop, step)
    if us.size < 6 * SAMPLES:
        return None
    vs = np.linspace(track.low, track.high, 8)
    profile = _profile(_strip(levels, track, us, vs, dark))
    found = _walk(profile, (track.u - start) / step, track.k, track.period / step)
    if found is None:
        return None
    places, index = found
    u = start + places * step
    fit = fit_even(u, index)
    if fit is None:
        return None
    keep, _ = fit
    u, index = whole(u[keep], index[keep])
    grown = _Track(
        origin=track.origin, axis=track.axis, tick=track.tick, low=track.low, high=track.high,
        period=float(np.median(np.diff(u) / np.diff(index))), u=u, k=index,
    )  # fmt: skip
    return _straightened(levels, grown, dark)


def _walk(profile: Floats, at: Floats, k: Ints, period: float) -> tuple[Floats, Ints] | None:
    """Follow the peaks of a profile (samples) from known ticks to both sides."""
    here = at[(at > 2) & (at < profile.size - 3)]
    if here.size < 4:
        return None
    strengths = [profile[max(0, round(x) - 2) : round(x) + 3].max() for x in here]
    usual = float(np.median(strengths))
    if usual <= 0:
        return None
    begin = int(np.argmin(np.abs(at - np.median(here))))
    start = _peak(profile, float(at[begin]), 0.3 * period)
    if start is None:
        return None
    places, index = [start], [int(k[begin])]
    for way in (1, -1):
        last, number, spacing, strength, missing = start, int(k[begin]), period, usual, 0
        while True:
            number += way
            expected = last + way * spacing * (missing + 1)
            if not 2 <= expected < profile.size - 3:
                break
            peak = _peak(profile, expected, SEARCH_SHARE * spacing)
            value = profile[round(peak)] if peak is not None else 0.0
            if peak is None or value < LEAST_STRENGTH * strength:
                missing += 1
                if missing > LONGEST_GAP:
                    break
                continue
            gap = abs(peak - last) / (missing + 1)
            spacing += 0.15 * float(np.clip(gap - spacing, -0.1 * spacing, 0.1 * spacing))
            strength += 0.1 * (min(value, 2 * strength) - strength)
            # the place expected next leans on the smooth course, not on one peak's noise
            last, missing = expected + 0.5 * (peak - expected), 0
            places.append(peak)
            index.append(number)
    order = np.argsort(places)
    return np.array(places)[order], np.array(index, dtype=np.int64)[order]


def _peak(profile: Floats, expected: float, reach: float) -> float | None:
    low, high = max(1, math.ceil(expected - reach)), min(profile.size - 2, math.floor(expected + reach))
    if high < low:
        return None
    best = low + int(np.argmax(profile[low : high + 1]))
    before, here, after = profile[best - 1], profile[best], profile[best + 1]
    if here < before or here < after:
        return None
    curve = before + after - 2 * here
    return best + (0.5 * (before - after) / curve if curve < 0 else 0.0)


def _straightened(levels: Sequence[NDArray[np.uint8]], track: _Track, dark: bool) -> _Track | None:
    """The line laid anew along the middles of the part that all ticks share."""
    length = track.high - track.low
    vs = np.arange(track.low - 1.2 * length, track.high + 1.2 * length, max(length / 12, 0.5))
    places = track.origin + track.u[:, None] * track.axis
    step = np.full(len(places), track.period)
    ink = ridge_matrix(levels, places, track.axis, track.tick, vs, step, dark)
    band = (vs >= track.low) & (vs <= track.high)
    usual = float(np.median(np.median(ink[:, band], axis=1))) if band.any() else 0.0
    if usual < LEAST_CONTRAST:
        return None
    reach = reaches(ink, vs, 0.5 * (track.low + track.high), usual)
    good = np.isfinite(reach).all(axis=1)
    if good.sum() < 6:
        return None
    scatter = [robust_line(track.u[good], reach[good, side]) for side in (0, 1)]
    side = 0 if scatter[0][1] <= scatter[1][1] else 1
    slope, _, offset = scatter[side]
    # keep the band where it is, turned so that it runs along the edge with the steadier ends
    turned = track.axis + slope * track.tick
    turned /= np.hypot(*turned)
    start = track.origin + offset * track.tick
    far = reach[good, 1 - side] - (slope * track.u[good] + offset)
    size = float(np.quantile(far, 0.2 if side == 0 else 0.8))
    if abs(size) < 0.25 * length or abs(size) < 2.0:
        size = math.copysign(length, size if size != 0 else 1.0)
    low, high = sorted((0.12 * size, 0.88 * size))
    # along the ticks, which need not stand square to the line
    square = np.array([-track.tick[1], track.tick[0]])
    u = (places - start) @ square / float(turned @ square)
    return _Track(origin=start, axis=turned, tick=track.tick, low=low, high=high, period=track.period, u=u, k=track.k)


def _aimed(levels: Sequence[NDArray[np.uint8]], track: _Track, dark: bool) -> _Track:
    """The track with its ticks' common direction as they show it: a row's first strokes are too short to tell."""
    for _ in range(AIMS):
        heights = np.linspace(track.low, track.high, HEIGHTS)
        base, spacing = track.origin + track.u[:, None] * track.axis, np.full(track.u.size, track.period)
        slope = leaning(levels, base, track.axis, track.tick, spacing, heights, dark).slope
        if slope.size < LEAST_TICKS:
            return track
        lean = float(np.median(slope))
        turned = track.tick + lean * track.axis
        track = _straightened(levels, replace(track, tick=turned / np.hypot(*turned)), dark) or track
        if abs(lean) < AIMED:
            return track
    return track


def _halved(levels: Sequence[NDArray[np.uint8]], track: _Track, dark: bool) -> _Track | None:
    """The comb with twice, four, five or ten times the ticks, where finer ones stand between those followed."""
    best = None
    for parts in (2, 3, 4, 5, 8, 10):
        fine = _Track(
            origin=track.origin, axis=track.axis, tick=track.tick, low=track.low, high=track.high,
            period=track.period / parts, u=track.u, k=track.k * parts,
        )  # fmt: skip
        if fine.period < 2.5:
            break
        pairs = np.flatnonzero(np.diff(track.k) == 1)
        between = np.concatenate(
            [track.u[pairs] + (track.u[pairs + 1] - track.u[pairs]) * j / parts for j in range(1, parts)]
        )
        if between.size < 6:
            return best
        size = track.high - track.low
        near = np.linspace(track.low - 0.1 * size, track.low + 0.45 * size, 7)
        far = np.linspace(track.high - 0.45 * size, track.high + 0.1 * size, 7)
        inset = near if abs(track.low) < abs(track.high) else far
        step = np.full(between.size, fine.period)
        ink = ridge_matrix(levels, fine.origin + between[:, None] * fine.axis, fine.axis, fine.tick, inset, step, dark)
        own = ridge_matrix(
            levels, fine.origin + track.u[:, None] * fine.axis, fine.axis, fine.tick, inset,
            np.full(track.u.size, fine.period), dark,
        )  # fmt: skip
        usual = float(np.median(np.median(own, axis=1)))
        hit = np.median(ink, axis=1) > LEAST_STRENGTH * usual
        if usual > 3.0 and hit.mean() > 0.7:
            every = np.concatenate([track.u, between[hit]])
            number = np.concatenate(
                [track.k * parts, np.concatenate([track.k[pairs] * parts + j for j in range(1, parts)])[hit]]
            )
            order = np.argsort(every)
            fine.u, fine.k = every[order], number[order]
            short = 0.6 if abs(track.low) < abs(track.high) else 1.0
            fine.low, fine.high = track.low * short, track.high * short
            best = _grow(levels, fine, dark, margin=4 * fine.period) or best
    return best


def _finish(levels: Sequence[NDArray[np.uint8]], track: _Track, dark: bool) -> Comb | None:
    """Every tick's place and slope by centroids at several heights, and how far it reaches to both sides."""
    if len(track.u) < LEAST_TICKS:
        return None
    fit = fit_even(track.u, track.k)
    if fit is None:
        return None
    keep, (a, b, c, middle) = fit
    k = track.k[keep].astype(np.float64) - middle
    u = (a + b * k) / (1 + c * k)
    period = np.abs((b - a * c) / (1 + c * k) ** 2)
    heights = np.linspace(track.low, track.high, HEIGHTS)
    base = track.origin + u[:, None] * track.axis
    seen, common, slope, noise = leaning(levels, base, track.axis, track.tick, period, heights, dark)
    u, period = u[seen], period[seen]
    if len(u) < LEAST_TICKS:
        return None
    index = track.k[keep][seen]
    final = fit_even(u + common, index)
    if final is None or final[0].sum() < LEAST_TICKS:
        return None
    stay = final[0]
    a, b, c, middle = final[1]
    kk = index[stay] - middle
    off = (u + common)[stay] - (a + b * kk) / (1 + c * kk)
    evenness = float(np.sqrt(np.mean(off**2))) / track.period
    mid = heights.mean()
    place = track.origin + (u + common)[stay][:, None] * track.axis + mid * track.tick
    lean = converging(u[stay], slope[stay])[:, None] * track.axis + track.tick
    own = slope[stay][:, None] * track.axis + track.tick
    size = track.high - track.low
    near, far = place - 0.5 * size * own, place + 0.5 * size * own
    tall = max(abs(track.low), abs(track.high))
    vs = np.arange(-6.0 * tall, 6.0 * tall, max(tall / 14, 0.4))
    band = (vs >= track.low) & (vs <= track.high)
    ridge, usual = standing_out(levels, place - mid * lean, track.axis, lean, vs, period[stay], dark, band)
    reach = reaches(ridge, vs, mid, usual)
    whole = np.isfinite(reach).all(axis=1)
    if whole.sum() < LEAST_TICKS or usual < LEAST_CONTRAST:
        return None
    order = np.flatnonzero(whole)
    order = order[gathered(index[stay][order])]
    if order.size < LEAST_TICKS:
        return None
    return Comb(
        index=index[stay][order],
        places_px=place[order],
        ends_px=np.stack([near, far], axis=1)[order],
        reach_px=reach[order],
        lean=lean[order],
        spacing_px=period[stay][order],
        axis=track.axis,
        tick=track.tick,
        period_px=track.period,
        middle_px=float(mid),
        band_px=size,
        sigma_px=max(noise, beside_px(off)),
        evenness=evenness,
        contrast=usual,
        dark=dark,
    )
