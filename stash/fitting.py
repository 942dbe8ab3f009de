"""Whether rectangles lie in a piece of cloth: true containment in its outline, clear of holes and flaws.

A rectangle that is not turned lies in a polygon exactly where its corner lies in the polygon and no edge of it is met
on the way: the places of the corner are the polygon less the Minkowski sums of its edges with the reflected rectangle.
One and two rectangles are decided so; more are laid one after another from each side, which may miss a laying.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, pairwise
from typing import Any, Final, Literal

import numpy as np
import shapely

from stash.piece import Piece, across_axis, along_axis
from stash.planner.region import to_print, usable
from stash.planner.stance import Stance

Way = Literal["along", "square", "any"]

#: Lengths that differ by at most this are equal, mm (the contract): a rectangle of the cloth's own size fits.
EQUAL_MM: Final = 0.01
#: Smaller surfaces are no places, mm²: a rectangle of the cloth's own size has ``EQUAL_MM`` each way.
_SLIVER_MM2: Final = 1e-6
#: Directions tried besides those of the outline's own edges where a rectangle may lie any way, degrees.
STEP_DEG: Final = 15.0
#: Edges of an outline whose directions are tried, the longest first.
MOST_EDGES: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """What is sought room for: ``count`` rectangles, ``along`` the stripes by ``across`` them, mm.

    ``way``: ``along`` as said, ``square`` also a quarter turned, ``any`` in any direction.
    """

    along_mm: float
    across_mm: float
    count: int = 1
    way: Way = "along"

    @property
    def area_mm2(self) -> float:
        """What they cover."""
        return self.count * self.along_mm * self.across_mm


def fits(piece: Piece, room: Room) -> bool:
    """Whether they can be cut from the piece, even with its outline moved in by its u95.

    Striped cloth whose direction is not known has no "along": it fits only any way.
    """
    cloth = usable(piece, Stance.STRICT)
    if cloth.area < room.area_mm2 * (1 - 1e-6) - EQUAL_MM:
        return False
    corners = shapely.get_coordinates(cloth)
    lying = [to_print(cloth, way) for way in _directions(piece, cloth, room.way) if _spans(corners, way, room)]
    return any(_fits(turned, room) for turned in lying)


def _spans(corners: Any, direction_deg: float, room: Room) -> bool:
    """Whether the cloth reaches far enough both ways for one of them, or for two."""
    if not len(corners):
        return False
    n, d = across_axis(direction_deg), along_axis(direction_deg)
    wide, long = (float(np.ptp(corners @ np.array(axis))) + EQUAL_MM for axis in (n, d))
    shapes = _shapes(room)
    if room.count == 1:
        return any(wide >= across and long >= along for across, along in shapes)
    return any(  # of several, two lie beside or above one another
        (wide >= one[0] + two[0] and long >= max(one[1], two[1]))
        or (wide >= max(one[0], two[0]) and long >= one[1] + two[1])
        for one, two in combinations_with_replacement(shapes, 2)
    )


def _shapes(room: Room) -> list[tuple[float, float]]:
    """How one of them may lie, across by along."""
    shapes = [(room.across_mm, room.along_mm)]
    if room.way != "along" and room.across_mm != room.along_mm:
        shapes.append((room.along_mm, room.across_mm))
    return shapes


def _directions(piece: Piece, cloth: Any, way: Way) -> Iterator[float]:
    if way != "any":
        if piece.stripe_direction_deg is not None:
            yield piece.stripe_direction_deg
        return
    seen: set[float] = set()
    turns = [piece.stripe_direction_deg or 0.0, *_edges(cloth), *(k * STEP_DEG for k in range(int(90 / STEP_DEG)))]
    for turn in turns:
        key = round(turn % 90, 3)
        if key not in seen:
            seen.add(key)
            yield turn


def _edges(cloth: Any) -> list[float]:
    """Directions of the longest edges, as the angle s of d = (sin s, cos s)."""
    edges = []
    for part in shapely.get_parts(cloth):
        corners = list(part.exterior.coords)
        for (x, y), (u, v) in pairwise(corners):
            edges.append((math.hypot(u - x, v - y), math.degrees(math.atan2(u - x, v - y))))
    edges.sort(reverse=True)
    return [turn for _, turn in edges[:MOST_EDGES]]


def _fits(cloth: Any, room: Room) -> bool:
    """In the print's frame: x across, y along."""
    shapes = _shapes(room)
    if room.count == 1:
        return any(not _places(cloth, wide, long).is_empty for wide, long in shapes)
    places = [_places(cloth, wide, long) for wide, long in shapes]
    two = any(
        _two(places[i], shapes[i], places[j], shapes[j])
        for i, j in combinations_with_replacement(range(len(shapes)), 2)
    )
    if room.count == 2 or not two:
        return two
    return any(_laid(places, shapes, room.count, axis) for axis in (0, 1)) or _in_a_block(cloth, shapes, room.count)


