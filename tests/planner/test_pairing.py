"""Two bays tied by one joined strip. Truth: lanes that no strip of two segments fits, and all ways of filling tried."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from itertools import combinations, pairwise

import pytest

from stash.planner.asking import Effort
from stash.planner.filling import PRICE_SCALE, UNIT_UM, Bays, Prices
from stash.planner.knapsack import Tables
from stash.planner.pairing import Pairs
from stash.planner.price import DEFAULT
from stash.planner.relaxation import Relaxation
from stash.planner.search import Search
from stash.planner.stance import Stance
from stash.planner.task import Task, build_task
from tests.bench.border import FABRIC, cloth, strip


def later() -> float:
    """A time that is far enough away."""
    return time.monotonic() + 60


def lanes_for_two_joined(*lanes_mm: float) -> Task:
    """One-lane pieces of those lengths, and two strips of 150 mm, each with a join at most."""
    pieces = [cloth(f"p{i}", 60, length) for i, length in enumerate(lanes_mm)]
    return build_task(FABRIC, pieces, [strip(f"s{i}", 150, 20, 0, 1) for i in range(2)], (), Stance.GENEROUS)


def test_four_ends_for_two_joins_must_go_in_pairs() -> None:
    """Two strips of 150 mm, one join each, from lanes of 100, 90, 55 and 55 mm: 300 mm in all, but 90 and 55 mm make
    no 150. From 100, 92, 54 and 54 mm none do either, from 100, 90, 60 and 50 mm they do."""
    for short in (lanes_for_two_joined(100, 90, 55, 55), lanes_for_two_joined(100, 92, 54, 54)):
        assert Relaxation(short).solve(later()).um == 0
        assert Relaxation(short, paired=True).solve(later()).um > 1000
        assert Search(short).run(Effort(seconds=10)).status == "none"
    assert Relaxation(lanes_for_two_joined(100, 90, 60, 50), paired=True).solve(later()).um == 0


def test_three_lanes_may_hang_together_by_two_joins() -> None:
    """Two strips of 150 mm from three lanes of 100 mm: 100 and 50, 50 and 100. No pair of lanes holds them alone."""
    task = lanes_for_two_joined(100, 100, 100)
    assert Search(task).run(Effort(seconds=10)).status == "found"
    assert Relaxation(task, paired=True).solve(later()).um == 0


def covered(bays: Bays, bay: int, long: int) -> int:
    """How much the lanes of a bay cover that are so long at least (units), place by place."""
    lanes = [bays.task.runs[run] for run in bays.bays[bay] if bays.task.runs[run].length_um // UNIT_UM >= long]
    places = sorted({place for lane in lanes for place in (lane.start_um, lane.end_um)})
    um = sum(b - a for a, b in pairwise(places) if any(lane.start_um <= a and b <= lane.end_um for lane in lanes))
    return -(-um // UNIT_UM)


def lain(bays: Bays, bay: int) -> Iterator[tuple[int, ...]]:
    """Every set of whole strips that a bay takes: its longest ones no more of than lanes so long cover."""
    strips = list(bays.alone[bay])
    for many in range(len(strips) + 1):
        for chosen in combinations(strips, many):
            sizes = [bays.whole[i] for i in chosen]
            longest = all(sum(s for s in sizes if s >= size) <= covered(bays, bay, size) for size in sizes)
            if longest and sum(sizes) <= bays.room[bay]:
                yield chosen


def cheapest(bays: Bays, prices: Prices, one: int, other: int) -> int:
    """The least that two bays cost with one strip joined across them: all sets of whole strips in each, and all of the
    joined strip that the one takes, or as little as it may."""
    best = 1 << 62
    rates = [sum(prices.cliques[k] for k in bays.over[bay]) * UNIT_UM for bay in (one, other)]
    for index, splits in enumerate(bays.splits):
        if not splits or one not in bays.takes[index] or other not in bays.takes[index]:
            continue
        split, size = splits[0], bays.least[index]
        for here in lain(bays, one):
            for there in lain(bays, other):
                loads = [sum(bays.whole[i] for i in lying) for lying in (here, there)]
                high = min(bays.room[one] - loads[0], split.length - size)
                low = max(size, split.length - bays.room[other] + loads[1])
                for part in (low, high) if low <= high else ():
                    cost = split.price * PRICE_SCALE - sum(prices.strips[i] for i in (index, *here, *there))
                    cost += rates[0] * (loads[0] + part) + rates[1] * (loads[1] + split.length - part)
                    best = min(best, cost)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_no_way_to_fill_a_pair_costs_less(seed: int) -> None:
    """All ways to fill two bays are tried, at prices drawn at random, with lanes that overlap and so cost by length:
    the least is found, wherever it is less than what the bays cost apart."""
    dice = random.Random(seed)
    strips = [strip(f"s{i}", dice.uniform(60, 260), 90, 0, dice.choice((0, 1))) for i in range(5)]
    strips.append(strip("joined", dice.uniform(200, 400), 90, 0, 1))
    pieces = [cloth(f"p{i}", dice.choice((110.0, 260.0, 320.0)), dice.uniform(150, 400)) for i in range(3)]
    task = build_task(FABRIC, pieces, strips, (), Stance.GENEROUS)
    bays = Bays(task, DEFAULT, paired=True)
    prices = Prices(
        strips=tuple(int(dice.uniform(0, 9) * need.whole_um * PRICE_SCALE) for need in task.needs),
        cliques=tuple(int(dice.uniform(0, 3) * PRICE_SCALE) for _ in bays.cliques), joined={}, segment={},
    )  # fmt: skip
    pairs = Pairs(Tables(bays, prices), prices, [0] * len(bays.bays))
    for one, other in combinations(range(len(bays.bays)), 2):
        found, true = int(min(pairs.least[one, other], pairs.least[other, one])), cheapest(bays, prices, one, other)
        assert found == true or min(found, true) >= 0
    worth = [-int(dice.uniform(0, 300_000)) * PRICE_SCALE for _ in bays.bays]
    lowered = Pairs(Tables(bays, prices), prices, worth).lowered(worth, worth)
    for one, other in combinations(range(len(bays.bays)), 2):
        assert lowered[one] + lowered[other] <= cheapest(bays, prices, one, other)
