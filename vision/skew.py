"""The print against the grain: the angle between the print's axis and the edge that tells the grain.

A torn edge follows the weft (crosswise grain), a selvage the warp (lengthwise). Skew in percent is 100 tan of the angle
(as in ASTM D3882, from memory).
"""

from __future__ import annotations

import math

from vision.cloth import ClothRegion
from vision.estimate import Estimate
from vision.measurement import Print, Skew, SkewReference


def measure_skew(
    print_: Print, region: ClothRegion, torn: str | None = None, selvage: str | None = None
) -> Skew | None:
    """The skew against the torn edge, else against the selvage; None where neither edge is seen straight.

    The uncertainty holds that of the print's direction and of the edge's; a bow of the whole weft it cannot know.
    """
    if print_.across_direction_deg is None:
        return None
    references: tuple[tuple[str | None, SkewReference], ...] = ((torn, "torn"), (selvage, "selvage"))
    for side, reference in references:
        edge = None if side is None else region.edge(side)
        if edge is None:
            continue
        across = print_.across_direction_deg
        apart = nearest_axis(across.value - edge.direction_deg.value)
        angle = Estimate(apart, math.hypot(across.u95, edge.direction_deg.u95))
        return Skew(angle=angle, percent=100.0 * math.tan(math.radians(apart)), reference=reference)
    return None


def nearest_axis(angle_deg: float) -> float:
    """An angle between two crosses of axes, in (-45, 45]."""
    folded = (angle_deg + 45.0) % 90.0 - 45.0
    return 45.0 if folded == -45.0 else folded
