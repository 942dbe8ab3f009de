"""Whether one print fills the whole picture, so that no table shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.lattice import find_lattice
from vision.print import STRIPE_SHARE, variance
from vision.profile import sharpest_direction
from vision.spectrum import orientation_peaks
from vision.swatch import Mask, Swatch, folded_deg

#: Pixels at which the question is asked (time).
_PIXELS = 1.5e5
#: Below this the picture is of one colour: a wall, a table, or plain cloth; nobody can tell.
_LEAST_VARIANCE = 12.0


def fills_frame(rgb: NDArray[np.uint8], usable: Mask, px_per_mm: float) -> bool:
    """Whether stripes one or both ways, or a lattice of motifs, explain the whole picture (H, W, 3)."""
    swatch = Swatch(rgb=rgb, mask=usable, px_per_mm=px_per_mm, origin_mm=(0.0, 0.0)).reduced(_PIXELS)
    total = variance(swatch)
    if total < _LEAST_VARIANCE:
        return False
    found = [sharpest_direction(swatch, peak) for peak in orientation_peaks(swatch, 0.8)]
    direction, strength = max(found, key=lambda f: f[1])
    square = [s for d, s in found if abs(abs(folded_deg(d - direction)) - 90) < 12]
    if strength + max(square, default=0.0) >= STRIPE_SHARE * total:
        return True
    return find_lattice(swatch) is not None
