"""Room for hands: the same plan at the same cost, with what is spare put where shears need it.

A search knows only whether things fit, and likes to fill one lane to the last hair while much cloth is left beside it.
Here finished length moves between the segments of a strip (never below the shortest), and cuts are pushed together
from one end of their lane, so that all that is spare lies behind them in one length. Cuts whose place in the print is
fixed stay where they are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

from stash.planner.gathering import gathered
from stash.planner.layout import beside_panels, clash, fixed, sound
from stash.planner.levelling import levelled
from stash.planner.margin import off_edges, off_flaws
from stash.planner.price import Weights
from stash.planner.quick import COMFORT_UM, Solution
from stash.planner.task import Cut

PLENTY_UM = 25_400
"""um. Where a lane has an inch to spare, more is not looked for."""

MARGIN_UM = 8
"""um. Kept back from lanes and costs in the linear program, whose answer is rounded to whole micrometres."""

MOST_CUTS = 150
"""Cuts on one fabric up to which room is looked for."""


_Step = Callable[[Solution, Weights], Solution | None]


def eased(solution: Solution, weights: Weights) -> Solution:
    """The solution with as much room at the lanes' ends as its cost allows, or itself where that cannot be had."""
    if not solution.cuts or len(solution.cuts) > MOST_CUTS:
        return solution
    start = beside_panels(solution)
    if start is None:
        return solution
    return _changed(start, weights, (_shared, _packed, off_edges, off_flaws))


def level(solution: Solution, weights: Weights) -> Solution:
    """The solution with the joins of strips that are alike at the same height, at a little cost."""
    if not solution.cuts or len(solution.cuts) > MOST_CUTS:
        return solution
    return _changed(levelled(solution, weights, _packed), weights, (off_edges, off_flaws))


def tidy(solution: Solution, weights: Weights) -> Solution:
    """The solution with the cuts of each piece taken from one side inwards, at next to no cost."""
    start = beside_panels(solution)
    tried = None if start is None else gathered(start, weights)
    if tried is None or not sound(tried):
        return solution
    return _changed(tried, weights, (off_edges, off_flaws))


def _changed(solution: Solution, weights: Weights, changes: Sequence[_Step]) -> Solution:
    """The changes one after another, each where it leaves a sound plan at no higher cost."""
    for change in changes:
        tried = change(solution, weights)
        if tried is not None and sound(tried) and tried.cost_um(weights) <= solution.cost_um(weights):
            solution = tried
    return solution


# -- length between segments ------------------------------------------------------------------------------------------


def _shared(solution: Solution, weights: Weights) -> Solution | None:
    """Finished length moved between the segments of each strip, by a linear program over sizes and starts."""
    task = solution.task
    loose = {c.need for c in solution.cuts if c.segment > 0 and not fixed(task, c)}
    if not loose:
        return None
    values = _Program(solution, weights, loose).solve()
    if values is None:
        return None
    left = {index: task.needs[index].length_um for index in loose}
    final = {cut.need: cut.segment for cut in sorted(solution.cuts, key=lambda c: c.segment)}
    cuts = []
    for cut in sorted(solution.cuts, key=lambda c: (c.need, c.segment)):
        if cut.need in loose:
            least = task.needs[cut.need].shortest_um
            value = max(least, int(values[cut.need, cut.segment]))
            value = left[cut.need] if cut.segment == final[cut.need] else value
            left[cut.need] -= value
            cut = replace(cut, finished_um=value, size_um=cut.size_um - cut.finished_um + value)
        cuts.append(cut)
    return _packed(replace(solution, cuts=tuple(cuts)), weights, order=solution.cuts)


