"""A found plan as a layout that may be changed: its cuts beside its panels, and whether it is still sound."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

from stash.planner.quick import Solution
from stash.planner.region import to_print
from stash.planner.task import Cut, Task


def beside_panels(solution: Solution) -> Solution | None:
    """The same cuts in runs from which the panels have been taken."""
    if not solution.lays:
        return solution
    task = solution.task
    cloths = list(task.cloths)
    for lay in solution.lays:
        cloths[lay.spot.piece] = cloths[lay.spot.piece].difference(to_print(lay.box_mm(), -lay.spot.angle_deg))
    rest = task.on(cloths)
    cuts = []
    for cut in solution.cuts:
        old = task.runs[cut.run]
        here = [
            index for index in rest.needs[cut.need].runs[cut.turned] if rest.runs[index].piece == old.piece
            and (rest.runs[index].stripe, rest.runs[index].count) == (old.stripe, old.count)
            and rest.runs[index].start_um <= cut.start_um and cut.end_um <= rest.runs[index].end_um
        ]  # fmt: skip
        if len(here) != 1:
            return None
        cuts.append(replace(cut, run=here[0]))
    return Solution(task=rest, cuts=tuple(cuts), lays=solution.lays)


def fixed(task: Task, cut: Cut) -> bool:
    """Whether the print decides where along the lane the cut lies."""
    return task.needs[cut.need].phased


def clash(task: Task, one: Cut, other: Cut) -> bool:
    """Whether two cuts may get in each other's way."""
    return one.run == other.run or task.runs[one.run].clashes(task.runs[other.run])


def sound(solution: Solution) -> bool:
    """Whether every cut lies in its run, clear of the others, and every strip has its length, its
    least segment and its joins where they hide."""
    task, cuts = solution.task, solution.cuts
    within = all(task.runs[c.run].start_um <= c.start_um and c.end_um <= task.runs[c.run].end_um for c in cuts)
    clear = all(
        one.end_um <= other.start_um or other.end_um <= one.start_um
        for one, other in combinations(cuts, 2)
        if clash(task, one, other)
    )
    total: dict[int, int] = defaultdict(int)
    for cut in cuts:
        total[cut.need] += cut.finished_um
    whole = all(total[index] == need.length_um for index, need in enumerate(task.needs))
    counts: dict[int, int] = defaultdict(int)
    for cut in cuts:
        counts[cut.need] += 1
    long = all(counts[c.need] == 1 or c.finished_um >= task.needs[c.need].shortest_um for c in cuts)
    return within and clear and whole and long and _hidden(task, cuts)


def _hidden(task: Task, cuts: Sequence[Cut]) -> bool:
    """Whether every join lies where its strip hides it."""
    done: dict[int, int] = defaultdict(int)
    for cut in sorted(cuts, key=lambda cut: (cut.need, cut.segment)):
        if cut.segment and not task.needs[cut.need].hidden(done[cut.need]):
            return False
        done[cut.need] += cut.finished_um
    return True
