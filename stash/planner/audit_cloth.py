"""The cloth as the audit sees it: a piece's usable area, its axes, and where its stripes run.

Written from the contract alone, with shapely polygons; it shares no arithmetic with the search, so that a mistake made
there is not repeated here.

References:
    The interchange stash and the meaning of yes, no and unsure: the project's contract, "stash.json" and "enough".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

from shapely import Polygon as Shape
from shapely import make_valid
from shapely.ops import unary_union

from stash.fabric import Fabric
from stash.piece import Piece, Point, Polygon, across_axis, along_axis

Allowance = Literal["strict", "nominal", "generous"]
"""How the uncertainties are counted: against the plan (for a yes), not at all, or in its favour (for a no)."""

_SIGN: dict[Allowance, int] = {"strict": 1, "nominal": 0, "generous": -1}
_MITRE = 2  # shapely's number for a mitred join
_MITRE_LIMIT = 10.0  # times the offset; sharper spikes than 11 degrees are cut off


def shape_of(outline: Polygon) -> Any:
    """The outline as a valid shapely geometry (an outline that touches itself is mended, never rejected)."""
    shape = Shape(outline)
    return shape if shape.is_valid else make_valid(shape)


def moved(shape: Any, outwards_mm: float) -> Any:
    """The shape with its edges moved outwards (inwards where negative), corners kept sharp."""
    return shape.buffer(outwards_mm, join_style=_MITRE, mitre_limit=_MITRE_LIMIT) if outwards_mm else shape


@dataclass(frozen=True, slots=True, kw_only=True)
class Occurrence:
    """One run of a stripe over a piece: where its centre lies along n, and which stripes lie beside it.

    ``repeats_off`` is |k|, counted from the run of the same stripe that lies nearest to the piece's stripe origin.
    """

    centre_mm: float
    neighbours: tuple[str, str]
    repeats_off: int


@dataclass(frozen=True, kw_only=True)
class Cloth:
    """A piece with its fabric under one allowance. ``usable`` is what may be cut from; lengths in mm."""

    piece: Piece
    fabric: Fabric
    allowance: Allowance

    @property
    def direction_known(self) -> bool:
        """Whether it is known which way the print lies (plain cloth has none, and follows its grain)."""
        return self.is_plain or self.piece.stripe_direction_deg is not None

    @property
    def is_plain(self) -> bool:
        """Whether there is no print to follow."""
        print_ = self.fabric.print
        return print_.kind == "plain" or (print_.across is None and not print_.stripes)

    @property
    def print_deg(self) -> float:
        """The direction of the print; along the grain on plain cloth."""
        return 0.0 if self.is_plain else self.piece.stripe_direction_deg or 0.0

    @cached_property
    def usable(self) -> Any:
        """The outline moved in (strict) or out (generous) by its uncertainty, without holes and flaws, whose edges are
        known no better and are moved the other way."""
        inwards_mm = _SIGN[self.allowance] * self.piece.outline_u95_mm
        outline = moved(shape_of(self.piece.outline_mm), -inwards_mm)
        rings = (*self.piece.holes_mm, *self.piece.flaws_mm)
        return outline.difference(unary_union([moved(shape_of(ring), inwards_mm) for ring in rings]))

    @cached_property
    def whole(self) -> Any:
        """The outline as measured, without the holes; flaws are still cloth."""
        outline = shape_of(self.piece.outline_mm)
        return outline.difference(unary_union([shape_of(hole) for hole in self.piece.holes_mm]))

    @cached_property
    def spoilt(self) -> Any:
        """The holes and flaws together."""
        return unary_union([shape_of(ring) for ring in (*self.piece.holes_mm, *self.piece.flaws_mm)])

    def in_print(self, point: Point) -> Point:
        """(across, along): the point's p·n and p·d."""
        return in_frame(point, self.print_deg)

    def occurrences_near(self, label: str, across_mm: float, reach_mm: float) -> list[Occurrence]:
        """The runs of the labelled stripe whose centre lies within ``reach_mm`` of ``across_mm``."""
        repeat = self.fabric.print.across
        if repeat is None or self.piece.stripe_direction_deg is None:
            return []
        found = []
        stripes = self.fabric.print.stripes
        for index, stripe in enumerate(stripes):
            if stripe.label != label:
                continue
            neighbours = (stripes[index - 1].label, stripes[(index + 1) % len(stripes)].label)
            start = self.piece.stripe_origin_mm + stripe.centre_mm
            first = math.ceil((across_mm - reach_mm - start) / repeat.value)
            last = math.floor((across_mm + reach_mm - start) / repeat.value)
            for k in range(first, last + 1):
                off = _repeats_off(k, stripe.centre_mm / repeat.value)
                centre = start + k * repeat.value
                found.append(Occurrence(centre_mm=centre, neighbours=neighbours, repeats_off=off))
        return found

    def widening_mm(self, occurrence: Occurrence) -> float:
        """What a strip over that run is widened by at either edge (negative where generous)."""
        repeat = self.fabric.print.across
        return _SIGN[self.allowance] * occurrence.repeats_off * (repeat.u95 if repeat else 0.0)


def in_frame(point: Point, direction_deg: float) -> Point:
    """(p·n, p·d) for axes that lie ``direction_deg`` from the piece's own."""
    n, d = across_axis(direction_deg), along_axis(direction_deg)
    return point[0] * n[0] + point[1] * n[1], point[0] * d[0] + point[1] * d[1]


def from_frame(across_mm: float, along_mm: float, direction_deg: float) -> Point:
    """The point with these p·n and p·d: the inverse of ``in_frame``."""
    n, d = across_axis(direction_deg), along_axis(direction_deg)
    return across_mm * n[0] + along_mm * d[0], across_mm * n[1] + along_mm * d[1]


def rectangle(across_mm: tuple[float, float], along_mm: tuple[float, float], direction_deg: float) -> Any:
    """A shapely rectangle between two values of p·n and two of p·d."""
    (left, right), (low, high) = across_mm, along_mm
    corners = ((left, low), (right, low), (right, high), (left, high))
    return Shape([from_frame(u, v, direction_deg) for u, v in corners])


def _repeats_off(k: int, centre_in_repeats: float) -> int:
    """|k - k0| where run k0 lies nearest to the stripe origin; of two equally near ones the farther from k counts."""
    nearest = -centre_in_repeats
    low = math.floor(nearest)
    gap = nearest - low
    if abs(gap - 0.5) < 1e-9:
        return max(abs(k - low), abs(k - low - 1))
    return abs(k - (low if gap < 0.5 else low + 1))
