"""Two angles kept apart: the print against the grain, and the weft against square to the selvage.

Cloth pulled askew (the second) often goes back; a print laid on askew (the first) never does (common practice).

References: ASTM D3882 (bow and skew of fabrics, printed geometric designs too): skew as a percentage of the width,
100 · tan of the angle (the calculation from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from vision.estimate import Estimate
from vision.grain import Grain
from vision.measurement import Print, Skew, SkewReference
from vision.swatch import folded_deg

#: No cloth is pulled farther askew, deg, which is 10 %: a roll is sent back at 3 to 5 %, and cloth pulled so far falls
#: in folds (practice). A print may lie so by design, on the bias; but then the cloth's edges agree with each other, and
#: where they do not, what was taken for that edge is another's, as the side of a ruler over it.
MOST_SKEW_DEG = 5.7


#: What is known (95 %, deg) of the angle between a grain and an axis of a print, given what the print's fit leaves of
#: the axis and the direction of the lines in the picture that show it.
Doubt = Callable[[Estimate, float, Grain], float]


def measure_skew(print_: Print, grains: Sequence[Grain], doubt: Doubt | None = None) -> Skew | None:
    """The print's axis against the grain nearest to it; None without a print or a grain. The first grain counts, but
    for one so far askew that the cloth's other edges belie it.

    The uncertainty joins the print's and the grain's. What the plane's own error adds to the print's differs from grain
    to grain, which ``doubt`` tells: without it, it is that of the print's direction by itself.
    """
    if print_.across_direction_deg is None:
        return None
    for grain in grains:
        skew = _skew(_axis(print_, grain, doubt), grain.direction_deg, grain.reference)
        if abs(skew.angle.value) <= MOST_SKEW_DEG or grain.reference == "thread" or grain.agreed:
            return skew
    return None


def _axis(print_: Print, grain: Grain, doubt: Doubt | None) -> Estimate:
    """The axis of a print to hold against a grain, deg: of two that are square to each other as far as is known, the
    surer one; else that whose lines run along the grain."""
    axes = [(axis, _line_deg(print_, axis.value)) for axis in _axes(print_)]
    if doubt is None:
        return axes[0][0]
    axes.sort(key=lambda one: abs(folded_deg(one[1] - grain.direction_deg.value)))
    known = [Estimate(axis.value, doubt(axis, line, grain)) for axis, line in axes]
    if len(known) < 2 or abs(between_deg(known[0].value, known[1].value)) > math.hypot(known[0].u95, known[1].u95):
        return known[0]
    return min(known, key=lambda axis: axis.u95)


def _axes(print_: Print) -> list[Estimate]:
    found = (print_.across_direction_deg, print_.along_direction_deg)
    return [axis for axis in found if axis is not None]


def _line_deg(print_: Print, axis_deg: float) -> float:
    """The lines that show an axis: a motif's follow one another along it, stripes run square to it."""
    return axis_deg if print_.kind == "motif" else axis_deg + 90.0


def measure_weft(grains: Sequence[Grain], angle_u95_deg: float) -> Skew | None:
    """The weft (a torn edge, or a thread drawn across) against square to the selvage; None where not both are known.

    ``angle_u95_deg`` is the picture's own uncertainty of angles.
    """
    selvage = next((grain for grain in grains if grain.reference == "selvage"), None)
    if selvage is None:
        return None
    for grain in grains:
        apart = abs(folded_deg(grain.direction_deg.value - selvage.direction_deg.value))
        if grain is not selvage and apart >= 45.0:  # nearer than that it is a thread of the warp
            weft = Estimate(grain.direction_deg.value, math.hypot(grain.direction_deg.u95, angle_u95_deg))
            return _skew(weft, selvage.direction_deg, "selvage")
    return None


def _skew(direction: Estimate, reference: Estimate, name: SkewReference) -> Skew:
    angle = between_deg(direction.value, reference.value)
    return Skew(angle=Estimate(angle, math.hypot(direction.u95, reference.u95)), percent=percent(angle), reference=name)


def between_deg(print_deg: float, grain_deg: float) -> float:
    """From the nearer of the two grains to a print's axis, degrees in (-45, 45], positive counter-clockwise."""
    quarter = (folded_deg(print_deg - grain_deg) + 45.0) % 90.0 - 45.0
    return 45.0 if quarter == -45.0 else quarter


def percent(angle_deg: float) -> float:
    """Skew as deviation over width: 100 · tan."""
    return 100.0 * math.tan(math.radians(angle_deg))
