"""The dearest set of whole strips for every length: one table for all bays that the same strips may share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from stash.planner.filling import PRICE_SCALE, UNIT_UM, Bays, Filling, Prices

Ints = NDArray[np.int64]


class Tables:
    """For each set of strips that may share a lane: the dearest set of every total length (0/1 knapsack)."""

    def __init__(self, bays: Bays, prices: Prices) -> None:
        self.of, self.prices = bays, prices
        self.longest = max(bays.room, default=0)
        self._known: dict[tuple[int, ...], tuple[Ints, list[tuple[int, NDArray[np.bool_]]]]] = {}

    def _table(self, items: tuple[int, ...]) -> tuple[Ints, list[tuple[int, NDArray[np.bool_]]]]:
        if items not in self._known:
            worth = np.full(self.longest + 1, np.iinfo(np.int64).min // 4, dtype=np.int64)
            worth[0] = 0
            taken: list[tuple[int, NDArray[np.bool_]]] = []
            for index in items:
                size, price = self.of.whole[index], self.prices.strips[index]
                if price <= 0 or size > self.longest:
                    continue
                with_it = worth[: len(worth) - size] + price
                better = with_it > worth[size:]
                worth[size:] = np.where(better, with_it, worth[size:])
                taken.append((index, better))
            self._known[items] = worth, taken
        return self._known[items]

    def _costs(self, bay: int) -> list[tuple[int, int, Ints]]:
        """For each way to go on beside whole strips: family, joined length (-1: to the end, -2: to a useful rest), and
        the reduced cost by total length of the whole strips."""
        of, prices = self.of, self.prices
        room = of.room[bay]
        worth, _ = self._table(of.items[bay])
        worth = worth[: room + 1]
        rate = sum(prices.cliques[k] for k in of.over[bay])
        load = np.arange(room + 1, dtype=np.int64)
        plain = rate * load * UNIT_UM - worth + self._lost(bay, room - load)
        plain[0] = 0
        ways = [(-1, 0, plain)]
        for family, least in of.hosts[bay]:
            gain = prices.joined.get(family, 0)
            segment = prices.segment.get(family, 0)
            useful = (of.weights.useful_um if of.weights else 0) // UNIT_UM
            for code, length in ((least, np.full_like(load, least)), (-1, room - load), (-2, room - load - useful)):
                if code == -2 and not useful:
                    continue
                rest = room - load - length
                cost = rate * (load + length) * UNIT_UM - gain * length * UNIT_UM - worth + self._lost(bay, rest) + segment
                cost = np.where((length >= least) & (rest >= 0), cost, 0)
                ways.append((family, code, cost))
        return ways

    def _lost(self, bay: int, rest: Ints) -> Ints:
        """What a lane's end of that length counts for, in the maker's favour (see ``Bays.lost_um``)."""
        weights = self.of.weights
        if weights is None or len(self.of.bays[bay]) > 1:
            return np.zeros_like(rest)
        lost = np.maximum(0, (rest - 1) * UNIT_UM - 2 * self.of.task.stance.fit_um - weights.ease_um)
        return np.where(rest * UNIT_UM < weights.useful_um, lost, 0) * PRICE_SCALE

    def least(self, bay: int) -> int:
        """The least reduced cost of any filling of the bay."""
        return min(int(cost.min()) for _, _, cost in self._costs(bay))

    def better(self, prices: Prices, floors: Sequence[int]) -> Iterator[Filling]:
        """For each bay the least filling by these tables that betters the linear program at its own prices."""
        of = self.of
        for bay, room in enumerate(of.room):
            family, code, cost = min(self._costs(bay), key=lambda way: int(way[2].min()))
            load = int(cost.argmin())
            useful = (of.weights.useful_um if of.weights else 0) // UNIT_UM
            joined = 0 if family < 0 else {-1: room - load, -2: room - load - useful}.get(code, code)
            filling = Filling(bay, tuple(self._strips(bay, load)), family, joined)
            if of.reduced(filling, prices) < -floors[bay] - PRICE_SCALE:
                yield filling

    def _strips(self, bay: int, load: int) -> Iterator[int]:
        _, taken = self._table(self.of.items[bay])
        for index, better in reversed(taken):
            size = self.of.whole[index]
            if load >= size and better[load - size]:
                yield index
                load -= size
