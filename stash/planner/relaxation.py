"""What no plan can beat: lanes filled in fractions, by column generation, and a bound that is checked by itself.

Every lane takes a share of *fillings*, each a set of whole strips that fit the lane together, with or without room for
segments of strips that may be joined (Gilmore and Gomory, Oper. Res. 9, 1961; several lengths of stock: Valério de
Carvalho, Eur. J. Oper. Res. 141, 2002). Whatever prices on the strips and on the cloth come out, they bound every plan
from below (Lagrange): that is computed anew in whole numbers, so the solver of the linear programs need not be trusted.

The print along the stripe, pairs and panels are left out, which can only make the bound weaker, never wrong.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from stash.planner.bound import least_segments
from stash.planner.price import Weights
from stash.planner.task import Cut, Task

UNIT_UM: Final = 400
"""Lengths are counted in steps of so many um: strips rounded down, lanes up, which favours the maker."""

ROUNDS: Final = 80
"""Linear programs solved at most for one bound."""

NEAR: Final = 0.002
"""Ratio. A bound this near the linear program's own value is not driven further."""

PRICE_SCALE: Final = 1 << 20
"""Prices are whole multiples of 2^-20 um, or of 2^-20 where they are rates."""

PENALTY: Final = 10
"""um of cost for a um of strip that is not cut, where plans are priced: dearer than any join or piece."""

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Whole prices: of each strip (2^-20 um), of a um in each clique and of a um of joined length (2^-20), of a segment,
    and of one piece more or less where their number is bounded (2^-20 um)."""

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
class _Split:
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
class _Filling:
    """A lane filled: the whole strips, and how much joined length of a family (-1: none) beside them."""

    run: int
    strips: tuple[int, ...]
    family: int
    joined: int


class Relaxation:
    """The relaxation of a task. Without weights it asks how much must stay uncut, else what a plan costs at least."""

    def __init__(self, task: Task, weights: Weights | None = None) -> None:
        self.task, self.weights = task, weights
        self.fillings: list[_Filling] = []
        self._uncut: list[float] = []
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
        self.cliques = [
            (tuple(r for r in clique.runs if r in by_run), -(-clique.capacity_um // UNIT_UM))
            for clique in task.cliques
        ]
        self.cliques = [(runs, room) for runs, room in self.cliques if len(runs) > 1]
        self.over: dict[int, list[int]] = defaultdict(list)
        for index, (runs, _) in enumerate(self.cliques):
            for run in runs:
                self.over[run].append(index)
        self.pieces = sorted({task.runs[run].piece for run in self.runs})

    def _split(self, index: int) -> _Split | None:
        """The strip in segments; None where it is never joined."""
        need = self.task.needs[index]
        if need.most == 1:
            return None
        count = max(2, least_segments(self.task, need))
        length = need.length_um + count * need.seams_um + need.head_um + need.tail_um
        join = self.weights.join_um(need.strip) if self.weights else 0
        return _Split(
            count=count, length=length // UNIT_UM, least=(need.shortest_um + need.seams_um) // UNIT_UM,
            price=(count - 1) * join, more=max(0, need.most - count), seams=need.seams_um // UNIT_UM, join=join,
        )  # fmt: skip

    # -- the bound --------------------------------------------------------------------------------------------------

    def bound_um(self, prices: Prices, count: int | None = None) -> int:
        """What no plan can beat (um), by these prices alone; ``count`` bounds the number of pieces as priced."""
        return self._bound_um(prices, count, _Tables(self, prices))

    def _bound_um(self, prices: Prices, count: int | None, tables: _Tables) -> int:
        total = prices.count * (count or 0)
        for index, price in enumerate(prices.strips):
            total += self._apart(index, price, prices)
        each: dict[int, int] = defaultdict(int)
        for run in self.runs:
            each[self.task.runs[run].piece] += min(0, tables.least(run))
        for index, (runs, room) in enumerate(self.cliques):
            each[self.task.runs[runs[0]].piece] -= prices.cliques[index] * room * UNIT_UM
        opening = self.weights.piece_um * PRICE_SCALE if self.weights else 0
        total += sum(min(0, opening - prices.count + each[piece]) for piece in self.pieces)
        return total // PRICE_SCALE

    def _apart(self, index: int, price: int, prices: Prices) -> int:
        """A strip's price, less what it saves to leave it uncut or to join it."""
        uncut = self._uncut_um(index) * PRICE_SCALE - price
        part = self.split[index]
        if part is None:
            return price + min(0, uncut)
        rate, segment = prices.joined.get(self.family[index], 0), prices.segment.get(self.family[index], 0)
        joined = part.price * PRICE_SCALE + rate * part.length * UNIT_UM - segment * part.count
        joined += part.more * min(0, part.join * PRICE_SCALE + rate * part.seams * UNIT_UM - segment)
        return price + min(0, joined - price, uncut)

    def _uncut_um(self, index: int) -> int:
        """What a strip that stays uncut counts for."""
        return self.whole[index] * UNIT_UM * (PENALTY if self.weights else 1)

    def lost_um(self, rest: int) -> int:
        """What a lane's end of so many units counts for, in the maker's favour."""
        if self.weights is None or rest * UNIT_UM >= self.weights.useful_um:
            return 0
        return max(0, (rest - 1) * UNIT_UM - 2 * self.task.stance.fit_um - self.weights.ease_um)

    def reduced(self, filling: _Filling, prices: Prices) -> int:
        """What a filling costs beyond its worth at these prices (2^-20 um)."""
        load = sum(self.whole[i] for i in filling.strips) + filling.joined
        rate = sum(prices.cliques[k] for k in self.over[filling.run])
        cost = rate * load * UNIT_UM - sum(prices.strips[i] for i in filling.strips)
        cost += self.lost_um(self.room[filling.run] - load) * PRICE_SCALE if load else 0
        if filling.family >= 0:
            cost += prices.segment.get(filling.family, 0)
            cost -= prices.joined.get(filling.family, 0) * filling.joined * UNIT_UM
        return cost

    # -- the linear programs ----------------------------------------------------------------------------------------

    def start(self, cuts: Sequence[Cut]) -> None:
        """Take the lanes of a known plan for fillings to begin with."""
        lanes: dict[int, list[Cut]] = defaultdict(list)
        parts: dict[int, int] = defaultdict(int)
        for cut in cuts:
            lanes[cut.run].append(cut)
            parts[cut.need] += 1
        for run, mine in lanes.items():
            whole = tuple(c.need for c in mine if parts[c.need] == 1)
            joined = [c for c in mine if parts[c.need] > 1]
            length = sum(c.size_um for c in joined) // UNIT_UM
            self.fillings.append(_Filling(run, whole, self.family[joined[0].need] if joined else -1, length))

    def solve(self, deadline: float, *, stop_um: int | None = None, fewest: int | None = None,
              most: int | None = None) -> tuple[int, float]:  # fmt: skip
        """The best bound found (um), and how many pieces the last linear program opens.

        Stops once the bound reaches ``stop_um``. ``fewest``/``most``: only plans that open so many pieces.
        """
        master = _Master(self, fewest=fewest, most=most)
        for filling in self.fillings:
            master.add(filling)
        best, opened = -(1 << 60), 0.0
        steady: Prices | None = None
        for _ in range(ROUNDS):
            solved = master.solve()
            if solved is None:
                break
            value, prices, opened, floors = solved
            self._uncut = master.uncut_um()
            fresh: list[_Filling] = []
            for tried in (prices if steady is None else steady.toward(prices), prices):
                tables = _Tables(self, tried)
                bound = self._bound_um(tried, fewest if tried.count > 0 else most, tables)
                if bound > best:
                    best, steady = bound, tried
                fresh = list(tables.better(prices, floors))
                if fresh or tried is prices:
                    break
            if (stop_um is not None and best >= stop_um) or value - best <= NEAR * max(1.0, value):
                break
            if not fresh or time.monotonic() > deadline:
                break
            for filling in fresh:
                self.fillings.append(filling)
                master.add(filling)
        return max(0, best), opened

    def uncut_um(self) -> dict[str, int]:
        """How much strip of each stripe the last linear program leaves uncut (um), at least 1 of one."""
        lack: dict[str, int] = defaultdict(int)
        for need, um in zip(self.task.needs, self._uncut, strict=True):
            lack[need.strip.stripe] += round(um)
        return {label: um for label, um in lack.items() if um > 0} or {self.task.needs[0].strip.stripe: 1}


