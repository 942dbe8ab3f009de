"""What lanes are laden with. Truth: the cheapest plan of small questions, as the exact search proves it."""

from __future__ import annotations

import time

import pytest

from stash.planner.asking import Effort
from stash.planner.improving import Better, _laden
from stash.planner.load import Loads
from stash.planner.price import DEFAULT
from stash.planner.problem import Problem
from stash.planner.quick import quick_solution
from stash.planner.relaxation import Relaxation
from stash.planner.search import Search
from stash.planner.stance import Stance
from stash.planner.task import Task, build_task
from tests.bench.border import FABRIC, cloth, strip
from tests.makers.border_case import border_case
from tests.makers.planner_case import random_case


def strict(problem: Problem) -> Task:
    """The task of a problem of one fabric, in the stance of a yes."""
    (fabric,) = problem.fabrics.values()
    return build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)


@pytest.mark.parametrize("seed", range(20))
def test_no_plan_costs_less_than_its_lanes_laden(seed: int) -> None:
    """The cheapest plan of a small question, as the exact search proves it, costs at least what the loads say."""
    task = strict(random_case(seed, unsure=False))
    exact = Search(task, goal=DEFAULT).run(Effort(seconds=20))
    if exact.status == "best":
        assert exact.bound_um is not None
        assert Loads(task, DEFAULT).least_um(Effort(seconds=10), exact.cuts) <= exact.bound_um


def test_a_strip_longer_than_every_lane_is_joined() -> None:
    """A strip of 300 mm that may be joined, alone on a piece of 400 mm: one piece opened is all it costs. One of 500 mm
    takes two such pieces and a join."""
    whole = build_task(FABRIC, [cloth("p", 60, 400)], [strip("s", 300, 20, 0, 1)], (), Stance.STRICT)
    joined = build_task(FABRIC, [cloth(f"p{i}", 60, 400) for i in range(2)], [strip("s", 500, 20, 0, 1)], (),
                        Stance.STRICT)  # fmt: skip
    assert Loads(whole, DEFAULT).least_um(Effort(seconds=10), ()) == DEFAULT.piece_um
    join_um = DEFAULT.join_um(joined.needs[0].strip)
    assert Loads(joined, DEFAULT).least_um(Effort(seconds=10), ()) == 2 * DEFAULT.piece_um + join_um


def test_lanes_that_reach_differently_far_hold_less_than_they_promise() -> None:
    """Sixteen strips on twelve pieces of which most lanes overlap: filled as bays seven pieces would do, laden lane by
    lane they take eight, or joins for as much."""
    task = strict(border_case(4114, along=False))
    found = quick_solution(task, DEFAULT, time.monotonic() + 60, 300)
    assert found is not None
    better = _laden(Better(solution=found, bound_um=0), DEFAULT, time.monotonic() + 60)
    bays = Relaxation(task, DEFAULT, paired=True).solve_tree(time.monotonic() + 60, 10**9).um
    assert bays < 2_500_000 < 2_600_000 <= better.bound_um <= found.cost_um(DEFAULT)
