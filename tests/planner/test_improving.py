"""The search for a cheaper plan. Truth: a plan that is known, sound and audited, and how much dearer others are."""

from __future__ import annotations

import time

import pytest

from stash.planner import improving
from stash.planner.audit import audit
from stash.planner.improving import improve
from stash.planner.price import DEFAULT
from stash.planner.quick import COMFORT_UM, quick_solution, trimmed
from stash.planner.recreate import recreate
from stash.planner.stance import Stance
from stash.planner.task import build_task
from tests.makers.border_case import border_case

ROUNDS = 3000
KNOWN_UM = 7_000_000


def test_plans_without_room_at_the_ends_are_looked_for_from_an_empty_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nineteen strips that take nearly all of twenty pieces: 3000 rounds find a plan of less than 7000 mm, if they may
    leave no room at the lanes' ends and do not go on from the first plan; else they find none."""
    problem = border_case(3634, along=False)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    later = time.monotonic() + 100
    found = quick_solution(task, DEFAULT, later, 300)
    assert found is not None
    for name, rounds in (("ROUNDS", ROUNDS), ("SOON_ROUNDS", 1), ("LAST_ROUNDS", 1)):
        monkeypatch.setattr(improving, name, rounds)
    monkeypatch.setattr(improving, "_proven", lambda better, *_: better)
    solution = improve(found, DEFAULT, 100).solution
    assert audit(problem, solution.placements()) == ()
    assert solution.cost_um(DEFAULT) < KNOWN_UM
    roomy = recreate(trimmed(task, COMFORT_UM), DEFAULT, later, rounds=ROUNDS, start=found.cuts, enough=lambda _: False)
    assert roomy.cost_um > KNOWN_UM
