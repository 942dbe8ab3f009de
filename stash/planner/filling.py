"""Bays as something to be filled: strips and room in small units, what a filling costs, and what it is worth.

Strips are rounded down and lanes up, which favours the maker: what cannot be filled so cannot be filled at all.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any, Final

from stash.planner.bay import Bay, find_bays, room_um
from stash.planner.bound import least_segments
from stash.planner.price import Weights
from stash.planner.task import Need, Task

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
    """A bay filled: the whole strips, and how much joined length of a family (-1: none) beside them."""

    bay: int
    strips: tuple[int, ...]
    family: int
    joined: int


class Bays:
    """The bays of a task and what may fill them. Without weights a strip that stays uncut is all that counts."""

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
        wanted = sorted({run for need in task.needs for run in need.all_runs})
        self.bays = find_bays(task.runs, wanted)
        self.room = [-(-room_um(task.runs, bay) // UNIT_UM) for bay in self.bays]
        self.piece = [task.runs[bay[0]].piece for bay in self.bays]
        self.items = [tuple(i for i, need in enumerate(task.needs) if self._fits(i, need, bay)) for bay in self.bays]
        self.hosts = [self._hosts(bay) for bay in self.bays]
        cliques = (([b for b, bay in enumerate(self.bays) if set(bay) <= set(c.runs)], c) for c in task.cliques)
        self.cliques = [(bays, -(-c.capacity_um // UNIT_UM)) for bays, c in cliques if len(bays) > 1]
        self.over: dict[int, list[int]] = defaultdict(list)
        for index, (bays, _) in enumerate(self.cliques):
            for bay in bays:
                self.over[bay].append(index)

    def _fits(self, index: int, need: Need, bay: Bay) -> bool:
        """Whether the strip fits a lane of the bay whole."""
        longest = max((self.task.runs[run].length_um for run in bay if run in need.all_runs), default=0)
        return self.whole[index] * UNIT_UM <= longest

    def _hosts(self, bay: Bay) -> tuple[tuple[int, int], ...]:
        """The families of which segments may lie in the bay, each with the least length of one."""
        least: dict[int, int] = {}
        for index, need in enumerate(self.task.needs):
            part = self.split[index]
            if part is not None and any(run in need.all_runs for run in bay):
                family = self.family[index]
                least[family] = min(part.least, least.get(family, part.least))
        return tuple(sorted(least.items()))

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

    def lost_um(self, bay: int, rest: int) -> int:
        """What a lane's end of so many units counts for, in the maker's favour: nothing in a bay of several lanes, since
        cuts there may be dealt out so that every lane keeps a useful end."""
        if self.weights is None or rest * UNIT_UM >= self.weights.useful_um or len(self.bays[bay]) > 1:
            return 0
        return max(0, (rest - 1) * UNIT_UM - 2 * self.task.stance.fit_um - self.weights.ease_um)

    def reduced(self, filling: Filling, prices: Prices) -> int:
        """What a filling costs beyond its worth at these prices (2^-20 um)."""
        load = sum(self.whole[i] for i in filling.strips) + filling.joined
        rate = sum(prices.cliques[k] for k in self.over[filling.bay])
        cost = rate * load * UNIT_UM - sum(prices.strips[i] for i in filling.strips)
        cost += self.lost_um(filling.bay, self.room[filling.bay] - load) * PRICE_SCALE if load else 0
        if filling.family >= 0:
            cost += prices.segment.get(filling.family, 0)
            cost -= prices.joined.get(filling.family, 0) * filling.joined * UNIT_UM
        return cost
