"""Where a line lies on the cloth, told as a sewer counts: which stripe from which edge, and how far from it.

A *reading* says how the piece lies before her: stripes that run away from her are counted from the left edge to the
right along a *station*, most often the top edge; stripes that run across are counted down the left side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Spot

from stash.fabric import Fabric, Stripe
from stash.piece import Piece, Point, across_axis, along_axis
from stash.sheet.tint import known, word
from stash.sheet.wording import both, inch, ordinal

#: A stripe cut by the edge is counted from this visible width on, mm, or from half of itself (practice: what catches
#: the eye as a stripe).
SEEN_MM: Final = 3.0
#: An edge counts as straight, so that a tape lies along it, where no corner is further off the chord than this, mm.
STRAIGHT_MM: Final = 3.0
#: A line may miss the end of a station by this much and still be told there, mm.
REACH_MM: Final = 1.0
#: Offsets that differ by less than this are told as one, mm (less than half of 1/16 in).
ALIKE_MM: Final = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Occurrence:
    """One stripe as it lies on the piece, in the coordinate u = p·n, mm."""

    stripe: Stripe
    u_mm: float

    @property
    def span(self) -> tuple[float, float]:
        """Its two edges."""
        half = self.stripe.width_mm / 2
        return self.u_mm - half, self.u_mm + half


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A piece with its axes. ``crosswise``: the stripes run across it, and are counted down its left side."""

    piece: Piece
    fabric: Fabric
    n: Point
    d: Point
    crosswise: bool

    @property
    def low(self) -> str:
        """The name of the side that is counted from."""
        return self.edge("top" if self.crosswise else "left")

    @property
    def sides(self) -> tuple[str, str]:
        """What the two edges of a stripe are called, the one nearer the counted-from side first."""
        return ("upper", "lower") if self.crosswise else ("left", "right")

    @property
    def head(self) -> str:
        """The name of the side from which lengths are measured along the stripes."""
        return self.edge("left" if self.crosswise else "top")

    def edge(self, side: str) -> str:
        """``left selvage``, ``torn top edge``, ``left edge``: as the piece's record says."""
        edges = self.piece.extra.get("edges")
        kind = edges.get(side) if isinstance(edges, dict) else None
        for name in ("selvage", "torn"):
            if self.piece.extra.get(name) == side:
                kind = name
        return {"selvage": f"{side} selvage", "torn": f"torn {side} edge"}.get(str(kind), f"{side} edge")

    def u(self, point: Point) -> float:
        """p·n."""
        return point[0] * self.n[0] + point[1] * self.n[1]

    def v(self, point: Point) -> float:
        """p·d."""
        return point[0] * self.d[0] + point[1] * self.d[1]

    def at(self, u_mm: float, v_mm: float) -> Point:
        """The point with these two coordinates."""
        return u_mm * self.n[0] + v_mm * self.d[0], u_mm * self.n[1] + v_mm * self.d[1]

    def occurrences(self) -> list[Occurrence]:
        """All stripes that may lie on the piece, in the order of u."""
        across = self.fabric.print.across
        if across is None or self.piece.stripe_direction_deg is None or not self.fabric.print.stripes:
            return []
        us = [self.u(point) for point in self.piece.outline_mm]
        first = math.floor((min(us) - self.piece.stripe_origin_mm) / across.value) - 1
        last = math.ceil((max(us) - self.piece.stripe_origin_mm) / across.value) + 1
        found = [
            Occurrence(stripe=stripe, u_mm=self.piece.stripe_origin_mm + stripe.centre_mm + k * across.value)
            for k in range(first, last + 1)
            for stripe in self.fabric.print.stripes
        ]
        return sorted((one for one in found if one.span[1] > min(us) and one.span[0] < max(us)), key=lambda o: o.u_mm)


