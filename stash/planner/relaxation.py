"""What no plan can beat: bays filled in fractions, by column generation, and a bound that is checked by itself.

Every bay of lanes takes a share of *fillings*, each a set of whole strips that fit it together, with or without room
for segments of strips that may be joined (Gilmore and Gomory, Oper. Res. 9, 1961; several lengths of stock: Valério de
Carvalho, Eur. J. Oper. Res. 141, 2002). Of the segments of a strip one is at least as long as their mean, and the next
ones as long as what the longest lanes leave over: of room so long there must be enough. Whatever prices on the strips
and on the cloth come out, they bound every plan from below (Lagrange): that is computed anew in whole numbers, so the
solver of the linear programs need not be trusted.

Where that is asked for, two bays that only one strip of two segments ties together are filled together (``pairing``).

The print along the stripe, pairs of strips and panels are left out, which can only make the bound weaker, never wrong.
"""

from __future__ import annotations

import heapq
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from stash.planner.filling import PRICE_SCALE, UNIT_UM, Bays, Filling, Pair, Prices, Split
from stash.planner.knapsack import Tables
from stash.planner.master import WHOLE_TREE, Branch, Master
from stash.planner.pairing import Pairs
from stash.planner.price import Weights
from stash.planner.task import Cut, Task

ROUNDS: Final = 80
"""Linear programs solved at most for one bound."""

NODES: Final = 40
"""Branches looked at: how many pieces, which, and which strips are joined."""

TREE_PLACES: Final = 100_000
"""Lanes of strips priced at most before no more branches are looked at: about a second, whatever the machine."""

IMPOSSIBLE: Final = 1 << 60
"""um. The bound where there is no plan at all."""

NEAR: Final = 0.002
"""Ratio. A bound this near the linear program's own value is not driven further."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A bound (um), and how far the linear program opens each piece and joins each strip."""

    um: int
    opened: dict[int, float]
    joined: dict[int, float]
    tails: dict[int, float]


