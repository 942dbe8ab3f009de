"""The exact search with few joins. Truth: the cheapest plan of small questions, as the search without such limits
proves it, the audit, and plans that are known."""

from __future__ import annotations

import time

import pytest

from stash.planner.asking import Effort
from stash.planner.audit import audit
from stash.planner.opening import Choice, few_joins, find_choices, without_impossible
from stash.planner.price import DEFAULT
from stash.planner.problem import Problem
from stash.planner.quick import Solution
from stash.planner.relaxation import Relaxation
from stash.planner.search import Search
from stash.planner.stance import Stance
from stash.planner.task import Cut, Task, build_task
from stash.planner.thrift import WIDE_UM, ask_thrifty, join_step_um, joins_up_to
from tests.makers.border_case import border_case
from tests.makers.planner_case import random_case


def later() -> float:
    """A time that is far enough away."""
    return time.monotonic() + 100


def strict(problem: Problem) -> Task:
    """The task of a problem of one fabric, in the stance of a yes."""
    (fabric,) = problem.fabrics.values()
    return build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)


def joins_um(task: Task, cuts: tuple[Cut, ...]) -> int:
    """What the joins of a plan cost."""
    return sum(DEFAULT.join_um(task.needs[cut.need].strip) for cut in cuts if cut.segment)


@pytest.mark.parametrize("seed", [*range(5), *range(6, 16)])
def test_with_the_joins_of_the_cheapest_plan_there_is_one(seed: int) -> None:
    """On the pieces of the cheapest plan, as the other search proves it, there is a plan with joins for as much: it is
    never said that there is none."""
    task = strict(random_case(seed, unsure=False))
    exact = Search(task, goal=DEFAULT).run(Effort(seconds=20))
    if exact.status != "best":
        return
    on_them = task.only_on(frozenset(task.runs[cut.run].piece for cut in exact.cuts))
    enough = joins_um(task, exact.cuts)
    for least in (False, True):
        asked = ask_thrifty(on_them, DEFAULT, enough, Effort(seconds=20), slack_um=WIDE_UM, least=least)
        assert asked.status != "none"
        assert joins_um(task, asked.cuts) <= enough


def test_strips_that_cannot_be_paid_to_be_joined_lie_anywhere_in_the_repeat() -> None:
    """Joins for 250 mm: a strip on the inside may have two more segments, one on a front none; without any, only
    strips of a pair keep a place in the repeat."""
    task = strict(border_case(3997, along=True))
    some, none = joins_up_to(task, DEFAULT, 250_000), joins_up_to(task, DEFAULT, 0)
    for before, need in zip(task.needs, some.needs, strict=True):
        assert need.most == min(before.most, 1 + 250_000 // DEFAULT.join_um(need.strip))
    assert {need.most for need in none.needs} == {1}
    assert {need.strip.pair is not None for need in task.needs if need.phased} == {True, False}
    assert all(need.phased == (need.strip.pair is not None) for need in none.needs)
    assert join_step_um(task, DEFAULT) == 100_000


def test_where_the_print_repeats_a_plan_without_joins_is_found_soon() -> None:
    """A border of 14 strips that laying anew cuts from three pieces, or from two with a join: without any it lies on
    two, and no lane's end is lost."""
    problem = border_case(3997, along=True)
    task = strict(problem)
    cuts = few_joins(task, DEFAULT, Choice(count=2, least_um=600_000, pieces=frozenset((1, 4))), later())
    solution = Solution(task=task, cuts=cuts, lays=())
    assert audit(problem, solution.placements()) == ()
    assert solution.cost_um(DEFAULT) == 2 * DEFAULT.piece_um


def test_a_number_of_pieces_costs_the_joins_that_it_takes() -> None:
    """A border that a plan cuts from six pieces without a join. The linear program would have five and part of a join;
    on the only five that would do, exact search finds nothing with joins for 100 mm or less."""
    task = strict(border_case(3752, along=False))
    relaxation = Relaxation(task, DEFAULT, paired=True)
    choices = find_choices(relaxation, 6, later())
    assert choices.bound_um() < 5.2 * DEFAULT.piece_um
    known = without_impossible(choices, relaxation, 1_804_000, later())
    assert 5 * DEFAULT.piece_um + 200_000 <= known.bound_um() <= 1_804_000
