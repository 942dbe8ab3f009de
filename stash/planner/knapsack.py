"""The dearest set of whole strips for every length: one table for all bays that the same strips may share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stash.planner.filling import PRICE_SCALE, UNIT_UM, Bays, Filling, Ints, Prices

NEVER = int(np.iinfo(np.int64).max) // 4
"""The cost of what cannot be (2^-20 um)."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Table:
    """By total length the worth of the dearest set, and of the dearest of two strips or more; and for each strip where
    taking it made either dearer."""

    worth: Ints
    several: Ints
    taken: list[tuple[int, Flags, Flags]]

    def strips(self, sizes: Sequence[int], load: int, *, several: bool) -> Iterator[int]:
        """The strips of the dearest set of that length."""
        for index, better, better_several in reversed(self.taken):
            size = sizes[index]
            if load >= size and (better_several if several else better)[load - size]:
                yield index
                load, several = load - size, False


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to fill a bay: what it costs by the length of the whole strips, and what those are besides joined cloth
    of a family (-1: none): any, two or more, or one by itself (then by the strips of ``alone``)."""

    cost: Ints
    family: int = -1
    several: bool = False
    alone: tuple[int, ...] = ()


class Tables:
    """For each set of strips that may share a bay: the dearest set of every total length (0/1 knapsack)."""

    def __init__(self, bays: Bays, prices: Prices) -> None:
        self.of, self.prices = bays, prices
        self.longest = max(bays.room, default=0)
        self._known: dict[tuple[tuple[int, ...], tuple[tuple[int, int], ...]], _Table] = {}
        self._beside: dict[tuple[int, int, int], tuple[Ints, Ints]] = {}

    def _table(self, bay: int) -> _Table:
        key = tuple(self.of.alone[bay]), self.of.limits[bay]
        if key not in self._known:
            self._known[key] = self._filled(key[0], dict(key[1]))
        return self._known[key]

    def _filled(self, items: Sequence[int], limits: Mapping[int, int]) -> _Table:
        """The strips are taken in turn, the longest first, so what is limited is what has been taken so far."""
        worth = np.full(self.longest + 1, -NEVER, dtype=np.int64)
        several = worth.copy()
        worth[0] = 0
        taken = []
        for index in items:
            size, price = self.of.whole[index], self.prices.strips[index]
            with_it = worth[: len(worth) - size] + price
            with_it[max(0, limits.get(index, len(worth)) + 1 - size) :] = -NEVER
            second = with_it.copy()
            second[0] = -NEVER
            better, better_several = with_it > worth[size:], second > several[size:]
            several[size:] = np.where(better_several, second, several[size:])
            worth[size:] = np.where(better, with_it, worth[size:])
            taken.append((index, better, better_several))
        return _Table(worth, several, taken)

    def _segments(self, family: int, least: int, rate: int) -> tuple[Ints, Ints]:
        """What joined cloth of a family costs by its length, and the least by how much room there is."""
        key = family, least, rate
        if key not in self._beside:
            length = np.arange(self.longest + 1, dtype=np.int64)
            cost = (rate - self.prices.joined.get(family, 0)) * length * UNIT_UM + self.prices.segment.get(family, 0)
            for (of, size), price in self.prices.longer.items():
                if of == family and price:
                    cost -= price * (length // size)
            cost[:least] = NEVER
            self._beside[key] = cost, np.minimum.accumulate(cost)
        return self._beside[key]

    def _ways(self, bay: int) -> Iterator[_Way]:
        """The ways to fill a bay, each with its costs beyond their worth; no more than they cost truly."""
        of, table = self.of, self._table(bay)
        room, ends = of.room[bay], of.ends[bay]
        rate = sum(self.prices.cliques[k] for k in of.over[bay])
        laid = rate * np.arange(room + 1, dtype=np.int64) * UNIT_UM
        if ends is not None:
            cost = laid - table.worth[: room + 1] + ends[::-1] * PRICE_SCALE
            cost[0] = 0
            yield _Way(cost)
        else:
            yield _Way(laid - table.several[: room + 1], several=True)
            sizes, prices = of.whole, self.prices.strips
            lone = (um * PRICE_SCALE + rate * sizes[i] * UNIT_UM - prices[i] for i, um in of.alone[bay].items())
            yield _Way(np.array([0, *lone], dtype=np.int64), alone=tuple(of.alone[bay]))
        for family, least in of.hosts[bay]:
            _, by_room = self._segments(family, least, rate)
            yield _Way(laid - table.worth[: room + 1] + by_room[room::-1] - self.prices.tails.get(bay, 0), family)

    def whole_cost(self, bay: int) -> Ints:
        """What whole strips in a bay cost beyond their worth, by their length, without the lane's end."""
        room = self.of.room[bay]
        rate = sum(self.prices.cliques[k] for k in self.of.over[bay])
        return rate * np.arange(room + 1, dtype=np.int64) * UNIT_UM - self._table(bay).worth[: room + 1]

    def whole_strips(self, bay: int, load: int) -> tuple[int, ...]:
        """The dearest whole strips of that length."""
        return tuple(self._table(bay).strips(self.of.whole, load, several=False))

    def least(self, bay: int) -> int:
        """The least reduced cost of any filling of the bay."""
        return min(0, *(int(way.cost.min()) for way in self._ways(bay)))

    def better(self, prices: Prices, floors: Sequence[int]) -> Iterator[Filling]:
        """For each bay the least filling by these tables that betters the linear program at its own prices."""
        for bay in range(len(self.of.bays)):
            filling = self._filling(bay, min(self._ways(bay), key=lambda way: int(way.cost.min())))
            if self.of.reduced(filling, prices) < -floors[bay] - PRICE_SCALE:
                yield filling

    def _filling(self, bay: int, way: _Way) -> Filling:
        at, joined = int(way.cost.argmin()), 0
        if way.alone:
            return Filling(bay, way.alone[at - 1 : at] if at else (), -1, 0)
        if way.family >= 0:
            rate = sum(self.prices.cliques[k] for k in self.of.over[bay])
            least = dict(self.of.hosts[bay])[way.family]
            cost, by_room = self._segments(way.family, least, rate)
            rest = self.of.room[bay] - at
            joined = int(np.flatnonzero(cost[: rest + 1] == by_room[rest])[-1])
        strips = self._table(bay).strips(self.of.whole, at, several=way.several)
        return Filling(bay, tuple(strips), way.family, joined)