class _Tables:
    """For each set of strips that may share a lane: the dearest set of every total length (0/1 knapsack)."""

    def __init__(self, relaxation: Relaxation, prices: Prices) -> None:
        self.of, self.prices = relaxation, prices
        self.longest = max((relaxation.room[run] for run in relaxation.runs), default=0)
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

    def _costs(self, run: int) -> list[tuple[int, int, Ints]]:
        """For each way to go on beside whole strips: family, joined length (-1: to the end, -2: to a useful rest), and
        the reduced cost by total length of the whole strips."""
        of, prices = self.of, self.prices
        room = of.room[run]
        worth, _ = self._table(of.items[run])
        worth = worth[: room + 1]
        rate = sum(prices.cliques[k] for k in of.over[run])
        load = np.arange(room + 1, dtype=np.int64)
        plain = rate * load * UNIT_UM - worth + self._lost(room - load)
        plain[0] = 0
        ways = [(-1, 0, plain)]
        for family in of.hosts[run]:
            gain = prices.joined.get(family, 0)
            least = min(part.least for i in of.items[run] if of.family[i] == family and (part := of.split[i]))
            segment = prices.segment.get(family, 0)
            useful = (of.weights.useful_um if of.weights else 0) // UNIT_UM
            for code, length in ((least, np.full_like(load, least)), (-1, room - load), (-2, room - load - useful)):
                if code == -2 and not useful:
                    continue
                rest = room - load - length
                cost = rate * (load + length) * UNIT_UM - gain * length * UNIT_UM - worth + self._lost(rest) + segment
                cost = np.where((length >= least) & (rest >= 0), cost, 0)
                ways.append((family, code, cost))
        return ways

    def _lost(self, rest: Ints) -> Ints:
        """What a lane's end of that length counts for, in the maker's favour."""
        weights = self.of.weights
        if weights is None:
            return np.zeros_like(rest)
        lost = np.maximum(0, (rest - 1) * UNIT_UM - 2 * self.of.task.stance.fit_um - weights.ease_um)
        return np.where(rest * UNIT_UM < weights.useful_um, lost, 0) * PRICE_SCALE

    def least(self, run: int) -> int:
        """The least reduced cost of any filling of the run."""
        return min(int(cost.min()) for _, _, cost in self._costs(run))

    def better(self, prices: Prices, floors: dict[int, int]) -> Iterator[_Filling]:
        """For each run the least filling by these tables that betters the linear program at its own prices."""
        of = self.of
        for run in of.runs:
            family, code, cost = min(self._costs(run), key=lambda way: int(way[2].min()))
            load = int(cost.argmin())
            room = of.room[run]
            useful = (of.weights.useful_um if of.weights else 0) // UNIT_UM
            joined = 0 if family < 0 else {-1: room - load, -2: room - load - useful}.get(code, code)
            filling = _Filling(run, tuple(self._strips(run, load)), family, joined)
            if of.reduced(filling, prices) < -floors[run] - PRICE_SCALE:
                yield filling

    def _strips(self, run: int, load: int) -> Iterator[int]:
        _, taken = self._table(self.of.items[run])
        for index, better in reversed(taken):
            size = self.of.whole[index]
            if load >= size and better[load - size]:
                yield index
                load -= size


