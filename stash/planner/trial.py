"""Changed problems, planned and audited: what is offered, or said of a no, was tried here first.

Fabrics do not stand in for each other, so a problem is decided fabric by fabric, and what was found for a share is
kept: a change to one fabric does not plan the others again.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from typing import Any, Final, Protocol

from stash.errors import OurFault
from stash.planner.audit import audit
from stash.planner.halt import Ended
from stash.planner.plan import Answer, Placement, Plan
from stash.planner.problem import Problem

TRY_S: Final = 2.0  # seconds for one change; most are decided in a tenth of that
LEAST_S: Final = 0.05  # seconds that a try is given when time is nearly out


class Decider(Protocol):
    """What answers a problem: ``stash.planner.solve.decide``, or a stand-in in tests."""

    def __call__(self, problem: Problem, *, limit_s: float, optimise: bool) -> Plan: ...


def decided(problem: Problem, *, limit_s: float, optimise: bool) -> Plan:
    """The planner's own answer, imported when it is needed."""
    from stash.planner.solve import decide

    return decide(problem, limit_s=limit_s, optimise=optimise)


@dataclass(slots=True)
class Trial:
    """Tries problems near to one until the deadline (``time.monotonic``); what was decided is not asked again.

    ``cut_short`` says why something was left undecided, once for each time.
    """

    deadline: float
    decide: Decider = decided
    try_s: float = TRY_S
    known: dict[Any, Plan] = field(default_factory=dict)
    cut_short: list[Ended] = field(default_factory=list)

    @property
    def left_s(self) -> float:
        """Seconds left."""
        return max(0.0, self.deadline - time.monotonic())

    def until(self, deadline: float) -> Trial:
        """The same with a nearer deadline; both know what either finds."""
        return replace(self, deadline=min(self.deadline, deadline))

    def part(self, of: int) -> Trial:
        """The same with an equal part of what is left."""
        return self.until(time.monotonic() + self.left_s / max(1, of))

    def answer(self, problem: Problem) -> Answer:
        """Yes, no or not known, fabric by fabric until one is not a yes."""
        for fabric in fabrics_of(problem):
            plan = self.share(problem, fabric)
            if plan.answer != "yes":
                return "no" if plan.answer == "no" and plan.proven else "unsure"
        return "yes"

    def placements(self, problem: Problem) -> tuple[Placement, ...] | None:
        """Where everything is cut, planned and audited; None where no such plan was found in time."""
        if self.answer(problem) != "yes":
            return None
        placements = tuple(p for fabric in fabrics_of(problem) for p in self.share(problem, fabric).placements)
        return None if audit(problem, placements) else placements

    def share(self, problem: Problem, fabric: str) -> Plan:
        """The answer for one fabric's parts."""
        mine = share_of(problem, fabric)
        cloth = tuple((p.id, p.outline_mm, p.outline_u95_mm, p.stripe_origin_mm) for p in mine.pieces)
        across = mine.fabrics[fabric].print.across
        key = (fabric, mine.parts, cloth, None if across is None else (across.value, across.u95))
        if key not in self.known:
            if self.left_s <= 0:
                self.cut_short.append("time")
                return Plan(answer="unsure", reason="time")
            limit_s = max(LEAST_S, min(self.try_s, self.left_s))
            try:
                plan = self.decide(mine, limit_s=limit_s, optimise=False)
            except OurFault:  # the audit refused it: what cannot be trusted is not offered, the answer itself stands
                return Plan(answer="unsure", reason="time")
            if plan.ended == "stopped":  # heard while the plan was finished: it is for whoever asked for the trial
                raise KeyboardInterrupt
            if plan.reason == "time":
                self.cut_short.append("time")
                return plan
            self.known[key] = plan
        return self.known[key]

    def short(self, problem: Problem) -> list[str]:
        """The fabrics whose share is not a yes."""
        return [fabric for fabric in fabrics_of(problem) if self.share(problem, fabric).answer != "yes"]


def fabrics_of(problem: Problem) -> list[str]:
    """The fabrics that the parts are cut from, in the order of the parts."""
    return list(dict.fromkeys(part.fabric for part in problem.parts))


def share_of(problem: Problem, fabric: str) -> Problem:
    """One fabric's parts and pieces."""
    return replace(
        problem,
        parts=tuple(part for part in problem.parts if part.fabric == fabric),
        pieces=tuple(piece for piece in problem.pieces if piece.fabric == fabric),
    )
