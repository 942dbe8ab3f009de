"""What is left of a piece: the largest whole rectangle in it, along the stripes, as she would measure it."""

from __future__ import annotations

from typing import Final

from shapely.geometry import LineString, Polygon

from stash.planner.plan import Leftover
from stash.sheet.counting import Reading

#: Columns into which a remnant is divided to find its largest rectangle; the answer is given as "about".
COLUMNS: Final = 60

Span = tuple[float, float]


def shape(leftover: Leftover) -> Polygon:
    """The leftover as geometry."""
    return Polygon(leftover.outline_mm, leftover.holes_mm).buffer(0)


def whole_rectangle(leftover: Leftover, reading: Reading) -> tuple[float, float]:
    """Width across and length along the stripes of a large rectangle that lies wholly within the leftover, mm.

    The remnant is read in columns; the best run of columns with a length in common is taken. It may be a column's width
    short of the best there is.
    """
    polygon = shape(leftover)
    us = [reading.u(point) for point in leftover.outline_mm]
    step = (max(us) - min(us)) / COLUMNS
    cells = [_clear(polygon, reading, min(us) + step * i, min(us) + step * (i + 1)) for i in range(COLUMNS)]
    best = (0.0, 0.0)
    for first in range(COLUMNS):
        common = cells[first]
        for last in range(first, COLUMNS):
            common = _both(common, cells[last])
            if not common:
                break
            sides = step * (last - first + 1), max(high - low for low, high in common)
            best = max(best, sides, key=lambda pair: pair[0] * pair[1])
    return best


def _clear(polygon: Polygon, reading: Reading, low: float, high: float) -> list[Span]:
    edge = (high - low) / 1000
    return _both(_along(polygon, reading, low + edge), _along(polygon, reading, high - edge))


def _along(polygon: Polygon, reading: Reading, u: float) -> list[Span]:
    far = 2 * sum(abs(c) for c in polygon.bounds) + 1
    crossing = polygon.intersection(LineString([reading.at(u, -far), reading.at(u, far)]))
    spans = []
    for part in getattr(crossing, "geoms", [crossing]):
        if part.geom_type == "LineString" and not part.is_empty:
            low, high = sorted(reading.v((x, y)) for x, y in (part.coords[0], part.coords[-1]))
            spans.append((low, high))
    return spans


def _both(ones: list[Span], others: list[Span]) -> list[Span]:
    return [(max(a, c), min(b, d)) for a, b in ones for c, d in others if min(b, d) > max(a, c)]
