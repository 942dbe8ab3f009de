"""Joins of strips that are alike at the same height: one takes the lengths of the other where they fit, at little cost.

It is a wish and never a condition: joins at different heights look like half a join more, and what the level joins cost
in lanes' ends may be so much.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import permutations

from stash.planner.layout import fixed, sound
from stash.planner.price import Weights
from stash.planner.quick import Solution
from stash.planner.task import Cut

EQUAL_UM = 10
"""um. Heights that differ by no more are the same (the contract)."""

Pack = Callable[[Solution, Weights], Solution | None]


def levelled(solution: Solution, weights: Weights, pack: Pack) -> Solution:
    """The solution with joins of strips that are alike at one height, wherever one can take the other's lengths."""
    for one, other in _alike(solution):
        lengths = _lengths(solution)
        if all(abs(a - b) <= EQUAL_UM for a, b in zip(lengths[one], lengths[other], strict=True)):
            continue
        allowed_um = solution.cost_um(weights) + weights.join_um(solution.task.needs[one].strip) // 2
        for changed in (_with_lengths(solution, one, lengths[other]), _laid_anew(solution, one, lengths[other])):
            tried = None if changed is None else pack(changed, weights)
            if tried is not None and sound(tried) and tried.cost_um(weights) <= allowed_um:
                solution = tried
                break
    return solution


def _alike(solution: Solution) -> Iterator[tuple[int, int]]:
    """Strips of one pair or mirror set, or that differ in their names alone, as long, in as many segments, whose cuts
    may move; both ways round."""
    lengths = _lengths(solution)
    free = {cut.need for cut in solution.cuts} - {cut.need for cut in solution.cuts if fixed(solution.task, cut)}
    for one, other in permutations(sorted(index for index in free if len(lengths[index]) > 1), 2):
        a, b = solution.task.needs[one], solution.task.needs[other]
        paired = a.strip.pair is not None and a.strip.pair == b.strip.pair
        mirrored = a.strip.mirror is not None and a.strip.mirror == b.strip.mirror
        twins = replace(a.strip, id=b.strip.id) == b.strip
        if (paired or mirrored or twins) and a.length_um == b.length_um and len(lengths[one]) == len(lengths[other]):
            yield one, other


def _lengths(solution: Solution) -> dict[int, list[int]]:
    """The finished lengths of each strip's segments, in order."""
    out: dict[int, list[int]] = defaultdict(list)
    for cut in sorted(solution.cuts, key=lambda cut: cut.segment):
        out[cut.need].append(cut.finished_um)
    return out


def _with_lengths(solution: Solution, index: int, lengths: list[int]) -> Solution:
    def resized(cut: Cut) -> Cut:
        if cut.need != index:
            return cut
        length = lengths[cut.segment]
        return replace(cut, finished_um=length, size_um=cut.size_um - cut.finished_um + length)

    return replace(solution, cuts=tuple(resized(cut) for cut in solution.cuts))


def _laid_anew(solution: Solution, index: int, lengths: list[int]) -> Solution | None:
    """The strip's segments taken up and laid with those lengths where they fit best on the pieces that are opened."""
    task = solution.task
    mine = [cut for cut in _with_lengths(solution, index, lengths).cuts if cut.need == index]
    opened = {task.runs[cut.run].piece for cut in solution.cuts}
    runs = [run for run in task.needs[index].runs[mine[0].turned] if task.runs[run].piece in opened]
    for showing in sorted({task.runs[run].showing for run in runs}):
        laid = [cut for cut in solution.cuts if cut.need != index]
        places = [run for run in runs if task.runs[run].showing == showing]
        for cut in sorted(mine, key=lambda cut: -cut.size_um):
            gaps = [(end - start, run, start) for run in places for start, end in _gaps(solution, laid, run)]
            fit = min((gap for gap in gaps if gap[0] >= cut.size_um), default=None)
            if fit is None:
                break
            laid.append(replace(cut, run=fit[1], start_um=fit[2]))
        else:
            return replace(solution, cuts=tuple(sorted(laid, key=lambda cut: (cut.need, cut.segment))))
    return None


def _gaps(solution: Solution, laid: list[Cut], index: int) -> Iterator[tuple[int, int]]:
    """The free stretches of a run beside what is laid."""
    run = solution.task.runs[index]
    met = [cut for cut in laid if cut.run == index or solution.task.runs[cut.run].clashes(run)]
    reached = run.start_um
    for cut in sorted(met, key=lambda cut: cut.start_um):
        if cut.start_um > reached:
            yield reached, min(cut.start_um, run.end_um)
        reached = max(reached, cut.end_um)
    if run.end_um > reached:
        yield reached, run.end_um
