"""Two bays and one strip of two segments that lies in both: they are filled like one lane as long as both.

Bays hang together where a strip is joined across them, and so many that hang together take at least one join less. Two
bays with a single join are told apart here, with what whole strips leave in either; wherever else bays hang together,
two joins open the ends of three of them at the most, and not of four.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from stash.planner.filling import PRICE_SCALE, UNIT_UM, Ints, Pair, Prices, Split
from stash.planner.knapsack import NEVER, Tables


class Pairs:
    """All pairs of bays at some prices: what each costs beyond its worth at least, and with which strip joined.

    Whole strips in them count as if no lane's end were lost, which can only make it less. ``worth`` is what each bay's
    filling costs by itself (2^-20 um, none above zero): only pairs that may cost less than both together are looked
    at. ``unjoined`` strips are not joined.
    """

    def __init__(
        self, tables: Tables, prices: Prices, worth: Sequence[int], unjoined: frozenset[int] = frozenset()
    ) -> None:
        self.of, self.tables, self.prices = tables.of, tables, prices
        self.room = np.array(self.of.room, dtype=np.int64)
        bays = range(len(self.room))
        rates = (sum(prices.cliques[row] for row in self.of.over[bay]) for bay in bays)
        self.rates = np.array([*rates], dtype=np.int64)
        self.tails = np.array([prices.tails.get(bay, 0) for bay in bays], dtype=np.int64)
        self.by_room = np.array([self._least_by_room(bay) for bay in bays], dtype=np.int64)
        self.steps = [np.flatnonzero(np.diff(row, prepend=NEVER) < 0) for row in self.by_room]
        self.least = np.full((len(bays), len(bays)), NEVER, dtype=np.int64)
        self.joined = np.full((len(bays), len(bays)), -1, dtype=np.int64)
        spare = np.array(worth, dtype=np.int64) - self.by_room[:, -1] + self.tails if len(bays) else self.tails
        for index, splits in enumerate(self.of.splits):
            for split in splits:
                if split.count == 2 and index not in unjoined:
                    self._look(index, split, spare)

    def _least_by_room(self, bay: int) -> Ints:
        """The least that whole strips in a bay cost beyond their worth, by how much room there is for them."""
        least = np.minimum.accumulate(self.tables.whole_cost(bay))
        return np.pad(least, (0, int(self.room.max()) + 1 - len(least)), mode="edge")

    def _look(self, index: int, split: Split, spare: Ints) -> None:
        """Find the pairs for which this is the best strip to be joined. The bay where cloth is cheaper takes as much of
        it as it can."""
        base = split.price * PRICE_SCALE - self.prices.strips[index] - self.prices.told.get(index, 0)
        size, hosts = self.of.least[index], np.array(self.of.takes[index], dtype=np.int64)
        hosts = hosts[self.room[hosts] >= size]
        for one in hosts:
            dearer = (self.rates[hosts] > self.rates[one]) | ((self.rates[hosts] == self.rates[one]) & (hosts > one))
            others = hosts[dearer & (spare[one] + spare[hosts] > base)]
            if len(others):
                _, _, cost = self._costs(int(one), others, split.length, size)
                least = cost.min(axis=1) + base
                better = least < self.least[one, others]
                self.least[one, others[better]] = least[better]
                self.joined[one, others[better]] = index

    def _costs(self, one: int, others: Ints, length: int, size: int) -> tuple[Ints, Ints, Ints]:
        """For each of the other bays (rows) and each load of whole strips worth laying into the one (columns): how much
        of a joined strip lies in the one, how much room is left for whole strips in the other, and what it all costs
        but for the strip that is joined."""
        loads = self.steps[one]
        loads = loads[loads <= self.room[one] - size]
        room = self.room[others][:, None]
        here = np.minimum(self.room[one] - loads, length - size)
        rest = np.minimum(room - length + here, room - size)
        cost = self.by_room[one][loads] + self.by_room[others[:, None], np.maximum(rest, 0)]
        cost -= self.tails[one] + self.tails[others][:, None]
        cost += (self.rates[one] * here + self.rates[others][:, None] * (length - here)) * UNIT_UM
        return here, rest, np.where(rest >= 0, cost, NEVER)

    def lowered(self, worth: Sequence[int], aims: Sequence[int]) -> list[int]:
        """The worth of bays lowered until no pair costs less than its bays together, those first that are above their
        ``aims``."""
        mine = np.array(worth, dtype=np.int64)
        while len(mine):
            over = mine[:, None] + mine[None, :] - self.least
            one, other = divmod(int(over.argmax()), len(mine))
            excess = int(over[one, other])
            if excess <= 0:
                break
            above = [max(0, int(mine[bay]) - aims[bay]) for bay in (one, other)]
            share = excess * above[0] // sum(above) if sum(above) else excess // 2
            mine[one] -= share
            mine[other] -= excess - share
        return [int(value) for value in mine]

    def better(self, prices: Prices) -> Iterator[Pair]:
        """The pairs that are best for a bay or for a strip to be joined and better the linear program at its prices."""
        floors = np.array(prices.bays, dtype=np.int64)
        over = -floors[:, None] - floors[None, :] - self.least
        places = {(one, int(over[one].argmax())) for one in range(len(floors))}
        places |= {(int(over[:, other].argmax()), other) for other in range(len(floors))}
        for index in {int(strip) for strip in self.joined[over > PRICE_SCALE]}:
            best = int(np.where(self.joined == index, over, -NEVER).argmax())
            places.add(divmod(best, len(floors)))
        for one, other in sorted(places):
            if over[one, other] > PRICE_SCALE:
                pair = self._pair(one, other)
                if self.of.reduced_pair(pair, prices) < -prices.bays[one] - prices.bays[other] - PRICE_SCALE:
                    yield pair

    def _pair(self, one: int, other: int) -> Pair:
        index = int(self.joined[one, other])
        (split,) = (split for split in self.of.splits[index] if split.count == 2)
        here, rest, cost = self._costs(one, np.array([other]), split.length, self.of.least[index])
        at = int(cost.argmin())
        load, part = int(self.steps[one][at]), int(here[at])
        beside = int(np.flatnonzero(self.by_room[other] == self.by_room[other, rest[0, at]])[0])
        return Pair(
            bays=(one, other), joined=index, parts=(part, split.length - part), price=split.price,
            strips=(self.tables.whole_strips(one, load), self.tables.whole_strips(other, beside)),
        )  # fmt: skip
