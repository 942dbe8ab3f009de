"""Whole fillings out of fractions: the linear program's likeliest filling is taken whole, and the rest priced anew.

Diving, as it is done in column generation for packing (Sadykov et al., "Primal heuristics for branch and price",
INFORMS J. Comput. 31, 2019, from memory). It says in which bay each whole strip is to lie, and proves nothing.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from stash.planner.filling import PRICE_SCALE, Filling, Prices
from stash.planner.knapsack import Tables
from stash.planner.master import WHOLE, Branch, Master
from stash.planner.price import Weights
from stash.planner.relaxation import Relaxation
from stash.planner.task import Need, Task

FIRST_ROUNDS: Final = 40
"""Linear programs solved at most before the first filling is taken."""

ROUNDS: Final = 8
"""Linear programs solved at most between two fillings that are taken."""

UNWANTED: Final = -(1 << 40)
"""2^-20 um. The price of a strip that lies already: no filling takes it again."""

WORTH_WHILE: Final = 50 * PRICE_SCALE
"""2^-20 um. A filling that betters the linear program by less is left out."""


def kept_to_bays(task: Task, weights: Weights, deadline: float) -> tuple[Need, ...]:
    """The task's needs with every strip that the dive lays whole kept to the bay where it lays it. All pieces that have
    lanes for strips count as opened."""
    dive = _Dive(task, weights, deadline)
    dive.to_the_end()
    needs = list(task.needs)
    for bay, filling in dive.taken.items():
        runs = set(dive.bays.bays[bay])
        for index in filling.strips:
            ways = {way: tuple(run for run in mine if run in runs) for way, mine in needs[index].runs.items()}
            needs[index] = replace(needs[index], runs=ways, most=1)
    return tuple(needs)


class _Dive:
    """The linear program of a task whose pieces are all opened, and the fillings taken so far, by bay."""

    def __init__(self, task: Task, weights: Weights, deadline: float) -> None:
        self.bays = Relaxation(task, weights).bays
        self.master = Master(self.bays, Branch(fixed=dict.fromkeys(self.bays.piece, True)))
        self.deadline = deadline
        self.taken: dict[int, Filling] = {}
        self._lying: set[int] = set()
        self._load: dict[int, int] = defaultdict(int)

    def to_the_end(self) -> None:
        """Take fillings until every bay has one or stays empty, or the linear program has no solution."""
        rounds = FIRST_ROUNDS
        while time.monotonic() < self.deadline and self._priced(rounds):
            rounds = ROUNDS
            parts = {filling: share for filling, share in self.master.parts().items() if filling.bay not in self.taken}
            if not parts:
                break
            whole = [filling for filling, share in parts.items() if share > 1 - WHOLE]
            likely = sorted(parts, key=lambda f: (-parts[f], -len(f.strips), f.bay, f.strips))
            for filling in whole or likely[:1]:
                self._take(filling)

    def _priced(self, rounds: int) -> bool:
        """Find better fillings for the bays that are left; False where there is no solution."""
        for _ in range(rounds):
            solved = self.master.solve()
            if solved is None:
                return False
            _, prices, floors = solved
            fresh = [filling for filling in self._better(prices, floors) if filling not in self.master.columns]
            for filling in fresh:
                self.master.add(filling)
            if not fresh:
                return True
        return self.master.solve() is not None

    def _better(self, prices: Prices, floors: list[int]) -> Iterator[Filling]:
        strips = (UNWANTED if index in self._lying else price for index, price in enumerate(prices.strips))
        left = replace(prices, strips=tuple(strips))
        shut = [2 * abs(UNWANTED) if bay in self.taken else floor + WORTH_WHILE for bay, floor in enumerate(floors)]
        return Tables(self.bays, left).better(left, shut)

    def _take(self, filling: Filling) -> None:
        """Take the filling, unless with those taken before it is more than bays side by side take."""
        rows, load = self.bays.over[filling.bay], self.bays.load(filling)
        if any(self._load[row] + load > self.bays.cliques[row][1] for row in rows):
            self.master.settle(filling, 0.0)
            return
        for row in rows:
            self._load[row] += load
        self.taken[filling.bay] = filling
        self._lying.update(filling.strips)
        for other in self.master.columns:
            if other == filling:
                self.master.settle(other, 1.0)
            elif other.bay == filling.bay or (other.bay not in self.taken and self._lying.intersection(other.strips)):
                self.master.settle(other, 0.0)
