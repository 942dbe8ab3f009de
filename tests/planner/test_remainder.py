"""What is left: the largest rectangle in a region, against rectangles known by construction."""

from __future__ import annotations

import random

import pytest
import shapely

from stash.planner.remainder import CELL_MM, largest_rectangle_mm


def test_largest_rectangle_of_an_l() -> None:
    """Of an L of two arms, 400 x 1000 and 1000 x 300 mm, the longer and broader arm is the largest rectangle."""
    shape = shapely.union_all([shapely.box(0, 0, 400, 1000), shapely.box(0, 0, 1000, 300)])
    wide, long = largest_rectangle_mm(shape)
    assert wide == pytest.approx(400, abs=CELL_MM)
    assert long == pytest.approx(1000, abs=CELL_MM)
    assert wide <= 400
    assert long <= 1000


def test_largest_rectangle_beside_random_holes() -> None:
    """On a grid of cells some of which are cut out, no rectangle of whole cells is larger (every one is tried)."""
    rng = random.Random(5)
    for _ in range(6):
        columns, rows = rng.randint(4, 9), rng.randint(4, 9)
        holes = {(rng.randrange(columns), rng.randrange(rows)) for _ in range(rng.randint(1, 9))} - {(0, 0)}
        boxes = [_box(x, y) for x in range(columns) for y in range(rows) if (x, y) not in holes]
        region = shapely.union_all(boxes)
        left, top, right, bottom = region.bounds
        best = max(
            (x2 - x1) * (y2 - y1)
            for x1 in range(columns) for x2 in range(x1 + 1, columns + 1)
            for y1 in range(rows) for y2 in range(y1 + 1, rows + 1)
            if not any(x1 <= x < x2 and y1 <= y < y2 for x, y in holes)
        )  # fmt: skip
        wide, long = largest_rectangle_mm(shapely.set_precision(region, 0.001))
        assert wide * long == pytest.approx(best * CELL_MM**2, rel=1e-6), (left, top, right, bottom)


def _box(x: int, y: int) -> shapely.Polygon:
    return shapely.box(x * CELL_MM, y * CELL_MM, (x + 1) * CELL_MM, (y + 1) * CELL_MM)
