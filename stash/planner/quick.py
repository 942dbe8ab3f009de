"""The quick start: panels into corners first, then strips on what is left, laid and laid anew."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import shapely

from stash.planner.cost import cost_um, opening_um
from stash.planner.placing import place
from stash.planner.plan import Placement
from stash.planner.price import Weights
from stash.planner.recreate import recreate
from stash.planner.region import to_print
from stash.planner.space import Lay, Spot, frame_angle, room_cells
from stash.planner.stance import Stance
from stash.planner.task import Cut, Task

CORNERS = ((1, 1), (-1, 1), (1, -1), (-1, -1))
"""From which corner of the cloth panels are pushed together; tried in this order."""

ROUNDS = 15_000
"""Rounds of laying anew before other means are tried: a few seconds where hardly anything is to spare."""

PANEL_ROUNDS = 300
"""Rounds for each corner that panels are pushed into."""

COMFORT_UM = 3175
"""Room left at a lane's end where that costs nothing (um): shears follow chalk to 1/16-1/8 in [common practice]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """A found plan of one fabric: cuts and panels of a task."""

    task: Task
    cuts: tuple[Cut, ...]
    lays: tuple[Lay, ...]

    def placements(self) -> tuple[Placement, ...]:
        """The cut lines."""
        return tuple(place(self.task, self.cuts, self.lays))

    def cost_um(self, weights: Weights) -> int:
        """What it costs."""
        return cost_um(self.task, self.cuts, self.lays, weights)

    def opening_um(self, weights: Weights) -> int:
        """What it costs in pieces opened and joins alone."""
        return opening_um(self.task, self.cuts, self.lays, weights)


def quick_solution(task: Task, weights: Weights, deadline: float, rounds: int = ROUNDS) -> Solution | None:
    """A plan, or None where laying anew gives none in so many rounds (which says nothing)."""
    if not task.panels:
        return _strips_only(task, (), weights, deadline, rounds)
    best: Solution | None = None
    for backwards in (False, True):
        for corner in CORNERS:
            if time.monotonic() > deadline:
                return best
            found = _with_corner(task, weights, deadline, corner, backwards, min(PANEL_ROUNDS, rounds))
            if found is not None and (best is None or found.cost_um(weights) < best.cost_um(weights)):
                best = found
            if best is not None and (not task.needs or corner == CORNERS[1]):
                return best
    return best


def _with_corner(
    task: Task, weights: Weights, deadline: float, corner: tuple[int, int], backwards: bool, rounds: int
) -> Solution | None:
    cloths = list(task.cloths)
    lays: list[Lay] = []
    order = sorted(range(len(task.panels)), key=lambda i: (-task.panels[i].width_mm * task.panels[i].length_mm, i))
    for index in order:
        lay = _lay_panel(task, cloths, index, corner, backwards, {lay.spot.piece for lay in lays})
        if lay is None:
            return None
        lays.append(lay)
        angle = -lay.spot.angle_deg
        cloths[lay.spot.piece] = cloths[lay.spot.piece].difference(to_print(lay.box_mm(), angle))
    if not task.needs:
        return Solution(task=task, cuts=(), lays=tuple(lays))
    return _strips_only(task.on(cloths), tuple(lays), weights, deadline, rounds)


def _strips_only(task: Task, lays: tuple[Lay, ...], weights: Weights, deadline: float, rounds: int) -> Solution | None:
    """The first plan found: one that leaves room at the lanes' ends, if there is one to be had soon."""
    for margin_um, share in ((COMFORT_UM, 5), (task.stance.fit_um, 1), (0, 10)):
        laid = recreate(trimmed(task, margin_um), weights, deadline, rounds=max(1, rounds // share))
        if not laid.missing:
            return Solution(task=task, cuts=laid.cuts, lays=lays)
    return None


def trimmed(task: Task, margin_um: int) -> Task:
    """The same task with shorter runs: its plans are plans of the task. The margin is left at the far end only, so
    that cuts begin at the edge and what is left stays in one piece."""
    fit_um = min(task.stance.fit_um, margin_um)
    runs = (replace(run, start_um=run.start_um + fit_um, end_um=run.end_um - margin_um) for run in task.runs)
    return replace(task, runs=tuple(runs)) if margin_um else task


def _lay_panel(
    task: Task, cloths: Sequence[Any], index: int, corner: tuple[int, int], backwards: bool, opened: set[int]
) -> Lay | None:
    """The panel as far into a corner as it goes, on an opened piece if any, else on the smallest that takes it."""
    panel, stance = task.panels[index], task.stance
    pieces = sorted(range(len(cloths)), key=lambda p: (p not in opened, cloths[p].area * (-1 if backwards else 1), p))
    for piece in pieces:
        angle = frame_angle(task, panel, piece)
        if angle is None:
            continue
        for quarter in (False, True) if panel.turn else (False,):
            width, length = panel.width_mm + 2 * panel.seam_mm, panel.length_mm + 2 * panel.seam_mm
            wide, long = (length, width) if quarter else (width, length)
            wide_um, long_um = stance.need_um(wide), stance.need_um(long)
            cells = list(room_cells(to_print(cloths[piece], angle), wide_um / 1000, long_um / 1000, stance))
            places = [point for cell in cells for point in cell]
            if not places:
                continue
            x, y = _on_cloth(min(places, key=lambda p: (p[0] * corner[0] + p[1] * corner[1], p)), cells, corner, stance)
            spot = Spot(panel=index, piece=piece, quarter=quarter, angle_deg=angle, wide_um=wide_um,
                        long_um=long_um, cells=())  # fmt: skip
            return Lay(spot=spot, x_um=round(x * 1000), y_um=round(y * 1000))
    return None


def _on_cloth(
    place: tuple[float, float], cells: Sequence[Sequence[tuple[float, float]]], corner: tuple[int, int], stance: Stance
) -> tuple[float, float]:
    """The place drawn back from the last hundredth that is allowed beyond the cloth, where there is room for it."""
    fit_mm = stance.fit_um / 1000
    room = shapely.union_all([shapely.Polygon(cell) for cell in cells])
    for back in ((1, 1), (1, 0), (0, 1)):
        x, y = (place[axis] + corner[axis] * back[axis] * fit_mm for axis in (0, 1))
        if room.covers(shapely.Point(x, y)):
            return x, y
    return place


def panel_lack_mm(task: Task) -> dict[int, float]:
    """Panels that find no room on any piece even alone, each with how much it is too long and wide (mm)."""
    lacks: dict[int, float] = {}
    for index, panel in enumerate(task.panels):
        if _fits_smaller(task, index, 0.0):
            continue
        low, high = 0.0, max(panel.width_mm, panel.length_mm)
        for _ in range(14):
            middle = (low + high) / 2
            low, high = (low, middle) if _fits_smaller(task, index, middle) else (middle, high)
        lacks[index] = high
    return lacks


def _fits_smaller(task: Task, index: int, less_mm: float) -> bool:
    panel = task.panels[index]
    smaller = replace(panel, width_mm=max(0.1, panel.width_mm - less_mm), length_mm=max(0.1, panel.length_mm - less_mm))
    trial = replace(task, panels=(smaller,))
    return _lay_panel(trial, task.cloths, 0, CORNERS[0], False, set()) is not None
