"""How much is missing for a yes: the least cut length that finds no room, and as much less as was planned.

The least is a bound: strips may be made shorter, order along a lane and the motif are left out of account, and what
must then still be cut off all told is minimised; no plan can do with less. What is cut off in that solution is tried as
a plan. Where it can be cut, least and enough are the same but for what the measurements leave open.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from stash.garment.part import Part, Strip
from stash.planner.halt import solved
from stash.planner.lanes import Run
from stash.planner.plan import Shortage
from stash.planner.problem import Problem
from stash.planner.stance import Stance
from stash.planner.task import Task, build_task, most_segments
from stash.planner.trial import Trial, share_of

WORK: Final = 0.5  # deterministic seconds of the search for the least: a second or two of a laptop
SECONDS: Final = 3.0  # and never longer
LEAST_MM: Final = 0.1  # a no lacks something, though it be less than can be told
UNIT_UM: Final = 10  # lengths are counted in hundredths of a millimetre: what the contract takes for equal
NEARLY: Final = 0.95  # of the longest: lanes at least as long count as of one length
EXACT_MM: Final = 0.05  # taken off besides when a shortening is tried: what a yes keeps back at the ends of lanes
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
        least = _least(share, trial.left_s / 2)
        enough = _planned(share, least, trial) or _one_shorter(share, groups.get(fabric, ()), trial)
        out += _rows(fabric, rows, least, enough)
    return tuple(out)


def _rows(
    fabric: str, rows: list[Shortage], least: _Least | None, enough: Mapping[str, float] | None
) -> list[Shortage]:
    """One row for each stripe that lacks something; a bound of nothing is written as the least that can be."""
    missing = {row.stripe: row.missing_mm for row in rows}
    panels: dict[str | None, float] = {None: missing[None]} if None in missing else {}
    if least is not None and least.total_mm > 0:
        missing = {**panels, **least.by_stripe()}
    elif enough is not None:
        missing = {**panels, **dict.fromkeys(enough, LEAST_MM)}
    elif least is not None:
        missing = {**panels, **{stripe: LEAST_MM for stripe in missing if stripe is not None}}
    return [
        Shortage(
            fabric=fabric,
            stripe=stripe,
            missing_mm=max(LEAST_MM, min(round(mm, 1), (enough or {}).get(stripe or "", mm))),
            enough_mm=None if enough is None or stripe is None else enough.get(stripe),
        )
        for stripe, mm in missing.items()
    ]


@dataclass(frozen=True, slots=True)
class _Least:
    """What must be cut off: proven in all, and how one best solution takes it off each strip (mm of cut length)."""

    total_mm: float
    off_mm: Mapping[str, float]
    strips: Mapping[str, Strip]

    def by_stripe(self) -> dict[str | None, float]:
        """The proven total, shared out as the solution does."""
        shares: dict[str | None, float] = defaultdict(float)
        for name, off in self.off_mm.items():
            shares[self.strips[name].stripe] += off
        whole = sum(shares.values())
        return {stripe: self.total_mm * mm / whole for stripe, mm in shares.items() if mm > 0}


def _gone_mm(strip: Strip, off_mm: float) -> float:
    """The cut length that falls away: seams and corners too where nothing is left of the strip."""
    whole = strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm)
    return whole if off_mm >= strip.length_mm - STUB_MM else off_mm


def _least(share: Problem, seconds: float) -> _Least | None:
    """The least that must be cut off; None where there are too many places or there was no telling.

    Strips as wide as no lane is fall away whole; the others are shortened.
    """
    fabric = share.fabrics[share.strips[0].fabric]
    if fabric.print.across is None or any(piece.stripe_direction_deg is None for piece in share.pieces):
        return None
    needs = _stubs(share, share.strips).needs
    housed = [strip for strip, need in zip(share.strips, needs, strict=True) if need.all_runs]
    whole = {s.id: _cut_um(s) / 1000 for s in share.strips if s not in housed}
    found = _Least(total_mm=0.0, off_mm={}, strips={})
    if housed:
        task = _in_tracks(_stubs(share, housed))
        if sum(most_segments(s) * len(n.all_runs) for s, n in zip(housed, task.needs, strict=True)) > MOST_PLACES:
            return None
        solved = _Soft(task, housed).solve(min(SECONDS, seconds))
        if solved is None:
            return None
        found = solved
    return _Least(
        total_mm=found.total_mm + sum(whole.values()),
        off_mm={**found.off_mm, **whole},
        strips={strip.id: strip for strip in share.strips},
    )


def _stubs(share: Problem, strips: Sequence[Strip]) -> Task:
    """The task of strips of next to no length: every lane of their stripe and width is then one of theirs."""
    stubs = [replace(strip, length_mm=STUB_MM, shortest_mm=STUB_MM, joins=0, hide_mm=()) for strip in strips]
    return build_task(share.fabrics[strips[0].fabric], share.pieces, stubs, (), Stance.GENEROUS)


def _in_tracks(task: Task) -> Task:
    """The same with as few lanes as tell the same: those of a piece that overlap across give way to tracks apart.

    Where lanes lie side by side at most k deep, what is laid into them at any height is at most k segments, and
    intervals of which at most k meet can be laid in k tracks (the colouring of an interval graph). So nothing is lost
    where all lanes of a piece are of one length, and a little gained where they are nearly so.
    """
    kept: dict[int, Run] = {}
    wanted = {need.all_runs for need in task.needs}
    if len(wanted) != 1:
        return task
    for piece in {task.runs[run].piece for run in next(iter(wanted))}:
        mine = [run for run in next(iter(wanted)) if task.runs[run].piece == piece]
        low = min(task.runs[run].start_um for run in mine)
        high = max(task.runs[run].end_um for run in mine)
        if any(task.runs[run].length_um < NEARLY * (high - low) for run in mine):
            return task
        kept |= {run: replace(task.runs[run], start_um=low, end_um=high) for run in _apart(task, mine)}
    runs = tuple(kept.get(index, run) for index, run in enumerate(task.runs))
    needs = tuple(replace(need, runs={way: tuple(sorted(kept)) for way in need.runs}) for need in task.needs)
    return replace(task, runs=runs, needs=needs, cliques=())


def _apart(task: Task, runs: Sequence[int]) -> list[int]:
    """As many of the runs as lie clear of each other across: always the one that ends first (a known best choice)."""
    taken: list[int] = []
    for run in sorted(runs, key=lambda run: task.runs[run].right_um):
        if not taken or task.runs[run].left_um >= task.runs[taken[-1]].right_um:
            taken.append(run)
    return taken


class _Soft:
    """The relaxation in which lanes may run over: by how much they do in all is what must be cut off (um)."""

    def __init__(self, task: Task, strips: Sequence[Strip]) -> None:
        from ortools.sat.python import cp_model

        self.cp, self.model = cp_model, cp_model.CpModel()
        self.task, self.strips = task, strips
        self.load: dict[int, list[Any]] = defaultdict(list)
        self.cuts: dict[tuple[int, int], Any] = {}
        self.places = self._places()
        order = sorted(range(len(strips)), key=lambda index: -_cut_um(strips[index]))
        reached = 0
        for index in order:
            reached += most_segments(strips[index])
            self._strip(index, [run for run in task.needs[index].all_runs if self.places.get(run, 0) < reached])
        self.over = {run: self._over(run) for run in self.load}
        for clique in task.cliques:
            held = [run for run in clique.runs if run in self.load]
            if len(held) > 1:
                self.model.add(
                    sum(use for run in held for use in self.load[run])
                    <= _units(clique.capacity_um, up=True) + sum(self.over[run] for run in held)
                )
        self.model.minimize(sum(self.over.values()))

    def _places(self) -> dict[int, int]:
        """The number of each track among those of its length, so that strips need not be tried in every one of them."""
        if self.task.cliques:
            return {}
        counts: dict[int, int] = defaultdict(int)
        places = {}
        for run in self.task.needs[0].all_runs:
            length = self.task.runs[run].length_um
            places[run], counts[length] = counts[length], counts[length] + 1
        return places

    def _strip(self, index: int, runs: Sequence[int]) -> None:
        model, strip = self.model, self.strips[index]
        whole, most = _units(_cut_um(strip)), most_segments(strip)
        here = {run: model.new_bool_var("") for run in runs}
        if most == 1:
            model.add_exactly_one(here.values())
            uses: dict[int, Any] = {run: whole * lies for run, lies in here.items()}
        else:
            seams = _units(2000 * strip.seam_mm)
            model.add(sum(here.values()) <= most)
            model.add_bool_or(here.values())
            uses = {run: model.new_int_var(0, whole + most * seams, "") for run in here}
            for run, lies in here.items():
                model.add(uses[run] >= seams * lies)
                model.add(uses[run] <= (whole + most * seams) * lies)
            model.add(sum(uses.values()) == whole + seams * (sum(here.values()) - 1))
        for run, use in uses.items():
            self.load[run].append(use)
            self.cuts[index, run] = use

    def _over(self, run: int) -> Any:
        over = self.model.new_int_var(0, sum(_units(_cut_um(strip)) for strip in self.strips), "")
        self.model.add(sum(self.load[run]) <= _units(self.task.runs[run].length_um, up=True) + over)
        return over

    def solve(self, seconds: float) -> _Least | None:
        """The least, with what one solution cuts off each strip: in a lane that runs over from its longest cut."""
        solver = self.cp.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_deterministic_time = WORK
        solver.parameters.max_time_in_seconds = seconds
        if solved(solver, self.model) not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            return None
        off: dict[str, float] = defaultdict(float)
        for run, over in self.over.items():
            left = solver.value(over)
            cuts = [(solver.value(use), index) for (index, lane), use in self.cuts.items() if lane == run]
            for size, index in sorted(cuts, reverse=True):
                taken = min(left, size)
                left -= taken
                if taken:
                    off[self.strips[index].id] += taken * UNIT_UM / 1000 + EXACT_MM
        return _Least(
            total_mm=max(0.0, solver.best_objective_bound * UNIT_UM / 1000),
            off_mm=off,
            strips={strip.id: strip for strip in self.strips},
        )


def _units(length_um: float, *, up: bool = False) -> int:
    """In whole units: what is needed rounded down, what there is rounded up."""
    return math.ceil(length_um / UNIT_UM) if up else math.floor(length_um / UNIT_UM)


def _cut_um(strip: Strip) -> int:
    """The cut length in one segment."""
    return Stance.GENEROUS.need_um(strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm))


def _planned(share: Problem, least: _Least | None, trial: Trial) -> dict[str, float] | None:
    """What the solution takes off each stripe, where the strips so shortened can be cut."""
    if least is None or not least.off_mm:
        return None
    tried = _shortened(share, least.off_mm)
    if tried.parts and trial.answer(tried) != "yes":
        return None
    enough: dict[str, float] = defaultdict(float)
    for name, off in least.off_mm.items():
        enough[least.strips[name].stripe] += _gone_mm(least.strips[name], off)
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
        off = _gone_mm(strip, high)
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
