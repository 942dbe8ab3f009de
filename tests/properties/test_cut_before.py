"""What is cut first never spoils what is cut later: a plan's rest is itself a plan for the rest."""

from __future__ import annotations

from dataclasses import replace

from stash.garment.part import Strip
from stash.planner.audit import audit
from stash.planner.laid import laid_in
from stash.planner.plan import Plan
from stash.planner.problem import Problem
from stash.planner.solve import decide
from tests.makers.matched_case import matched_case
from tests.makers.planner_case import random_case


def _questions() -> list[tuple[str, Problem]]:
    """Some with pairs and a repeat along, some with mirror sets, corners and neighbours outward."""
    plain = [(f"random {seed}", random_case(seed, unsure=False)) for seed in range(40)]
    return plain + [(f"matched {seed}", matched_case(seed)) for seed in range(40)]


def _after_cutting(problem: Problem, plan: Plan, cut: Strip) -> Problem:
    """The question that is left once one strip of the plan is cut, all of it."""
    laid = laid_in(problem, plan.placements)[cut.id, 1]
    taken = {row.piece for row in plan.placements if row.part == cut.id}
    # of a piece that is cut into nothing is left but what is still to be cut from it, as it lies
    whole = [piece for piece in problem.pieces if piece.id not in taken]
    lying = [
        replace(
            next(piece for piece in problem.pieces if piece.id == row.piece),
            id=f"{row.piece}-{number}", outline_mm=row.outline_mm, outline_u95_mm=0.0, holes_mm=(), flaws_mm=(),
        )
        for number, row in enumerate(plan.placements)
        if row.piece in taken and row.part != cut.id
    ]  # fmt: skip
    return replace(
        problem,
        parts=tuple(part for part in problem.parts if part.id != cut.id),
        pieces=(*whole, *lying),
        before=(replace(cut, laid=laid),),
    )


def test_the_rest_of_a_plan_is_a_plan_for_the_rest() -> None:
    """With any one strip of a plan cut, and of its piece nothing left but the plan's other cuts just as they lie, the
    rest matches it: never a no, and where it is a yes, so says the audit."""
    asked = 0
    for name, problem in _questions():
        plan = decide(problem, limit_s=20, optimise=False)
        known = laid_in(problem, plan.placements)
        cut = [strip for strip in problem.strips if (strip.id, 1) in known]
        for strip in cut if plan.answer == "yes" and len(problem.parts) > 1 else ():
            rest = _after_cutting(problem, plan, strip)
            again = decide(rest, limit_s=20, optimise=False)
            assert again.answer != "no", (name, strip.id, again.proofs)
            assert again.answer != "yes" or audit(rest, again.placements) == (), (name, strip.id)
            asked += again.answer == "yes"
    assert asked > 30
