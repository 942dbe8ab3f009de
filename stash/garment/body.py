"""Measures of the body: what is plausible, and the sizes of a coat that go with them.

Source of the figures: 2012 Anthropometric Survey of U.S. Army Personnel (ANSUR II), Gordon et al., NATICK/TR-15/007,
public release: 1,986 women and 4,082 men, aged 17 to 58. Soldiers: not children, not everyone. So a measure outside is
asked about, never refused.
"""

from __future__ import annotations

from typing import Final, Literal

from stash.lengths import both

Fit = Literal["close", "easy", "roomy"]
Hem = Literal["waist", "hip", "knee"]

#: The least and the greatest of both files, mm.
PLAUSIBLE_MM: Final[dict[str, tuple[float, float]]] = {
    "height": (1409.0, 1993.0),
    "span": (1323.0, 2121.0),
    "bust": (695.0, 1469.0),
    "hip": (737.0, 1341.0),
    "neck": (275.0, 514.0),
}

#: The middle of 1,986 women (mm): what is taken where nothing is said.
BUST_MM: Final = 940.0
HEIGHT_MM: Final = 1626.0

#: A child of about seven, mm (common practice; ANSUR has no children).
CHILD_BUST_MM: Final = 640.0
CHILD_HEIGHT_MM: Final = 1220.0

#: Ease over the body's bust, mm: 4, 6 and 10 in (common practice: jackets 4 to 6, coats 6 to 10).
EASE_MM: Final[dict[Fit, float]] = {"close": 101.6, "easy": 152.4, "roomy": 254.0}

#: From the shoulder to the hem as a share of the height. Waist and hip: mean waist back length, and mean cervicale less
#: crotch height, over mean stature, women (425.40, 1395.67 - 782.32, 1628.47 mm); knee: common practice.
HEM_SHARE: Final[dict[Hem, float]] = {"waist": 0.261, "hip": 0.377, "knee": 0.57}

#: Half the sleeve's opening, mm: 9 in for adults (8 to 10), 6 for children (5 to 7); common practice.
SLEEVE_DEPTH_MM: Final = 228.6
CHILD_SLEEVE_DEPTH_MM: Final = 152.4

#: How much smaller a child's neck hole is drawn than an adult's (common practice).
CHILD_NECK_SHARE: Final = 0.85


def doubt(measure: str, mm: float) -> str | None:
    """A question about a measure that no one of 6,068 adults measured had; None where it is plausible or unknown."""
    least, most = PLAUSIBLE_MM.get(measure, (0.0, float("inf")))
    if least <= mm <= most:
        return None
    side = f"less than the {both(least)}" if mm < least else f"more than the {both(most)}"
    return (
        f"A {measure} of {both(mm)} is {side} found among 6,068 adults (ANSUR II, 2012): "
        "is the unit right, or is it for a child?"
    )
