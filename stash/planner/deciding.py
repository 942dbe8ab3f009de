"""The recipe for one fabric: quick start, certificates, exact search, second proof, nominal plan, cheaper plan."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from stash.planner.asking import Effort, Outcome
from stash.planner.bound import find_lack
from stash.planner.finding import Finding, Share, area_lack, unknown_settle
from stash.planner.halt import how
from stash.planner.improving import Better, as_it_is, improve
from stash.planner.pattern import fill_tight_lanes
from stash.planner.phase import PhaseSearch
from stash.planner.price import Weights
from stash.planner.quick import Solution, panel_lack_mm, quick_solution
from stash.planner.relaxation import Relaxation
from stash.planner.search import Search
from stash.planner.stance import FIT_UM, Stance
from stash.planner.task import Task, build_task
from vision.estimate import Estimate

FIRST_ROUNDS = 300
"""Rounds of laying anew before a proof of the contrary is looked for: most plans there are take fewer."""

LAYING = 0.55
"""The share of the time left that laying anew may take."""


FEW_REPEATS = 3000
"""Repeats to choose from, all segments together, up to which it is asked exactly in which each lies before strips are
laid anew for long: a tenth of a second a thousand to build, and more of them are not often seen through."""

FEW_PLACES = 250
"""The same for pairs of a segment and a run where the print does not repeat along."""

SOON_WORK = 0.2
"""The solver's own measure of work that may be spent on that at first: two seconds or three."""


@dataclass(frozen=True, slots=True)
class Clock:
    """Until when to search, and whom to tell; ``keep_s`` of the time are not for a cheaper plan."""

    deadline: float
    say: Callable[[str], None]
    keep_s: float = 0.0

    @property
    def left_s(self) -> float:
        """Seconds left."""
        return max(0.0, self.deadline - time.monotonic())

    def part(self, of: int) -> Clock:
        """An equal part of what is left."""
        return Clock(time.monotonic() + self.left_s / max(1, of), self.say, self.keep_s / max(1, of))


def decide_share(share: Share, clock: Clock, weights: Weights, *, optimise: bool) -> Finding:
    """The finding for one fabric."""
    lack_mm2 = area_lack(share)
    if lack_mm2 > 0:
        return _no_by_area(share, lack_mm2)
    settle = unknown_settle(share)
    if share.strips and (share.fabric.print.across is None or not share.fabric.print.stripes):
        return Finding(answer="unsure", reason="measurement", settle=settle)
    blind = bool(settle) and share.by_print
    generous = _task(share, Stance.GENEROUS)
    certain = None if blind else _certain_no(share, generous)
    if certain is not None:
        return certain
    strict = _task(share, Stance.STRICT)
    found, open_ = quick_solution(strict, weights, clock.deadline, FIRST_ROUNDS), False
    if found is None:
        certain = None if blind else _no_by_relaxation(generous, clock)
        if certain is not None:
            return certain
        found, open_ = (None, False) if find_lack(strict) is not None else _sought(strict, clock, weights)
    if found is not None:
        return _yes(found, clock, weights, optimise=optimise)
    if blind:
        return Finding(answer="unsure", reason="measurement", settle=settle)
    return _between(share, clock, weights, open_=open_)


def _sought(task: Task, clock: Clock, weights: Weights) -> tuple[Solution | None, bool]:
    """Looked for harder: tight lanes by listing, then laid anew more often, then exactly. Where nothing is found, the
    second says whether something may be."""
    filled = fill_tight_lanes(task, clock.deadline)
    if filled.status == "found":
        return Solution(task=task, cuts=filled.cuts, lays=()), False
    soon = _asked_soon(task, clock)
    if soon.status == "found":
        return Solution(task=task, cuts=soon.cuts, lays=()), False
    if soon.status == "none":
        return None, False
    found = quick_solution(task, weights, time.monotonic() + LAYING * clock.left_s)
    if found is not None:
        return found, False
    clock.say(f"searching {task.fabric.name} exactly")
    outcome = _search(task, replace(clock, deadline=time.monotonic() + 0.6 * clock.left_s))
    if outcome.status == "found":
        return Solution(task=task, cuts=outcome.cuts, lays=outcome.lays), False
    return None, outcome.status == "open"


def _task(share: Share, stance: Stance) -> Task:
    return build_task(
        share.fabric, share.pieces, share.strips, share.panels, stance, ways=share.ways, starts=share.starts
    )


# -- no ---------------------------------------------------------------------------------------------------------


