"""The planner against the judge: on small random questions no false yes, no false no, and no unsure that is not.

Truth: a mixed-integer program that shares nothing with the search (judge.py), and the audit for every yes.
"""

from __future__ import annotations

import pytest

from stash.planner.audit import audit, audit_leftovers
from stash.planner.solve import decide
from tests.makers.matched_case import matched_case
from tests.makers.planner_case import random_case
from tests.planner.judge import verdict

SEEDS = range(200, 300)
JUDGE_S = 1.0  # seconds for each program; what is not settled by then is left undecided


@pytest.mark.parametrize("first", range(SEEDS.start, SEEDS.stop, 10))
def test_the_planner_agrees_with_the_judge(first: int) -> None:
    """Ten cases each: the planner's yes, no and unsure are the judge's; a yes passes the audit, a no is proven."""
    settled = 0
    for seed in range(first, first + 10):
        problem = random_case(seed)
        expected = verdict(problem, seconds=JUDGE_S)
        plan = decide(problem, limit_s=20, optimise=False)
        if plan.answer == "yes":
            assert audit(problem, plan.placements) == (), seed
            assert audit_leftovers(problem, plan.placements, plan.leftovers) == (), seed
        if expected == "hair":
            continue
        assert (seed, plan.answer) == (seed, expected)
        assert plan.answer == "unsure" or plan.proven, seed
        settled += 1
    assert settled >= 6


@pytest.mark.parametrize("first", range(220, 260, 10))
def test_the_planner_agrees_with_the_judge_on_matching_sets(first: int) -> None:
    """The same for strips tied by mirror, corner, outward and hidden joins; the judge reads looks off the cloth."""
    settled = 0
    for seed in range(first, first + 10):
        problem = matched_case(seed)
        expected = verdict(problem, seconds=JUDGE_S)
        plan = decide(problem, limit_s=20, optimise=False)
        if plan.answer == "yes":
            assert audit(problem, plan.placements) == (), seed
        if expected == "hair" or plan.reason == "time":
            continue
        assert (seed, plan.answer) == (seed, expected)
        settled += 1
    assert settled >= 8


def test_the_cases_hold_all_three_answers() -> None:
    """A judge who always says the same would prove nothing: among the cases every answer occurs."""
    answers: set[str] = set()
    for seed in SEEDS:
        answers.add(decide(random_case(seed), limit_s=20, optimise=False).answer)
        if len(answers) == 3:
            return
    assert answers == {"yes", "no", "unsure"}


def test_what_is_equal_by_the_contract_settles_nothing() -> None:
    """A hole whose corner reaches 0.008 mm into a lane bars it or not, as one reads it: lengths within 0.01 mm are
    equal (the contract), so the judge leaves the question undecided."""
    assert verdict(random_case(26373), seconds=JUDGE_S) == "hair"
