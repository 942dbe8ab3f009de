"""Bays as something to be filled: strips and room in small units, what a filling costs, and what it is worth.

Strips are rounded down and lanes up, which favours the maker: what cannot be filled so cannot be filled at all.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from stash.planner.bay import Bay, crowded, find_bays, room_um, together_um
from stash.planner.bound import least_segments
from stash.planner.price import Weights
from stash.planner.task import Need, Task

Ints = NDArray[np.int64]

UNIT_UM: Final = 400
"""Lengths are counted in steps of so many um: strips rounded down, lanes up, which favours the maker."""

PRICE_SCALE: Final = 1 << 20
"""Prices are whole multiples of 2^-20 um, or of 2^-20 where they are rates."""

MOST_PLACES: Final = 3000
"""Lanes summed over strips that may be joined. With more, pairs of bays take too long: a second for one bound."""

PENALTY: Final = 10
"""um of cost for a um of strip that is not cut, where plans are priced: dearer than any join or piece."""


Longer = tuple[int, int]
"""A family, and a length in units: of segments at least so long there must be enough."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Whole prices, in 2^-20 um: of each strip, of a segment, of a segment at least so long, and of one piece more or
    less where their number is bounded, of each bay, and of a strip's being joined where that is told; and as rates, in
    2^-20: of a um in each clique and of a um of joined length."""

    strips: tuple[int, ...]
    cliques: tuple[int, ...]
    joined: dict[int, int]
    segment: dict[int, int]
    longer: dict[Longer, int] = field(default_factory=dict)
    count: int = 0
    bays: tuple[int, ...] = ()
    told: dict[int, int] = field(default_factory=dict)
    tails: dict[int, int] = field(default_factory=dict)

    def toward(self, other: Prices) -> Prices:
        """Half way to other prices: smoothed, they settle in fewer rounds (Wentges, Int. Trans. Oper. Res. 4, 1997)."""
        return Prices(
            strips=tuple((a + b) // 2 for a, b in zip(self.strips, other.strips, strict=True)),
            cliques=tuple((a + b) // 2 for a, b in zip(self.cliques, other.cliques, strict=True)),
            joined={key: (value + other.joined[key]) // 2 for key, value in self.joined.items()},
            segment={key: (value + other.segment[key]) // 2 for key, value in self.segment.items()},
            longer={key: (value + other.longer[key]) // 2 for key, value in self.longer.items()},
            count=(self.count + other.count) // 2,
            bays=tuple((a + b) // 2 for a, b in zip(self.bays, other.bays, strict=True)),
            told={key: (value + other.told[key]) // 2 for key, value in self.told.items()},
            tails={key: (value + other.tails[key]) // 2 for key, value in self.tails.items()},
        )


@dataclass(frozen=True, slots=True)
class Split:
    """A strip in so many segments: the bays that they open, told in halves, their length together, what the joins cost
    (um), and for each segment the length that the longest, the second longest, ... has at least (units)."""

    count: int
    halves: int
    length: int
    price: int
    sizes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Filling:
    """A bay filled: the whole strips, and how much joined length of a family (-1: none) beside them."""

    bay: int
    strips: tuple[int, ...]
    family: int
    joined: int


@dataclass(frozen=True, slots=True, eq=False)
class Lane:
    """A lane whose strips fit no other lane of its bay: its room (units) and its length (um), and what is lost at its
    end by how much of it is filled with them (um)."""

    room: int
    length_um: int
    lost: Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two bays filled: the whole strips of each, and how much of one strip of two segments, whose join costs so much
    (um), lies in each (units)."""

    bays: tuple[int, int]
    strips: tuple[tuple[int, ...], tuple[int, ...]]
    joined: int
    parts: tuple[int, int]
    price: int


