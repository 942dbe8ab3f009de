"""The square-on picture: the cloth's plane resampled so that every pixel is the same true size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SquareOn:
    """A rectified picture of the plane in which everything is measured.

    ``rgb`` (H, W, 3) uint8, ``valid`` (H, W) bool: pixels that the photo covers. Pixel (i, j) shows the plane at
    ``origin_mm + (j, i) / px_per_mm``, x right, y down, as in the upright photo. ``length_relative_u95`` is the
    relative uncertainty (95 %) of any length measured in it, ``angle_u95_deg`` that of any angle between two
    directions; both come from the plane's covariance and the reference's own tolerance.
    """

    rgb: NDArray[np.uint8]
    valid: NDArray[np.bool_]
    px_per_mm: float
    origin_mm: tuple[float, float]
    length_relative_u95: float
    angle_u95_deg: float