def _no_by_area(share: Share, lack_mm2: float) -> Finding:
    widths = [strip.cut_width_mm for strip in share.strips] + [panel.width_mm for panel in share.panels]
    stripe = share.strips[0].stripe if share.strips else None
    generous = _task(share, Stance.GENEROUS)
    lack = find_lack(generous) if share.strips and share.fabric.print.across else None
    missing: dict[str | None, float] = {stripe: lack_mm2 / max(widths)}
    if lack is not None:
        missing = {label: um / 1000 for label, um in lack.missing_um.items()}
    for panel_lack in panel_lack_mm(generous).values():
        missing[None] = max(missing.get(None, 0.0), panel_lack)
    proof = f"the parts of {share.fabric.id} cover {lack_mm2:.0f} mm2 more than there is cloth"
    return Finding(answer="no", proven=True, missing_mm=missing, proofs=(proof,), certified=True)


def _certain_no(share: Share, task: Task) -> Finding | None:
    """A no by certificate, from the cloth read in the maker's favour."""
    missing: dict[str | None, float] = {}
    proofs: list[str] = []
    for index, lack_mm in panel_lack_mm(task).items():
        missing[None] = max(missing.get(None, 0.0), lack_mm)
        proofs.append(f"panel {task.panels[index].id} finds no room on any piece of {share.fabric.id}, even alone")
    lack = find_lack(task) if task.needs else None
    if lack is not None:
        missing.update({label: um / 1000 for label, um in lack.missing_um.items()})
        proofs.append(lack.proof)
    if not proofs:
        return None
    return Finding(answer="no", proven=True, missing_mm=missing, proofs=tuple(proofs), certified=True)


def _no_by_relaxation(task: Task, clock: Clock) -> Finding | None:
    """A no because the lanes cannot be filled so, even in fractions."""
    if not task.needs:
        return None
    relaxation = Relaxation(task)
    lack_um = relaxation.solve(clock.deadline, stop_um=1).um
    if lack_um <= 0:
        return None
    missing: dict[str | None, float] = {label: um / 1000 for label, um in relaxation.uncut_um().items()}
    proof = (
        f"however the lanes of {task.fabric.id} are filled with strips and segments, "
        f"at least {lack_um / 1000:.1f} mm of strip stays uncut"
    )
    return Finding(answer="no", proven=True, missing_mm=missing, proofs=(proof,), certified=True)


def _between(share: Share, clock: Clock, weights: Weights, *, open_: bool) -> Finding:
    """No strict plan is known: a no if the generous problem has none either, else unsure."""
    generous = _task(share, Stance.GENEROUS)
    kind = quick_solution(generous, weights, time.monotonic() + LAYING * clock.left_s, FIRST_ROUNDS)
    outcome = (
        Outcome(status="found")
        if kind is not None
        else _search(generous, replace(clock, deadline=time.monotonic() + 0.5 * clock.left_s))
    )
    if outcome.status == "none":
        filled = fill_tight_lanes(generous, clock.deadline)
        if filled.status == "none":
            return _no_by_search(generous, again="listing every way to fill the lanes finds none either")
        second = _search(generous, clock, second=True)
        if second.status == "none":
            return _no_by_search(generous, again="a second search, without presolve and with another seed, agrees")
        return Finding(answer="unsure", reason="time")
    if outcome.status == "open" or open_:
        return Finding(answer="unsure", reason="time")
    nominal = _task(share, Stance.NOMINAL)
    found = _planned(nominal, replace(clock, deadline=time.monotonic() + 0.6 * clock.left_s), weights)
    settle = _what_decides(share, clock, weights)
    if found is None:
        return Finding(answer="unsure", reason="measurement", settle=settle)
    return Finding(answer="unsure", reason="measurement", placements=found.placements(), settle=settle)


def _planned(task: Task, clock: Clock, weights: Weights) -> Solution | None:
    """A plan if one is found in the time, by whatever means finds it soonest."""
    found = quick_solution(task, weights, clock.deadline, FIRST_ROUNDS)
    if found is not None:
        return found
    asked = _asked_soon(task, clock)
    if asked.status == "open":
        found = quick_solution(task, weights, time.monotonic() + LAYING * clock.left_s)
        asked = _search(task, clock) if found is None else asked
    return Solution(task=task, cuts=asked.cuts, lays=asked.lays) if asked.status == "found" else found


def _no_by_search(task: Task, *, again: str) -> Finding:
    """Two different searches found none; one alone would not be taken for a proof. The shortest part says how much."""
    stripe: str | None = task.needs[0].strip.stripe if task.needs else None
    if task.needs:
        missing = min(need.whole_um for need in task.needs) / 1000
    else:
        missing = min(panel.length_mm for panel in task.panels)
    first = "an exhaustive search finds no plan although the total length would do: the lanes' ends do not add up"
    return Finding(answer="no", proven=True, missing_mm={stripe: missing}, proofs=(first, again))


