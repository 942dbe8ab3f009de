"""Room for panels: every position of a rectangle wholly on usable cloth, as convex cells, and the model of it.

The positions of a rectangle R inside a region are what is left when every piece of the region's complement, fattened
by the reflected R, is taken away (a Minkowski sum). That is exact for any outline, holes and flaws included.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import shapely

from stash.garment.part import Panel
from stash.planner.region import to_print
from stash.planner.stance import FIT_UM, Stance
from stash.planner.task import Task

SCALE = 1_000_000
"""Directions enter the model as whole millionths: over 2 m of cloth that moves a line by at most 1 um."""

MOST_PAIRS = 4000
"""Pairs of cuts at different angles that the model takes; above, the search says that it is undecided."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A panel on a piece, one way round: its cut size and the cells of positions of its corner least across and along,
    in the frame turned by ``angle_deg``."""

    panel: int
    piece: int
    quarter: bool
    angle_deg: float
    wide_um: int
    long_um: int
    cells: tuple[tuple[tuple[float, float], ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lay:
    """A panel laid: its corner in the frame turned by the spot's angle."""

    spot: Spot
    x_um: int
    y_um: int

    def box_mm(self) -> Any:
        """The cut rectangle in the spot's frame."""
        x, y = self.x_um / 1000, self.y_um / 1000
        return shapely.box(x, y, x + self.spot.wide_um / 1000, y + self.spot.long_um / 1000)


def find_spots(task: Task) -> list[Spot]:
    """Every panel on every piece each way round, where there is any room at all."""
    spots = []
    for index, panel in enumerate(task.panels):
        for piece in range(len(task.pieces)):
            angle = frame_angle(task, panel, piece)
            if angle is None:
                continue
            for quarter in (False, True) if panel.turn else (False,):
                width, length = panel.width_mm + 2 * panel.seam_mm, panel.length_mm + 2 * panel.seam_mm
                wide, long = (length, width) if quarter else (width, length)
                wide_um, long_um = task.stance.need_um(wide), task.stance.need_um(long)
                cloth = to_print(task.cloths[piece], angle)
                cells = tuple(room_cells(cloth, wide_um / 1000, long_um / 1000, task.stance))
                if cells:
                    spots.append(Spot(panel=index, piece=piece, quarter=quarter, angle_deg=angle,
                                      wide_um=wide_um, long_um=long_um, cells=cells))  # fmt: skip
    return spots


def frame_angle(task: Task, panel: Panel, piece: int) -> float | None:
    """The panel's frame on a piece: the print's, or the grain's; None where the print's direction is not known."""
    striped = task.fabric.print.kind != "plain" and (task.fabric.print.stripes or task.fabric.print.across is not None)
    return task.pieces[piece].stripe_direction_deg if panel.align == "print" and striped else 0.0


def room_cells(cloth: Any, wide_mm: float, long_mm: float, stance: Stance) -> Iterator[tuple[tuple[float, float], ...]]:
    """Convex cells (counter-clockwise rings) of the corner's positions, FIT allowed on every side."""
    if cloth.is_empty:
        return
    fit = stance.fit_um / 1000
    left, low, right, high = cloth.bounds
    if right - left + 2 * fit < wide_mm or high - low + 2 * fit < long_mm:
        return
    corners = [(-fit, -fit), (fit - wide_mm, -fit), (fit - wide_mm, fit - long_mm), (-fit, fit - long_mm)]
    around = shapely.box(left - 1, low - 1, right + 1, high + 1).difference(cloth)
    fat = [
        shapely.MultiPoint([(x + a, y + b) for x, y in triangle.exterior.coords[:-1] for a, b in corners]).convex_hull
        for triangle in _triangles(around)
    ]
    field = shapely.box(left - fit, low - fit, right + fit - wide_mm, high + fit - long_mm)
    room = field.difference(shapely.union_all(fat))
    for part in getattr(room, "geoms", (room,)):
        if part.geom_type == "Polygon" and part.area > 0:
            yield from _convex_cells(part)


def _triangles(shape: Any) -> Sequence[Any]:
    triangles = shapely.constrained_delaunay_triangles(shape).geoms
    return [triangle for triangle in triangles if triangle.area > 0]


def _convex_cells(part: Any) -> Iterator[tuple[tuple[float, float], ...]]:
    hull = part.convex_hull
    whole = hull.area - part.area <= 1e-6 * max(1e-3, part.area)
    for cell in [hull] if whole else _triangles(part):
        yield tuple(shapely.orient_polygons(cell).exterior.coords[:-1])


@dataclass(frozen=True, slots=True)
class _Block:
    """Something that takes room: linear expressions of its corner and size in its own frame, and when it is there."""

    angle_deg: float
    x: Any
    y: Any
    wide: Any
    long: Any
    here: Any
    across: Any
    along: Any


