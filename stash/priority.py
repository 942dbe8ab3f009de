"""Several garments in order of importance: where not all of them go, as many of the most important as can be.

What cannot be cut beside some garments cannot be cut beside these and more, so taking them one by one, each if it goes
beside those taken already, gives the best set in that order.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from stash.actions import LIMIT_S, Answered, LeftOut, Progress, answered, planned, question
from stash.planner.plan import Answer, Plan

if TYPE_CHECKING:
    from stash.garment.part import Garment
    from stash.interchange.contents import Contents
    from stash.planner.problem import Problem

#: The share of the time left that finding out which garments go may take; the rest is for a better plan of these.
TRYING: Final = 0.6
#: The longest that one trial may take, as a share of the whole time.
ONE_TRIAL: Final = 0.3
#: Seconds that a trial is given when the time is nearly up.
LEAST_S: Final = 0.1


def most_important(
    garments: Sequence[Garment],
    contents: Contents,
    *,
    limit_s: float = LIMIT_S,
    progress: Progress | None = None,
    room_mm: float | None = None,
) -> Answered:
    """A plan for as many of the most important garments as go; they stand in order of importance.

    Where even the first does not go and no other does, the answer is that for the first alone. Raises InputWrong where
    a part's fabric or stripe is not there.
    """
    from stash.garment.resolved import told_apart

    began = time.monotonic()
    table = _Table(contents=contents, began=began, limit_s=limit_s)
    for garment, name in zip(garments, told_apart([garment.name for garment in garments]), strict=True):
        if progress is not None:
            progress(f"seeing whether {name} goes too")
        table.offer(garment, name)
    going = table.going or [garments[0]]
    problem, remarks = table.question(going)
    left_s = max(LEAST_S, limit_s - (time.monotonic() - began))
    plan = table.plan
    try:
        if not table.stopped:
            plan = planned(
                problem, limit_s=left_s, progress=progress, garments=going, contents=contents, room_mm=room_mm
            )
    except KeyboardInterrupt:
        if table.plan is None:
            raise
        table.stopped = True
    if plan is None or (table.plan is not None and plan.answer != "yes"):
        plan = table.plan or Plan(answer="unsure", reason="time")
    if table.stopped:
        plan = replace(plan, ended="stopped", untold=("a cheaper plan",))
    return answered(problem, going, plan, contents, remarks, tuple(table.left_out))


@dataclass(slots=True, kw_only=True)
class _Table:
    """The garments taken so far, with a plan for them, and those left out."""

    contents: Contents
    began: float
    limit_s: float
    going: list[Garment] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    plan: Plan | None = None
    stopped: bool = False
    left_out: list[LeftOut] = field(default_factory=list)

    def offer(self, garment: Garment, name: str) -> None:
        """Takes the garment if it goes beside those taken, else says why not.

        Raises KeyboardInterrupt where it is stopped before any is taken; afterwards the others are left out.
        """
        alone: Answer = "unsure"
        plan = Plan(answer="unsure", reason="time", ended="stopped")
        try:
            if not self.stopped:
                plan = self._try([*self.going, garment])
                self.stopped = plan.ended == "stopped"
                going = plan.answer == "yes" or not self.going
                alone = plan.answer if going else "unsure" if self.stopped else self._try([garment]).answer
        except KeyboardInterrupt:
            if not self.going:
                raise
            self.stopped = True
        if plan.answer == "yes":
            self.going.append(garment)
            self.names.append(name)
            self.plan = plan
            return
        self.left_out.append(LeftOut(garment=name, beside=tuple(self.names), plan=plan, alone=alone))

    def question(self, garments: Sequence[Garment]) -> tuple[Problem, tuple[str, ...]]:
        """The planner's problem for some of the garments."""
        return question(garments, {fabric.id: fabric for fabric in self.contents.fabrics}, self.contents.pieces)

    def _try(self, garments: Sequence[Garment]) -> Plan:
        from stash.planner.solve import decide

        left_s = TRYING * self.limit_s - (time.monotonic() - self.began)
        problem, _ = self.question(garments)
        return decide(problem, limit_s=max(LEAST_S, min(left_s, ONE_TRIAL * self.limit_s)), optimise=False)
