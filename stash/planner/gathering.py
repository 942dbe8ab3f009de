"""Strips taken from one side of a piece inwards, so that what is left of it stays whole.

A search knows lanes, not cloth: it takes any that will do. Here the cuts of a piece are laid again, the longest first,
each into the first lane from one side that has room for it; and all of them are moved to one side by whole repeats.
They keep their piece, their way round, and the neighbours that they show; what the print fixes along a lane stays so.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from stash.planner.layout import clash, fixed, sound
from stash.planner.price import Weights
from stash.planner.quick import COMFORT_UM, Solution
from stash.planner.task import Cut, Task

TOLL_UM = 5000
"""um of lanes' ends for each cut of a piece: so little more may be lost if the rest stays whole instead [judgement]."""

MOST_CUTS = 60
"""Cuts of one fabric up to which they are laid again."""


def gathered(solution: Solution, weights: Weights) -> Solution | None:
    """The same cuts laid from one side inwards, piece by piece, where that costs next to nothing and takes less
    width."""
    if len(solution.cuts) > MOST_CUTS:
        return None
    for piece in sorted({solution.task.runs[cut.run].piece for cut in solution.cuts}):
        tried = [
            again
            for leftwards in (False, True)
            for margin_um in (COMFORT_UM, solution.task.stance.fit_um)
            if (again := _again(solution, piece, margin_um, leftwards=leftwards)) is not None and sound(again)
        ]
        tried += [moved for step in (-1, 1) if (moved := _moved(solution, piece, step)) is not None]
        here = sum(solution.task.runs[cut.run].piece == piece for cut in solution.cuts)
        most = solution.cost_um(weights) + TOLL_UM * here
        tried = [again for again in tried if again.cost_um(weights) <= most]
        best = min(tried, key=lambda again: (_width_um(again, piece), again.cost_um(weights)), default=None)
        if best is not None and _width_um(best, piece) < _width_um(solution, piece):
            solution = best
    return solution


def _again(solution: Solution, piece: int, margin_um: int, *, leftwards: bool) -> Solution | None:
    """All loose cuts of the piece laid anew; None where first fit finds no room for one."""
    task = solution.task
    mine = [cut for cut in solution.cuts if task.runs[cut.run].piece == piece and not fixed(task, cut)]
    laid = [cut for cut in solution.cuts if cut not in mine]
    for cut in sorted(mine, key=lambda cut: (-cut.size_um, cut.need, cut.segment)):
        lanes = _lanes(task, cut, piece)
        lanes.sort(key=lambda run: -task.runs[run].right_um if leftwards else task.runs[run].left_um)
        place = next((p for run in lanes if (p := _room(task, laid, cut, run, margin_um)) is not None), None)
        if place is None:
            return None
        laid.append(place)
    return replace(solution, cuts=tuple(sorted(laid, key=lambda cut: (cut.need, cut.segment))))


def _moved(solution: Solution, piece: int, step: int) -> Solution | None:
    """All cuts of the piece moved across by whole repeats, as far as they go; None where they do not."""
    task = solution.task
    lanes: dict[tuple[int, int], list[int]] = defaultdict(list)
    for index, run in enumerate(task.runs):
        if run.piece == piece:
            lanes[run.stripe, run.count].append(index)
    best: Solution | None = None
    for repeats in range(1, len(lanes) + 1):
        moved = [
            cut if task.runs[cut.run].piece != piece else _across(task, cut, lanes, step * repeats)
            for cut in solution.cuts
        ]
        cuts = tuple(cut for cut in moved if cut is not None)
        if len(cuts) < len(moved) or not sound(tried := replace(solution, cuts=cuts)):
            break
        best = tried
    return best


def _across(task: Task, cut: Cut, lanes: dict[tuple[int, int], list[int]], repeats: int) -> Cut | None:
    """The cut at the same height so many repeats away; None where there is no lane for it."""
    run = task.runs[cut.run]
    for index in lanes.get((run.stripe, run.count + repeats), ()):
        other = task.runs[index]
        alike = index in task.needs[cut.need].runs[cut.turned] and other.showing == run.showing
        if alike and other.start_um <= cut.start_um and cut.end_um <= other.end_um:
            return replace(cut, run=index)
    return None


def _lanes(task: Task, cut: Cut, piece: int) -> list[int]:
    """The lanes of the piece in which the cut may lie without being seen to have moved."""
    shown = task.runs[cut.run].showing
    runs = task.needs[cut.need].runs[cut.turned]
    return [run for run in runs if task.runs[run].piece == piece and task.runs[run].showing == shown]


def _room(task: Task, laid: Sequence[Cut], cut: Cut, run: int, margin_um: int) -> Cut | None:
    """The cut at the lowest place of the lane that is free, the margin kept at its far end."""
    stretch = task.runs[run]
    lead = min(task.stance.fit_um, margin_um)
    moved = replace(cut, run=run, start_um=stretch.start_um + lead)
    for other in sorted((other for other in laid if clash(task, other, moved)), key=lambda other: other.start_um):
        if other.start_um >= moved.end_um:
            break
        if other.end_um > moved.start_um:
            moved = replace(moved, start_um=other.end_um)
    return moved if moved.end_um <= stretch.end_um - margin_um else None


def _width_um(solution: Solution, piece: int) -> int:
    """How far the cuts of a piece reach in from the nearer of its sides, by the lanes that may be taken there."""
    task = solution.task
    used = [task.runs[cut.run] for cut in solution.cuts if task.runs[cut.run].piece == piece]
    there: dict[str, list[int]] = defaultdict(list)
    for run in task.runs:
        if run.piece == piece:
            there["left"].append(run.left_um)
            there["right"].append(run.right_um)
    from_left = max(run.right_um for run in used) - min(there["left"])
    from_right = max(there["right"]) - min(run.left_um for run in used)
    return min(from_left, from_right)