class PanelModel:
    """The panels' share of the search model."""

    def __init__(self, model: Any, task: Task) -> None:
        self.model, self.task = model, task
        self.spots = find_spots(task)
        self.pieces = {spot.piece for spot in self.spots}
        self.literals: dict[int, list[Any]] = defaultdict(list)
        self.blocks: dict[int, list[_Block]] = defaultdict(list)
        self.too_big = False
        by_panel: dict[int, list[Any]] = {index: [] for index in range(len(task.panels))}
        self._vars = []
        for spot in self.spots:
            here, x, y = self._spot(spot)
            by_panel[spot.panel].append(here)
            self.literals[spot.piece].append(here)
            self._vars.append((spot, here, x, y))
        for choices in by_panel.values():
            model.add_exactly_one(choices) if choices else model.add_bool_or([])

    def _spot(self, spot: Spot) -> tuple[Any, Any, Any]:
        model, stance = self.model, self.task.stance
        here = model.new_bool_var("")
        xs = [x for cell in spot.cells for x, _ in cell]
        ys = [y for cell in spot.cells for _, y in cell]
        x = model.new_int_var(math.floor(min(xs) * 1000), math.ceil(max(xs) * 1000), "")
        y = model.new_int_var(math.floor(min(ys) * 1000), math.ceil(max(ys) * 1000), "")
        inside = [model.new_bool_var("") for _ in spot.cells]
        model.add(sum(inside) == here)
        for cell, literal in zip(spot.cells, inside, strict=True):
            for a, b, c in _half_planes(cell, stance):
                model.add(a * x + b * y >= c).only_enforce_if(literal)
        across = model.new_optional_interval_var(x, spot.wide_um, x + spot.wide_um, here, "")
        along = model.new_optional_interval_var(y, spot.long_um, y + spot.long_um, here, "")
        block = _Block(spot.angle_deg, x, y, spot.wide_um, spot.long_um, here, across, along)
        self.blocks[spot.piece].append(block)
        return here, x, y

    def keep_clear(self, spans: Sequence[tuple[int, Any, Any]]) -> None:
        """Panels of a piece lie clear of each other and of the strips' segments."""
        task, model = self.task, self.model
        strips: dict[int, list[_Block]] = defaultdict(list)
        for run, span, literal in spans:
            stretch = task.runs[run]
            width = stretch.right_um - stretch.left_um
            across = model.new_optional_fixed_size_interval_var(stretch.left_um, width, literal, "")
            angle = task.pieces[stretch.piece].stripe_direction_deg or 0.0
            strips[stretch.piece].append(
                _Block(angle, stretch.left_um, span.start_expr(), width, span.size_expr(), literal, across, span)
            )
        for piece, blocks in self.blocks.items():
            frames: dict[float, list[_Block]] = defaultdict(list)
            for block in (*blocks, *strips[piece]):
                frames[block.angle_deg].append(block)
            for angle, group in frames.items():
                if len(group) > 1 and any(block.angle_deg == angle for block in blocks):
                    model.add_no_overlap_2d([b.across for b in group], [b.along for b in group])
            slanted = [
                (a, b) for a, b in combinations((*blocks, *strips[piece]), 2)
                if a.angle_deg != b.angle_deg
            ]  # fmt: skip
            if len(slanted) > MOST_PAIRS:
                self.too_big = True
                continue
            for a, b in slanted:
                self._apart(a, b)

    def _apart(self, a: _Block, b: _Block) -> None:
        """Two rectangles at different angles lie apart exactly where one of their four axes separates them."""
        sides = []
        ease = SCALE * FIT_UM if self.task.stance is Stance.GENEROUS else 0
        for one, other in ((a, b), (b, a)):
            delta = math.radians(other.angle_deg - one.angle_deg)
            cos, sin = round(math.cos(delta) * SCALE), round(math.sin(delta) * SCALE)
            for start, size, low, high in (
                (one.x, one.wide, *_reach(other, cos, sin)),
                (one.y, one.long, *_reach(other, -sin, cos)),
            ):
                for before in (SCALE * (start + size) <= low + ease, high <= SCALE * start + ease):
                    side = self.model.new_bool_var("")
                    self.model.add(before).only_enforce_if(side)
                    sides.append(side)
        self.model.add_bool_or([*sides, a.here.negated(), b.here.negated()])

    def lays(self, solver: Any) -> tuple[Lay, ...]:
        """Where the solver put the panels."""
        return tuple(
            Lay(spot=spot, x_um=solver.value(x), y_um=solver.value(y))
            for spot, here, x, y in self._vars
            if solver.value(here)
        )


def _reach(block: _Block, across: int, along: int) -> tuple[Any, Any]:
    """The least and greatest of a block along an axis whose components in the block's frame are given (times SCALE)."""
    low: Any = across * block.x + along * block.y
    high: Any = low
    for part, size in ((across, block.wide), (along, block.long)):
        if part < 0:
            low = low + part * size
        else:
            high = high + part * size
    return low, high


def _half_planes(cell: Sequence[tuple[float, float]], stance: Stance) -> Iterator[tuple[int, int, int]]:
    """The cell's edges as a·x + b·y >= c in um and millionths; rounded inward for a yes, outward for a no."""
    for (x1, y1), (x2, y2) in zip(cell, [*cell[1:], cell[0]], strict=True):
        length = math.hypot(x2 - x1, y2 - y1)
        if length < 1e-9:
            continue
        a, b = round(-(y2 - y1) / length * SCALE), round((x2 - x1) / length * SCALE)
        c = (a * x1 + b * y1) * 1000
        yield a, b, math.ceil(c) if stance is Stance.STRICT else math.floor(c - 2 * SCALE * (stance is Stance.GENEROUS))
