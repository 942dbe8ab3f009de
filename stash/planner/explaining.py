"""An answer told to the end: a no with what is in the way and the ways out, an unsure with what settles it, a yes with
what it leaves. The answer stays what it is. It is told step by step; where the time is up or the user does not want to
wait, the steps that are left are named and the rest stands.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from stash.planner.advice import ways_out
from stash.planner.buying import more_repeats, purchases
from stash.planner.crowd import crowds
from stash.planner.halt import Ended, alarm, how
from stash.planner.missing import told_exactly
from stash.planner.nearby import Stock
from stash.planner.over import over, wider_mm
from stash.planner.plan import Plan, Shortage
from stash.planner.problem import Problem
from stash.planner.redraw import Redraw
from stash.planner.roomier import ROOM_MM, roomier
from stash.planner.settling import remeasures, settle_sentences
from stash.planner.trial import Trial

NO_S: Final = 15.0  # seconds that a no may take to be explained: as long as somebody waits for it (our judgement)
NO_SHARE: Final = 0.25  # or as much of a longer limit, which somebody sets who wants to know more
UNSURE_S: Final = 10.0  # and an unsure answer
ROOM_S: Final = 6.0  # and a tight yes, to find a roomier one
YES_S: Final = 2.0  # and a yes, whose plan she already has

WAYS: Final = "what would make it a yes"
"""The last step of a no. Where it was not taken to the end, what was found is given."""

_Step = tuple[str, Callable[[Plan], Plan]]


def explained(
    problem: Problem,
    plan: Plan,
    *,
    limit_s: float,
    redraw: Redraw | None = None,
    stock: Stock | None = None,
    room_mm: float = ROOM_MM,
    progress: Callable[[str], None] | None = None,
) -> Plan:
    """The plan with all that can be said of it in time; ``redraw`` and ``stock`` as for ``ways_out``.

    A yes that leaves less than ``room_mm`` gives way to one that leaves more, where there is one at little more cost.
    What was not said is named in ``untold``; a plan that the user stopped is not kept waiting for any of it.
    """
    deadline = time.monotonic() + limit_s
    plan = replace(plan, room_mm=room_mm) if plan.answer == "yes" else plan
    asked = _Asked(problem, deadline, redraw, stock, room_mm, progress or (lambda _: None))
    steps = list(asked.steps(plan))
    ended: Ended | None = "stopped" if plan.ended == "stopped" else None
    done = 0
    try:
        with alarm(limit_s):
            while done < len(steps) and ended is None and time.monotonic() < deadline:
                plan = steps[done][1](plan)
                done += 1
                ended = "stopped" if "stopped" in asked.cut_short else None
    except KeyboardInterrupt as interruption:
        ended = how(interruption)
    untold = tuple(name for name, _ in steps[done:])
    if done == len(steps) and asked.cut_short:
        ended, untold = asked.cut_short[-1], (steps[-1][0],)
    return replace(plan, ended=ended or (plan.ended or "time" if untold else plan.ended), untold=plan.untold + untold)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is asked of an answer, until when; ``cut_short`` as in ``Trial``, of the step that may be given in part."""

    problem: Problem
    deadline: float
    redraw: Redraw | None
    stock: Stock | None
    room_mm: float
    say: Callable[[str], None]
    cut_short: list[Ended] = field(default_factory=list)

    def steps(self, plan: Plan) -> Iterator[_Step]:
        """What there is to say of such an answer, in order."""
        if plan.answer == "no" and plan.proven:
            yield from self._no(plan)
        elif plan.answer == "unsure" and plan.reason == "measurement":
            yield "which measurement would settle it", self._settled
        elif plan.answer == "yes":
            yield "a plan with more room for hands", self._roomier
            yield "what is left over of each stripe", lambda told: replace(told, over=over(self.problem, told))
            yield "how much wider the borders could be", self._wider

    def _trial(self, seconds: float, try_s: float | None = None) -> Trial:
        until = min(self.deadline, time.monotonic() + seconds)
        return Trial(until) if try_s is None else Trial(until, try_s=try_s)

    # -- no ---------------------------------------------------------------------------------------------------------

    def _no(self, plan: Plan) -> Iterator[_Step]:
        left_s = self.deadline - time.monotonic()
        trial = self._trial(max(NO_S, NO_SHARE * left_s))
        fabrics = list(dict.fromkeys(row.fabric for row in plan.short))

        def in_the_way(told: Plan) -> Plan:
            self.say("looking for what is in the way")
            return replace(told, crowds=crowds(self.problem, fabrics, trial.part(5)))

        def lacking(told: Plan) -> Plan:
            groups = {row.fabric: row.parts for row in told.crowds}
            return replace(told, short=told_exactly(self.problem, told.short, groups, trial.part(6)))

        def repeats(told: Plan) -> Plan:
            return replace(told, short=tuple(_with_repeats(self.problem, row, trial.part(12)) for row in told.short))

        def bought(told: Plan) -> Plan:
            return replace(told, buy=purchases(self.problem, fabrics, trial.part(5)))

        def ways(told: Plan) -> Plan:
            self.say("looking for the least change that makes it a yes")
            last = replace(trial, cut_short=self.cut_short)
            found = ways_out(self.problem, limit_s=trial.left_s, redraw=self.redraw, stock=self.stock, trial=last)
            return replace(told, ways_out=found)

        yield "which parts are in each other's way", in_the_way
        yield "how much is lacking at most", lacking
        yield "how many repeats more would do", repeats
        yield "how much more cloth would do", bought
        yield WAYS, ways

    # -- unsure -----------------------------------------------------------------------------------------------------

    def _settled(self, plan: Plan) -> Plan:
        self.say("looking for the measurement that settles it")
        trial = self._trial(UNSURE_S)
        told = replace(plan, remeasure=remeasures(self.problem, trial))
        if told.remeasure:
            return replace(told, settle=settle_sentences(told))
        self.cut_short.extend(trial.cut_short)
        return plan

    # -- yes --------------------------------------------------------------------------------------------------------

    def _roomier(self, plan: Plan) -> Plan:
        self.say("looking for room for hands, and at what is left over")
        return roomier(self.problem, plan, self.room_mm, self._trial(ROOM_S))

    def _wider(self, plan: Plan) -> Plan:
        told = replace(plan, wider_mm=wider_mm(self.problem, self._trial(YES_S, YES_S / 4)))
        if told.wider_mm is None and self.problem.strips:
            self.cut_short.append("time")
        return told


def _with_repeats(problem: Problem, row: Shortage, trial: Trial) -> Shortage:
    if row.stripe is None:
        return row
    return replace(row, more_repeats=more_repeats(problem, row.fabric, row.stripe, trial))
