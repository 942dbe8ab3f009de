"""Profiles: the cloth's colours counted across its stripes, in bands one above the other along them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import srgb_to_lab
from vision.spectrum import parabola
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask, Swatch, axes

#: Bands along the stripes; enough to see their direction bend, few enough that each stays clean of noise.
BANDS = 32
#: A place of a band counts where at least this share of its pixels show cloth.
_LEAST_COVER = 0.3
#: And where at least this share does it shows what crosses it as other bands do.
_WHOLE_COVER = 0.8


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
        return _sheared(np.dstack([self.tone * self.weight[..., None], self.weight]), self.v_mm / self.step_mm, slope)

    def usual(self) -> tuple[Doubles, Doubles]:
        """Median tone (N, 3) over the bands and their weight (N,) together: what hides fewer than half of the bands
        leaves it as it is."""
        seen = self.weight > 0
        count = seen.sum(axis=0)
        ordered = np.sort(np.where(seen[..., None], self.tone, np.inf), axis=0)
        low, high = np.maximum(count - 1, 0) // 2, count // 2
        places = np.arange(seen.shape[1])
        middle = (ordered[low, places] + ordered[np.minimum(high, len(seen) - 1), places]) / 2
        tone = np.where((count > 0)[:, None], middle, 0.0)
        return np.asarray(tone, dtype=np.float64), np.asarray(self.weight.sum(axis=0), dtype=np.float64)

    def middle(self, share: float) -> Bands:
        """The bands from the first to the last place at which they show this share of their usual width together."""
        width = self.weight.sum(axis=0)
        wide = np.flatnonzero(width >= share * float(np.median(width[width > 0]))) if width.any() else np.zeros(0, int)
        inside = np.zeros(len(width), bool)
        if len(wide):
            inside[wide[0] : wide[-1] + 1] = True
        return replace(self, weight=np.asarray(self.weight * inside, dtype=np.float32))

    def on(self, swatch: Swatch, cells: Mask) -> Mask:
        """Where a swatch (H, W) shows some of the bands' places (B, N)."""
        n, d = axes(self.direction_deg)
        away = np.asarray(swatch.origin_mm) - np.asarray(self.centre_mm)
        by_mm = np.stack([n / self.step_mm, d / self.height_mm])
        first = by_mm @ away - np.array([self.u_mm[0] / self.step_mm, self.v_mm[0] / self.height_mm])
        matrix = np.column_stack([by_mm / swatch.px_per_mm, first])
        flags, size = cv2.WARP_INVERSE_MAP | cv2.INTER_NEAREST, (swatch.mask.shape[1], swatch.mask.shape[0])
        return np.asarray(cv2.warpAffine(cells.astype(np.uint8), matrix, size, flags=flags) > 0)


