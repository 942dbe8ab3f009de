"""What a square-on picture is left with of the camera's tilt, told from its own stripes and taken out.

A tilt not quite known leaves a picture in which stripes run together towards one side and crowd towards another. To
first order in the tilt a place p (mm from the cloth's middle) ought to lie at p / (1 - g·p), for one vector g (per mm):
the remaining homography between two views of a plane whose scale agrees at the middle. How stripes run together tells g
along them, how they crowd tells it across them. Lengths at the middle stay as they are.

References: R. Hartley, A. Zisserman, Multiple View Geometry, 2nd ed., 2.7 (the line at infinity; from memory).
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.family import PLAIN_VARIANCE, Family, bands_of
from vision.profile import Bands, band_profiles, detrended
from vision.sequence import LEAST_REPEATS
from vision.spectrum import lag_difference, parabola
from vision.swatch import Doubles, Floats, Swatch, axes

#: The most that a length at the cloth's end may differ from one at its middle: a tilt of 7 degrees left in a picture
#: taken from as far as it shows (geometry: half the field over the distance, times the tilt).
MOST_CHANGE = 0.06
#: Less than this at the cloth's end is not worth a resampling; the fit of the repeat takes it up.
LEAST_CHANGE = 0.0015
#: A family takes part where its profile varies by this share of the main one's.
_WEAK_SHARE = 0.1
#: The profile must grow so much clearer, as a share, for its stripes to run together or to crowd.
_CLEARER_TOGETHER, _CLEARER_CROWDED = 1.0005, 1.01
#: And where the stripes crowd, they must differ from their next repeats by so much less without the tilt.
_MORE_ALIKE = 0.7
#: Stripes are seen to crowd where at least so many repeats (or strong parts of one) show.
_LEAST_CYCLES = 4
#: Stripes tell of a tilt where they make up this share of the change of tone, which a tilt blurs (dots reach half).
_STRIPED_SHARE = 0.6
#: How many tilts are tried, and how much finer than its own bins the spectrum is read (no line falls between them).
_STEPS_CROWDED, _FINER = 81, 4
#: Faster changes than this share of the finest are noise and what reading between samples does to it.
_EDGE_RATE = 0.15


def flattened(swatch: Swatch, families: tuple[Family, Family], total: float) -> tuple[Swatch, Doubles]:
    """The swatch as it would be square-on, judged by its stripes, and the g (2,) that was taken out; itself and zeros
    where nothing is to be seen of a tilt, or stripes make up too little of the ``total`` change of tone to tell."""
    if sum(family.variance for family in families) < _STRIPED_SHARE * total:
        return swatch, np.zeros(2)
    strong = [f for f in families if f.variance > max(PLAIN_VARIANCE, _WEAK_SHARE * families[0].variance)]
    gradient = np.zeros(2)
    for family in strong:
        bands = band_profiles(family.look, family.direction_deg)
        gradient += running_together(bands) * axes(family.direction_deg)[1]
    flat = _resampled(swatch, gradient)
    for family in strong:
        bands = bands_of(flat, family)
        across = crowding(bands) * axes(bands.direction_deg)[0]
        less = _resampled(swatch, gradient + across) if np.any(across) else flat
        if less is not flat and _unlikeness(bands_of(less, family)) < _MORE_ALIKE * _unlikeness(bands):
            flat, gradient = less, gradient + across
    return flat, gradient if flat is not swatch else np.zeros(2)


def running_together(bands: Bands) -> float:
    """g along the stripes (per mm): the one at which the bands' profiles agree best when each is widened by 1 + g·v."""
    tone, weight = bands.sheared(0.0)
    steady = bands.tone - (tone - detrended(tone, weight)).astype(np.float32)[None]
    stacked = np.dstack([steady * bands.weight[..., None], bands.weight])
    half_u, half_v = (float(np.abs(place).max()) for place in (bands.u_mm, bands.v_mm))
    most = MOST_CHANGE / max(half_u, half_v)
    step = min(bands.step_mm / (half_u * half_v), most)
    tried = np.arange(-np.ceil(most / step), np.ceil(most / step) + 1) * step
    scores = np.array([_agreement(stacked, bands, float(g)) for g in tried])
    return _peak(tried, scores, _CLEARER_TOGETHER)


