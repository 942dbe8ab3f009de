"""Joined strips as segments, and rules that hold for however a strip is divided.

A rule gives every segment a weight by its length, the more the longer. Whatever the division, a strip's segments weigh
something at least; whatever lies in a stretch of joined cloth, it weighs something at most. So the stretches must weigh
as much as the strips: an inequality that the lengths alone do not give (dual feasible functions: Alves, Clautiaux,
Valério de Carvalho, Rietz, "Dual-Feasible Functions for Integer Programming and Combinatorial Optimization", 2016).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Split:
    """A strip in so many segments: their length together, the longest that one can be (units), and what the joins cost
    (um)."""

    count: int
    length: int
    longest: int
    price: int

    def sizes(self) -> Iterator[int]:
        """What the longest segment measures at least, the second longest, and so on."""
        for at in range(self.count):
            yield max(0, -(-(self.length - at * self.longest) // (self.count - at)))


@dataclass(frozen=True, slots=True, order=True)
class Rule:
    """Segments of a family weigh 1 from ``first`` units on, and 2 from ``second`` on where there is such a step."""

    family: int
    first: int
    second: int | None = None

    def most(self, length: int) -> int:
        """The most that segments weigh which lie in so much joined cloth."""
        if self.second is None:
            return length // self.first
        return max(2 * heavy + (length - heavy * self.second) // self.first for heavy in range(length // self.second + 1))

    def most_by_length(self, longest: int) -> Ints:
        """The same for every length up to ``longest``."""
        length = np.arange(longest + 1, dtype=np.int64)
        out = length // self.first
        for heavy in range(1, longest // self.second + 1) if self.second else ():
            rest = length - heavy * (self.second or 0)
            out = np.where(rest >= 0, np.maximum(out, 2 * heavy + rest // self.first), out)
        return out

    def least(self, split: Split) -> int:
        """The least that the segments of a strip weigh which is split so.

        A segment of a weight is shorter than the step to the next, and the heaviest are as long as may be.
        """
        steps = [self.first] if self.second is None else [self.first, self.second]
        below = [min(step, split.longest) for step in steps]
        best = len(steps) * split.count
        for weights in combinations_with_replacement(range(len(steps) + 1), split.count):
            reach = sum(split.longest if weight == len(steps) else below[weight] for weight in weights)
            shorter = any(weight < len(steps) and below[weight] < split.longest for weight in weights)
            if reach >= split.length + shorter:
                best = min(best, sum(weights))
        return best


def single_rules(family: int, split: Split, least: int) -> Iterator[Rule]:
    """Rules of one step: so many segments of a strip are at least so long."""
    for size in split.sizes():
        if size > least:
            yield Rule(family, size)


def double_rules(family: int, split: Split, rooms: list[int]) -> Iterator[Rule]:
    """Rules of two steps: if no segment is longer than a room, the others must make up for it."""
    for room in rooms:
        second = room + 1
        first = -(-(split.length - second) // max(1, split.count - 1))
        if 0 < first < second <= split.longest:
            yield Rule(family, first, second)
