"""A better plan from a found one: fewer pieces and joins first, then room for hands at the same cost."""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from dataclasses import dataclass, replace

from stash.planner.bound import least_segments
from stash.planner.easing import eased
from stash.planner.greedy import lay_greedily
from stash.planner.layout import sound
from stash.planner.price import Weights
from stash.planner.quick import COMFORT_UM, Solution, trimmed
from stash.planner.search import Effort, Search
from stash.planner.task import Task

WORK = 0.03
"""Deterministic seconds spent on each of two exact searches for a cheaper plan: a tenth of a second of a laptop."""

MOST_PLACES = 400
"""Segments times runs up to which a cheaper plan is searched for exactly; with more, none is found so soon."""

TRIES = 2
"""How often doing without one piece is tried."""

ROUNDS = 12
"""Orders tried for doing without a piece."""

ENOUGH = 3
"""Plans without a piece found before the cheapest is taken."""

NEAR = 0.03
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
    """The plan with room for hands, after a search for fewer pieces and joins where there may be fewer.

    By first fit without one piece or another; then exactly, first among the plans that leave room at the lanes' ends,
    then among all. The answer does not depend on the machine, but for running out of time.
    """
    better = as_it_is(found, weights)
    if _savable(better, weights):
        better = _fewer_pieces(better, weights, time.monotonic() + seconds / 3)
    if not _worth_searching(better, weights):
        return better
    roomy = trimmed(better.solution.task, COMFORT_UM)
    if sound(replace(better.solution, task=roomy)):
        better = _search(better, roomy, weights, seconds / 2)
    if _worth_searching(better, weights):
        better = _search(better, better.solution.task, weights, seconds / 2)
    return better


def _savable(better: Better, weights: Weights) -> bool:
    """Whether there may be a plan with fewer pieces or joins."""
    return not better.solution.task.panels and better.solution.opening_um(weights) > better.bound_um


def _worth_searching(better: Better, weights: Weights) -> bool:
    """Whether the exact search may find a cheaper plan in the short time it has."""
    task, cost = better.solution.task, better.solution.cost_um(weights)
    places = sum(need.most * len(need.all_runs) for need in task.needs)
    return not task.panels and places <= MOST_PLACES and cost - better.bound_um > NEAR * cost


def _fewer_pieces(better: Better, weights: Weights, deadline: float) -> Better:
    """Opened pieces closed one after another, the least used first, where first fit then finds a cheaper plan.

    A piece that could not be closed is tried once more after others were: first fit is no proof.
    """
    closed: set[int] = set()
    kept: Counter[int] = Counter()
    while rest := [piece for piece in _by_use(better.solution) if kept[piece] < TRIES]:
        piece = min(rest, key=lambda p: kept[p])
        tried = _without(better.solution, closed | {piece}, weights, deadline)
        if tried is not None and tried.cost_um(weights) < better.solution.cost_um(weights):
            better, closed = replace(better, solution=tried), closed | {piece}
        else:
            kept[piece] += 1
            if not closed and min(kept[p] for p in rest) > 0:
                break
    return better


def _by_use(solution: Solution) -> list[int]:
    """The opened pieces, those of which least is used first."""
    used: dict[int, int] = defaultdict(int)
    for cut in solution.cuts:
        used[solution.task.runs[cut.run].piece] += cut.size_um
    return sorted(used, key=lambda piece: (used[piece], piece))


def _without(solution: Solution, closed: set[int], weights: Weights, deadline: float) -> Solution | None:
    """A plan that leaves the closed pieces whole; with room at the lanes' ends rather than without."""
    task = solution.task

    def kept(runs: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(run for run in runs if task.runs[run].piece not in closed)

    needs = tuple(replace(need, runs={way: kept(runs) for way, runs in need.runs.items()}) for need in task.needs)
    for margin_um in (COMFORT_UM, task.stance.fit_um):
        among = trimmed(replace(task, needs=needs), margin_um)
        cuts = lay_greedily(among, weights, deadline, ROUNDS, ENOUGH)
        if cuts is not None:
            return eased(replace(solution, cuts=tuple(cuts)), weights)
    return None


def _search(better: Better, among: Task, weights: Weights, seconds: float) -> Better:
    """The cheaper plan, if the search finds one; a bound found among some of the plans is no bound for all."""
    task = better.solution.task
    whole = among is task
    goal = weights if whole else replace(weights, ease_um=0)
    effort = Effort(seconds=min(2.5, seconds), work=WORK)
    outcome = Search(among, goal=goal).run(effort, better.solution.cuts)
    if whole and outcome.bound_um is not None:
        better = replace(better, bound_um=max(better.bound_um, outcome.bound_um))
    if outcome.status not in ("found", "best"):
        return better
    tried = eased(replace(better.solution, cuts=outcome.cuts), weights)
    price = Solution.opening_um if whole else Solution.cost_um
    return replace(better, solution=tried) if price(tried, weights) < price(better.solution, weights) else better


def _least_cost(task: Task, weights: Weights) -> int:
    """What any plan costs at least: the pieces that the strips' total takes, and the joins the longest lanes force."""
    wanted = sum(need.whole_um for need in task.needs)
    wanted += sum(max(0, least_segments(task, need) - 1) * need.seams_um for need in task.needs)
    room: dict[int, int] = defaultdict(int)
    for run in {run for need in task.needs for run in need.all_runs}:
        room[task.runs[run].piece] += task.runs[run].length_um
    pieces, held = 0, 0
    for length in sorted(room.values(), reverse=True):
        if held >= wanted:
            break
        pieces, held = pieces + 1, held + length
    joins = sum(max(0, least_segments(task, need) - 1) * weights.join_um(need.strip) for need in task.needs)
    return weights.piece_um * max(1, pieces) + joins
