"""Whole fillings taken out of fractions. Truth: what fits a lane by its length, and packings whose answer is known."""

from __future__ import annotations

import time
from collections import defaultdict
from dataclasses import replace

import pytest

from stash.planner.diving import kept_to_bays
from stash.planner.filling import UNIT_UM, Bays
from stash.planner.opening import likely_choices
from stash.planner.price import DEFAULT
from stash.planner.recreate import recreate
from stash.planner.relaxation import Relaxation
from stash.planner.stance import Stance
from stash.planner.task import Task, build_task
from tests.bench.border import FABRIC, cloth, strip
from tests.makers.border_case import border_case

IMPOSSIBLE_MM = (60, 60, 60)


def later() -> float:
    """A time that is far enough away."""
    return time.monotonic() + 60


def lanes_of_100(count: int, *lengths: float) -> Task:
    """So many pieces of one lane each, 100 mm long, and whole strips of those lengths."""
    strips = [strip(f"s{i}", length, 20, 0, 0) for i, length in enumerate(lengths)]
    return build_task(FABRIC, [cloth(f"p{i}", 60, 100) for i in range(count)], strips, (), Stance.GENEROUS)


def bordered(seed: int) -> Task:
    """A border of ours."""
    problem = border_case(seed)
    (fabric,) = problem.fabrics.values()
    return build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)


def test_a_packing_without_spare_room_is_found() -> None:
    """61 + 39, 52 + 48, 73 + 27, 84 + 16 and 57 + 43 fill five lanes of 100 mm, and no strip has another partner with
    which it fills one; kept to their bays the strips can be laid out as they come."""
    task = lanes_of_100(5, 61, 39, 52, 48, 73, 27, 84, 16, 57, 43)
    kept = kept_to_bays(task, DEFAULT, later())
    laid = recreate(replace(task, needs=kept), DEFAULT, later(), rounds=1)
    assert laid.missing == ()
    pairs = defaultdict(set)
    for cut in laid.cuts:
        pairs[cut.run].add(round(task.needs[cut.need].strip.length_mm))
    assert sorted(map(sorted, pairs.values())) == [[16, 84], [27, 73], [39, 61], [43, 57], [48, 52]]


@pytest.mark.parametrize("seed", range(6))
def test_no_bay_is_given_more_than_it_holds(seed: int) -> None:
    """The strips kept to a bay are together no longer than it is, and could lie there before."""
    task = bordered(seed)
    kept = kept_to_bays(task, DEFAULT, later())
    bays = Bays(task, DEFAULT)
    load: dict[int, int] = defaultdict(int)
    for before, need in zip(task.needs, kept, strict=True):
        assert set(need.all_runs) <= set(before.all_runs)
        if need.all_runs != before.all_runs and need.most == 1:
            (bay,) = (index for index, runs in enumerate(bays.bays) if set(need.all_runs) <= set(runs))
            load[bay] += before.whole_um // UNIT_UM
    assert load
    assert all(total <= bays.room[bay] for bay, total in load.items())


@pytest.mark.parametrize("seed", range(6))
def test_likely_sets_differ_and_cost_no_less_than_the_bound(seed: int) -> None:
    """Each set has as many pieces as it says; no two are the same; the linear program that opens a given number of
    pieces costs at least as much as the one that may open any."""
    relaxation = Relaxation(bordered(seed), DEFAULT)
    least = relaxation.solve(later()).um
    choices = likely_choices(relaxation, len(relaxation.bays.task.pieces), 10**9, later())
    assert len({choice.pieces for choice in choices}) == len(choices) > 0
    assert all(len(choice.pieces) == choice.count for choice in choices)
    assert all(choice.least_um >= least * 0.99 for choice in choices)


def test_laying_anew_gives_up_where_it_is_told_to() -> None:
    """Three strips of 60 mm never lie in two lanes of 100 mm: after 50 rounds that is enough."""
    task = lanes_of_100(2, *IMPOSSIBLE_MM)
    laid = recreate(task, DEFAULT, later(), rounds=1000, patience=50)
    assert len(laid.missing) == 1
    assert laid.rounds <= 52
