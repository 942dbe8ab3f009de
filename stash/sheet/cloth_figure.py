"""The cloth of a figure: its stripes in their colours, flaws, holes, what is left and its edge, on paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from shapely.geometry import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from stash.piece import Point
from stash.sheet.counting import Reading
from stash.sheet.cutting import Bench
from stash.sheet.drawing import GREY, INK, WHITE, Area, Line, Mark, Ring
from stash.sheet.tint import known, lightness, paler

#: How much white the colours of what is left are mixed with, so that the parts stand out from it.
LEFT_PALER: Final = 0.66
PART_PALER: Final = 0.12
#: Stripes whose lightness differs by less than this print as one grey, so that one of them is hatched (relative
#: luminance; a twelfth of the scale is hard to tell apart on an office printer, common practice).
SAME_GREY: Final = 0.085


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """Where the cloth lies on the figure: 1 : ``scale``, with the cloth's (x, y) at (left, top) of the page."""

    scale: float
    left_mm: float
    top_mm: float
    x_mm: float
    y_mm: float

    def point(self, point: tuple[float, ...]) -> Point:
        """A place of the cloth on the page."""
        return (
            self.left_mm + (point[0] - self.x_mm) / self.scale,
            self.top_mm + (point[1] - self.y_mm) / self.scale,
        )

    def ring(self, points: Any) -> Ring:
        """A ring of the cloth on the page, open."""
        ring = tuple(self.point(point) for point in points)
        return ring[:-1] if len(ring) > 1 and ring[0] == ring[-1] else ring


def cloth_marks(bench: Bench, paper: Paper) -> list[Mark]:
    """The piece without its cut lines: parts in full colour, the rest paler."""
    marks: list[Mark] = []
    for polygon, paleness in [(bench.cloth, LEFT_PALER), *((part, PART_PALER) for part in bench.parts)]:
        marks += areas(polygon, paper, fill=_ground(bench.reading, paleness))
        marks += _stripes(bench.reading, polygon, paper, paleness)
    marks += _repeats_along(bench, paper)
    marks += areas(bench.cloth, paper, stroke=INK, width_mm=0.3)
    for flaw in bench.reading.piece.flaws_mm:
        spot = Polygon(flaw).buffer(0).intersection(bench.cloth)
        marks += areas(spot, paper, fill=WHITE, stroke=INK, width_mm=0.2)
        marks += hatched(spot, paper, gap_mm=1.0)
        marks += hatched(spot, paper, gap_mm=1.0, slope=-1)
    return marks


def areas(shape: BaseGeometry, paper: Paper, **paint: Any) -> list[Mark]:
    """A polygon or several as areas of the page."""
    polygons = [part for part in getattr(shape, "geoms", [shape]) if part.geom_type == "Polygon" and not part.is_empty]
    return [
        Area(rings=tuple(paper.ring(ring.coords) for ring in (one.exterior, *one.interiors)), **paint)
        for one in polygons
    ]


def hatched(
    shape: BaseGeometry, paper: Paper, *, gap_mm: float, slope: int = 1, stroke: str = INK, width_mm: float = 0.12
) -> list[Mark]:
    """Slanting lines within a shape, ``gap_mm`` apart on the page."""
    if shape.is_empty:
        return []
    left, top, right, bottom = shape.bounds
    high = bottom - top
    step = gap_mm * paper.scale * math.sqrt(2)
    first = math.floor((left - high) / step)
    lines = []
    for index in range(first, math.ceil((right + high) / step) + 1):
        x = index * step
        lines.append(LineString([(x, bottom), (x + high, top)] if slope > 0 else [(x, top), (x + high, bottom)]))
    inside = MultiLineString(lines).intersection(shape)
    return [
        Line(points=tuple(paper.point(point) for point in part.coords), stroke=stroke, width_mm=width_mm)
        for part in getattr(inside, "geoms", [inside])
        if part.geom_type == "LineString" and not part.is_empty
    ]


def _ground(reading: Reading, paleness: float) -> str:
    colours = reading.fabric.extra.get("hex")
    plain = [stripe.hex for stripe in reading.fabric.print.stripes] if not reading.occurrences() else []
    return paler(known(colours if isinstance(colours, str) else (plain[0] if plain else None)), paleness)


def _stripes(reading: Reading, shape: Polygon, paper: Paper, paleness: float) -> list[Mark]:
    marks: list[Mark] = []
    vs = [reading.v(point) for point in shape.exterior.coords]
    twins = hatched_labels(reading)
    for one in reading.occurrences():
        (low, high), (head, foot) = one.span, (min(vs), max(vs))
        band = Polygon([reading.at(low, head), reading.at(high, head), reading.at(high, foot), reading.at(low, foot)])
        part = band.intersection(shape)
        if part.is_empty or part.area < 1.0:
            continue
        colour = known(one.stripe.hex)
        marks += areas(part, paper, fill=paler(colour, paleness), stroke=GREY, width_mm=0.06)
        if one.stripe.label in twins:
            marks += hatched(part, paper, gap_mm=1.5, stroke=_hatch_ink(colour, paleness), width_mm=0.13)
    return marks


def _hatch_ink(colour: str, paleness: float) -> str:
    return WHITE if lightness(paler(colour, paleness)) < 0.3 else paler(colour, paleness / 2)


def hatched_labels(reading: Reading) -> set[str]:
    """The stripes that print as the same grey as another one before them, and so are hatched."""
    seen: dict[str, float] = {}
    twins: set[str] = set()
    for stripe in reading.fabric.print.stripes:
        if stripe.label in seen:
            continue
        grey = lightness(known(stripe.hex))
        if any(abs(grey - other) < SAME_GREY for label, other in seen.items() if label not in twins):
            twins.add(stripe.label)
        seen[stripe.label] = grey
    return twins


def _repeats_along(bench: Bench, paper: Paper) -> list[Mark]:
    reading = bench.reading
    along = reading.fabric.print.along
    if along is None or along.value / paper.scale < 1.5 or reading.piece.stripe_direction_deg is None:
        return []
    us = [reading.u(point) for point in bench.cloth.exterior.coords]
    vs = [reading.v(point) for point in bench.cloth.exterior.coords]
    origin = reading.piece.along_origin_mm
    marks: list[Mark] = []
    for k in range(math.ceil((min(vs) - origin) / along.value), math.floor((max(vs) - origin) / along.value) + 1):
        v = origin + k * along.value
        line = LineString([reading.at(min(us), v), reading.at(max(us), v)]).intersection(bench.cloth)
        marks += [
            Line(points=tuple(paper.point(p) for p in part.coords), stroke=GREY, width_mm=0.15, dash_mm=(0.5, 1.0))
            for part in getattr(line, "geoms", [line])
            if part.geom_type == "LineString" and not part.is_empty
        ]
    return marks