class Bays:
    """The bays of a task and what may fill them. Without weights a strip that stays uncut is all that counts.

    ``paired``: two bays with one strip of two segments in both are told apart from all others that hang together.
    """

    def __init__(self, task: Task, weights: Weights | None = None, *, paired: bool = False) -> None:
        self.task, self.weights = task, weights
        self.paired = paired and sum(len(need.all_runs) for need in task.needs if need.most > 1) <= MOST_PLACES
        self.whole = [need.whole_um // UNIT_UM for need in task.needs]
        self.rest = [need.whole_um % UNIT_UM if weights else 0 for need in task.needs]
        self.splits = [tuple(self._splits(need)) for need in task.needs]
        self.least = [self._least(need) for need in task.needs]
        wanted = sorted({run for need in task.needs for run in need.all_runs})
        self.bays = find_bays(task.runs, wanted)
        self.family = self._families()
        self.longer: list[Longer] = sorted(
            {(family, size) for family, splits in zip(self.family, self.splits, strict=True)
             for split in splits for size in split.sizes}
        )  # fmt: skip
        self.room = [-(-room_um(task.runs, bay) // UNIT_UM) for bay in self.bays]
        self.piece = [task.runs[bay[0]].piece for bay in self.bays]
        self.alone = [self._alone(bay) for bay in self.bays]
        self.limits = [self._limits(bay) for bay in range(len(self.bays))]
        known = [self._lanes(bay) for bay in range(len(self.bays))]
        self.lane, self.lanes = [lane for lane, _ in known], [lanes for _, lanes in known]
        self.takes = [[at for at, bay in enumerate(self.bays) if set(bay) & set(n.all_runs)] for n in task.needs]
        self.hosts = [self._hosts(bay) for bay in self.bays]
        self.cliques = [(bays, -(-um // UNIT_UM) + len(bays) - 1) for bays, um in self._side_by_side()]
        self.over: dict[int, list[int]] = defaultdict(list)
        for index, (bays, _) in enumerate(self.cliques):
            for bay in bays:
                self.over[bay].append(index)

    def _families(self) -> list[int]:
        """For each strip by which number its joined length is known: one for all that may share a bay, as a segment of
        one strip may lie there beside a segment of any other."""
        number = list(range(len(self.task.needs)))
        for bay in self.bays:
            beside = [i for i, need in enumerate(self.task.needs) if self.splits[i] and set(need.all_runs) & set(bay)]
            joined = {number[index] for index in beside}
            number = [min(joined) if family in joined else family for family in number]
        return number

    def _side_by_side(self) -> Iterator[tuple[list[int], int]]:
        """Bays that take less together than apart, and how much (um). In units that is one more for each further bay,
        for joined length is rounded up in every one of them."""
        for clique in self.task.cliques:
            held = [index for index, bay in enumerate(self.bays) if set(bay) <= set(clique.runs)]
            if len(held) > 1:
                yield held, clique.capacity_um
        for piece in sorted(set(self.piece)):
            mine = [bay for bay, of in enumerate(self.piece) if of == piece]
            for some, room in crowded(self.task.runs, [self.bays[bay] for bay in mine]):
                yield [mine[at] for at in some], room

    def _splits(self, need: Need) -> Iterator[Split]:
        """The ways to make a strip of segments, by their number."""
        first = max(2, least_segments(self.task, need))
        longest = max((self.task.runs[run].length_um for run in need.all_runs), default=0) // UNIT_UM + 1
        join = self.weights.join_um(need.strip) if self.weights else 0
        for count in range(first, need.most + 1):
            length = (need.length_um + count * need.seams_um + need.head_um + need.tail_um) // UNIT_UM
            sizes = (max(0, (length - at * longest) // (count - at)) for at in range(count))
            least = self._least(need)
            halves = min(2 * count, 3 * count - 3) if self.paired else 2 * count
            yield Split(count, halves, length, (count - 1) * join, tuple(size for size in sizes if size > least))

    def _least(self, need: Need) -> int:
        return (need.shortest_um + need.seams_um) // UNIT_UM

    def _alone(self, bay: Bay) -> dict[int, int]:
        """The strips that fit the bay whole, the longest first, and what is lost at the end of the lane where one lies
        by itself (um)."""
        lost: dict[int, int] = {}
        for index in sorted(range(len(self.whole)), key=lambda strip: (-self.whole[strip], strip)):
            need = self.task.needs[index]
            ends = [self.task.runs[r].length_um - need.whole_um for r in bay
                    if r in need.all_runs and self._units(r) >= self.whole[index]]  # fmt: skip
            if ends:
                lost[index] = min(self._end_um(end) for end in ends)
        return lost

    def _limits(self, bay: int) -> tuple[tuple[int, int], ...]:
        """Strips that with all longer ones take less than the bay, whole, for some of its lanes are too short for them:
        each with what they take (units)."""
        held: set[int] = set()
        limits = []
        for index in self.alone[bay]:
            need = self.task.needs[index]
            mine = set(need.all_runs) & set(self.bays[bay])
            held |= {run for run in mine if self.task.runs[run].length_um >= need.whole_um}
            room = -(-together_um(self.task.runs, held) // UNIT_UM)
            if room < self.room[bay]:
                limits.append((index, room))
        return tuple(limits)

    def _hosts(self, bay: Bay) -> tuple[tuple[int, int], ...]:
        """The families of which segments may lie in the bay, each with the least length of one."""
        least: dict[int, int] = {}
        for index, need in enumerate(self.task.needs):
            if self.splits[index] and any(run in need.all_runs for run in bay):
                family, mine = self.family[index], self._least(need)
                least[family] = min(mine, least.get(family, mine))
        return tuple(sorted(least.items()))

    def whole_um(self, index: int) -> int:
        """What a strip that stays uncut counts for."""
        return self.whole[index] * UNIT_UM * (PENALTY if self.weights else 1)

    def _end_um(self, rest_um: int) -> int:
        """What a lane's end of so much counts for, the hair at either side of it left out."""
        if self.weights is None or rest_um >= self.weights.useful_um:
            return 0
        return max(0, rest_um - 2 * self.task.stance.fit_um - self.weights.ease_um)

    def _lanes(self, bay: int) -> tuple[dict[int, int], tuple[Lane, ...]]:
        """For each strip that fits the bay whole the number of its lane, where it and all that fit that lane fit no
        other one of the bay, else -1; and those lanes."""
        fits = {
            index: [r for r in self.bays[bay] if r in need.all_runs and self._units(r) >= self.whole[index]]
            for index, need in ((index, self.task.needs[index]) for index in self.alone[bay])
        }
        shared = {run for runs in fits.values() if len(runs) > 1 for run in runs}
        own = sorted({runs[0] for runs in fits.values()} - shared)
        lane = {index: own.index(runs[0]) if runs[0] in own else -1 for index, runs in fits.items()}
        return lane, tuple(self._lane(run) for run in own)

    def _lane(self, run: int) -> Lane:
        """Its ends as they would be if strips were as long as they are counted (``rest``: how much longer they are)."""
        room, length_um = self._units(run), self.task.runs[run].length_um
        rests = ((room - load) * UNIT_UM for load in range(1, room + 1))
        lost = [0, *(self._lost_um(rest_um, rest_um + length_um - room * UNIT_UM) for rest_um in rests)]
        return Lane(room, length_um, np.array(lost, dtype=np.int64))

    def _lost_um(self, most_um: int, rest_um: int) -> int:
        """What is lost where no more than so much is left: nothing, where that may be of use."""
        return 0 if self.weights is None or most_um >= self.weights.useful_um else self._end_um(rest_um)

    def _units(self, run: int) -> int:
        return -(-self.task.runs[run].length_um // UNIT_UM)

    def lost_um(self, filling: Filling) -> int:
        """What is lost at lanes' ends with such a filling, at least."""
        numbers = {self.lane[filling.bay][index] for index in filling.strips}
        bay = self.bays[filling.bay]
        laid_um = sum(self.task.needs[index].whole_um for index in filling.strips) + filling.joined * UNIT_UM
        if len(bay) == 1:
            return self._end_um(self.task.runs[bay[0]].length_um - laid_um) if laid_um else 0
        if filling.family >= 0 or len(numbers) != 1:
            return 0
        if min(numbers) >= 0:
            return self._end_um(self.lanes[filling.bay][min(numbers)].length_um - laid_um)
        return self.alone[filling.bay][filling.strips[0]] if len(filling.strips) == 1 else 0

    def load(self, filling: Filling) -> int:
        """How much of the bay is filled."""
        return sum(self.whole[i] for i in filling.strips) + filling.joined

    def loads(self, pair: Pair) -> tuple[int, int]:
        """How much of the bays of a pair is filled."""
        first, second = (sum(self.whole[i] for i in strips) for strips in pair.strips)
        return first + pair.parts[0], second + pair.parts[1]

    def reduced(self, filling: Filling, prices: Prices) -> int:
        """What a filling costs beyond its worth at these prices (2^-20 um)."""
        rate = sum(prices.cliques[k] for k in self.over[filling.bay])
        cost = rate * self.load(filling) * UNIT_UM - sum(prices.strips[i] for i in filling.strips)
        cost += self.lost_um(filling) * PRICE_SCALE
        if filling.family >= 0:
            cost -= prices.tails.get(filling.bay, 0)
            cost += prices.segment.get(filling.family, 0)
            cost -= prices.joined.get(filling.family, 0) * filling.joined * UNIT_UM
            for (family, size), price in prices.longer.items():
                cost -= price * (filling.joined // size) if family == filling.family else 0
        return cost

    def reduced_pair(self, pair: Pair, prices: Prices) -> int:
        """The same of a pair."""
        cost = pair.price * PRICE_SCALE - prices.told.get(pair.joined, 0)
        cost -= sum(prices.strips[i] for i in (pair.joined, *pair.strips[0], *pair.strips[1]))
        for bay, load in zip(pair.bays, self.loads(pair), strict=True):
            cost += sum(prices.cliques[k] for k in self.over[bay]) * load * UNIT_UM - prices.tails.get(bay, 0)
        return cost
