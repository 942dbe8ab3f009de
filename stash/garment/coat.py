"""The one-rectangle coat: one length of cloth, folded at the shoulder, two cuts from the sides, one up the front.

The cloth lies flat, ``width_mm`` from sleeve end to sleeve end and ``length_mm`` from the hem to the far edge; heights
are counted up from the hem. Sizes are finished, edges butted or bound, so nothing is lost in seams. The shape is an old
one (archaeologists and sewers call it a bog coat); the formulas are plane geometry and are tested on folded polygons.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from stash.errors import InputWrong
from stash.garment.part import Make
from stash.lengths import inches

BustBy = Literal["gap", "wedge"]
Neck = Literal["stand", "binding", "plain"]
Rule = Literal["mirror", "outward", "round"]

#: Where the neck is not measured: half width, front and back depth of a neck hole 16.7 in round (mm). It clears the
#: neck at its base of 95 women in 100 (405 mm; ANSUR II, 2012) by 20 mm.
NECK_HALF_MM: Final = 82.55
NECK_FRONT_MM: Final = 76.2
NECK_BACK_MM: Final = 19.05

#: How far the band and the strip behind it lie over each side of a bust gap, mm (1/4 in, common practice).
OVERLAP_MM: Final = 6.35

#: The arithmetic-geometric mean doubles its digits with every step; from any axes this many are more than enough.
_AGM_STEPS: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Coat:
    """The measures of a coat, mm, and what it is made of. ``facing_mm`` is folded back on each front.

    ``bust_mm`` is extra length at centre front: by ``gap`` the lower fronts hang lower and a band bridges the opening,
    by ``wedge`` the upper front is cut deeper and turned under towards the sleeves. ``neck_width_mm`` None means as
    wide as the border (a stand) or as binding may be. ``backing`` is the fabric of the strips behind a gap; None leaves
    them to whatever is at hand. ``neighbours`` is the rule for what shows beside the stripe; None asks for nothing.
    """

    width_mm: float
    length_mm: float
    sleeve_depth_mm: float
    main: str
    border: str
    stripe: str
    border_width_mm: float
    facing_mm: float = 0.0
    bust_mm: float = 0.0
    bust_by: BustBy = "gap"
    neck_half_mm: float = NECK_HALF_MM
    neck_front_mm: float = NECK_FRONT_MM
    neck_back_mm: float = NECK_BACK_MM
    neck: Neck = "stand"
    neck_width_mm: float | None = None
    make: Make = "flat"
    joins: int = 0
    shortest_mm: float | None = None
    turn: bool = True
    overlap_mm: float = OVERLAP_MM
    backing: str | None = None
    child: bool = False
    neighbours: Rule | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """The finished sizes of a coat, mm. ``fold_mm`` and ``cut_height_mm`` are heights above the hem of the flat cloth.

    ``join_upper_mm`` and ``join_lower_mm`` are the two sides of the join of one half, centre front to sleeve end;
    ``front_edge_mm`` is what the border of one front runs along, hem to neck, a gap included.
    """

    fold_mm: float
    cut_height_mm: float
    side_cut_mm: float
    girth_mm: float
    sleeve_beyond_body_mm: float
    sleeve_opening_mm: float
    back_mm: float
    front_mm: float
    front_edge_mm: float
    slit_mm: float
    chest_mm: float
    underarm_mm: float
    join_upper_mm: float
    join_lower_mm: float
    hem_mm: float
    neckline_mm: float

    @property
    def join_mm(self) -> float:
        """The longer side of the join of one half: what its border must cover."""
        return max(self.join_upper_mm, self.join_lower_mm)

    @property
    def borders_mm(self) -> float:
        """All borders together: both fronts, joins and sleeve ends, the hem and the neck."""
        return 2 * (self.front_edge_mm + self.join_mm + self.sleeve_opening_mm) + self.hem_mm + self.neckline_mm


def figures(coat: Coat) -> Figures:
    """The finished sizes of a coat. Raises InputWrong where the measures cannot be a coat."""
    width, length, depth = coat.width_mm, coat.length_mm, coat.sleeve_depth_mm
    wedge = coat.bust_mm if coat.bust_by == "wedge" else 0.0
    gap = coat.bust_mm if coat.bust_by == "gap" else 0.0
    cut = width / 4 + coat.facing_mm / 2
    chest = width / 2 - cut
    slanted = cut + math.hypot(chest, coat.bust_mm)
    front = length - depth + gap
    result = Figures(
        fold_mm=length - depth - wedge,
        cut_height_mm=length - 2 * depth - wedge,
        side_cut_mm=cut,
        girth_mm=width - 2 * coat.facing_mm,
        sleeve_beyond_body_mm=cut,
        sleeve_opening_mm=2 * depth,
        back_mm=length - depth - wedge,
        front_mm=front,
        front_edge_mm=front - coat.neck_front_mm,
        slit_mm=depth + wedge - coat.neck_front_mm,
        chest_mm=chest,
        underarm_mm=cut,
        join_upper_mm=slanted if wedge else width / 2,
        join_lower_mm=slanted,
        hem_mm=width - 2 * coat.facing_mm,
        neckline_mm=half_ellipse_mm(coat.neck_half_mm, coat.neck_front_mm)
        + half_ellipse_mm(coat.neck_half_mm, coat.neck_back_mm),
    )
    _check(coat, result)
    return result


def _check(coat: Coat, sizes: Figures) -> None:
    if sizes.chest_mm <= 0:
        raise InputWrong(
            f"the side cuts of the coat overlap: a facing of {inches(coat.facing_mm)} leaves no front "
            f"on cloth {inches(coat.width_mm)} wide",
            f"make the facing less than {inches(coat.width_mm / 2, toward='down')}",
        )
    if sizes.cut_height_mm <= 0:
        deepest = (coat.length_mm - (coat.bust_mm if coat.bust_by == "wedge" else 0.0)) / 2
        raise InputWrong(
            f"a sleeve depth of {inches(coat.sleeve_depth_mm)} is too large for a length of {inches(coat.length_mm)}: "
            "the side cuts would lie below the hem",
            f"make the sleeve depth less than {inches(deepest, toward='down')}, or the coat longer",
        )
    if sizes.slit_mm <= 0:
        raise InputWrong(
            f"a neck {inches(coat.neck_front_mm)} deep in front cuts through the upper front, which is only "
            f"{inches(sizes.slit_mm + coat.neck_front_mm)} deep",
            "make neck_front smaller or sleeve_depth larger",
        )
    if coat.neck_back_mm >= sizes.back_mm:
        raise InputWrong(
            f"a neck {inches(coat.neck_back_mm)} deep behind cuts through the back, {inches(sizes.back_mm)} long",
            "make neck_back smaller",
        )
    if coat.neck_half_mm >= sizes.chest_mm:
        raise InputWrong(
            f"a neck of {inches(coat.neck_half_mm)} to each side is wider than the body, "
            f"{inches(sizes.chest_mm)} to each side",
            "make neck_half smaller, or the coat wider",
        )


def half_ellipse_mm(half_width_mm: float, depth_mm: float) -> float:
    """Half the perimeter of the ellipse with these semi-axes, exact to rounding.

    References: the arithmetic-geometric mean for the complete elliptic integral of the second kind, NIST Digital
    Library of Mathematical Functions §19.8(i): perimeter = 2π (a₀² - Σ 2ⁿ⁻¹ cₙ²) / M(a, b).
    """
    a, b = max(half_width_mm, depth_mm), min(half_width_mm, depth_mm)
    if b <= 0:
        return 2 * a
    total, power = a * a - (a * a - b * b) / 2, 0.5
    for _ in range(_AGM_STEPS):
        a, b, c = (a + b) / 2, math.sqrt(a * b), (a - b) / 2
        power *= 2
        total -= power * c * c
        if c <= 1e-16 * a:
            break
    return math.pi * total / a
