"""The hardest borders met, kept as files. Truth: the audit for a yes, the certificate in whole numbers for a no."""

from __future__ import annotations

import pytest

from stash.planner.audit import audit, audit_leftovers
from stash.planner.solve import decide
from tests.makers.border_file import kept


@pytest.mark.parametrize("name", ["tight-with-motif", "motif-and-pairs", "many-joins"])
def test_a_tight_border_is_laid(name: str) -> None:
    """These can be cut: a plan was laid once, and the audit finds nothing against the one that is laid now."""
    problem = kept(name)
    plan = decide(problem, limit_s=60, optimise=False)
    assert plan.answer == "yes"
    assert audit(problem, plan.placements) == ()
    assert audit_leftovers(problem, plan.placements, plan.leftovers) == ()


def test_a_no_that_no_sum_of_lengths_shows_is_certified() -> None:
    """There is length enough, but no mix of fillings uses it: the certificate is checked in whole numbers."""
    plan = decide(kept("no-by-fillings"), limit_s=60, optimise=False)
    assert plan.answer == "no"
    assert plan.proven
    assert plan.certified


def test_what_is_not_decided_is_never_told_as_a_yes() -> None:
    """A second formulation with another solver proves that this pair cannot be cut: no, or not known so soon."""
    plan = decide(kept("two-that-pair"), limit_s=5, optimise=False)
    assert plan.answer == "no" or (plan.answer, plan.reason) == ("unsure", "time")
