"""What washing does to cloth: sizes, repeat and skew from how much a marked length shrank each way.

A piece shrinks by two factors, one along its lengthwise grain (y) and one across it (x). Lines stay lines; the print's
direction turns where the factors differ, by tan t' = tan t · (1 − s_width)/(1 − s_length) for a lengthwise line and by
the inverse ratio for a crosswise one, and print axes that lay askew are then no longer square (plane geometry).

References: AATCC 135 and ISO 5077, dimensional change in per cent: 100 · (after − before)/before, negative shrinkage.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.lengths import parse_length, shown
from stash.piece import Piece, Point, Polygon, across_axis, along_axis
from vision.estimate import Estimate

#: How well a mark on cloth is read against a ruler, mm, 95 %: half its finest division (common practice).
READING_U95_MM: Final = 0.5
#: Cloth that comes out longer than this or shorter than that share of itself was measured wrongly (our judgement).
MOST_GROWN: Final = 1.2
MOST_SHRUNK: Final = 0.6

_BEFORE_AFTER: Final = re.compile(r"(.+?)\s*(?:->|→|=>|\bto\b)\s*(.+)", re.ASCII)
_PER_CENT: Final = re.compile(r"(?P<sign>-?)(?P<number>\d+(?:[.,]\d+)?)\s*%", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shrinkage:
    """What is left of a length: after over before, along the lengthwise grain and across it."""

    along: Estimate
    across: Estimate

    @property
    def change_percent(self) -> tuple[float, float]:
        """Dimensional change along and across, per cent; shrinkage is negative."""
        return 100 * (self.along.value - 1), 100 * (self.across.value - 1)


def left_of(text: str | None, what: str) -> Estimate:
    """After over before, from ``50 cm -> 48.2 cm`` or the shrinkage ``3 %``; nothing typed is no change.

    Raises InputWrong where it cannot be read, or is more than cloth ever shrinks or grows.
    """
    if text is None or not text.strip():
        return Estimate(1.0)
    if match := _PER_CENT.fullmatch(text.strip().replace("−", "-")):
        share = float(match["number"].replace(",", ".")) / 100
        left = Estimate(1 + share if match["sign"] else 1 - share)
    elif match := _BEFORE_AFTER.fullmatch(text.strip()):
        before, after = parse_length(match[1], what=what), parse_length(match[2], what=what)
        if before <= 0:
            raise InputWrong(f"{what} starts from {shown(match[1])}", "mark a length such as 50 cm before washing")
        left = Estimate(after / before, math.sqrt(2) * READING_U95_MM / before)
    else:
        raise InputWrong(f"{what} is {shown(text)}, which says no shrinkage", 'write it like "50 cm -> 48.2 cm" or 3 %')
    if not MOST_SHRUNK <= left.value <= MOST_GROWN:
        raise InputWrong(
            f"{what} is {shown(text)}, a change by {100 * (left.value - 1):.0f} %, more than cloth does",
            "measure the marks again",
        )
    return left


def washed_piece(piece: Piece, shrinkage: Shrinkage) -> Piece:
    """The piece after washing, its stripes where they come to lie. The phase along them is kept at its middle."""
    a, b = shrinkage.across.value, shrinkage.along.value

    def ring(points: Polygon) -> Polygon:
        return tuple((x * a, y * b) for x, y in points)

    washed = replace(
        piece,
        outline_mm=ring(piece.outline_mm),
        outline_u95_mm=math.hypot(piece.outline_u95_mm, _spread_mm(piece, shrinkage)),
        holes_mm=tuple(ring(hole) for hole in piece.holes_mm),
        flaws_mm=tuple(ring(flaw) for flaw in piece.flaws_mm),
        extra={**piece.extra, "washed": "yes"},
    )
    s = piece.stripe_direction_deg
    if s is None:
        return washed
    turned = turned_deg(s, shrinkage)
    middle = _middle(piece.outline_mm)
    along = _dot(middle, along_axis(s)) - piece.along_origin_mm
    return replace(
        washed,
        stripe_direction_deg=turned,
        stripe_origin_mm=piece.stripe_origin_mm * across_factor(s, shrinkage),
        along_origin_mm=_dot((middle[0] * a, middle[1] * b), along_axis(turned)) - along * along_factor(s, shrinkage),
    )


def washed_fabric(fabric: Fabric, directions_deg: Sequence[float], shrinkage: Shrinkage) -> Fabric:
    """The fabric after washing: repeat and stripes, for pieces whose stripes lie in those directions.

    Where pieces lie differently askew their repeats come to differ by a hair; that goes into the uncertainty.
    """
    across = _over_all([across_factor(s, shrinkage) for s in directions_deg or [0.0]], shrinkage)
    along = _over_all([along_factor(s, shrinkage) for s in directions_deg or [0.0]], shrinkage)
    print_ = replace(
        fabric.print,
        across=_times(fabric.print.across, across),
        along=_times(fabric.print.along, along),
        stripes=tuple(
            replace(
                stripe,
                width_mm=stripe.width_mm * across.value,
                centre_mm=stripe.centre_mm * across.value,
                width_u95_mm=stripe.width_u95_mm * across.value,
            )
            for stripe in fabric.print.stripes
        ),
    )
    along_percent, across_percent = (round(change, 3) for change in shrinkage.change_percent)
    changes = {"change_length_percent": along_percent, "change_width_percent": across_percent}
    return replace(fabric, print=print_, extra={**fabric.extra, **changes})


def turned_deg(direction_deg: float, shrinkage: Shrinkage) -> float:
    """The stripes' direction after washing, from their direction before."""
    d = along_axis(direction_deg)
    return math.degrees(math.atan2(d[0] * shrinkage.across.value, d[1] * shrinkage.along.value))


def along_factor(direction_deg: float, shrinkage: Shrinkage) -> float:
    """How a length along the stripes changes."""
    d = along_axis(direction_deg)
    return math.hypot(d[0] * shrinkage.across.value, d[1] * shrinkage.along.value)


def across_factor(direction_deg: float, shrinkage: Shrinkage) -> float:
    """How the distance between two stripes changes, square to them."""
    n = across_axis(direction_deg)
    return 1 / math.hypot(n[0] / shrinkage.across.value, n[1] / shrinkage.along.value)


def _over_all(factors: Sequence[float], shrinkage: Shrinkage) -> Estimate:
    middle = (min(factors) + max(factors)) / 2
    worst = max(shrinkage.along.u95, shrinkage.across.u95)
    return Estimate(middle, math.hypot(worst, (max(factors) - min(factors)) / 2))


def _times(repeat: Estimate | None, factor: Estimate) -> Estimate | None:
    if repeat is None:
        return None
    return Estimate(repeat.value * factor.value, math.hypot(repeat.u95 * factor.value, repeat.value * factor.u95))


def _spread_mm(piece: Piece, shrinkage: Shrinkage) -> float:
    """How far an edge may lie from where it is said: the factors' uncertainty over half the piece."""
    xs, ys = zip(*piece.outline_mm, strict=True)
    wide, long = (max(xs) - min(xs)) / 2, (max(ys) - min(ys)) / 2
    return float(max(wide * shrinkage.across.u95, long * shrinkage.along.u95))


def _middle(ring: Polygon) -> Point:
    xs, ys = zip(*ring, strict=True)
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def _dot(p: Point, q: Point) -> float:
    return p[0] * q[0] + p[1] * q[1]
