"""Cautions: what can hurt a person or spoil cloth. Rules of the place come before them."""

from __future__ import annotations

from typing import Final

#: Local rules and a qualified person's advice come first, whatever is said here.
DEFER: Final = "Local rules and the advice of a qualified person come before anything said here."

#: To every garment (common practice).
ALWAYS: Final[tuple[str, ...]] = (
    "Wash, dry and press every cloth before measuring and cutting, each as the garment will be washed; "
    "washed and unwashed cloth in one garment shrink apart.",
    "Close the guard of a rotary cutter whenever it leaves the hand and cut away from the body; count the pins.",
    "Keep the iron off the cord and out of reach of children; fuse in an aired room, and fuse before cutting.",
)

#: To children's clothes. 16 CFR 1120.3 and 76 FR 42502 (2011, after ASTM F1816), US: outerwear sizes 2T to 12 has no
#: drawstring at hood or neck. EN 14682, EU: none there to 7 years (134 cm). 16 CFR 1501.3(d) exempts clothing and its
#: buttons from the small-parts rule: a caution, not a requirement.
CHILD: Final[tuple[str, ...]] = (
    "A child's coat gets no ties, cords or drawstrings at the neck or hood: they catch and strangle, and many "
    "countries forbid them; none is planned here.",
    "At a child's waist or hem let no cord hang more than 3 in free, without knots or toggles, and tack it down.",
    "Under three years, beads and buttons that come off are swallowed: sew them through and through or leave them out.",
)


def cautions(*, child: bool = False) -> tuple[str, ...]:
    """The cautions for a garment, the gravest first, the deferring one last."""
    return (*(CHILD if child else ()), *ALWAYS, DEFER)
