"""Whether one print fills the whole picture, so that no table shows."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.lattice import find_lattice
from vision.print import STRIPE_SHARE, variance
from vision.profile import sharpest_direction
from vision.spectrum import orientation_peaks
from vision.swatch import Mask, Swatch, folded_deg

#: Pixels at which the question is asked (time).
_PIXELS = 1.0e5
#: Below this the picture is of one colour: a wall, a table, or plain cloth; nobody can tell.
_LEAST_VARIANCE = 12.0
#: A print that fills the picture varies along its border too: by this share of what it does all over.
_BORDER_SHARE = 0.4
_BORDER_WIDTH_SHARE = 0.10


def striped_all_over(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> bool:
    """Whether stripes one or both ways explain the whole picture (H, W, 3), its border included."""
    swatch = _swatch(rgb, usable, px_per_mm)
    total = variance(swatch)
    if total < _LEAST_VARIANCE or not _reaches_border(swatch, total):
        return False
    found = [sharpest_direction(swatch, peak) for peak in orientation_peaks(swatch, 0.8)]
    direction, strength = max(found, key=lambda f: f[1])
    square = [s for d, s in found if abs(abs(folded_deg(d - direction)) - 90) < 12]
    return strength + max(square, default=0.0) >= STRIPE_SHARE * total


def patterned_all_over(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> bool:
    """Whether motifs on one lattice fill the picture, its border included."""
    swatch = _swatch(rgb, usable, px_per_mm)
    total = variance(swatch)
    return total >= _LEAST_VARIANCE and _reaches_border(swatch, total) and find_lattice(swatch) is not None


def _swatch(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> Swatch:
    return Swatch(rgb=rgb, mask=usable, px_per_mm=px_per_mm, origin_mm=(0.0, 0.0)).reduced(_PIXELS)


def _reaches_border(swatch: Swatch, total: float) -> bool:
    """Whether the border varies much as the whole does."""
    size = max(round(_BORDER_WIDTH_SHARE * min(swatch.mask.shape)), 3)
    inner = cv2.erode(np.pad(swatch.mask, 1).astype(np.uint8), np.ones((2 * size + 1,) * 2, np.uint8), borderValue=0)
    border = swatch.mask & ~(inner[1:-1, 1:-1] > 0)
    ring = Swatch(rgb=swatch.rgb, mask=border, px_per_mm=swatch.px_per_mm, origin_mm=swatch.origin_mm)
    return bool(border.sum() > 200) and variance(ring) >= _BORDER_SHARE * total
