"""Whether one print fills the whole picture, so that no table shows."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.family import PLAIN_VARIANCE, variance
from vision.lattice import find_lattice
from vision.print import STRIPE_SHARE
from vision.profile import Bands, band_profiles, detrended, sharpest_direction, without_crossing
from vision.sequence import find_repeat
from vision.spectrum import orientation_peaks
from vision.swatch import Mask, Swatch, folded_deg

#: Pixels at which the question is asked (time).
_PIXELS = 2.0e5
#: Below this the picture is of one colour: a wall, a table, or plain cloth; nobody can tell.
_LEAST_VARIANCE = 12.0
#: Stripes so fine that little of them is left in so small a picture count where their own profile varies by so much:
#: five times what the grain of a wooden table does (own scenes).
_LEAST_STRENGTH = 50.0
#: ... and fainter ones where they repeat so many times: grain of wood or paper looks alike twice by chance, or thrice.
_FAINT_REPEATS = 8.0
#: A print that fills the picture varies along its border too: by this share of what it does all over.
_BORDER_SHARE = 0.4
_BORDER_WIDTH_SHARE = 0.10
#: A direction is sought so far on either side of a peak, degrees.
_WITHIN_DEG = 1.5
#: Squares a few pixels wide show their diagonals more than their sides; a direction that explains less than this share
#: of the change is none of a print's stripes (a stripe or check explains a third or more along one of its own).
_LEAST_PEAK = 0.2
#: A second family of stripes counts above this share of the change.
_SECOND_SHARE = 0.05
#: The picture is looked at in so many parts each way, of which those count that show this share; the stripes of one
#: lie to those of another by this at most, degrees (parallel lines seen at 20 deg, 0.7 focal lengths to either side of
#: the middle, make 29: geometry).
_TILES, _TILE_SHOWN, _FANNED_DEG = 3, 0.5, 30.0
#: Bands along the stripes, each of which must look like the whole (correlation, and contrast), and parts across them,
#: each of which must vary by this share of the middle one: a strip of table shows neither.
_BANDS, _LIKENESS, _CONTRAST = 20, 0.75, 0.6
#: Over so many bands a ruler that is not known whole may hide part of the print: they are still as like as this.
_HIDDEN_SHARE, _HALF_LIKENESS = 0.25, 0.6
_PARTS, _PART_SHARE = 5, 0.15


def striped_all_over(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> bool:
    """Whether stripes one or both ways explain the whole picture (H, W, 3), its border included."""
    swatch = _swatch(rgb, usable, px_per_mm)
    total = variance(swatch)
    if not _reaches_border(swatch, total):
        return False
    peaks = (*orientation_peaks(swatch, 0.8), 0.0, 90.0)
    found = [_sharpest(swatch, peak) for peak in peaks]
    if max(strength for _, strength in found) < _LEAST_PEAK * total:  # squares seen by their diagonals
        found += [_sharpest(swatch, peak + 45.0) for peak in peaks[:2]]
    direction, strength = max(found, key=lambda f: f[1])
    square = [f for f in found if abs(abs(folded_deg(f[0] - direction)) - 90) < 12]
    other, weak = max(square, key=lambda f: f[1], default=(direction + 90, 0.0))
    if strength + weak < STRIPE_SHARE * total:
        return False
    bands = band_profiles(swatch, direction, _BANDS)
    if total < _LEAST_VARIANCE and strength < _LEAST_STRENGTH and not _regular(bands):
        return False
    if weak < _SECOND_SHARE * total:
        return _even_all_over(bands)
    crossing = band_profiles(swatch, other, _BANDS)
    bare = without_crossing(bands, without_crossing(crossing, bands))
    # what crosses stripes that go on all over is a ruler on them, where these alone are nearly all that is seen
    striped = strength >= STRIPE_SHARE * total
    return _even_all_over(bare) and (striped or _even_all_over(without_crossing(crossing, bare)))


def _regular(bands: Bands) -> bool:
    """Whether faint stripes repeat many times, as the grain of wood does not."""
    repeat = find_repeat(*bands.usual(), bands.step_mm)
    return repeat is not None and repeat * _FAINT_REPEATS <= float((bands.weight > 0).any(axis=0).sum()) * bands.step_mm


def mostly_striped(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> bool:
    """Whether stripes about alike in direction explain most parts of the picture (H, W, 3), and its border varies as
    they do; level or not, for those that fan out have another direction in each part."""
    swatch = _swatch(rgb, usable, px_per_mm)
    total = variance(swatch)
    if not _reaches_border(swatch, total):
        return False
    if total < _LEAST_VARIANCE:
        direction, _ = max((_sharpest(swatch, peak) for peak in orientation_peaks(swatch, 0.8)), key=lambda f: f[1])
        if not _regular(band_profiles(swatch, direction, _BANDS)):
            return False
    striped = []
    for rows, columns in itertools.product(*(np.array_split(np.arange(n), _TILES) for n in swatch.mask.shape)):
        at = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        part = Swatch(rgb=swatch.rgb[at], mask=swatch.mask[at], px_per_mm=swatch.px_per_mm, origin_mm=(0.0, 0.0))
        if part.mask.mean() >= _TILE_SHOWN:
            direction, strength = max(
                (_sharpest(part, peak) for peak in orientation_peaks(part, 0.8)), key=lambda f: f[1]
            )
            striped.append((strength >= STRIPE_SHARE * variance(part), direction))
    ways = np.array([direction for well, direction in striped if well])
    return 2 * len(ways) > len(striped) and all(abs(folded_deg(way - ways[0])) <= _FANNED_DEG for way in ways)


def _sharpest(swatch: Swatch, peak_deg: float) -> tuple[float, float]:
    """The direction near a peak whose profile varies most, and that variance; sought on beyond the end of the search
    where it lies there, for the slopes of stripes a few pixels wide can be off by more than it reaches."""
    direction, strength = sharpest_direction(swatch, peak_deg, within_deg=_WITHIN_DEG)
    if abs(direction - peak_deg) < _WITHIN_DEG:
        return direction, strength
    return max((direction, strength), sharpest_direction(swatch, direction, within_deg=_WITHIN_DEG), key=lambda f: f[1])


def _even_all_over(bands: Bands) -> bool:
    """Whether every band shows the same profile, and every part of the profile varies like the rest; of what is nowhere
    seen whole, that cannot be said."""
    tone, weight = bands.sheared(0.0)
    profile = detrended(tone, weight)
    alike, poor = [], []
    for row, cover in zip(bands.tone, bands.weight, strict=True):
        seen = (cover > 0) & (weight > 0)
        if seen.sum() < 0.3 * len(seen):
            continue
        bare = detrended(row, cover * (weight > 0))  # light that falls off along a band is none of its stripes
        own, common = bare[seen] - bare[seen].mean(0), profile[seen] - profile[seen].mean(0)
        both, size, whole = (float(v) for v in ((own * common).sum(), (own * own).sum(), (common * common).sum()))
        likeness = both / max(float(np.sqrt(size * whole)), 1e-9)
        alike.append(likeness >= _LIKENESS)
        poor.append(likeness < _HALF_LIKENESS or both < _CONTRAST * whole)
    if not any(alike) or alike.count(False) > _HIDDEN_SHARE * len(bands.tone):
        return False
    # a table shows at the picture's border; what lies between bands alike lies on the print
    first, last = alike.index(True), len(alike) - alike[::-1].index(True)
    if any(poor[:first]) or any(poor[last:]):
        return False
    used = profile[(weight > 0) & (weight > 0.2 * float(weight.max()))]
    if len(used) < 2 * _PARTS:
        return False
    parts = [float(part.var(axis=0).sum()) for part in np.array_split(used, _PARTS)]
    return min(parts) >= _PART_SHARE * float(np.median(parts))


def patterned_all_over(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> bool:
    """Whether motifs on one lattice fill the picture, its border included."""
    swatch = Swatch(rgb=rgb, mask=usable, px_per_mm=px_per_mm, origin_mm=(0.0, 0.0))
    total = variance(swatch)
    return total >= PLAIN_VARIANCE and _reaches_border(swatch, total) and find_lattice(swatch) is not None


def _swatch(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> Swatch:
    return Swatch(rgb=rgb, mask=usable, px_per_mm=px_per_mm, origin_mm=(0.0, 0.0)).reduced(_PIXELS)


def _reaches_border(swatch: Swatch, total: float) -> bool:
    """Whether the border varies much as the whole does."""
    size = max(round(_BORDER_WIDTH_SHARE * min(swatch.mask.shape)), 3)
    inner = cv2.erode(np.pad(swatch.mask, 1).astype(np.uint8), np.ones((2 * size + 1,) * 2, np.uint8), borderValue=0)
    border = swatch.mask & ~(inner[1:-1, 1:-1] > 0)
    ring = Swatch(rgb=swatch.rgb, mask=border, px_per_mm=swatch.px_per_mm, origin_mm=swatch.origin_mm)
    return bool(border.sum() > 200) and variance(ring) >= _BORDER_SHARE * total
