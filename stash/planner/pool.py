"""Parts of plans, kept, and the cheapest plan that they make together.

Whoever lays strips anew again and again comes by many plans that are good in one place and poor in another. The blocks
they are made of, each of cuts that depend on one another, are kept, and those that go best together are chosen: a set
partitioning problem over what was found (Rochat and Taillard, "Probabilistic diversification and intensification in
local search for vehicle routing", J. Heuristics 1, 1995 [from memory]). It is solved by SCIP, over the blocks which the
duals of its linear relaxation (GLOP) do not rule out. It finds plans; it proves nothing.
"""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from stash.planner.cost import lost_ends_um, opening_um
from stash.planner.halt import heard
from stash.planner.price import Weights
from stash.planner.recreate import PENALTY
from stash.planner.table import clash_table
from stash.planner.task import Cut, Task

WIDE: Final = 0.1
"""Ratio. How much dearer than the cheapest plan known a table may be whose blocks are kept."""

MOST_BLOCKS: Final = 4000
"""Blocks to choose from, those first that may be in the cheapest plan by the linear program's own prices."""

NODES: Final = 100
"""Branches that the solver looks at: a second or two."""

MOST_S: Final = 10.0
"""Seconds after which a choice is given up: so many branches take a fifth of that."""


@dataclass(frozen=True, slots=True)
class Block:
    """Cuts that depend on one another, and what they cost without the pieces that they open (um)."""

    cuts: tuple[Cut, ...]
    cost_um: int


Key = tuple[frozenset[int], frozenset[int]]
"""The strips and the runs of a block."""


class Pool:
    """The blocks of the tables seen: strips of one group, and cuts in lanes that get in each other's way, belong
    together. Where several have the same strips in the same lanes the cheapest is kept. ``opened`` pieces are cut into
    anyway."""

    def __init__(self, task: Task, weights: Weights, least_um: int, opened: frozenset[int] = frozenset()) -> None:
        self.task, self.weights, self.opened = task, weights, opened
        self.least_um = least_um
        self.blocks: dict[Key, Block] = {}
        self._clashes = clash_table(task)
        names = list(dict.fromkeys(need.group for need in task.needs))
        self._group = [-1 - names.index(need.group) for need in task.needs]
        self._members = Counter(self._group)
        self._places: dict[int, list[int]] = defaultdict(list)
        alone = [(run,) for run in range(len(task.runs))]
        for number, runs in enumerate([*alone, *(clique.runs for clique in task.cliques)]):
            for run in runs:
                self._places[run].append(number)

    def keep(self, strips: Mapping[int, tuple[Cut, ...]], cost_um: int) -> None:
        """Keep the blocks of a table on which no more than one strip is missing, where it is no dearer than is worth
        while."""
        missing = len(self.task.needs) - len(strips)
        if missing == 0:
            self.least_um = min(self.least_um, cost_um)
        if missing > 1 or cost_um > (1 + WIDE) * self.least_um:
            return
        for cuts in self._parts([cut for mine in strips.values() for cut in mine]):
            key = frozenset(cut.need for cut in cuts), frozenset(cut.run for cut in cuts)
            if not self._of_whole_groups(key[0]):
                continue
            price = self._price_um(cuts)
            if key not in self.blocks or price < self.blocks[key].cost_um:
                self.blocks[key] = Block(tuple(cuts), price)

    def _of_whole_groups(self, strips: frozenset[int]) -> bool:
        """Whether no strip lacks another of its group: laid with another block, that might be turned otherwise."""
        here = Counter(self._group[need] for need in strips)
        return all(here[group] == self._members[group] for group in here)

    def _parts(self, cuts: Sequence[Cut]) -> Iterator[list[Cut]]:
        """The cuts, those together that depend on one another."""
        used = {cut.run for cut in cuts}
        near: dict[int, set[int]] = {run: used.intersection(self._clashes[run]) for run in used}
        for cut in cuts:
            group = self._group[cut.need]
            near[cut.run].add(group)
            near.setdefault(group, set()).add(cut.run)
        name: dict[int, int] = {}
        for run in used:
            waiting = [] if run in name else [run]
            while waiting:
                one = waiting.pop()
                if one not in name:
                    name[one] = run
                    waiting += near[one]
        parts: dict[int, list[Cut]] = defaultdict(list)
        for cut in cuts:
            parts[name[cut.run]].append(cut)
        yield from parts.values()

    def _price_um(self, cuts: Sequence[Cut]) -> int:
        pieces = {self.task.runs[cut.run].piece for cut in cuts}
        opening = opening_um(self.task, cuts, (), self.weights) - self.weights.piece_um * len(pieces)
        return opening + lost_ends_um(self.task, cuts, self.weights)

    def put_together(self, deadline: float) -> tuple[Cut, ...]:
        """The cuts of the cheapest plan that the blocks make, as far as it is found; strips that none of them lays
        beside the others are missing (no cuts at all: nothing is found)."""
        seconds = min(MOST_S, deadline - time.monotonic())
        if not self.blocks or seconds <= 0:
            return ()
        relaxed = _Choice(self, list(self.blocks), whole=False)
        if not relaxed.solve(seconds):
            return ()
        likely = relaxed.likely(self.least_um / 1000)
        whole = _Choice(self, likely, whole=True)
        return whole.cuts() if whole.solve(seconds) else ()

    def places(self, key: Key) -> dict[int, int]:
        """Where no other block may lie beside this one, each with its piece: its lanes and their cliques."""
        return {place: self.task.runs[run].piece for run in sorted(key[1]) for place in self._places[run]}


