"""Profiles: the cloth's colours counted across its stripes, in bands one above the other along them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import srgb_to_lab
from vision.spectrum import parabola
from vision.swatch import TONE_SHIFT, Doubles, Floats, Swatch, axes

#: Bands along the stripes; enough to see their direction bend, few enough that each stays clean of noise.
BANDS = 32
#: A place of a band counts where at least this share of its pixels show cloth.
_LEAST_COVER = 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bands:
    """Mean tone (B, N, 3) and weight (B, N, pixels) in bands, each a strip square to the stripes.

    Sample i of band j shows the plane at ``centre_mm`` + ``u_mm[i]``·n + ``v_mm[j]``·d, for the axes of
    ``direction_deg``. ``step_mm`` is the distance between samples, ``height_mm`` that between bands.
    """

    tone: Floats
    weight: Floats
    u_mm: Doubles
    v_mm: Doubles
    step_mm: float
    height_mm: float
    centre_mm: tuple[float, float]
    direction_deg: float

    def sheared(self, slope: float) -> tuple[Floats, Floats]:
        """Tone (N, 3) and weight (N,) of all bands together, each moved by ``slope`` times its place along."""
        shift = -slope * self.v_mm / self.step_mm
        count, size = self.weight.shape
        columns = np.arange(size, dtype=np.float32)[None, :] - shift[:, None].astype(np.float32)
        rows = np.broadcast_to(np.arange(count, dtype=np.float32)[:, None], (count, size)).copy()
        stacked = np.dstack([self.tone * self.weight[..., None], self.weight])
        moved = cv2.remap(stacked, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
        total = moved.sum(axis=0)
        weight = total[:, 3]
        return total[:, :3] / np.maximum(weight, 1e-6)[:, None], weight


def band_profiles(swatch: Swatch, direction_deg: float, bands: int = BANDS) -> Bands:
    """Turn the swatch so that its stripes stand upright and average each band."""
    n, d = axes(direction_deg)
    centre = swatch.centre_mm
    height, width = swatch.mask.shape
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=np.float64)
    plane = np.asarray(swatch.origin_mm) + corners / swatch.px_per_mm - np.asarray(centre)
    half_u, half_v = np.abs(plane @ n).max() * swatch.px_per_mm, np.abs(plane @ d).max() * swatch.px_per_mm
    rows = max(int(np.ceil(2 * half_v / bands)), 1)
    size = (int(2 * half_u) + 1, rows * bands)
    # the source pixel of (i, j): centre + (i - half)·n + (j - half)·d
    middle = (np.asarray(centre) - np.asarray(swatch.origin_mm)) * swatch.px_per_mm
    first = middle - n * (size[0] - 1) / 2 - d * (size[1] - 1) / 2
    matrix = np.array([[n[0], d[0], first[0]], [n[1], d[1], first[1]]])
    flags = cv2.WARP_INVERSE_MAP
    turned = cv2.warpAffine(swatch.rgb, matrix, size, flags=flags | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpAffine(swatch.mask.astype(np.uint8), matrix, size, flags=flags | cv2.INTER_NEAREST)
    turned *= cover[..., None]
    sums = turned.reshape(bands, rows, size[0], 3).sum(axis=1, dtype=np.uint32).astype(np.float32)
    pixels = cover.reshape(bands, rows, size[0]).sum(axis=1, dtype=np.uint32).astype(np.float32)
    pixels[pixels < _LEAST_COVER * rows] = 0
    tone = srgb_to_lab(sums / np.maximum(pixels, 1)[..., None] / 255.0) + TONE_SHIFT
    step = 1 / swatch.px_per_mm
    v_mm = (np.arange(bands) * rows + (rows - 1) / 2 - (size[1] - 1) / 2) * step
    used = pixels.any(axis=0).nonzero()[0]
    span = slice(int(used[0]), int(used[-1]) + 1) if len(used) else slice(0, size[0])
    return Bands(
        tone=np.asarray(tone[:, span], dtype=np.float32),
        weight=pixels[:, span],
        u_mm=np.asarray((np.arange(size[0]) - (size[0] - 1) / 2)[span] * step),
        v_mm=np.asarray(v_mm),
        step_mm=step,
        height_mm=rows * step,
        centre_mm=centre,
        direction_deg=direction_deg,
    )


def sharpest_direction(swatch: Swatch, direction_deg: float, *, within_deg: float = 1.5) -> tuple[float, float]:
    """The direction near the given one whose profile varies most, and that variance (mean square of tone)."""
    bands = band_profiles(swatch, direction_deg, bands=48)
    length = float(bands.v_mm[-1] - bands.v_mm[0]) + bands.height_mm
    step = max(np.degrees(0.5 * bands.step_mm / max(length, 1e-6)), 0.02)
    offsets = np.arange(-within_deg, within_deg + step, step)
    scores = np.array([profile_variance(*bands.sheared(float(np.tan(np.radians(o))))) for o in offsets])
    best = int(np.argmax(scores))
    shift = 0.0
    if 0 < best < len(scores) - 1:
        shift = parabola(scores[best - 1], scores[best], scores[best + 1]) * step
    return direction_deg + float(offsets[best]) + shift, float(scores[best])


def profile_variance(tone: Floats, weight: Floats) -> float:
    """Weighted mean square of a profile's tone about its mean and slow trend (a parabola in each channel)."""
    steady = detrended(tone, weight)
    return float(((steady * steady).sum(1) * weight).sum() / max(float(weight.sum()), 1e-6))


def detrended(tone: NDArray[np.floating], weight: NDArray[np.floating]) -> Doubles:
    """The profile (N, 3) less its weighted least-squares parabola: slow light goes, stripes stay."""
    place = np.linspace(-1, 1, len(tone))
    basis = np.stack([np.ones_like(place), place, place**2], axis=1)
    root = np.sqrt(np.asarray(weight, dtype=np.float64))
    solution, *_ = np.linalg.lstsq(basis * root[:, None], np.asarray(tone, dtype=np.float64) * root[:, None], rcond=None)
    return np.asarray((tone - basis @ solution) * (root > 0)[:, None])