def read(piece: Piece, fabric: Fabric) -> Reading:
    """The reading of a piece; cloth without a known direction is read along its grain."""
    direction = piece.stripe_direction_deg or 0.0
    turned = (direction + 90) % 180 - 90
    return Reading(
        piece=piece, fabric=fabric, n=across_axis(direction), d=along_axis(direction), crosswise=abs(turned) > 45
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A line across the piece, from the side that is counted from, along which stripes are counted and measured."""

    reading: Reading
    start: Point
    end: Point
    place: str
    chalked: bool = False

    @property
    def length_mm(self) -> float:
        """From one side of the piece to the other."""
        return math.dist(self.start, self.end)

    def t(self, u_mm: float) -> float:
        """How far along the station the line p·n = u crosses it, mm."""
        run = self.reading.u(self.end) - self.reading.u(self.start)
        return (u_mm - self.reading.u(self.start)) / run * self.length_mm

    def reaches(self, u_mm: float) -> bool:
        """Whether the line p·n = u crosses the station."""
        return -REACH_MM <= self.t(u_mm) <= self.length_mm + REACH_MM

    def point(self, t_mm: float) -> Point:
        """The point that far along."""
        share = t_mm / self.length_mm
        (x, y), (end_x, end_y) = self.start, self.end
        return x + (end_x - x) * share, y + (end_y - y) * share

    def seen(self, one: Occurrence) -> float:
        """How much of a stripe's width shows along the station, mm."""
        low, high = sorted(self.t(u) for u in one.span)
        return max(0.0, min(high, self.length_mm) - max(low, 0.0))

    def counted(self, label: str) -> list[Occurrence]:
        """The stripes of a label in the order of counting."""
        found = [one for one in self.reading.occurrences() if one.stripe.label == label]
        enough = [one for one in found if self.seen(one) >= min(SEEN_MM, one.stripe.width_mm / 2)]
        return sorted(enough, key=lambda one: self.t(one.u_mm))

    def name(self, one: Occurrence) -> str:
        """``third A (moderate red)``; says so where the first of them is cut by the edge."""
        row = self.counted(one.stripe.label)
        number = next((i for i, other in enumerate(row, 1) if abs(other.u_mm - one.u_mm) < 1e-6), None)
        if number is None:
            return f"{one.stripe.label} ({colour(one.stripe)}) at the edge"
        return f"{ordinal(number)} {one.stripe.label} ({colour(one.stripe)})"

    def first_is_part(self, one: Occurrence) -> str | None:
        """What to know about a first stripe of this kind that the edge cuts short."""
        row = self.counted(one.stripe.label)
        if not row or self.seen(row[0]) > 0.9 * self.t_width(row[0]):
            return None
        shows = f"{inch(self.seen(row[0]))} shows"
        return f"the first {one.stripe.label} at the {self.reading.low} is cut short ({shows}) and is counted"

    def t_width(self, one: Occurrence) -> float:
        """A stripe's whole width along the station, mm."""
        return abs(self.t(one.span[1]) - self.t(one.span[0]))


def colour(stripe: Stripe) -> str:
    """The stripe's colour in words."""
    return stripe.colour or (word(known(stripe.hex)) if stripe.hex else "colour not known")


def stations(reading: Reading, lines_mm: Sequence[float]) -> tuple[Station, ...]:
    """As few stations as tell all the lines p·n = u; the head edge first."""
    candidates = [station for station in _candidates(reading) if station.length_mm > REACH_MM]
    left = list(lines_mm)
    chosen: list[Station] = []
    while candidates:
        best = max(candidates, key=lambda station: sum(station.reaches(u) for u in left))
        rest = [u for u in left if not best.reaches(u)]
        if len(rest) == len(left) and chosen:
            break
        chosen.append(best)
        left = rest
        if not left:
            break
    return tuple(chosen)


def _candidates(reading: Reading) -> list[Station]:
    edges = [_edge(reading, head=True), _edge(reading, head=False)]
    levels = [_level(reading, share) for share in (0.08, 0.25, 0.5, 0.75, 0.92)]
    return [station for station in edges + levels if station is not None]


def _seen(reading: Reading, point: Point) -> Point:
    """(sideways, away) of a point: x and y, or y and x where the stripes run across the piece."""
    return (point[1], point[0]) if reading.crosswise else point


def corners(reading: Reading, *, head: bool) -> tuple[int, int]:
    """The indices of the outline's two corners at one end of the piece."""
    outline = [_seen(reading, point) for point in reading.piece.outline_mm]
    sign = 1 if head else -1
    low = min(range(len(outline)), key=lambda i: outline[i][0] + sign * outline[i][1])
    high = min(range(len(outline)), key=lambda i: -outline[i][0] + sign * outline[i][1])
    return low, high


def _edge(reading: Reading, *, head: bool) -> Station | None:
    outline = reading.piece.outline_mm
    low, high = corners(reading, head=head)
    if low == high:
        return None
    count = len(outline)
    for step in (1, -1):
        chain = [low]
        while chain[-1] != high:
            chain.append((chain[-1] + step) % count)
        chord = LineString([outline[low], outline[high]])
        if all(chord.distance(Spot(outline[i])) <= STRAIGHT_MM for i in chain):
            side = reading.edge(("left" if head else "right") if reading.crosswise else ("top" if head else "bottom"))
            return Station(reading=reading, start=outline[low], end=outline[high], place=f"along the {side}")
    return None


def _level(reading: Reading, share: float) -> Station | None:
    outline = [_seen(reading, point) for point in reading.piece.outline_mm]
    xs, ys = [p[0] for p in outline], [p[1] for p in outline]
    y = min(ys) + share * (max(ys) - min(ys))
    crossing = Polygon(outline).buffer(0).intersection(LineString([(min(xs) - 1, y), (max(xs) + 1, y)]))
    parts = [part for part in getattr(crossing, "geoms", [crossing]) if part.geom_type == "LineString" and part.length]
    if not parts:
        return None
    start, end = sorted(max(parts, key=lambda part: part.length).coords)
    ends = zip((start, end), corners(reading, head=True), strict=True)
    near, far = (both(math.dist(point, outline[corner])) for point, corner in ends)
    where = "right of the left corners" if reading.crosswise else "below the top corners"
    place = f"along a line chalked across ({near} and {far} {where})"
    start, end = (_seen(reading, (x, y)) for x, y in (start, end))
    return Station(reading=reading, start=start, end=end, place=place, chalked=True)