def _agreement(stacked: Floats, bands: Bands, g: float) -> float:
    """Mean square of the profile of all bands together, each read where g puts its places."""
    u, v = bands.u_mm[None, :], bands.v_mm[:, None]
    columns = ((u / (1 + g * v) - bands.u_mm[0]) / bands.step_mm).astype(np.float32)
    rows = np.repeat(np.arange(len(bands.v_mm), dtype=np.float32)[:, None], len(bands.u_mm), axis=1)
    moved = cv2.remap(stacked, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    total = np.asarray(cv2.reduce(moved, 0, cv2.REDUCE_SUM), dtype=np.float64).reshape(-1, 4)
    weight = total[:, 3]
    tone = total[:, :3] / np.maximum(weight, 1e-6)[:, None]
    return float((tone * tone).sum(1) @ weight / max(float(weight.sum()), 1e-6))


def crowding(bands: Bands) -> float:
    """g across the stripes (per mm): the one at which the profile's spectrum gathers in the fewest lines."""
    tone, weight = bands.sheared(0.0)
    profile = detrended(tone, weight) * (weight > 0.2 * float(np.median(weight[weight > 0])))[:, None]
    half = float(np.abs(bands.u_mm).max())
    tried = np.linspace(-MOST_CHANGE / half, MOST_CHANGE / half, _STEPS_CROWDED)
    window = np.hanning(len(profile))
    size = cv2.getOptimalDFTSize(_FINER * len(profile))  # a length of large prime factors takes ten times as long
    rate = np.arange(size // 2 + 1) / (size // 2 + 1)
    slope = (rate * np.exp(-((rate / _EDGE_RATE) ** 2))) ** 2  # edges tell most, noise is left out
    scores = np.array([_gathered(profile, bands.u_mm, float(g), window, slope, size) for g in tried])
    return _peak(tried, scores, _CLEARER_CROWDED)


def _gathered(profile: Doubles, u_mm: Doubles, g: float, window: Doubles, slope: Doubles, size: int) -> float:
    """How few lines hold the power of the profile's ``slope`` (K,), read at evenly spaced places of the flat cloth
    under a ``window`` (N,), with zeros up to ``size``: sum of squares over square of the sum; zero where the strongest
    line is too slow to tell.
    """
    read = u_mm / (1 + g * u_mm)
    even = np.stack([np.interp(read, u_mm, column, left=0, right=0) for column in profile.T])
    spectrum = np.fft.rfft(even * window, size, axis=1)
    power = (np.abs(spectrum) ** 2).sum(0) * slope
    if int(np.argmax(power)) < _LEAST_CYCLES * size / len(window):
        return 0.0
    return float((power**2).sum() / max(float(power.sum()) ** 2, 1e-12))


def _unlikeness(bands: Bands) -> float:
    """How much the profile differs from itself at the lag at which it differs least, once it has differed much."""
    tone, weight = bands.sheared(0.0)
    profile = np.asarray(tone, dtype=np.float64)
    seen = weight > 0
    most = int(seen.sum() / LEAST_REPEATS)
    if most < 3:
        return 0.0
    difference, _ = lag_difference(profile, weight.astype(np.float64), 0.25 * float(weight.sum()), most)
    much = float((detrended(tone, weight) ** 2).sum(1) @ weight / weight.sum())
    beyond = np.flatnonzero(np.isfinite(difference) & (difference > much))
    return float(difference[beyond[0] :].min()) if len(beyond) else 0.0


def _peak(tried: Doubles, scores: Doubles, clearer: float) -> float:
    """Where the scores peak, to a part of a step; 0 where that is not clearly better than 0, or at the rim."""
    best, none = int(np.argmax(scores)), len(tried) // 2
    if best in (0, len(tried) - 1) or scores[none] <= 0 or scores[best] < clearer * scores[none]:
        return 0.0
    return float(tried[best] + parabola(*(float(s) for s in scores[best - 1 : best + 2])) * (tried[1] - tried[0]))


def _resampled(swatch: Swatch, gradient: Doubles) -> Swatch:
    """The swatch with each place p (from its middle) brought to p / (1 - g·p); itself where that moves nothing."""
    height, width = swatch.mask.shape
    scale = swatch.px_per_mm
    if float(np.hypot(*gradient)) * np.hypot(height, width) / 2 / scale < LEAST_CHANGE:
        return swatch
    middle = (np.asarray(swatch.centre_mm) - np.asarray(swatch.origin_mm)) * scale
    to_middle = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    back = np.array([[1, 0, 0], [0, 1, 0], [gradient[0] / scale, gradient[1] / scale, 1]])
    source = np.linalg.inv(to_middle) @ back @ to_middle
    flags, size = cv2.WARP_INVERSE_MAP, (width, height)
    rgb = cv2.warpPerspective(swatch.rgb, source, size, flags=flags | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    mask = cv2.warpPerspective(swatch.mask.astype(np.uint8), source, size, flags=flags | cv2.INTER_NEAREST)
    return replace(swatch, rgb=np.asarray(rgb, dtype=np.uint8), mask=np.asarray(mask > 0))


def as_photographed(points_mm: Doubles, centre_mm: tuple[float, float], gradient: Doubles) -> Doubles:
    """Points (N, 2) of the flattened cloth where the square-on picture shows them."""
    away = points_mm - np.asarray(centre_mm)
    return np.asarray(np.asarray(centre_mm) + away / (1 + away @ gradient)[:, None])
