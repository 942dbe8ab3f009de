"""A plan with more room for hands, in place of one that leaves less than shears need.

The same question is asked of cloth whose edges have been moved in by the room that is wanted: a plan for that is a plan
for the cloth as it is. It may cost as much more as opening another piece; the bound stays what it was.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from functools import partial
from typing import Final

import shapely

from stash.piece import across_axis
from stash.planner.cost import cost_um
from stash.planner.finding import Share, shares
from stash.planner.plan import Placement, Plan
from stash.planner.price import DEFAULT, Weights
from stash.planner.problem import Problem
from stash.planner.region import usable
from stash.planner.solve import decide
from stash.planner.spare import leftovers, tightest
from stash.planner.stance import Stance
from stash.planner.task import Cut, Task, build_task
from stash.planner.trial import Trial

ROOM_MM: Final = 25.4 / 8  # shears follow chalk to 1/16-1/8 in (common practice)
CHEAPER: Final = 0.7  # of the time left: the rest is for a plan with half the room
NEAR_MM: Final = 0.05  # a cut lies in a lane whose edge is this near to its own


def roomier(problem: Problem, plan: Plan, room_mm: float, trial: Trial, weights: Weights = DEFAULT) -> Plan:
    """The plan, or where it leaves less than ``room_mm`` one that leaves more, if one was found at little more cost."""
    if plan.answer != "yes" or plan.tightest is None or plan.tightest.spare_mm >= room_mm or plan.cost is None:
        return plan
    most = plan.cost + weights.piece_mm
    opened = {placement.piece for placement in plan.placements}
    cheaper = partial(_cheaper, trial=trial, weights=weights)
    for inset_mm in (room_mm, room_mm / 2):
        pieces = tuple(replace(piece, outline_u95_mm=piece.outline_u95_mm + inset_mm) for piece in problem.pieces)
        roomy = replace(problem, pieces=pieces)
        within = replace(problem, pieces=tuple(piece for piece in pieces if piece.id in opened))
        for find, among in ((trial.placements, within), (trial.placements, roomy), (cheaper, roomy)):
            placements = find(among)
            if placements is None:
                continue
            cost, spare = priced(problem, placements, weights), tightest(problem.pieces, placements)
            if cost is None or spare is None or spare.spare_mm <= plan.tightest.spare_mm or cost > most:
                continue
            return replace(
                plan, placements=placements, cost=cost, best=plan.bound is not None and cost <= plan.bound,
                tightest=spare, leftovers=leftovers(problem.pieces, placements),
            )  # fmt: skip
    return plan


def _cheaper(problem: Problem, trial: Trial, weights: Weights) -> tuple[Placement, ...] | None:
    """A plan that is not the first found, but as cheap as a good part of the time that is left makes it."""
    if trial.left_s <= 0:
        return None
    found = decide(problem, limit_s=CHEAPER * trial.left_s, weights=weights)
    return found.placements if found.answer == "yes" else None


def priced(problem: Problem, placements: tuple[Placement, ...], weights: Weights = DEFAULT) -> float | None:
    """What the placements cost, mm, as the search counts it; None where a cut is not found in a lane."""
    total_um = 0
    for share in shares(problem):
        task = _task(share, placements)
        cuts = [_cut(task, placement) for placement in placements if _is_strip(share, placement)]
        if any(cut is None for cut in cuts):
            return None
        panels = {panel.id for panel in share.panels}
        only = {p.piece for p in placements if p.part in panels} - {
            task.pieces[task.runs[cut.run].piece].id for cut in cuts if cut is not None
        }
        total_um += cost_um(task, [cut for cut in cuts if cut is not None], (), weights) + len(only) * weights.piece_um
    return round(total_um / 1000, 3)


def _task(share: Share, placements: tuple[Placement, ...]) -> Task:
    """The fabric's strips against its pieces, of which the panels have been taken."""
    taken: dict[str, list[shapely.Polygon]] = defaultdict(list)
    panels = {panel.id for panel in share.panels}
    for placement in placements:
        if placement.part in panels:
            taken[placement.piece].append(shapely.Polygon(placement.outline_mm))
    cloths = [usable(p, Stance.STRICT).difference(shapely.union_all(taken[p.id])) for p in share.pieces]
    return build_task(share.fabric, share.pieces, share.strips, (), Stance.STRICT, cloths)


def _is_strip(share: Share, placement: Placement) -> bool:
    return any(strip.id == placement.part for strip in share.strips)


def _cut(task: Task, placement: Placement) -> Cut | None:
    """The placement as a cut in one of the task's lanes."""
    index = next(n for n, need in enumerate(task.needs) if need.strip.id == placement.part)
    piece = next(n for n, piece in enumerate(task.pieces) if piece.id == placement.piece)
    n = across_axis(task.pieces[piece].stripe_direction_deg or 0.0)
    d = (-n[1], n[0])
    low_mm = min(x * n[0] + y * n[1] for x, y in placement.outline_mm)
    along = [x * d[0] + y * d[1] for x, y in placement.outline_mm]
    start_um, end_um = round(min(along) * 1000), round(max(along) * 1000)
    for run in task.needs[index].all_runs:
        lane = task.runs[run]
        if lane.piece != piece or abs(lane.low_mm - low_mm) > NEAR_MM:
            continue
        if lane.start_um - 1000 * NEAR_MM <= start_um and end_um <= lane.end_um + 1000 * NEAR_MM:
            return Cut(
                need=index, segment=placement.segment - 1, run=run, start_um=start_um, size_um=end_um - start_um,
                finished_um=round((placement.finished_mm or 0.0) * 1000), turned=placement.turned,
            )  # fmt: skip
    return None