class _Program:
    """Sizes and starts of the cuts, their order kept; room at each used lane's end, up to what is comfortable."""

    def __init__(self, solution: Solution, weights: Weights, loose: set[int]) -> None:
        from ortools.linear_solver import pywraplp

        self.optimal = pywraplp.Solver.OPTIMAL
        self.solver = pywraplp.Solver.CreateSolver("GLOP")
        self.solution, self.task, self.weights = solution, solution.task, weights
        self.values = {
            (c.need, c.segment): self._new(self.task.needs[c.need].shortest_um, self.task.needs[c.need].length_um)
            for c in solution.cuts if c.need in loose
        }  # fmt: skip
        for index in loose:
            mine = [value for (need, _), value in self.values.items() if need == index]
            self.solver.Add(sum(mine[1:], mine[0]) == self.task.needs[index].length_um)
            self._keep_hidden(index)
        self.starts = [self._start(cut) for cut in solution.cuts]
        self._keep_order()
        self._leave_room()

    def _keep_hidden(self, index: int) -> None:
        """Each join stays within the span in which it lies."""
        need = self.task.needs[index]
        mine = sorted((cut for cut in self.solution.cuts if cut.need == index), key=lambda cut: cut.segment)
        at, done = 0, 0.0
        for cut in mine[:-1] if need.hides else ():
            at, done = at + cut.finished_um, done + self.values[index, cut.segment]
            low, high = next(span for span in need.hides if span[0] <= at <= span[1])
            ease = min(MARGIN_UM, (high - low) // 2)
            self.solver.Add(done >= low + ease)
            self.solver.Add(done <= high)

    def _new(self, low: float, high: float) -> Any:
        return self.solver.NumVar(float(low), float(high), "")

    def _start(self, cut: Cut) -> Any:
        run = self.task.runs[cut.run]
        return float(cut.start_um) if fixed(self.task, cut) else self._new(run.start_um, run.end_um)

    def _size(self, cut: Cut) -> Any:
        value = self.values.get((cut.need, cut.segment))
        return float(cut.size_um) if value is None else value + float(cut.size_um - cut.finished_um)

    def _keep_order(self) -> None:
        cuts = list(enumerate(self.solution.cuts))
        for (i, one), (j, other) in combinations(cuts, 2):
            if not clash(self.task, one, other) or (fixed(self.task, one) and fixed(self.task, other)):
                continue
            if one.start_um > other.start_um:
                i, one, j, other = j, other, i, one
            self.solver.Add(self.starts[j] - self.starts[i] - self._size(one) >= 0)

    def _leave_room(self) -> None:
        """The least room and the sum of rooms, each up to a limit; the ends lost may not cost more than before."""
        goal = self.solver.Objective()
        worst = self._new(0, PLENTY_UM)
        goal.SetCoefficient(worst, 0.1)
        lost_before, lost = MARGIN_UM, []
        by_run: dict[int, list[int]] = defaultdict(list)
        for index, cut in enumerate(self.solution.cuts):
            by_run[cut.run].append(index)
        for run, members in by_run.items():
            cuts = [self.solution.cuts[i] for i in members]
            stretch = self.task.runs[run]
            moves = any((c.need, c.segment) in self.values for c in cuts)
            room = self._new(0, COMFORT_UM)
            goal.SetCoefficient(room, 1.0)
            for i, cut in zip(members, cuts, strict=True):
                if not fixed(self.task, cut):
                    spare = float(stretch.end_um - MARGIN_UM) - self.starts[i] - self._size(cut)
                    self.solver.Add(spare + MARGIN_UM >= 0)
                    self.solver.Add(spare - room >= 0)
                    if moves:
                        self.solver.Add(spare - worst >= 0)
            rest = float(stretch.length_um - 2 * self.task.stance.fit_um) - sum(self._size(c) for c in cuts)
            rest_before = stretch.length_um - 2 * self.task.stance.fit_um - sum(c.size_um for c in cuts)
            if not moves:
                continue
            if rest_before >= self.weights.useful_um:
                self.solver.Add(rest >= self.weights.useful_um + MARGIN_UM)
                continue
            loss = self._new(0, self.solver.infinity())
            self.solver.Add(loss - rest >= -float(self.weights.ease_um - MARGIN_UM))
            lost.append(loss)
            lost_before += max(0, rest_before - self.weights.ease_um)
        if lost:
            self.solver.Add(sum(lost[1:], lost[0]) <= lost_before)
        goal.SetMaximization()

    def solve(self) -> dict[tuple[int, int], float] | None:
        """The finished lengths, or None where there is no answer."""
        if self.solver.Solve() != self.optimal:
            return None
        return {key: value.solution_value() for key, value in self.values.items()}


# -- cuts along their lanes ---------------------------------------------------------------------------------------


def _packed(solution: Solution, weights: Weights, order: Sequence[Cut] = ()) -> Solution | None:
    """Every cut pushed towards the start of its lane, on whole cloth rather than on the last hundredth, if it goes."""
    del weights
    before = {(c.need, c.segment): c.start_um for c in order or solution.cuts}
    for lead_um in (solution.task.stance.fit_um, 0):
        tried = _pushed(solution, before, lead_um)
        if sound(tried):
            return tried
    return None


def _pushed(solution: Solution, before: dict[tuple[int, int], int], lead_um: int) -> Solution:
    task = solution.task
    load: dict[int, int] = defaultdict(int)
    for cut in solution.cuts:
        load[cut.run] += cut.size_um
    done: list[Cut] = []
    for cut in sorted(solution.cuts, key=lambda c: (before[c.need, c.segment], c.need)):
        if not fixed(task, cut):
            run = task.runs[cut.run]
            lead = min(lead_um, max(0, run.length_um - load[cut.run]))
            ends = [other.end_um for other in done if clash(task, other, cut)]
            cut = replace(cut, start_um=max([run.start_um + lead, *ends]))
        done.append(cut)
    return replace(solution, cuts=tuple(sorted(done, key=lambda c: (c.need, c.segment))))
