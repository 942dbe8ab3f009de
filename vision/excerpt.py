"""A motif found in parts of the cloth, where the whole shows none: something else lies on it or was taken for it.

A second ruler, a label or a corner of the table is of one piece and repeats nowhere; so it spoils the comparison of the
whole cloth with itself, but not that of the parts without it. What is printed shows in several of them alike.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from vision.lattice import LatticeFit, look_for
from vision.swatch import Doubles, Swatch

#: Sides of a part, as a share of the cloth's, and where parts begin, as shares of what is left: they overlap by half.
PART_SHARE, STARTS = 0.5, (0.0, 0.5, 1.0)
#: Parts are looked at where so much of them is cloth.
LEAST_CLOTH = 0.5
#: In a part a motif shows so often each way: of fewer, chance makes a likeness between what is none.
FEWEST_REPEATS = 2.0
#: Parts agree on a motif whose vectors differ by less than this share (what tilt is left lets lengths grow by).
SAME_SHARE = 0.04
#: So many parts agree, and none finds another motif, or too little is alike to be a print.
FEWEST_PARTS = 2
#: Pixels of a part in which it is seen whether parts agree (time).
QUICK_PIXELS = 6e4


def lattice_in_parts(swatch: Swatch, lying: float | None, angle_u95_deg: float) -> LatticeFit | None:
    """The lattice on which parts of the cloth agree, as the part with most repeats shows it; None where they do not.

    ``lying`` is how the cloth lies in the picture, deg, None where that is not known; ``angle_u95_deg`` what the
    picture leaves open of angles between directions about square to each other.
    """
    looks = ((part, look_for(part.reduced(QUICK_PIXELS), lying, angle_u95_deg)) for part in _parts(swatch))
    found = [(part, fit) for part, fit in looks if fit is not None and min(fit.repeats) >= FEWEST_REPEATS]
    if len(found) < FEWEST_PARTS:
        return None
    best, quick = max(found, key=lambda one: one[1].repeats[0] * one[1].repeats[1])
    if not all(_alike(quick, fit) for _, fit in found):
        return None
    fine = look_for(best, lying, angle_u95_deg)
    return fine if fine is not None and _alike(quick, fine) else None


def _parts(swatch: Swatch) -> list[Swatch]:
    """Overlapping parts of the swatch that show enough cloth."""
    sizes = [max(round(PART_SHARE * n), 1) for n in swatch.mask.shape]
    parts = []
    for down, right in product(STARTS, STARTS):
        y, x = (round(at * (n - size)) for at, n, size in zip((down, right), swatch.mask.shape, sizes, strict=True))
        window = np.s_[y : y + sizes[0], x : x + sizes[1]]
        if swatch.mask[window].mean() >= LEAST_CLOTH:
            origin = (swatch.origin_mm[0] + x / swatch.px_per_mm, swatch.origin_mm[1] + y / swatch.px_per_mm)
            rgb, mask = swatch.rgb[window], swatch.mask[window]
            parts.append(Swatch(rgb=rgb, mask=mask, px_per_mm=swatch.px_per_mm, origin_mm=origin))
    return parts


def _alike(one: LatticeFit, other: LatticeFit) -> bool:
    """Whether two fits have the same rectangle, to what tilt is left."""
    return all(_near(a, b) for a, b in ((one.across_mm, other.across_mm), (one.along_mm, other.along_mm)))


def _near(one: Doubles, other: Doubles) -> bool:
    return float(np.hypot(*(one - other))) <= SAME_SHARE * float(np.hypot(*one))
