"""A better plan from a found one: fewer pieces and joins, shorter lost ends, then room for hands at the same cost."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

from stash.planner.bound import least_segments
from stash.planner.easing import eased, level
from stash.planner.layout import sound
from stash.planner.price import Weights
from stash.planner.quick import COMFORT_UM, Solution, trimmed
from stash.planner.recreate import recreate
from stash.planner.relaxation import Bound, Relaxation
from stash.planner.search import Effort, Search
from stash.planner.task import Task

ROUNDS = 10_000
"""Rounds of laying anew in search of a cheaper plan: about two seconds."""

FEW_ROUNDS = 3000
"""Rounds on the pieces alone that the cheapest plan would open if lanes could be filled in fractions."""

FEW = 0.01
"""A piece that is opened less than this is not opened."""

TIGHT_ROUNDS = 3000
"""Rounds among the plans that leave no room at the lanes' ends."""

WORK = 0.03
"""Deterministic seconds spent on an exact search for a cheaper plan: a tenth of a second of a laptop."""

MOST_PLACES = 400
"""Segments times runs up to which a cheaper plan is searched for exactly; with more, none is found so soon."""

NEAR = 0.01
"""Ratio. A plan whose cost is this near the least there can be is good enough."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Better:
    """A plan and what any plan costs at least (um)."""

    solution: Solution
    bound_um: int


def as_it_is(found: Solution, weights: Weights) -> Better:
    """The plan with room for hands, and no search for a cheaper one."""
    return Better(solution=eased(found, weights), bound_um=_least_cost(found.task, weights))


def improve(found: Solution, weights: Weights, seconds: float) -> Better:
    """A cheaper plan, if there is one, and last the joins of strips that are alike at the same height."""
    better = _cheaper(found, weights, seconds)
    return replace(better, solution=level(better.solution, weights))


def _cheaper(found: Solution, weights: Weights, seconds: float) -> Better:
    """The plan with room for hands, after a search for a cheaper one among those that leave room at the lanes' ends.

    Only where these open more pieces or have more joins are the others searched, too. The answer does not depend on
    the machine, but for running out of time.
    """
    better = as_it_is(found, weights)
    if found.task.panels or not found.task.needs:
        return better
    deadline = time.monotonic() + seconds
    least = _least(found, weights, deadline)
    better = replace(better, bound_um=max(better.bound_um, least.um))
    wanted = frozenset(piece for piece, share in least.opened.items() if share > FEW)
    for margin_um, rounds, pieces in (
        (COMFORT_UM, FEW_ROUNDS, wanted), (COMFORT_UM, ROUNDS, None), (found.task.stance.fit_um, TIGHT_ROUNDS, None)
    ):  # fmt: skip
        if _good_enough(better, weights):
            break
        better = _laid_anew(better, margin_um, rounds, weights, deadline, pieces)
    return _searched(better, weights, seconds / 2)


def _good_enough(better: Better, weights: Weights) -> bool:
    return better.solution.cost_um(weights) <= (1 + NEAR) * better.bound_um


def _laid_anew(better: Better, margin_um: int, rounds: int, weights: Weights, deadline: float,
               pieces: frozenset[int] | None = None) -> Better:  # fmt: skip
    """The cheaper plan that laying anew finds among those with such a margin at the lanes' ends, on those pieces."""
    among = trimmed(better.solution.task, margin_um)
    among = among if pieces is None else among.only_on(pieces)
    start = better.solution.cuts if sound(replace(better.solution, task=among)) else ()
    enough = int((1 + NEAR) * better.bound_um)
    laid = recreate(among, weights, deadline, rounds=rounds, start=start, enough=lambda cost: cost <= enough)
    if laid.missing:
        return better
    tried = eased(replace(better.solution, cuts=laid.cuts), weights)
    return replace(better, solution=tried) if tried.cost_um(weights) < better.solution.cost_um(weights) else better


def _searched(better: Better, weights: Weights, seconds: float) -> Better:
    """The exact search, for few places only: its bound may prove the plan the cheapest."""
    task = better.solution.task
    places = sum(need.most * len(need.all_runs) for need in task.needs)
    if places > MOST_PLACES or better.solution.cost_um(weights) <= better.bound_um:
        return better
    effort = Effort(seconds=min(2.5, seconds), work=WORK)
    outcome = Search(task, goal=weights).run(effort, better.solution.cuts)
    if outcome.bound_um is not None:
        better = replace(better, bound_um=max(better.bound_um, outcome.bound_um))
    if outcome.status not in ("found", "best"):
        return better
    tried = eased(replace(better.solution, cuts=outcome.cuts), weights)
    return replace(better, solution=tried) if tried.cost_um(weights) < better.solution.cost_um(weights) else better


def _least(found: Solution, weights: Weights, deadline: float) -> Bound:
    """What any plan of the task costs at least, and which pieces a plan so cheap would open."""
    relaxation = Relaxation(found.task, weights)
    relaxation.start(found.cuts)
    return relaxation.solve_tree(deadline, found.cost_um(weights))


def _least_cost(task: Task, weights: Weights) -> int:
    """One piece, and the joins that the longest lanes force."""
    joins = sum(max(0, least_segments(task, need) - 1) * weights.join_um(need.strip) for need in task.needs)
    return weights.piece_um + joins
