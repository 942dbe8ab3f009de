"""A cloth found in one plane, as it lies in a better one, for where that leaves its straight sides straight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.cloth import ClothRegion
from vision.estimate import Estimate
from vision.measurement import Point
from vision.plane import Plane
from vision.swatch import folded_deg


def carried(region: ClothRegion, before: Plane, after: Plane) -> ClothRegion:
    """A cloth found in one plane as it lies in another that differs little."""

    def moved(points_mm: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple((float(x), float(y)) for x, y in after.to_mm(before.to_px(np.asarray(points_mm))))

    edges = []
    for edge in region.edges:
        start, end = moved((edge.start_mm, edge.end_mm))
        turned = _direction_deg(start, end) - _direction_deg(edge.start_mm, edge.end_mm)
        direction = Estimate(folded_deg(edge.direction_deg.value + turned), edge.direction_deg.u95)
        edges.append(replace(edge, start_mm=start, end_mm=end, direction_deg=direction))
    outline, holes = moved(region.outline_mm), tuple(moved(hole) for hole in region.holes_mm)
    return replace(region, outline_mm=outline, holes_mm=holes, edges=tuple(edges))


def _direction_deg(start: Point, end: Point) -> float:
    return float(np.degrees(np.arctan2(start[1] - end[1], end[0] - start[0])))


def bent_mm(region: ClothRegion, before: Plane, after: Plane) -> float:
    """By how much straight edges of a cloth found in one plane are bent in another."""
    bent = 0.0
    for edge in region.edges:
        start, end = np.asarray(edge.start_mm), np.asarray(edge.end_mm)
        first, middle, last = after.to_mm(before.to_px(np.stack([start, (start + end) / 2, end])))
        along = (last - first) / np.hypot(*(last - first))
        off = middle - first
        bent = max(bent, abs(float(off[0] * along[1] - off[1] * along[0])))
    return bent
