"""How much is missing for a yes: the least cut length that finds no room, and as much less as was planned.

The least is a bound: strips may be made shorter, order along a lane and the motif are left out of account, and what
must then still be cut off all told is minimised; no plan can do with less. What is cut off in that solution is tried as
a plan. Where it can be cut, least and enough are the same but for what the measurements leave open.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from stash.garment.part import Part, Strip
from stash.planner.plan import Shortage
from stash.planner.problem import Problem
from stash.planner.stance import Stance
from stash.planner.task import Need, Task, build_task, most_segments
from stash.planner.trial import Trial, share_of

NODES: Final = 2000  # of the search for the least: a second or two of a laptop
SECONDS: Final = 4.0  # and never longer
SOLVER_MM: Final = 0.002  # the solver's own rounding
EXACT_MM: Final = 0.05  # what a yes keeps back at a lane's ends, and the solver's rounding
STUB_MM: Final = 0.5  # a strip this short is as good as none
MOST_PLACES: Final = 4000  # segments times runs up to which the least is searched for
HALVINGS: Final = 9  # of one strip's length: to 1/500 of it


def told_exactly(problem: Problem, short: Sequence[Shortage], groups: Mapping[str, Sequence[str]], trial: Trial
                 ) -> tuple[Shortage, ...]:  # fmt: skip
    """The shortages with the least that is missing, and how much less was planned.

    ``groups`` names by fabric the parts that are in each other's way: where the bound tells nothing, one of them is
    shortened. Rows for panels stay as they are.
    """
    out: list[Shortage] = []
    for fabric in dict.fromkeys(row.fabric for row in short):
        rows = [row for row in short if row.fabric == fabric]
        share = share_of(problem, fabric)
        if not share.strips or not any(row.stripe for row in rows):
            out += rows
            continue
        least = _least(share)
        enough = _planned(share, least, trial) or _one_shorter(share, groups.get(fabric, ()), trial)
        out += _rows(fabric, rows, least, enough)
    return tuple(out)


def _rows(
    fabric: str, rows: list[Shortage], least: _Least | None, enough: Mapping[str, float] | None
) -> list[Shortage]:
    """One row for each stripe that lacks something; a bound of nothing is written as the least that can be."""
    missing = {row.stripe: row.missing_mm for row in rows}
    if least is not None and least.total_mm > 0:
        missing = {**{None: mm for stripe, mm in missing.items() if stripe is None}, **least.by_stripe()}
    elif enough is not None:
        missing = {**{None: mm for stripe, mm in missing.items() if stripe is None}, **dict.fromkeys(enough, 0.1)}
    return [
        Shortage(
            fabric=fabric,
            stripe=stripe,
            missing_mm=max(0.1, min(round(mm, 1), (enough or {}).get(stripe or "", mm))),
            enough_mm=None if enough is None or stripe is None else enough.get(stripe),
        )
        for stripe, mm in missing.items()
    ]


@dataclass(frozen=True, slots=True)
class _Least:
    """What must be cut off: proven in all, and how one best solution takes it off each strip (mm, finished)."""

    total_mm: float
    off_mm: Mapping[str, float]
    strips: Mapping[str, Strip]

    def by_stripe(self) -> dict[str | None, float]:
        """The proven total, shared out as the solution does: cut length, with the seams of strips that fall away."""
        shares: dict[str | None, float] = defaultdict(float)
        for name, off in self.off_mm.items():
            shares[self.strips[name].stripe] += off + _spared_mm(self.strips[name], off)
        whole = sum(shares.values())
        return {stripe: self.total_mm * mm / whole for stripe, mm in shares.items() if mm > 0}


def _spared_mm(strip: Strip, off_mm: float) -> float:
    """Seams and corners that are not cut where nothing is left of a strip."""
    return 2 * strip.seam_mm + sum(strip.extra_mm) if off_mm >= strip.length_mm - STUB_MM else 0.0


def _least(share: Problem) -> _Least | None:
    """The least that must be cut off; None where there are too many places or there was no telling."""
    fabric = share.fabrics[share.strips[0].fabric]
    if fabric.print.across is None or any(piece.stripe_direction_deg is None for piece in share.pieces):
        return None
    stubs = [replace(strip, length_mm=STUB_MM, shortest_mm=STUB_MM, joins=0) for strip in share.strips]
    task = build_task(fabric, share.pieces, stubs, (), Stance.GENEROUS)
    if sum(most_segments(s) * len(n.all_runs) for s, n in zip(share.strips, task.needs, strict=True)) > MOST_PLACES:
        return None
    return _Shortened(task, share.strips).solve()


class _Shortened:
    """The relaxation: each strip may be cut short, every run and clique holds what its length allows (mm)."""

    def __init__(self, task: Task, strips: Sequence[Strip]) -> None:
        from ortools.linear_solver import pywraplp

        self.solver = pywraplp.Solver.CreateSolver("SCIP")
        self.done = (pywraplp.Solver.OPTIMAL, pywraplp.Solver.FEASIBLE)
        self.task, self.strips = task, strips
        self.load: dict[int, list[Any]] = defaultdict(list)
        self.lost = [self._strip(need, strip) for need, strip in zip(task.needs, strips, strict=True)]
        for run, uses in self.load.items():
            self.solver.Add(sum(uses) <= task.runs[run].length_um / 1000)
        for clique in task.cliques:
            uses = [use for run in clique.runs for use in self.load[run]]
            if len(clique.runs) > 1 and uses:
                self.solver.Add(sum(uses) <= clique.capacity_um / 1000)
        self._order_alike()
        self.solver.Minimize(sum(off + spared for off, spared in self.lost))

    def _strip(self, need: Need, strip: Strip) -> tuple[Any, Any]:
        """Its length that is cut off, and the seams and corners that are spared where nothing of it is left."""
        solver, length, seams, corners = self.solver, strip.length_mm, 2 * strip.seam_mm, sum(strip.extra_mm)
        off = solver.NumVar(0, length, "")
        finished, before = off, None
        for number in range(most_segments(strip)):
            present = solver.BoolVar("")
            least = seams + (corners if number == 0 else 0)
            here = []
            for run in need.all_runs:
                lies = solver.BoolVar("")
                room = self.task.runs[run].length_um / 1000
                use = solver.NumVar(0, min(room, length + least), "")
                solver.Add(use >= least * lies)
                solver.Add(use <= min(room, length + least) * lies)
                finished += use - least * lies
                self.load[run].append(use)
                here.append(lies)
            solver.Add(sum(here) == present)
            if before is None:
                spared = 0.9999 * (seams + corners) * (1 - present)  # of two equal ways the one without a stub
            else:
                solver.Add(present <= before)
            before = present
        solver.Add(finished == length)
        return off, spared

    def _order_alike(self) -> None:
        """Of strips that are alike the later ones lose no less, so that they need not be tried in every order."""
        alike: dict[tuple[Any, ...], Any] = {}
        for (off, _), need, strip in zip(self.lost, self.task.needs, self.strips, strict=True):
            key = (need.all_runs, strip.length_mm, strip.seam_mm, strip.extra_mm, strip.joins, strip.shortest_mm)
            if key in alike:
                self.solver.Add(off >= alike[key])
            alike[key] = off

    def solve(self) -> _Least | None:
        self.solver.SetSolverSpecificParametersAsString(f"limits/nodes = {NODES}")
        self.solver.SetTimeLimit(round(1000 * SECONDS))
        if self.solver.Solve() not in self.done:
            return None
        off = {s.id: lost.solution_value() for s, (lost, _) in zip(self.strips, self.lost, strict=True)}
        return _Least(
            total_mm=max(0.0, self.solver.Objective().BestBound() - SOLVER_MM),
            off_mm={name: mm + EXACT_MM for name, mm in off.items() if mm > EXACT_MM},
            strips={strip.id: strip for strip in self.strips},
        )


def _planned(share: Problem, least: _Least | None, trial: Trial) -> dict[str, float] | None:
    """What the solution takes off each stripe, where the strips so shortened can be cut."""
    if least is None or not least.off_mm:
        return None
    tried = _shortened(share, least.off_mm)
    if tried.parts and trial.answer(tried) != "yes":
        return None
    enough: dict[str, float] = defaultdict(float)
    for name, off in least.off_mm.items():
        strip = least.strips[name]
        enough[strip.stripe] += off + _spared_mm(strip, off)
    return dict(enough)


def _one_shorter(share: Problem, group: Sequence[str], trial: Trial) -> dict[str, float] | None:
    """One strip of the group made shorter until it is a yes: the strip that loses least."""
    best: tuple[float, str] | None = None
    limited = trial.part(2)
    for strip in (strip for strip in share.strips if strip.id in group):
        low, high = 0.0, strip.length_mm
        if best is not None:
            high = min(high, best[0])
        if limited.left_s <= 0 or limited.answer(_shortened(share, {strip.id: high})) != "yes":
            continue
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            works = limited.answer(_shortened(share, {strip.id: middle})) == "yes"
            low, high = (low, middle) if works else (middle, high)
        off = high + _spared_mm(strip, high)
        best = min(best, (off, strip.stripe)) if best is not None else (off, strip.stripe)
    return None if best is None else {best[1]: best[0]}


def _shortened(share: Problem, off_mm: Mapping[str, float]) -> Problem:
    """The parts with that much off each strip; strips of which nothing is left are gone."""
    parts: list[Part] = []
    for part in share.parts:
        off = off_mm.get(part.id, 0.0)
        if isinstance(part, Strip) and off > 0:
            if off < part.length_mm - STUB_MM:
                parts.append(replace(part, length_mm=part.length_mm - off))
            continue
        parts.append(part)
    return replace(share, parts=tuple(parts))
