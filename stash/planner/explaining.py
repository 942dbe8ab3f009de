"""An answer told to the end: a no with what is in the way and the ways out, an unsure with what settles it, a yes with
what it leaves. The answer stays what it is."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from stash.planner.advice import ways_out
from stash.planner.buying import more_repeats, purchases
from stash.planner.crowd import crowds
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
UNSURE_S: Final = 10.0  # and an unsure answer
ROOM_S: Final = 4.0  # and a tight yes, to find a roomier one
YES_S: Final = 2.0  # and a yes, whose plan she already has


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
    """
    say = progress or (lambda _: None)
    if plan.answer == "no" and plan.proven:
        return _no(problem, plan, min(NO_S, limit_s), redraw, stock, say)
    if plan.answer == "unsure" and plan.reason == "measurement":
        say("looking for the measurement that settles it")
        found = remeasures(problem, Trial(time.monotonic() + min(UNSURE_S, limit_s)))
        told = replace(plan, remeasure=found)
        return replace(told, settle=settle_sentences(told)) if found else plan
    if plan.answer == "yes":
        say("looking for room for hands, and at what is left over")
        roomy = roomier(problem, plan, room_mm, Trial(time.monotonic() + min(ROOM_S, limit_s)))
        plan = replace(roomy, room_mm=room_mm)
        trial = Trial(time.monotonic() + min(YES_S, limit_s), try_s=YES_S / 4)
        return replace(plan, over=over(problem, plan), wider_mm=wider_mm(problem, trial))
    return plan


def _with_repeats(problem: Problem, row: Shortage, trial: Trial) -> Shortage:
    if row.stripe is None:
        return row
    return replace(row, more_repeats=more_repeats(problem, row.fabric, row.stripe, trial))


def _no(
    problem: Problem,
    plan: Plan,
    limit_s: float,
    redraw: Redraw | None,
    stock: Stock | None,
    say: Callable[[str], None],
) -> Plan:
    trial = Trial(time.monotonic() + limit_s)
    fabrics = list(dict.fromkeys(row.fabric for row in plan.short))
    say("looking for what is in the way")
    groups = crowds(problem, fabrics, trial.part(5))
    short = told_exactly(problem, plan.short, {row.fabric: row.parts for row in groups}, trial.part(6))
    short = tuple(_with_repeats(problem, row, trial.part(12)) for row in short)
    buy = purchases(problem, fabrics, trial.part(5))
    say("looking for the least change that makes it a yes")
    ways = ways_out(problem, limit_s=trial.left_s, redraw=redraw, stock=stock, trial=trial)
    return replace(plan, short=short, crowds=groups, buy=buy, ways_out=ways)
