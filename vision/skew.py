"""Skew: how far the print lies askew of the grain.

References: ASTM D3882 (bow and skew of fabrics, printed geometric designs too): skew as a percentage of the width,
100 · tan of the angle (the calculation from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from vision.cloth import ClothRegion
from vision.edge import Side
from vision.estimate import Estimate
from vision.grain import read_grain
from vision.measurement import Print, Skew
from vision.swatch import Doubles, folded_deg


def measure_skew(
    print_: Print,
    region: ClothRegion,
    *,
    torn: Side | None = None,
    selvage: Side | None = None,
    covered_mm: Sequence[Doubles] = (),
) -> Skew | None:
    """The print's axis against the grain nearest to it; None without a print, or an edge that shows the grain.

    The torn edge counts where both are given. The uncertainty joins the print's (which holds the plane's own error of
    angles) and the edge's. ``covered_mm`` are polygons (K, 2) of rulers, whose edges are not the cloth's.
    """
    grain = read_grain(region, torn=torn, selvage=selvage, covered_mm=covered_mm)
    direction = print_.across_direction_deg
    if grain is None or direction is None:
        return None
    angle = between_deg(direction.value, grain.direction_deg.value)
    return Skew(
        angle=Estimate(angle, math.hypot(direction.u95, grain.direction_deg.u95)),
        percent=percent(angle),
        reference=grain.reference,
    )


def between_deg(print_deg: float, grain_deg: float) -> float:
    """From the nearer of the two grains to a print's axis, degrees in (-45, 45], positive counter-clockwise."""
    quarter = (folded_deg(print_deg - grain_deg) + 45.0) % 90.0 - 45.0
    return 45.0 if quarter == -45.0 else quarter


def percent(angle_deg: float) -> float:
    """Skew as deviation over width: 100 · tan."""
    return 100.0 * math.tan(math.radians(angle_deg))