class Relaxation:
    """The relaxation of a task. Without weights it asks how much must stay uncut, else what a plan costs at least."""

    def __init__(self, task: Task, weights: Weights | None = None, *, paired: bool = False) -> None:
        self.bays = Bays(task, weights, paired=paired)
        self.fillings: list[Filling | Pair] = []
        self._uncut: list[float] = []
        self._places = sum(len(need.all_runs) for need in task.needs)
        self._priced = 0

    def bound_um(self, prices: Prices, branch: Branch, tables: Tables, pairs: Pairs | None = None) -> int:
        """What no plan of the branch can beat (um), by these prices alone; ``pairs`` where they are known already."""
        bays, each = self.bays, defaultdict[int, int](int)
        total = sum(self._apart(i, price, prices, branch.joined.get(i)) for i, price in enumerate(prices.strips))
        worth = [min(0, tables.least(bay)) for bay in range(len(bays.piece))]
        if bays.paired:
            pairs = pairs or Pairs(tables, prices, worth, branch.unjoined)
            worth = pairs.lowered(worth, [-floor for floor in prices.bays] or worth)
        for piece, value in zip(bays.piece, worth, strict=True):
            each[piece] += value
        for index, (held, room) in enumerate(bays.cliques):
            each[bays.piece[held[0]]] -= prices.cliques[index] * room * UNIT_UM
        count = branch.fewest if prices.count > 0 else branch.most
        opening = bays.weights.piece_um * PRICE_SCALE if bays.weights else 0
        total += prices.count * (count or 0)
        total += sum(price for bay, price in prices.tails.items() if branch.tails.get(bay))
        for piece in sorted(set(bays.piece)):
            opened, cost = branch.fixed.get(piece), opening - prices.count + each[piece]
            total += 0 if opened is False else cost if opened else min(0, cost)
        return total // PRICE_SCALE

    def _apart(self, index: int, price: int, prices: Prices, told: bool | None) -> int:
        """A strip's price, less what it saves to leave it uncut or to join it; ``told``: it is joined, or is not."""
        bays = self.bays
        uncut = bays.whole_um(index) * PRICE_SCALE - price
        if not bays.splits[index] or told is False:
            return price + min(0, uncut)
        must = prices.told.get(index, 0)
        joined = min(self._joined(index, split, prices) for split in bays.splits[index]) - must
        if told and not bays.paired:
            return joined
        return price + must + min(0, joined - price, uncut)

    def _joined(self, index: int, split: Split, prices: Prices) -> int:
        """What a strip in so many segments costs, the cloth for them included."""
        family = self.bays.family[index]
        cost = split.price * PRICE_SCALE + prices.joined.get(family, 0) * split.length * UNIT_UM
        cost -= -(-prices.segment.get(family, 0) * split.halves // 2)
        for (of, size), price in prices.longer.items():
            if of == family and price:
                cost += price * sum(least >= size for least in split.sizes)
        return cost

    def start(self, cuts: Sequence[Cut]) -> None:
        """Take the bays of a known plan for fillings to begin with."""
        of = {run: index for index, bay in enumerate(self.bays.bays) for run in bay}
        bays: dict[int, list[Cut]] = defaultdict(list)
        parts: dict[int, int] = defaultdict(int)
        for cut in cuts:
            bays[of[cut.run]].append(cut)
            parts[cut.need] += 1
        for bay, mine in bays.items():
            whole = tuple(c.need for c in mine if parts[c.need] == 1)
            joined = [c for c in mine if parts[c.need] > 1]
            length = sum(c.size_um for c in joined) // UNIT_UM
            self.fillings.append(Filling(bay, whole, self.bays.family[joined[0].need] if joined else -1, length))

    def solve(self, deadline: float, *, stop_um: int | None = None, branch: Branch = WHOLE_TREE) -> Bound:
        """The best bound found for a branch, and which pieces the last linear program opens.

        Stops once the bound reaches ``stop_um``.
        """
        if branch.empty(set(self.bays.piece)):
            return Bound(IMPOSSIBLE, {}, {}, {})
        master = Master(self.bays, branch)
        for filling in self.fillings:
            master.add(filling)
        best, shares = -(1 << 60), (dict[int, float](), dict[int, float](), dict[int, float]())
        steady: Prices | None = None
        for _ in range(ROUNDS):
            solved = master.solve()
            if solved is None:
                break
            value, prices, floors = solved
            self._priced += self._places
            shares = master.shares()
            self._uncut = master.uncut_um()
            fresh: list[Filling | Pair] = []
            for tried in (prices if steady is None else steady.toward(prices), prices):
                tables = Tables(self.bays, tried)
                pairs = self._pairs(tables, tried, branch, floors) if self.bays.paired else None
                bound = self.bound_um(tried, branch, tables, pairs)
                if bound > best:
                    best, steady = bound, tried
                fresh = [*tables.better(prices, floors), *(pairs.better(prices) if pairs else ())]
                if fresh or tried is prices:
                    break
            if (stop_um is not None and best >= stop_um) or value - best <= NEAR * max(1.0, value):
                break
            if not fresh or time.monotonic() > deadline:
                break
            for column in fresh:
                self.fillings.append(column)
                master.add(column)
        return Bound(max(0, best), *shares)

    def _pairs(self, tables: Tables, prices: Prices, branch: Branch, floors: Sequence[int]) -> Pairs:
        """The pairs at these prices that may count, for the bound or for the linear program."""
        worth = [max(min(0, tables.least(bay)), -floor) for bay, floor in enumerate(floors)]
        return Pairs(tables, prices, worth, branch.unjoined)

    def solve_tree(self, deadline: float, stop_um: int) -> Bound:
        """The bound once pieces are opened or not and strips joined or not, as far as ``NODES`` go."""
        root = self.solve(deadline, stop_um=stop_um)
        waiting = [(root.um, 0, root, WHOLE_TREE)]
        until = self._priced + TREE_PLACES
        for number in range(1, NODES):
            um, _, bound, branch = waiting[0]
            halves = branch.halves(bound.opened, bound.joined, bound.tails)
            if um >= stop_um or not halves or self._priced > until or time.monotonic() > deadline:
                break
            heapq.heappop(waiting)
            for side, half in enumerate(halves):
                found = self.solve(deadline, stop_um=stop_um, branch=half)
                heapq.heappush(waiting, (max(um, found.um), 2 * number + side, found, half))
        um, _, bound, _ = waiting[0]
        return replace(bound, um=min(stop_um, um))

    def uncut_um(self) -> dict[str, int]:
        """How much strip of each stripe the last linear program leaves uncut (um), at least 1 of one."""
        lack: dict[str, int] = defaultdict(int)
        for need, um in zip(self.bays.task.needs, self._uncut, strict=True):
            lack[need.strip.stripe] += round(um)
        return {label: um for label, um in lack.items() if um > 0} or {self.bays.task.needs[0].strip.stripe: 1}
