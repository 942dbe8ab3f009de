"""Binding: how much bias a square gives, the square a length needs, strips for a perimeter, whole repeats.

Lengths may be in any one unit; every answer is in the same unit. The area rule takes no account of seams: joining the
strips costs small squares 11 to 17 % of their length (worked out against a printed table).
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


def bias_length(side: float, cut_width: float) -> float:
    """The length of bias of a cut width in a square, side²/width (common practice; seams not taken off)."""
    return side * side / cut_width


def square_for(length: float, cut_width: float) -> int:
    """The side of the square for a length of bias, up to the next whole unit: ⌈√(length·width)⌉ (common practice)."""
    area = Fraction(length) * Fraction(cut_width)
    root = math.isqrt(math.floor(area))
    return root if root * root == area else root + 1


def strips_for_perimeter(width: float, height: float, usable: float, extra: float = 0.0) -> int:
    """How many straight strips of a usable length go round a rectangle: ⌈(2·(W + H) + extra)/usable⌉."""
    return math.ceil((2 * (Fraction(width) + Fraction(height)) + Fraction(extra)) / Fraction(usable))


def joined_length(strips: int, usable: float, cut_width: float) -> float:
    """The length of strips sewn end to end at 45°, where each join takes up one strip width (plane geometry)."""
    return strips * usable - max(strips - 1, 0) * cut_width


def whole_repeats(raw: float, repeat: float) -> float:
    """A cut length rounded up to whole repeats; an exact multiple adds none (common practice)."""
    return float(math.ceil(Fraction(str(raw)) / Fraction(str(repeat))) * Fraction(str(repeat)))


def matched_cuts(raw: float, repeat: float, count: int) -> float:
    """The cloth for equal cuts that match in the repeat: (n - 1)·⌈raw/R⌉·R + raw."""
    return (count - 1) * whole_repeats(raw, repeat) + raw if count else 0.0


def bias_repeat(repeat: float) -> float:
    """How far apart a repeat shows along a strip cut at 45°: R·√2 (plane geometry)."""
    return repeat * math.sqrt(2)
