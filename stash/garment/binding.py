"""Binding: the width to cut for a finished one, and the square that a length of bias needs.

The area rule takes no account of seams: joining the strips costs small squares 11 to 17 % of their length (worked out
against a printed table).
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final, Literal

from stash.garment.part import Make

#: What seams may take of the bias from a small square, as a share of its length (upper end of the printed table).
SEAM_LOSS: Final = 0.17

#: Finished widths of binding above this will not lie flat round a neck (1/2 in, common practice), mm.
WIDEST_ON_A_CURVE_MM: Final = 12.7


def cut_width_mm(make: Make, width_mm: float, seam_mm: float) -> float:
    """The width to cut for a finished width: flat width + 2·seam, folded 2·width + 2·seam, bound 4·width (common
    practice; the bound one is a single layer whose edges are folded to its middle, so it has its seams already)."""
    if make == "bound":
        return 4 * width_mm
    return (2 * width_mm if make == "folded" else width_mm) + 2 * seam_mm


#: A binding of one layer folded round the edge, or pressed double before it is sewn on.
Layers = Literal["single", "double"]

#: What a double binding is cut wider than six times its finished width, mm (1/4 in, common practice).
DOUBLE_EXTRA_MM: Final = 6.35


def binding_cut_width_mm(layers: Layers, finished_mm: float) -> float:
    """The width to cut for a finished width: single 4 times, double 6 times and 1/4 in more (common practice)."""
    return 4 * finished_mm if layers == "single" else 6 * finished_mm + DOUBLE_EXTRA_MM


def stripe_at_mm(make: Make, width_mm: float, seam_mm: float, cut_mm: float) -> float:
    """Where the stripe's centre lies from the first cut edge: the middle, or the middle of the half that shows."""
    return seam_mm + width_mm / 2 if make == "folded" else cut_mm / 2


def square_for(length: float, cut_width: float) -> int:
    """The side of the square for a length of bias, up to the next whole unit, all in the same unit:
    ⌈√(length·width)⌉ (common practice)."""
    area = Fraction(length) * Fraction(cut_width)
    root = math.isqrt(math.floor(area))
    return root if root * root == area else root + 1