def _sheared(stacked: Floats, v_px: Doubles, slope: float) -> tuple[Floats, Floats]:
    """Bands (B, N, 4) of weighted tone and weight, moved by ``slope`` times ``v_px`` (B,) and added up."""
    count, size = stacked.shape[:2]
    columns = np.arange(size, dtype=np.float32)[None, :] + (slope * v_px[:, None]).astype(np.float32)
    rows = np.repeat(np.arange(count, dtype=np.float32)[:, None], size, axis=1)
    moved = cv2.remap(stacked, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    total = np.asarray(cv2.reduce(moved, 0, cv2.REDUCE_SUM), dtype=np.float32).reshape(size, 4)
    weight = total[:, 3]
    return np.asarray(total[:, :3] / np.maximum(weight, 1e-6)[:, None], dtype=np.float32), weight


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
    turned = cv2.bitwise_and(turned, turned, mask=cover)
    sums = _added(turned.reshape(bands, rows, size[0], 3))
    pixels = _added(cover.reshape(bands, rows, size[0]))
    pixels[pixels < _LEAST_COVER * rows] = 0
    tone = srgb_to_lab(sums / np.maximum(pixels, 1)[..., None] / 255.0) + TONE_SHIFT
    step = 1 / swatch.px_per_mm
    v_mm = (np.arange(bands) * rows + (rows - 1) / 2 - (size[1] - 1) / 2) * step
    used = np.flatnonzero(pixels.any(axis=0))
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


def _added(values: NDArray[Any]) -> Floats:
    """Values (B, rows, …) added up over the rows, row by row: much faster than a sum that changes the type (time)."""
    total = values[:, 0].astype(np.uint32)
    for row in range(1, values.shape[1]):
        total += values[:, row]
    return total.astype(np.float32)


def without_crossing(bands: Bands, other: Bands) -> Bands:
    """The bands less the profile of a family that crosses them, as far as it shows evenly: what is left repeats as if
    the other were not there. Without this, a band that shows a part of the other's repeat takes on its colour; so does
    a place of which only a part is seen, and it is left out."""
    tone, weight = other.sheared(0.0)
    seen = weight > 0.1 * float(np.median(weight[weight > 0])) if (weight > 0).any() else weight > 0
    if seen.sum() < 8:
        return bands
    level = np.average(tone[seen], axis=0, weights=weight[seen])
    profile = np.where(seen[:, None], tone - level, 0.0).astype(np.float32)
    width = max(round(bands.height_mm / other.step_mm), 1)
    blurred = cv2.blur(profile.reshape(-1, 1, 3), (1, width), borderType=cv2.BORDER_REPLICATE)
    profile = np.asarray(blurred, dtype=profile.dtype).reshape(-1, 3)
    n, d = axes(bands.direction_deg)
    across = axes(other.direction_deg)[0]
    shift = np.asarray(bands.centre_mm) - np.asarray(other.centre_mm)
    place = float(shift @ across) + bands.u_mm[None, :] * float(n @ across) + bands.v_mm[:, None] * float(d @ across)
    tones = [np.interp(place, other.u_mm, profile[:, k]) for k in range(3)]
    full = bands.weight >= _WHOLE_COVER * bands.height_mm / bands.step_mm
    return replace(
        bands,
        tone=np.asarray(bands.tone - np.stack(tones, axis=2), dtype=np.float32),
        weight=np.asarray(bands.weight * full, dtype=np.float32),
    )


def sharpest_direction(swatch: Swatch, direction_deg: float, *, within_deg: float = 1.5) -> tuple[float, float]:
    """The direction near the given one whose profile varies most, and that variance (mean square of tone)."""
    bands = band_profiles(swatch, direction_deg, bands=48)
    length = float(bands.v_mm[-1] - bands.v_mm[0]) + bands.height_mm
    step = max(np.degrees(0.5 * bands.step_mm / max(length, 1e-6)), 0.02)
    offsets = np.arange(-within_deg, within_deg + step, step)
    tone, weight = bands.sheared(0.0)
    steady = bands.tone - (tone - detrended(tone, weight)).astype(np.float32)[None]
    stacked = np.dstack([steady * bands.weight[..., None], bands.weight])
    slopes, scores = np.tan(np.radians(offsets)), np.full(len(offsets), -np.inf)

    def score(places: Iterable[int]) -> int:
        for k in places:
            scores[k] = _mean_square(*_sheared(stacked, bands.v_mm / bands.step_mm, float(slopes[k])))
        return int(np.argmax(scores))

    best = score(range(0, len(scores), 2))  # every other one, then those beside the best (time)
    best = score(k for k in (best - 1, best + 1) if 0 <= k < len(scores))
    shift = 0.0
    if 0 < best < len(scores) - 1:
        shift = parabola(scores[best - 1], scores[best], scores[best + 1]) * step
    return direction_deg + float(offsets[best]) + shift, float(scores[best])


def _mean_square(tone: Floats, weight: Floats) -> float:
    return float((tone * tone).sum(1) @ weight / max(float(weight.sum()), 1e-6))


def detrended(tone: NDArray[np.floating], weight: NDArray[np.floating]) -> Doubles:
    """The profile (N, 3) less its weighted least-squares parabola: slow light goes, stripes stay."""
    place = np.linspace(-1, 1, len(tone))
    basis = np.stack([np.ones_like(place), place, place**2], axis=1)
    root = np.sqrt(np.asarray(weight, dtype=np.float64))
    weighted = np.asarray(tone, dtype=np.float64) * root[:, None]
    solution, *_ = np.linalg.lstsq(basis * root[:, None], weighted, rcond=None)
    return np.asarray((tone - basis @ solution) * (root > 0)[:, None])
