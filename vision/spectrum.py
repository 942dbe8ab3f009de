"""What repeats, and in which direction: orientations, autocorrelation within a mask, differences at a lag."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.swatch import Floats, Mask, Swatch

Doubles = NDArray[np.float64]

#: Orientations are counted in half degrees; the peak is refined later.
_BIN_DEG = 0.5
#: Peaks of orientation nearer than this are one and the same.
_APART_DEG = 12.0
#: Edges of less than this share of the strongest family's strength are noise: stripes of a tenth of the others'
#: contrast still make ten times as much (geometry: strength goes with the square of contrast).
_LEAST_SHARE = 1e-3
#: Light may change by this factor (in tone) between two repeats and no more: beyond it, it is print.
_GAIN_LIMIT = 0.30


def orientation_peaks(swatch: Swatch, blur_px: float, most: int = 4) -> tuple[float, ...]:
    """Directions across the strongest families of edges, degrees in (-90, 90], counter-clockwise as seen.

    Slopes are taken with the kernel of three whose own error of direction is least (H. Scharr, dissertation, Heidelberg
    2000; from memory).
    """
    tone = swatch.tone(blur_px)
    size = max(round(3 * blur_px), 1)
    inside = cv2.erode(swatch.mask.astype(np.uint8), np.ones((2 * size + 3, 2 * size + 3), np.uint8), borderValue=0)
    gx = cv2.Sobel(tone, cv2.CV_32F, 1, 0, ksize=cv2.FILTER_SCHARR)
    gy = cv2.Sobel(tone, cv2.CV_32F, 0, 1, ksize=cv2.FILTER_SCHARR)
    xx, yy, xy = (np.einsum("ijk,ijk->ij", one, other) for one, other in ((gx, gx), (gy, gy), (gx, gy)))
    angle = np.degrees(np.arctan2(-2 * xy, xx - yy)) / 2  # across the edge, y up
    weight = np.hypot(2 * xy, xx - yy) * (inside > 0)
    count = round(180 / _BIN_DEG)
    index = np.floor((angle + 90) / _BIN_DEG).astype(np.int32) % count
    histogram = np.bincount(index.ravel(), weights=weight.ravel(), minlength=count)
    kernel = np.exp(-0.5 * (np.arange(-6, 7) * _BIN_DEG / 1.0) ** 2)
    smooth = np.convolve(np.tile(histogram, 3), kernel / kernel.sum(), "same")[count : 2 * count]
    peaks: list[float] = []
    for k in np.argsort(smooth)[::-1]:
        if smooth[k] < _LEAST_SHARE * smooth.max():
            break
        degrees = float(k * _BIN_DEG - 90 + _BIN_DEG / 2)
        if all(min(abs(degrees - p), 180 - abs(degrees - p)) >= _APART_DEG for p in peaks):
            peaks.append(degrees)
        if len(peaks) == most:
            break
    return tuple(peaks)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Autocorrelation:
    """``value`` (2R+1, 2C+1) in [-1, 1] at shifts (dx, dy) from the middle; ``overlap`` is the share compared."""

    value: Floats
    overlap: Floats

    @property
    def centre(self) -> tuple[int, int]:
        """The row and column of no shift."""
        return self.value.shape[0] // 2, self.value.shape[1] // 2


def autocorrelation(field: Floats, mask: Mask, *, reach: float = 0.6) -> Autocorrelation:
    """Normalised correlation of a field (H, W, C) with itself, over the pixels that both shifts have in the mask.

    ``reach`` is the largest shift as a share of each side. The field's mean within the mask should be near zero.
    """
    from scipy import fft

    height, width = mask.shape
    rows, columns = int(height * reach), int(width * reach)
    shape = (fft.next_fast_len(height + rows, True), fft.next_fast_len(width + columns, True))
    weight = mask.astype(np.float32)
    spectrum_m = fft.rfft2(weight, shape)
    energy = fft.rfft2((field * field).sum(2) * weight, shape)
    power = np.zeros_like(spectrum_m, dtype=np.float32).real
    for channel in range(field.shape[2]):
        power = power + np.abs(fft.rfft2(field[..., channel] * weight, shape)) ** 2
    product = fft.irfft2(power, shape)
    pairs = fft.irfft2(np.abs(spectrum_m) ** 2, shape)
    one = fft.irfft2(energy * np.conj(spectrum_m), shape)

    def window(full: NDArray[np.float32]) -> NDArray[np.float32]:
        rolled = np.roll(full, (rows, columns), (0, 1))
        return np.asarray(rolled[: 2 * rows + 1, : 2 * columns + 1], dtype=np.float32)

    first = window(one)
    second = first[::-1, ::-1]
    scale = np.sqrt(np.maximum(first, 1e-6) * np.maximum(second, 1e-6))
    overlap = window(pairs) / max(float(weight.sum()), 1.0)
    value = np.where(overlap > 0.02, window(product) / scale, 0.0)
    return Autocorrelation(value=value.astype(np.float32), overlap=overlap)


def lag_difference(tone: Doubles, weight: Doubles, least_px: float | Doubles, most_lag: int) -> tuple[Doubles, Doubles]:
    """How much a profile (N, 3) in tone differs from itself at each lag 0..most_lag, and over how many pixels.

    The mean squared difference, after the best change of light between the two (constant and slope, limited), weighted
    by the root of both places' weights; infinite where fewer than ``least_px`` pixels (of all lags, or of each) can be
    compared. All lags are taken at once, as correlations (the convolution theorem).
    """
    count = len(tone)
    root = np.sqrt(weight)
    place = np.linspace(-1, 1, count)
    energy = (tone * tone).sum(1) * root
    moments = [energy, energy * place, energy * place**2, root, *(tone * root[:, None]).T]
    moments += [*(tone * (root * place)[:, None]).T]
    size = 1 << int(count + most_lag).bit_length()
    ahead = np.fft.rfft([root, energy, *(tone * root[:, None]).T], size)
    here = np.conj(np.fft.rfft(moments, size))
    pairs = [here[k] * ahead[0] for k in range(4)] + [here[3] * ahead[1]]
    pairs += [(here[4:7] * ahead[2:]).sum(0), (here[7:10] * ahead[2:]).sum(0)]
    e0, e1, e2, pixels, after, c0, c1 = np.fft.irfft(pairs, size)[:, : most_lag + 1]
    # the places of what is compared at a lag, as ``light_change`` counts them: -1 to 1 over the first of the two
    lag = np.arange(most_lag + 1)
    stretch = (count - 1) / np.maximum(count - 1 - lag, 1)
    shift = stretch - 1
    s1, s2 = stretch * e1 + shift * e0, stretch**2 * e2 + 2 * stretch * shift * e1 + shift**2 * e0
    constant, slope = _light(e0, s1, s2, c0, stretch * c1 + shift * c0)
    rest = after - 2 * (constant * c0 + slope * (stretch * c1 + shift * c0))
    rest += constant**2 * e0 + 2 * constant * slope * s1 + slope**2 * s2
    enough = pixels >= np.maximum(least_px, 1e-9)
    difference = np.where(enough, np.maximum(rest, 0) / np.where(enough, pixels, 1), np.inf)
    return difference, np.maximum(pixels, 0)


def light_change(first: Doubles, second: Doubles, weight: Doubles) -> Doubles:
    """The factor (N,), linear along the profile and limited, that brings ``first`` nearest to ``second``."""
    place = np.linspace(-1, 1, len(first)) if len(first) > 1 else np.zeros(len(first))
    energy = (first * first).sum(1) * weight
    common = (first * second).sum(1) * weight
    s0, s1, s2 = energy.sum(), (energy * place).sum(), (energy * place**2).sum()
    t0, t1 = common.sum(), (common * place).sum()
    constant, slope = _light(s0, s1, s2, t0, t1)
    return np.asarray(constant + slope * place)


def _light(s0: Doubles, s1: Doubles, s2: Doubles, t0: Doubles, t1: Doubles) -> tuple[Doubles, Doubles]:
    """Constant and slope of the change of light, limited, from the moments of energy and of common energy."""
    determinant = s0 * s2 - s1 * s1
    alone = determinant <= 1e-9 * s0 * s0
    known = np.where(alone, 1.0, determinant)
    level = np.where(s0 > 0, t0 / np.where(s0 > 0, s0, 1.0), 1.0)
    constant = np.where(alone, level, (t0 * s2 - t1 * s1) / known)
    slope = np.where(alone, 0.0, (s0 * t1 - s1 * t0) / known)
    return (
        np.clip(constant, 1 - _GAIN_LIMIT, 1 + _GAIN_LIMIT),
        np.clip(slope, -_GAIN_LIMIT / 3, _GAIN_LIMIT / 3),
    )


def parabola(left: float, middle: float, right: float) -> float:
    """Where the extremum of a parabola through three neighbours lies, from the middle one, within half a step."""
    bend = left - 2 * middle + right
    return 0.0 if bend == 0 or not np.isfinite(bend) else float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
