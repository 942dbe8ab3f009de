"""The planner's door: can all parts be cut, is it certain either way, and where are they cut?

A yes is a plan for the problem read against the maker; a no is a proof for the problem read in her favour; between the
two it is unsure, and ``settle`` says what to measure again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from stash.errors import OurFault
from stash.planner.deciding import Clock
from stash.planner.finding import Finding, Share, join_lines, shares
from stash.planner.halt import Ended, alarm, how
from stash.planner.looking import decide_matched
from stash.planner.mismatch import parted
from stash.planner.plan import Placement, Plan, Reason, Shortage
from stash.planner.price import DEFAULT, Weights
from stash.planner.problem import Problem
from stash.planner.spare import leftovers, tightest

CHEAPER: Final = "a cheaper plan"
"""What is left out where the search for one was cut short."""


def decide(
    problem: Problem,
    *,
    limit_s: float = 60.0,
    weights: Weights = DEFAULT,
    progress: Callable[[str], None] | None = None,
    optimise: bool = True,
    keep_s: float = 0.0,
) -> Plan:
    """Answer whether every part can be cut from the pieces.

    ``optimise`` off takes the first plan found, and so does Ctrl-C while a cheaper one is looked for. ``keep_s`` of
    the time are not for a cheaper plan, but for what is to be said of it. The answer does not depend on the machine,
    but for running out of time.

    Raises:
        InputWrong: a part names a fabric or a stripe that is not there.
        OurFault: the independent audit refused the plan.
        KeyboardInterrupt: the user stopped it before there was an answer.
    """
    began = time.monotonic()
    todo = shares(problem)
    if apart := parted(problem.strips):
        return Plan(answer="no", proven=True, proofs=apart, seconds=round(time.monotonic() - began, 3))
    findings: list[Finding] = []
    ended: Ended | None = None
    clock = Clock(began + limit_s, progress or (lambda _: None), keep_s)
    try:
        with alarm(limit_s):
            _find(todo, findings, clock, weights, optimise=optimise)
    except KeyboardInterrupt as interruption:
        ended = how(interruption)
        if len(findings) < len(todo) and all(finding.answer != "no" for finding in findings):
            if ended == "stopped":
                raise
            spent = round(time.monotonic() - began, 3)
            return Plan(answer="unsure", reason="time", ended="time", seconds=spent)
    names = [share.fabric.id for share in todo]
    try:
        plan = _combine(problem, findings, names)
    except KeyboardInterrupt as interruption:  # a second one is not to be put off
        ended = how(interruption)
        plan = _combine(problem, findings, names)
    return replace(plan, ended=ended or plan.ended, seconds=round(time.monotonic() - began, 3))


def _find(todo: Sequence[Share], findings: list[Finding], clock: Clock, weights: Weights, *, optimise: bool) -> None:
    """Adds the findings, fabric by fabric. Once a cheaper plan was not waited for, the first of every other is taken.

    Raises KeyboardInterrupt where it is stopped before a fabric's answer is known.
    """
    for index, share in enumerate(todo):
        clock.say(f"planning {share.fabric.name}")
        part_clock = clock.part(len(todo) - index)
        optimise = optimise and not any(finding.stopped for finding in findings)
        findings.append(decide_matched(share, part_clock, weights, optimise=optimise))


def _combine(problem: Problem, findings: list[Finding], names: list[str]) -> Plan:
    answers = {finding.answer for finding in findings}
    proofs = join_lines(*(f.proofs for f in findings))
    settle = join_lines(*(f.settle for f in findings))
    if "no" in answers:
        short = tuple(
            Shortage(fabric=name, stripe=stripe, missing_mm=max(0.1, round(missing, 1)))
            for name, f in zip(names, findings, strict=False)
            if f.answer == "no"
            for stripe, missing in f.missing_mm.items()
        )
        certified = any(f.certified for f in findings if f.answer == "no")
        return Plan(answer="no", proven=True, short=short, proofs=proofs, certified=certified)
    placements = tuple(p for f in findings for p in f.placements)
    if "unsure" in answers:
        reason: Reason = "time" if any(f.reason == "time" for f in findings) else "measurement"
        whole = all(f.placements for f in findings)
        shown = placements if whole and not _faults(problem, placements, strict=False) else ()
        return Plan(
            answer="unsure", reason=reason, placements=shown, settle=settle, proofs=proofs,
            leftovers=leftovers(problem.pieces, shown), tightest=tightest(problem.pieces, shown),
        )  # fmt: skip
    shown = _audited(problem, placements)
    cost, bound = sum(f.cost_um for f in findings), sum(f.bound_um for f in findings)
    return Plan(
        answer="yes", proven=True, best=all(f.best for f in findings), cost=round(cost / 1000, 3),
        bound=round(bound / 1000, 3), placements=shown, tightest=tightest(problem.pieces, shown),
        leftovers=leftovers(problem.pieces, shown), proofs=proofs,
        ended=next((f.stopped for f in findings if f.stopped), "time" if any(f.cut_short for f in findings) else None),
        untold=(CHEAPER,) if any(f.stopped or f.cut_short for f in findings) else (),
    )  # fmt: skip


def _faults(problem: Problem, placements: tuple[Placement, ...], *, strict: bool) -> tuple[str, ...]:
    """What the audit finds against the placements. It shares no arithmetic with the search."""
    from stash.planner.audit import audit

    return audit(problem, placements, strict=strict)


def _audited(problem: Problem, placements: tuple[Placement, ...]) -> tuple[Placement, ...]:
    """The placements of a yes, which the audit must find nothing against."""
    faults = _faults(problem, placements, strict=True)
    if faults:
        raise OurFault(f"the plan failed its own check ({faults[0]})", "send us the report file; no cloth was booked")
    return placements
