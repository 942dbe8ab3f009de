"""What a plan leaves, as somebody at the table would count it: the largest rectangle, and lengths of each stripe."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from stash.fabric import Fabric
from stash.piece import Piece
from stash.planner.lanes import Profile, find_runs
from stash.planner.plan import Leftover
from stash.planner.region import outline_region, to_print, usable
from stash.planner.stance import Stance

#: The side of the squares in which the largest rectangle is counted, mm (1/2 in): it is at most one short each way.
CELL_MM: Final = 12.7
#: Lengths that differ by at most this are equal, mm (the contract, "Common to every command").
EQUAL_MM: Final = 0.01
#: Stripes shorter than this are no length worth counting, mm (6 in, as for what goes back to the stash).
LEAST_MM: Final = 152.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Remainder:
    """What is left of one fabric, cut into or not: the rectangle across and along the grain, whole stripes by label."""

    fabric: str
    rectangle_mm: tuple[float, float]
    area_mm2: float
    stripes_mm: Mapping[str, float]


def remainders(
    fabrics: Mapping[str, Fabric], pieces: Sequence[Piece], leftovers: Sequence[Leftover]
) -> tuple[Remainder, ...]:
    """What is left of each fabric that has pieces: leftovers of the pieces that were cut, the others whole."""
    cut = {row.piece for row in leftovers}
    rows = []
    for key, fabric in fabrics.items():
        left: list[tuple[Piece, Any]] = []
        for piece in pieces:
            if piece.fabric == key:
                left += [(piece, rest) for rest in _rests(piece, leftovers, whole=piece.id not in cut)]
        rectangles = [largest_rectangle_mm(rest) for _, rest in left]
        rows.append(
            Remainder(
                fabric=key,
                rectangle_mm=max(rectangles, key=lambda size: size[0] * size[1], default=(0.0, 0.0)),
                area_mm2=sum(float(rest.area) for _, rest in left),
                stripes_mm=_stripes(fabric, left),
            )
        )
    return tuple(rows)


def largest_rectangle_mm(region: Any) -> tuple[float, float]:
    """The sides across and along the grain of the largest rectangle of whole cells that lies inside the region."""
    if region.is_empty:
        return 0.0, 0.0
    left, top, right, bottom = region.bounds
    columns, rows = int((right - left + EQUAL_MM) // CELL_MM), int((bottom - top + EQUAL_MM) // CELL_MM)
    if not columns or not rows:
        return 0.0, 0.0
    x = left + CELL_MM * np.arange(columns)
    y = top + CELL_MM * np.arange(rows)
    grid_x, grid_y = np.meshgrid(x, y)
    region = region.buffer(2 * EQUAL_MM)
    shapely.prepare(region)
    inside = shapely.covers(region, shapely.box(grid_x, grid_y, grid_x + CELL_MM, grid_y + CELL_MM))
    wide, high = largest_of_cells(inside)
    return wide * CELL_MM, high * CELL_MM


def largest_of_cells(inside: Any) -> tuple[int, int]:
    """The largest rectangle of true cells, (columns, rows), by the heights of the true columns above each row."""
    best = (0, 0)
    heights = [0] * inside.shape[1]
    for row in inside:
        heights = [height + 1 if cell else 0 for height, cell in zip(heights, row, strict=True)]
        open_: list[tuple[int, int]] = []
        for column, height in enumerate([*heights, 0]):
            start = column
            while open_ and open_[-1][1] >= height:
                start, tall = open_.pop()
                if (column - start) * tall > best[0] * best[1]:
                    best = (column - start, tall)
            open_.append((start, height))
    return best


def _rests(piece: Piece, leftovers: Sequence[Leftover], *, whole: bool) -> Iterator[Any]:
    """What is left of a piece, without its flaws."""
    clear = usable(piece, Stance.NOMINAL)
    if whole:
        shapes = [outline_region(piece)]
    else:
        shapes = [shapely.Polygon(row.outline_mm, row.holes_mm) for row in leftovers if row.piece == piece.id]
    for shape in shapes:
        rest = shape if clear.covers(shape) else shapely.make_valid(shape).intersection(clear)
        yield from (part for part in shapely.get_parts(rest) if part.geom_type == "Polygon")


def _stripes(fabric: Fabric, left: Sequence[tuple[Piece, Any]]) -> dict[str, float]:
    """How long the whole stripes of each label are that are left, end to end."""
    lengths: dict[str, float] = {}
    for label in dict.fromkeys(stripe.label for stripe in fabric.print.stripes):
        wide = min(stripe.width_mm for stripe in fabric.print.occurrences(label))
        profile = Profile(label=label, cut_width_mm=wide, centre_at_mm=wide / 2)
        lengths[label] = sum(_lengths(fabric, left, profile))
    return lengths


def _lengths(fabric: Fabric, left: Sequence[tuple[Piece, Any]], profile: Profile) -> Iterator[float]:
    for piece, rest in left:
        if piece.stripe_direction_deg is None:
            continue
        runs = find_runs(
            piece=0, cloth=to_print(rest, piece.stripe_direction_deg), origin_mm=piece.stripe_origin_mm, fabric=fabric,
            profile=profile, stance=Stance.NOMINAL, shortest_um=round(LEAST_MM * 1000),
        )  # fmt: skip
        yield from (run.length_um / 1000 for run in runs)
