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
class _Taken:
    """Where taking a strip made the dearest sets of its own kinds dearer, and for mixed sets the number of the table
    to whose set it was added (-1: none)."""

    index: int
    own: dict[int, Flags]
    added: Ints


@dataclass(frozen=True, slots=True)
class _Table:
    """By total length the worth of the dearest set of each kind: of strips of one lane, for every lane that alone takes
    its strips; of one strip that several lanes take; of two strips or more not all of one such lane (``mixed``); and
    of one such lane once more, each strip worth more by what it leaves less at the end than it is counted for."""

    kinds: list[Ints]
    mixed: int
    worth: Ints
    taken: list[_Taken]

    def strips(self, sizes: Sequence[int], load: int, kind: int) -> Iterator[int]:
        """The strips of the dearest set of that length and kind (-1: of any)."""
        if kind < 0:
            kind = int(np.argmax([worth[load] for worth in self.kinds[: self.mixed + 1]]))
        for one in reversed(self.taken):
            before = load - sizes[one.index]
            if before < 0:
                continue
            added = int(one.added[before]) if kind == self.mixed else -1
            if added >= 0 or (kind in one.own and one.own[kind][before]):
                yield one.index
                load, kind = before, added if added >= 0 else kind


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to fill a bay: what it costs by the length of the whole strips, and what those are besides joined cloth
    of a family (-1: none): a set of a kind (-1: any), or one by itself (then by the strips of ``alone``)."""

    cost: Ints
    family: int = -1
    kind: int = -1
    alone: tuple[int, ...] = ()


class Tables:
    """For each set of strips that may share a bay: the dearest set of every total length (0/1 knapsack)."""

    def __init__(self, bays: Bays, prices: Prices) -> None:
        self.of, self.prices = bays, prices
        self.longest = max(bays.room, default=0)
        self._known: dict[tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]], _Table] = {}
        self._beside: dict[tuple[int, int, int], tuple[Ints, Ints]] = {}

    def _table(self, bay: int) -> _Table:
        key = tuple(self.of.lane[bay].items()), self.of.limits[bay]
        if key not in self._known:
            self._known[key] = self._filled(key[0], dict(key[1]), len(self.of.lanes[bay]))
        return self._known[key]

    def _filled(self, items: Sequence[tuple[int, int]], limits: Mapping[int, int], lanes: int) -> _Table:
        """The strips are taken in turn, the longest first, so what is limited is what has been taken so far."""
        kinds = [np.full(self.longest + 1, -NEVER, dtype=np.int64) for _ in range(2 * lanes + 2)]
        for worth in (*kinds[:lanes], *kinds[lanes + 2 :]):
            worth[0] = 0
        mixed, taken = lanes + 1, []
        for index, lane in items:
            size, price = self.of.whole[index], self.prices.strips[index]
            count = self.longest + 1 - size
            least = max(0, min(limits.get(index, self.longest), self.longest) + 1 - size)
            added, better = np.full(count, -1, dtype=np.int64), kinds[mixed][size:]
            for number in (number for number in range(lanes + 2) if number != lane):
                with_it = kinds[number][:count] + price
                with_it[least:] = -NEVER
                if number < lanes:
                    with_it[0] = -NEVER
                added[with_it > better] = number
                better = np.maximum(better, with_it)
            own = {}
            more = self.of.rest[index] * PRICE_SCALE
            for kind, value in ((lane, price), (mixed + 1 + lane, price + more)) if lane >= 0 else ((lanes, price),):
                with_it = kinds[kind][:count] + value
                if lane < 0:
                    with_it = np.where(np.arange(count) == 0, price, -NEVER)
                with_it[least:] = -NEVER
                own[kind] = with_it > kinds[kind][size:]
                kinds[kind][size:] = np.maximum(with_it, kinds[kind][size:])
            kinds[mixed][size:] = better
            taken.append(_Taken(index, own, added))
        worth = np.max(kinds[: mixed + 1], axis=0)
        worth[0] = 0  # no strip at all
        return _Table(kinds, mixed, worth, taken)

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
        room, lanes = of.room[bay], of.lanes[bay]
        rate = sum(self.prices.cliques[k] for k in of.over[bay])
        laid = rate * np.arange(room + 1, dtype=np.int64) * UNIT_UM
        for kind, lane in enumerate(lanes):
            size, more = lane.room + 1, table.kinds[table.mixed + 1 + kind]
            cost = np.maximum(-table.kinds[kind][:size], lane.lost * PRICE_SCALE - more[:size])
            yield _Way(laid[:size] + cost, kind=kind)
        if len(of.bays[bay]) > 1:
            yield _Way(laid - table.kinds[table.mixed][: room + 1], kind=table.mixed)
            sizes, prices = of.whole, self.prices.strips
            alone = tuple(index for index, number in of.lane[bay].items() if number < 0)
            lone = (of.alone[bay][i] * PRICE_SCALE + rate * sizes[i] * UNIT_UM - prices[i] for i in alone)
            yield _Way(np.array([0, *lone], dtype=np.int64), alone=alone)
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
        return tuple(self._table(bay).strips(self.of.whole, load, -1))

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
        table, lanes = self._table(bay), self.of.lanes[bay]
        ends = 0 <= way.kind < len(lanes) and lanes[way.kind].lost[at] > 0
        strips = table.strips(self.of.whole, at, table.mixed + 1 + way.kind if ends else way.kind)
        return Filling(bay, tuple(strips), way.family, joined)