def _in_a_block(cloth: Any, shapes: Sequence[tuple[float, float]], count: int) -> bool:
    """Whether they lie in rows that make one rectangle, which laying one by one may miss."""
    return any(
        not _places(cloth, beside * wide, count // beside * long).is_empty
        for wide, long in shapes
        for beside in range(1, count + 1)
        if count % beside == 0
    )


def _places(cloth: Any, wide: float, long: float) -> Any:
    """Where the corner of least x and y of a rectangle may lie; empty where it fits nowhere."""
    wide, long = wide - EQUAL_MM, long - EQUAL_MM
    if cloth.is_empty:
        return cloth
    left, low, right, high = cloth.bounds
    if right - left < wide or high - low < long:
        return shapely.Polygon()
    if len(shapely.get_coordinates(cloth)) == 5 and cloth.area >= (right - left) * (high - low) - EQUAL_MM**2:
        return shapely.box(left, low, right - wide, high - long)
    places = cloth
    for dx, dy in ((wide, long), (wide, 0.0), (0.0, long)):  # each corner must lie in the cloth
        places = _surfaces(places.intersection(_moved(cloth, dx, dy)))
        if places.is_empty:
            return places
    if _convex(cloth):
        return places
    reach = np.array([(dx, dy) for dx in (0.0, wide) for dy in (0.0, long)])
    swept = np.concatenate([shapely.convex_hull(shapely.linestrings(_sweep(ring, reach))) for ring in _rings(cloth)])
    shapely.prepare(places)
    return _surfaces(places.difference(shapely.union_all(swept[shapely.intersects(places, swept)])))


def _surfaces(shape: Any) -> Any:
    """Without lines, points and slivers, where edges only touch: a rectangle has a hair's room in what it fits."""
    if shapely.get_type_id(shape) == shapely.GeometryType.POLYGON:
        return shape if shape.area > _SLIVER_MM2 else shapely.Polygon()
    parts = shapely.get_parts(shape)
    polygons = parts[shapely.area(parts) > _SLIVER_MM2]
    return shape if len(polygons) == len(parts) else shapely.multipolygons(polygons)


def _moved(cloth: Any, dx: float, dy: float) -> Any:
    return shapely.transform(cloth, lambda corners: corners - (dx, dy))


def _convex(cloth: Any) -> bool:
    """But for notches far narrower than a hair."""
    return bool(cloth.convex_hull.area - cloth.area <= 1e-9 * cloth.area)


def _rings(cloth: Any) -> Iterator[Any]:
    for part in shapely.get_parts(cloth):
        for ring in (part.exterior, *part.interiors):
            yield shapely.get_coordinates(ring)


def _sweep(ring: Any, reach: Any) -> Any:
    """For each edge of a ring (n + 1, 2) the corners (n, 8, 2) of what it bars: its ends less the rectangle's."""
    return np.concatenate([ring[:-1, None] - reach, ring[1:, None] - reach], axis=1)


def _two(first: Any, one: tuple[float, float], second: Any, other: tuple[float, float]) -> bool:
    """Whether two rectangles can lie apart: one wholly beside or wholly above the other."""
    if first.is_empty or second.is_empty:
        return False
    p, q = first.bounds, second.bounds
    hair = EQUAL_MM
    return any(
        q[axis + 2] - p[axis] >= one[axis] - hair or p[axis + 2] - q[axis] >= other[axis] - hair for axis in (0, 1)
    )


def _laid(places: Sequence[Any], shapes: Sequence[tuple[float, float]], count: int, axis: int) -> bool:
    """Lays them one by one as far to one side as each will go. ``places`` are those of each shape in the whole cloth;
    each rectangle that lies bars the places from which one would reach into it."""
    free = list(places)
    for _ in range(count):
        best: tuple[tuple[float, float], tuple[float, float], tuple[float, float]] | None = None
        for (wide, long), there in zip(shapes, free, strict=True):
            for x, y in shapely.get_coordinates(there).tolist():
                far = (y + long, x) if axis else (x + wide, y)
                if best is None or far < best[0]:
                    best = (far, (x, y), (wide, long))
        if best is None:
            return False
        _, (x, y), (wide, long) = best
        right, bottom = x + wide - EQUAL_MM, y + long - EQUAL_MM
        free = [
            _surfaces(there.difference(shapely.box(x - across + EQUAL_MM, y - along + EQUAL_MM, right, bottom)))
            for (across, along), there in zip(shapes, free, strict=True)
        ]
    return True