class _Choice:
    """Blocks to choose from, so that each strip lies in one and no two get in each other's way."""

    def __init__(self, pool: Pool, keys: Sequence[Key], *, whole: bool) -> None:
        from ortools.linear_solver import pywraplp

        self.pool, self.keys, self.lp, self.whole = pool, keys, pywraplp, whole
        self.solver = solver = pywraplp.Solver.CreateSolver("SCIP" if whole else "GLOP")
        self.goal = solver.Objective()
        self.goal.SetMinimization()
        self._new = solver.BoolVar if whole else lambda name: solver.NumVar(0.0, 1.0, name)
        self.laid = [solver.Constraint(1.0, 1.0) for _ in pool.task.needs]
        for need, row in zip(pool.task.needs, self.laid, strict=True):
            row.SetCoefficient(self._priced(PENALTY * need.whole_um), 1.0)
        self.opened: dict[int, Any] = {}
        self.free: dict[int, Any] = {}
        self.taken = [self._taken(key) for key in keys]

    def _priced(self, um: int) -> Any:
        variable = self._new("")
        self.goal.SetCoefficient(variable, um / 1000)
        return variable

    def _taken(self, key: Key) -> Any:
        taken = self._priced(self.pool.blocks[key].cost_um)
        for need in sorted(key[0]):
            self.laid[need].SetCoefficient(taken, 1.0)
        for place, piece in self.pool.places(key).items():
            if place not in self.free:
                self.free[place] = self.solver.Constraint(-self.solver.infinity(), 0.0)
                self.free[place].SetCoefficient(self._open(piece), -1.0)
            self.free[place].SetCoefficient(taken, 1.0)
        return taken

    def _open(self, piece: int) -> Any:
        if piece not in self.opened:
            self.opened[piece] = self._priced(0 if piece in self.pool.opened else self.pool.weights.piece_um)
        return self.opened[piece]

    def solve(self, seconds: float) -> bool:
        """Whether a choice is found."""
        self.solver.SetTimeLimit(int(1000 * seconds))
        if self.whole:
            self.solver.SetSolverSpecificParametersAsString(f"limits/nodes = {NODES}\nmisc/catchctrlc = FALSE\n")
        status = heard(self.solver.Solve, self.solver.InterruptSolve)
        return status in (self.lp.Solver.OPTIMAL, self.lp.Solver.FEASIBLE)

    def likely(self, known_mm: float) -> list[Key]:
        """The blocks that may be in a plan that costs less, by the linear program's prices."""
        spare = max(0.0, known_mm - self.goal.Value()) + 1e-6
        dear = [variable.reduced_cost() for variable in self.taken]
        order = sorted(range(len(dear)), key=lambda index: (dear[index], index))
        return [self.keys[index] for index in order[:MOST_BLOCKS] if dear[index] <= spare]

    def cuts(self) -> tuple[Cut, ...]:
        """The cuts of the blocks chosen."""
        chosen = (key for key, taken in zip(self.keys, self.taken, strict=True) if taken.solution_value() > 0.5)
        return tuple(cut for key in chosen for cut in self.pool.blocks[key].cuts)
