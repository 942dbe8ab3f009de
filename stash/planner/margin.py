"""Lanes moved off the cloth's edges, holes and flaws, where that costs nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import shapely

from stash.planner.layout import clash, fixed, sound
from stash.planner.price import Weights
from stash.planner.quick import COMFORT_UM, Solution
from stash.planner.region import to_print
from stash.planner.task import Cut, Task


@dataclass(frozen=True, slots=True)
class _Lane:
    """The cuts of one run, all loose, which nothing in another run gets in the way of."""

    run: int
    cuts: tuple[Cut, ...]

    @property
    def start_um(self) -> int:
        return min(cut.start_um for cut in self.cuts)

    @property
    def end_um(self) -> int:
        return max(cut.end_um for cut in self.cuts)

    def moved(self, run: int, by_um: int) -> tuple[Cut, ...]:
        return tuple(replace(cut, run=run, start_um=cut.start_um + by_um) for cut in self.cuts)


def _lanes(solution: Solution) -> list[_Lane]:
    by_run: dict[int, list[Cut]] = defaultdict(list)
    for cut in solution.cuts:
        by_run[cut.run].append(cut)
    return [
        _Lane(run, tuple(cuts)) for run, cuts in sorted(by_run.items())
        if not any(fixed(solution.task, cut) for cut in cuts)
        and not any(clash(solution.task, cuts[0], c) for c in solution.cuts if c.run != run)
    ]  # fmt: skip


def _revised(solution: Solution, lane: _Lane, cuts: Sequence[Cut]) -> Solution:
    rest = [cut for cut in solution.cuts if cut.run != lane.run]
    return replace(solution, cuts=tuple(sorted([*rest, *cuts], key=lambda c: (c.need, c.segment))))


def off_edges(solution: Solution, weights: Weights) -> Solution | None:
    """A lane that grazes the cloth's edge is given up for an empty one of the same piece that does not."""
    return _each_lane(solution, weights, _to_wider_lane)


def off_flaws(solution: Solution, weights: Weights) -> Solution | None:
    """Cuts that begin at a hole or flaw move off it by up to a comfortable margin, half of what is spare at most."""
    return _each_lane(solution, weights, _off_flaw)


def _each_lane(solution: Solution, weights: Weights, change: Callable[[Solution, _Lane], Solution | None]) -> Solution:
    cost = solution.cost_um(weights)
    for lane in _lanes(solution):
        tried = change(solution, lane)
        if tried is not None and sound(tried) and tried.cost_um(weights) <= cost:
            solution, cost = tried, tried.cost_um(weights)
    return solution


def _to_wider_lane(solution: Solution, lane: _Lane) -> Solution | None:
    task, run = solution.task, solution.task.runs[lane.run]
    if not _grazes(task, lane.run, lane.start_um, lane.end_um):
        return None
    used = {cut.run for cut in solution.cuts}
    for index, other in enumerate(task.runs):
        if index in used or other.piece != run.piece or (other.stripe, other.showing) != (run.stripe, run.showing):
            continue
        if not all(index in task.needs[cut.need].runs[cut.turned] for cut in lane.cuts):
            continue
        if any(other.clashes(task.runs[busy]) for busy in used if busy != lane.run):
            continue
        lead = min(task.stance.fit_um, max(0, other.length_um - (lane.end_um - lane.start_um)))
        by_um = other.start_um + lead - lane.start_um
        if lane.end_um + by_um <= other.end_um and not _grazes(task, index, lane.start_um + by_um, lane.end_um + by_um):
            return _revised(solution, lane, lane.moved(index, by_um))
    return None


def _grazes(task: Task, run: int, start_um: int, end_um: int) -> bool:
    """Whether the cloth's edge comes nearer to either side of the band than is comfortable."""
    stretch, comfort = task.runs[run], COMFORT_UM / 1000
    ends = 2 * task.stance.fit_um / 1000
    band = shapely.box(
        stretch.low_mm - comfort, start_um / 1000 + ends, stretch.high_mm + comfort, end_um / 1000 - ends
    )
    return float(band.difference(_cloth(task, stretch.piece)).area) > comfort


def _off_flaw(solution: Solution, lane: _Lane) -> Solution | None:
    task, run = solution.task, solution.task.runs[lane.run]
    piece = task.pieces[run.piece]
    spare = run.end_um - task.stance.fit_um - lane.end_um
    if spare <= 0 or not (piece.holes_mm or piece.flaws_mm):
        return None
    spoilt = to_print(
        shapely.union_all([shapely.Polygon(ring).buffer(piece.outline_u95_mm) for ring in _spoilt(task, run.piece)]),
        piece.stripe_direction_deg or 0.0,
    )
    before = shapely.box(run.low_mm, lane.start_um / 1000 - 0.1, run.high_mm, lane.start_um / 1000)
    if not before.intersects(spoilt):
        return None
    return _revised(solution, lane, lane.moved(lane.run, min(COMFORT_UM, spare // 2)))


def _spoilt(task: Task, piece: int) -> Sequence[Any]:
    return (*task.pieces[piece].holes_mm, *task.pieces[piece].flaws_mm)


def _cloth(task: Task, piece: int) -> Any:
    return to_print(task.cloths[piece], task.pieces[piece].stripe_direction_deg or 0.0)
