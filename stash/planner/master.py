"""The linear program over the fillings found so far: how much of each bay is filled in which way (GLOP)."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from stash.planner.filling import PRICE_SCALE, UNIT_UM, Bays, Filling, Pair, Prices

BARRED: Final = -(1 << 50)
"""2^-20 um. The price of segments in a bay where there are none."""

WHOLE: Final = 1e-4
"""Pieces. A number this near a whole one is whole."""

MOST_STEPS: Final = 20_000
"""Steps of the simplex method after which it is given up: it may go round for ever, and borders take some hundreds."""

OTHER_WAYS: Final = ("use_preprocessing: false", "use_dual_simplex: true")
"""Parameters for GLOP where it gives up: undoing its preprocessing now and then costs it the solution, and the dual
simplex now and then finds what the primal one does not."""


@dataclass(frozen=True, slots=True)
class Branch:
    """Some of the plans: those that open so many pieces, these or not those, and join these strips and not those."""

    fewest: int | None = None
    most: int | None = None
    fixed: Mapping[int, bool] = field(default_factory=dict)
    joined: Mapping[int, bool] = field(default_factory=dict)
    tails: Mapping[int, bool] = field(default_factory=dict)

    @property
    def unjoined(self) -> frozenset[int]:
        """The strips that are not joined."""
        return frozenset(strip for strip, joined in self.joined.items() if not joined)

    def empty(self, pieces: set[int]) -> bool:
        """Whether its numbers of pieces contradict each other."""
        least = sum(self.fixed.get(piece) is True for piece in pieces)
        most = sum(self.fixed.get(piece) is not False for piece in pieces)
        return (self.most is not None and self.most < least) or (self.fewest is not None and self.fewest > most)

    def halves(
        self, opened: Mapping[int, float], joined: Mapping[int, float], tails: Mapping[int, float]
    ) -> tuple[Branch, ...]:
        """Two branches that hold all plans of this one and exclude such a mix: by the number of pieces, by a piece, by
        a strip joined or not, by a bay with segments in it or none. None where all of these are whole."""
        count = sum(opened.values())
        if abs(count - round(count)) > WHOLE:
            few = math.floor(count)
            return replace(self, fewest=few + 1), replace(self, most=few)
        if (piece := _most_open(opened)) is not None:
            return tuple(replace(self, fixed={**self.fixed, piece: choice}) for choice in (True, False))
        if (strip := _most_open(joined)) is not None:
            return tuple(replace(self, joined={**self.joined, strip: choice}) for choice in (True, False))
        if (bay := _most_open(tails)) is not None:
            return tuple(replace(self, tails={**self.tails, bay: choice}) for choice in (True, False))
        return ()


def _most_open(shares: Mapping[int, float]) -> int | None:
    """What is farthest from being whole, if anything is not."""
    part = [name for name, share in shares.items() if WHOLE < share < 1 - WHOLE]
    return min(part, key=lambda name: (abs(shares[name] - 0.5), name)) if part else None


WHOLE_TREE: Final = Branch()


class Master:
    """Value and prices of the best mix of fillings within a branch."""

    def __init__(self, of: Bays, branch: Branch) -> None:
        from ortools.linear_solver import pywraplp

        self.of, self.lp, self.branch = of, pywraplp, branch
        self.solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        self.goal = goal = solver.Objective()
        goal.SetMinimization()
        endless = solver.infinity()
        self.cover = [solver.Constraint(1.0, 1.0) for _ in of.whole]
        self.liquid = {family: solver.Constraint(0.0, endless) for family in sorted(set(of.family))}
        self.segments = {family: solver.Constraint(-endless, 0.0) for family in self.liquid}
        self.longer = {key: solver.Constraint(0.0, endless) for key in of.longer}
        self.bay = [solver.Constraint(-endless, 0.0) for _ in of.bays]
        self.clique = [solver.Constraint(-endless, 0.0) for _ in of.cliques]
        most = endless if branch.most is None else float(branch.most)
        self.number = solver.Constraint(float(branch.fewest or 0), most)
        self.opened: dict[int, Any] = {}
        for piece in sorted(set(of.piece)):
            fixed = branch.fixed.get(piece)
            open_ = solver.NumVar(1.0 if fixed else 0.0, 0.0 if fixed is False else 1.0, "")
            goal.SetCoefficient(open_, of.weights.piece_mm if of.weights else 0.0)
            self.number.SetCoefficient(open_, 1.0)
            self.opened[piece] = open_
            for bay, row in enumerate(self.bay):
                if of.piece[bay] == piece:
                    row.SetCoefficient(open_, -1.0)
            for row, (bays, room) in zip(self.clique, of.cliques, strict=True):
                if of.piece[bays[0]] == piece:
                    row.SetCoefficient(open_, -room * UNIT_UM / 1000)
        self.tail = {bay: solver.Constraint(1.0 if told else 0.0, endless) for bay, told in branch.tails.items()}
        self.tailed: dict[int, list[Any]] = defaultdict(list)
        self.uncut: list[Any] = []
        self.joined: dict[int, list[Any]] = defaultdict(list)
        self.told: dict[int, Any] = {}
        for index, row in enumerate(self.cover):
            uncut = solver.NumVar(0.0, 1.0, "")
            self.uncut.append(uncut)
            goal.SetCoefficient(uncut, of.whole_um(index) / 1000)
            row.SetCoefficient(uncut, 1.0)
            if of.splits[index]:
                self._join(index, branch.joined.get(index))

    def _join(self, index: int, told: bool | None) -> None:
        """The ways to make a strip of segments; ``told``: it is so made, or is not."""
        solver, family, most = self.solver, self.of.family[index], 0.0 if told is False else 1.0
        row = self.told[index] = solver.Constraint(1.0 if told else 0.0, solver.infinity())
        for split in self.of.splits[index]:
            share = solver.NumVar(0.0, most, "")
            self.joined[index].append(share)
            row.SetCoefficient(share, 1.0)
            self.goal.SetCoefficient(share, split.price / 1000)
            self.cover[index].SetCoefficient(share, 1.0)
            self.liquid[family].SetCoefficient(share, -split.length * UNIT_UM / 1000)
            self.segments[family].SetCoefficient(share, -split.halves / 2)
            for (of, size), longer in self.longer.items():
                if of == family and (many := sum(least >= size for least in split.sizes)):
                    longer.SetCoefficient(share, -float(many))

    def add(self, filling: Filling | Pair) -> None:
        """One more filling to choose from."""
        if isinstance(filling, Pair):
            self._add_pair(filling)
            return
        of, bay = self.of, filling.bay
        share = self._share((bay,) if filling.family >= 0 else ())
        load = of.load(filling)
        self.goal.SetCoefficient(share, of.lost_um(filling) / 1000)
        self.bay[bay].SetCoefficient(share, 1.0)
        for index in filling.strips:
            self.cover[index].SetCoefficient(share, 1.0)
        if filling.family >= 0:
            self.liquid[filling.family].SetCoefficient(share, filling.joined * UNIT_UM / 1000)
            self.segments[filling.family].SetCoefficient(share, 1.0)
            for (family, size), row in self.longer.items():
                if family == filling.family and filling.joined >= size:
                    row.SetCoefficient(share, float(filling.joined // size))
        for index in of.over[bay]:
            self.clique[index].SetCoefficient(share, load * UNIT_UM / 1000)

    def _share(self, tails: Sequence[int], *, closed: bool = False) -> Any:
        """How much is taken of what lays segments into those bays."""
        closed = closed or any(self.branch.tails.get(bay) is False for bay in tails)
        share = self.solver.NumVar(0.0, 0.0 if closed else self.solver.infinity(), "")
        for bay in tails:
            self.tailed[bay].append(share)
            if bay in self.tail:
                self.tail[bay].SetCoefficient(share, 1.0)
        return share

    def _add_pair(self, pair: Pair) -> None:
        of, share = self.of, self._share(pair.bays, closed=self.branch.joined.get(pair.joined) is False)
        self.joined[pair.joined].append(share)
        self.told[pair.joined].SetCoefficient(share, 1.0)
        self.goal.SetCoefficient(share, pair.price / 1000)
        for index, times in Counter([pair.joined, *pair.strips[0], *pair.strips[1]]).items():
            self.cover[index].SetCoefficient(share, float(times))
        loads: dict[int, int] = defaultdict(int)
        for bay, load in zip(pair.bays, of.loads(pair), strict=True):
            self.bay[bay].SetCoefficient(share, 1.0)
            for index in of.over[bay]:
                loads[index] += load
        for index, load in loads.items():
            self.clique[index].SetCoefficient(share, load * UNIT_UM / 1000)

    def uncut_um(self) -> list[float]:
        """How much of each strip stays uncut."""
        return [var.solution_value() * whole * UNIT_UM for var, whole in zip(self.uncut, self.of.whole, strict=True)]

    def shares(self) -> tuple[dict[int, float], dict[int, float], dict[int, float]]:
        """How far each piece is opened, each strip that may be joined is, and each bay has segments in it."""
        opened = {piece: var.solution_value() for piece, var in self.opened.items()}
        joined, tailed = (
            {name: sum(var.solution_value() for var in ways) for name, ways in of.items()}
            for of in (self.joined, self.tailed)
        )
        return opened, joined, tailed

    def _solved(self) -> bool:
        """Solved from where it stood, or else from the start, for once bounds have moved it may miss the solution; or
        else in the ``OTHER_WAYS``."""
        steps = f"max_number_of_iterations: {MOST_STEPS} "
        self.solver.SetSolverSpecificParametersAsString(steps)
        if self.solver.Solve() == self.lp.Solver.OPTIMAL:
            return True
        anew = self.lp.MPSolverParameters()
        anew.SetIntegerParam(anew.INCREMENTALITY, anew.INCREMENTALITY_OFF)
        for way in ("", *OTHER_WAYS):
            self.solver.SetSolverSpecificParametersAsString(steps + way)
            if self.solver.Solve(anew) == self.lp.Solver.OPTIMAL:
                return True
        return False

    def solve(self) -> tuple[float, Prices, list[int]] | None:
        """Value (um), whole prices, and what each bay's fillings must better (2^-20 um)."""
        if not self._solved():
            return None
        per_um = 1000 * PRICE_SCALE
        told = [index for index, joined in self.branch.joined.items() if joined]
        prices = Prices(
            strips=tuple(int(row.dual_value() * per_um) for row in self.cover),
            cliques=tuple(max(0, int(-row.dual_value() * PRICE_SCALE)) for row in self.clique),
            joined={family: max(0, int(row.dual_value() * PRICE_SCALE)) for family, row in self.liquid.items()},
            segment={family: max(0, int(-row.dual_value() * per_um)) for family, row in self.segments.items()},
            longer={key: max(0, int(row.dual_value() * per_um)) for key, row in self.longer.items()},
            count=int(self.number.dual_value() * per_um),
            bays=tuple(max(0, int(-row.dual_value() * per_um)) for row in self.bay),
            told={index: int(self.told[index].dual_value() * per_um) for index in told},
            tails={
                bay: max(0, int(self.tail[bay].dual_value() * per_um)) if told else BARRED
                for bay, told in self.branch.tails.items()
            },
        )
        return self.goal.Value() * 1000, prices, list(prices.bays)
