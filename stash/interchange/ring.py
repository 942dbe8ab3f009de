"""Whether a ring of corners is a simple polygon: the question every outline, hole and flaw must answer.

Plain Python, because reading a stash must not wait for a geometry library.
"""

from __future__ import annotations

import math

from stash.piece import Point, Polygon

#: A polygon smaller than this has no cloth in it. 1e-4 mm2 is a square of 0.01 mm, the length at which two lengths
#: count as equal in every document (contract of the documents).
AREA_LEAST_MM2 = 1e-4


def without_repeats(ring: Polygon) -> Polygon:
    """The same ring without corners that stand twice in a row, the first repeated at the end included."""
    return tuple(point for i, point in enumerate(ring) if len(ring) == 1 or point != ring[i - 1])


def signed_area_mm2(ring: Polygon) -> float:
    """By the shoelace formula: positive where the corners run clockwise as seen (y down)."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:] + ring[:1], strict=True)) / 2.0


def fault(ring: Polygon) -> str | None:
    """What keeps the ring from being a simple polygon, in words that follow its name, or None where nothing does."""
    if len(ring) < 3:
        return f"has {len(ring)} different corners, needed at least 3"
    touching = _touching_edges(ring)
    if touching is not None:
        first, second = touching
        return f"crosses or touches itself between corners {first + 1} and {second + 1}"
    if abs(signed_area_mm2(ring)) < AREA_LEAST_MM2:
        return "has no area"
    return None


def _touching_edges(ring: Polygon) -> tuple[int, int] | None:
    """The first two edges found that meet where they must not, by a sweep from left to right."""
    count = len(ring)
    edges = [(ring[i], ring[(i + 1) % count]) for i in range(count)]
    order = sorted(range(count), key=lambda i: min(edges[i][0][0], edges[i][1][0]))
    active: list[int] = []
    for i in order:
        left = min(edges[i][0][0], edges[i][1][0])
        active = [j for j in active if max(edges[j][0][0], edges[j][1][0]) >= left]
        for j in active:
            if _meet_wrongly(edges, i, j):
                return min(i, j), max(i, j)
        active.append(i)
    return None


def _meet_wrongly(edges: list[tuple[Point, Point]], i: int, j: int) -> bool:
    count = len(edges)
    if (i + 1) % count == j:
        return _folds_back(edges[i], edges[j])
    if (j + 1) % count == i:
        return _folds_back(edges[j], edges[i])
    return _meet(*edges[i], *edges[j])


def _folds_back(first: tuple[Point, Point], second: tuple[Point, Point]) -> bool:
    """Whether the second edge runs back over the first, from whose end it starts."""
    ax, ay = first[1][0] - first[0][0], first[1][1] - first[0][1]
    bx, by = second[1][0] - second[0][0], second[1][1] - second[0][1]
    return ax * by - ay * bx == 0 and ax * bx + ay * by < 0


def _side(a: Point, b: Point, c: Point) -> int:
    cross = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return 0 if cross == 0 else int(math.copysign(1, cross))


def _on(a: Point, b: Point, c: Point) -> bool:
    """Whether c, known to be in line with a and b, lies between them."""
    return min(a[0], b[0]) <= c[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= c[1] <= max(a[1], b[1])


def _meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    abc, abd, cda, cdb = _side(a, b, c), _side(a, b, d), _side(c, d, a), _side(c, d, b)
    if abc * abd < 0 and cda * cdb < 0:
        return True
    return (
        (abc == 0 and _on(a, b, c))
        or (abd == 0 and _on(a, b, d))
        or (cda == 0 and _on(c, d, a))
        or (cdb == 0 and _on(c, d, b))
    )