class _Master:
    """The linear program over the fillings found so far (GLOP)."""

    def __init__(self, of: Relaxation, *, fewest: int | None, most: int | None) -> None:
        from ortools.linear_solver import pywraplp

        self.of, self.lp = of, pywraplp
        self.solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        self.goal = goal = solver.Objective()
        goal.SetMinimization()
        endless = solver.infinity()
        self.cover = [solver.Constraint(1.0, endless) for _ in of.whole]
        self.liquid = {family: solver.Constraint(0.0, endless) for family in sorted(set(of.family))}
        self.segments = {family: solver.Constraint(-endless, 0.0) for family in self.liquid}
        self.lane = {run: solver.Constraint(-endless, 0.0) for run in of.runs}
        self.clique = [solver.Constraint(-endless, 0.0) for _ in of.cliques]
        self.number = solver.Constraint(
            float(fewest) if fewest is not None else 0.0, float(most) if most is not None else endless
        )
        self.opened = []
        for piece in of.pieces:
            open_ = solver.NumVar(0.0, 1.0, "")
            goal.SetCoefficient(open_, of.weights.piece_mm if of.weights else 0.0)
            self.number.SetCoefficient(open_, 1.0)
            self.opened.append(open_)
            for run in of.runs:
                if of.task.runs[run].piece == piece:
                    self.lane[run].SetCoefficient(open_, -1.0)
            for row, (runs, room) in zip(self.clique, of.cliques, strict=True):
                if of.task.runs[runs[0]].piece == piece:
                    row.SetCoefficient(open_, -room * UNIT_UM / 1000)
        self.uncut: list[Any] = []
        for index, row in enumerate(self.cover):
            uncut = solver.NumVar(0.0, 1.0, "")
            self.uncut.append(uncut)
            goal.SetCoefficient(uncut, of._uncut_um(index) / 1000)
            row.SetCoefficient(uncut, 1.0)
            part = of.split[index]
            if part is not None:
                joined = solver.NumVar(0.0, 1.0, "")
                goal.SetCoefficient(joined, part.price / 1000)
                row.SetCoefficient(joined, 1.0)
                self.liquid[of.family[index]].SetCoefficient(joined, -part.length * UNIT_UM / 1000)
                self.segments[of.family[index]].SetCoefficient(joined, -float(part.count))
                if part.more:
                    self._more(joined, part, of.family[index])

    def _more(self, joined: Any, part: _Split, family: int) -> None:
        """Further segments of a strip that is joined."""
        more = self.solver.NumVar(0.0, float(part.more), "")
        self.goal.SetCoefficient(more, part.join / 1000)
        self.liquid[family].SetCoefficient(more, -part.seams * UNIT_UM / 1000)
        self.segments[family].SetCoefficient(more, -1.0)
        row = self.solver.Constraint(-self.solver.infinity(), 0.0)
        row.SetCoefficient(more, 1.0)
        row.SetCoefficient(joined, -float(part.more))

    def add(self, filling: _Filling) -> None:
        """One more filling to choose from."""
        of, run = self.of, filling.run
        share = self.solver.NumVar(0.0, self.solver.infinity(), "")
        load = sum(of.whole[i] for i in filling.strips) + filling.joined
        self.goal.SetCoefficient(share, of.lost_um(of.room[run] - load) / 1000 if load else 0.0)
        self.lane[run].SetCoefficient(share, 1.0)
        for index in filling.strips:
            self.cover[index].SetCoefficient(share, 1.0)
        if filling.family >= 0:
            self.liquid[filling.family].SetCoefficient(share, filling.joined * UNIT_UM / 1000)
            self.segments[filling.family].SetCoefficient(share, 1.0)
        for index in of.over[run]:
            self.clique[index].SetCoefficient(share, load * UNIT_UM / 1000)

    def uncut_um(self) -> list[float]:
        """How much of each strip stays uncut."""
        return [var.solution_value() * whole * UNIT_UM for var, whole in zip(self.uncut, self.of.whole, strict=True)]

    def solve(self) -> tuple[float, Prices, float, dict[int, int]] | None:
        """Value (um), whole prices, pieces opened, and what each run's fillings must better (2^-20 um)."""
        if self.solver.Solve() != self.lp.Solver.OPTIMAL:
            return None
        per_um = 1000 * PRICE_SCALE
        prices = Prices(
            strips=tuple(max(0, int(row.dual_value() * per_um)) for row in self.cover),
            cliques=tuple(max(0, int(-row.dual_value() * PRICE_SCALE)) for row in self.clique),
            joined={family: max(0, int(row.dual_value() * PRICE_SCALE)) for family, row in self.liquid.items()},
            segment={family: max(0, int(-row.dual_value() * per_um)) for family, row in self.segments.items()},
            count=int(self.number.dual_value() * per_um),
        )
        floors = {run: max(0, int(-row.dual_value() * per_um)) for run, row in self.lane.items()}
        opened = sum(var.solution_value() for var in self.opened)
        return self.goal.Value() * 1000, prices, opened, floors