def _asked_soon(task: Task, clock: Clock) -> Outcome:
    """Asked exactly before strips are laid anew for long, where there are few places to choose from; else open."""
    effort = Effort(seconds=0.3 * clock.left_s, work=SOON_WORK)
    if task.panels or not task.needs:
        return Outcome(status="open")
    if _phased(task):
        search = PhaseSearch(task)
        return search.run(effort) if search.choices <= FEW_REPEATS else Outcome(status="open")
    few = sum(need.most * len(need.all_runs) for need in task.needs) <= FEW_PLACES
    return Search(task).run(effort) if few else Outcome(status="open")


def _phased(task: Task) -> bool:
    return any(need.phased for need in task.needs)


def _search(task: Task, clock: Clock, *, second: bool = False) -> Outcome:
    """All of it exactly. With a repeat along: in which repeat each segment lies, then without the repeat, whose no is a
    no, then once more with another relaxation; with panels besides, the one model of all that there is."""
    if not _phased(task):
        return _all_at_once(task, clock, second=second)
    if task.panels:
        relaxed = Search(task, phased=False).run(Effort(seconds=0.4 * clock.left_s, second=second))
        return relaxed if relaxed.status == "none" else _all_at_once(task, clock, second=second)
    search = PhaseSearch(task)
    outcome = search.run(Effort(seconds=0.5 * clock.left_s, second=second))
    if outcome.status == "open":
        relaxed = Search(task, phased=False).run(Effort(seconds=0.5 * clock.left_s, second=second))
        outcome = relaxed if relaxed.status == "none" else outcome
    if outcome.status == "open":
        outcome = search.run(Effort(seconds=clock.left_s, second=second, linear=True))
    return outcome


def _all_at_once(task: Task, clock: Clock, *, second: bool) -> Outcome:
    """The one model of strips and panels."""
    search = Search(task)
    if search.panels.too_big:
        return Outcome(status="open")
    if _phased(task) and not second:
        outcome = search.run(Effort(seconds=0.4 * clock.left_s, linear=True))
        if outcome.status != "open":
            return outcome
    return search.run(Effort(seconds=clock.left_s, second=second))


# -- yes --------------------------------------------------------------------------------------------------------


def _yes(found: Solution, clock: Clock, weights: Weights, *, optimise: bool) -> Finding:
    better = Better(solution=found, bound_um=0)
    try:
        clock.say("looking for a better plan")
        seconds = max(0.0, clock.left_s - clock.keep_s)
        better = improve(found, weights, seconds, clock.say) if optimise else as_it_is(found, weights)
    except KeyboardInterrupt as interruption:
        better = replace(better, stopped=how(interruption))
    cost = better.solution.cost_um(weights)
    bound = min(cost, better.bound_um)
    return Finding(answer="yes", proven=True, placements=better.solution.placements(), cost_um=cost, bound_um=bound,
                   best=cost <= bound + FIT_UM, stopped=better.stopped, cut_short=better.cut_short)  # fmt: skip


# -- unsure -----------------------------------------------------------------------------------------------------


def _what_decides(share: Share, clock: Clock, weights: Weights) -> tuple[str, ...]:
    """Which measurement, made exact, would settle it: outlines, the repeat, or only both."""
    lines: list[str] = []
    across = share.fabric.print.across
    exact_pieces = tuple(replace(piece, outline_u95_mm=0.0) for piece in share.pieces)
    unsure_outline = any(piece.outline_u95_mm for piece in share.pieces)
    if unsure_outline and _settled(replace(share, pieces=exact_pieces), clock, weights):
        worst = max(share.pieces, key=lambda piece: piece.outline_u95_mm)
        lines.append(f"measure the outline of {worst.id} again, closer than {worst.outline_u95_mm:.3g} mm")
    if across is not None and across.u95:
        exact = replace(share.fabric, print=replace(share.fabric.print, across=Estimate(across.value)))
        if _settled(replace(share, fabric=exact), clock, weights):
            lines.append(
                f"measure the repeat of {share.fabric.id} again over more repeats, closer than {across.u95:.3g} mm"
            )
    if not lines:
        lines = [f"measure piece {piece.id} again by hand" for piece in share.pieces if piece.outline_u95_mm]
        lines += [f"measure the repeat of {share.fabric.id} again over more repeats"] if across and across.u95 else []
    return tuple(lines or [f"it fits to within a hundredth of a millimetre on {share.fabric.id}: leave more to spare"])


def _settled(share: Share, clock: Clock, weights: Weights) -> bool:
    clock = replace(clock, deadline=time.monotonic() + 0.4 * clock.left_s)
    return _planned(_task(share, Stance.STRICT), clock, weights) is not None
