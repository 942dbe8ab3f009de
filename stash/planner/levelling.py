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
    """The solution with joins of pairs and mirror sets at the same height, wherever one takes the other's lengths."""
    for one, other in _alike(solution):
        lengths = _lengths(solution)
        if all(abs(a - b) <= EQUAL_UM for a, b in zip(lengths[one], lengths[other], strict=True)):
            continue
        tried = pack(_with_lengths(solution, one, lengths[other]), weights)
        allowed_um = solution.cost_um(weights) + weights.join_um(solution.task.needs[one].strip) // 2
        if tried is not None and sound(tried) and tried.cost_um(weights) <= allowed_um:
            solution = tried
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
