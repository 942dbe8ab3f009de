"""What every reference says once it is read: marks with known places, and lines known to be parallel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.measurement import ScaleSource

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """Marks seen in the photo whose places on the reference are known.

    ``marks_px`` (N, 2) are points (x, y) in the upright photo, ``marks_mm`` (N, 2) the same on the reference (for a
    ruler: (position, 0)), ``marks_sigma_px`` (N,) one standard deviation each; across the ruler it is
    ``across_sigma_px``, where that is another. ``ticks_px`` (M, 2, 2) are the two ends
    of tick lines, all parallel and square to the reference's x axis, ``ticks_sigma_px`` (M,) the standard deviation of
    their ends across the line. ``tolerance_relative_u95`` is the reference's own error of scale, ``names`` (N) what to
    write beside each mark ("" for none), ``outline_px`` (K, 2) the polygon the reference covers in the photo.
    ``planar_u95_mm`` is how far the reference may lie above or below the cloth.
    """

    source: ScaleSource
    unit: str | None
    marks_px: Floats
    marks_mm: Floats
    marks_sigma_px: Floats
    ticks_px: Floats
    ticks_sigma_px: Floats
    tolerance_relative_u95: float
    names: tuple[str, ...]
    outline_px: Floats
    planar_u95_mm: float = 0.0
    across_sigma_px: float | None = None
