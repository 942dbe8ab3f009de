"""No false no where a plan is known: plans are laid on random cloth first, then their parts are asked for.

Truth: the laid plan itself, which the audit finds sound.
"""

from __future__ import annotations

import pytest

from stash.planner.audit import audit, audit_leftovers
from stash.planner.solve import decide
from tests.makers.planted_case import planted_case


@pytest.mark.parametrize(("strips", "panels"), [(8, 0), (4, 2), (16, 1)])
def test_what_was_laid_is_found_possible(strips: int, panels: int) -> None:
    """Twenty questions each with a known plan: never a no, nearly always a yes, and every yes passes the audit."""
    yes = 0
    for seed in range(20):
        problem, known = planted_case(seed, strips=strips, panels=panels)
        assert audit(problem, known) == (), seed
        plan = decide(problem, limit_s=10, optimise=False)
        assert plan.answer != "no", seed
        if plan.answer == "yes":
            yes += 1
            assert audit(problem, plan.placements) == (), seed
            assert audit_leftovers(problem, plan.placements, plan.leftovers) == (), seed
    assert yes >= 18
