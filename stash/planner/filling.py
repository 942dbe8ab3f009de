"""Lanes as something to be filled: strips and room in small units, what a filling costs, and what it is worth.

Strips are rounded down and lanes up, which favours the maker: what cannot be filled so cannot be filled at all.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any, Final

from stash.planner.bound import least_segments
from stash.planner.price import Weights
from stash.planner.task import Task

UNIT_UM: Final = 400
"""Lengths are counted in steps of so many um: strips rounded down, lanes up, which favours the maker."""

PRICE_SCALE: Final = 1 << 20
"""Prices are whole multiples of 2^-20 um, or of 2^-20 where they are rates."""

PENALTY: Final = 10
"""um of cost for a um of strip that is not cut, where plans are priced: dearer than any join or piece."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Whole prices, in 2^-20 um: of each strip, of a segment, and of one piece more or less where their number is
    bounded; and as rates, in 2^-20: of a um in each clique and of a um of joined length."""

    strips: tuple[int, ...]
    cliques: tuple[int, ...]
    joined: dict[int, int]
    segment: dict[int, int]
    count: int = 0

    def toward(self, other: Prices) -> Prices:
        """Half way to other prices: smoothed, they settle in fewer rounds (Wentges, Int. Trans. Oper. Res. 4, 1997)."""
        return Prices(
            strips=tuple((a + b) // 2 for a, b in zip(self.strips, other.strips, strict=True)),
            cliques=tuple((a + b) // 2 for a, b in zip(self.cliques, other.cliques, strict=True)),
            joined={key: (value + other.joined[key]) // 2 for key, value in self.joined.items()},
            segment={key: (value + other.segment[key]) // 2 for key, value in self.segment.items()},
            count=(self.count + other.count) // 2,
        )


@dataclass(frozen=True, slots=True)
class Split:
    """A strip in its fewest segments: how many, their length together, the least of one; and what one more adds
    (lengths in units, price in um)."""

    count: int
    length: int
    least: int
    price: int
    more: int
    seams: int
    join: int


@dataclass(frozen=True, slots=True)
class Filling:
    """A lane filled: the whole strips, and how much joined length of a family (-1: none) beside them."""

    run: int
    strips: tuple[int, ...]
    family: int
    joined: int


class Lanes:
    """The lanes of a task and what may fill them. Without weights a strip that stays uncut is all that counts."""

    def __init__(self, task: Task, weights: Weights | None = None) -> None:
        self.task, self.weights = task, weights
        self.whole = [need.whole_um // UNIT_UM for need in task.needs]
        self.room = [-(-run.length_um // UNIT_UM) for run in task.runs]
        self.split = [self._split(index) for index in range(len(task.needs))]
        families: dict[tuple[Any, ...], int] = {}
        self.family = [
            families.setdefault((n.strip.stripe, n.strip.cut_width_mm, n.strip.stripe_at_mm), len(families))
            for n in task.needs
        ]
        self.items: dict[int, tuple[int, ...]] = {}
        self.hosts: dict[int, tuple[int, ...]] = {}
        by_run: dict[int, list[int]] = defaultdict(list)
        for index, need in enumerate(task.needs):
            for run in need.all_runs:
                by_run[run].append(index)
        self.runs = sorted(by_run)
        for run, items in by_run.items():
            self.items[run] = tuple(items)
            self.hosts[run] = tuple(sorted({self.family[i] for i in items if self.split[i] is not None}))
        cliques = ((tuple(r for r in c.runs if r in by_run), -(-c.capacity_um // UNIT_UM)) for c in task.cliques)
        self.cliques = [(runs, room) for runs, room in cliques if len(runs) > 1]
        self.over: dict[int, list[int]] = defaultdict(list)
        for index, (runs, _) in enumerate(self.cliques):
            for run in runs:
                self.over[run].append(index)
        self.pieces = sorted({task.runs[run].piece for run in self.runs})

    def _split(self, index: int) -> Split | None:
        """The strip in segments; None where it is never joined."""
        need = self.task.needs[index]
        if need.most == 1:
            return None
        count = max(2, least_segments(self.task, need))
        length = need.length_um + count * need.seams_um + need.head_um + need.tail_um
        join = self.weights.join_um(need.strip) if self.weights else 0
        return Split(
            count=count, length=length // UNIT_UM, least=(need.shortest_um + need.seams_um) // UNIT_UM,
            price=(count - 1) * join, more=max(0, need.most - count), seams=need.seams_um // UNIT_UM, join=join,
        )  # fmt: skip

    def whole_um(self, index: int) -> int:
        """What a strip that stays uncut counts for."""
        return self.whole[index] * UNIT_UM * (PENALTY if self.weights else 1)

    def lost_um(self, rest: int) -> int:
        """What a lane's end of so many units counts for, in the maker's favour."""
        if self.weights is None or rest * UNIT_UM >= self.weights.useful_um:
            return 0
        return max(0, (rest - 1) * UNIT_UM - 2 * self.task.stance.fit_um - self.weights.ease_um)

    def reduced(self, filling: Filling, prices: Prices) -> int:
        """What a filling costs beyond its worth at these prices (2^-20 um)."""
        load = sum(self.whole[i] for i in filling.strips) + filling.joined
        rate = sum(prices.cliques[k] for k in self.over[filling.run])
        cost = rate * load * UNIT_UM - sum(prices.strips[i] for i in filling.strips)
        cost += self.lost_um(self.room[filling.run] - load) * PRICE_SCALE if load else 0
        if filling.family >= 0:
            cost += prices.segment.get(filling.family, 0)
            cost -= prices.joined.get(filling.family, 0) * filling.joined * UNIT_UM
        return cost
