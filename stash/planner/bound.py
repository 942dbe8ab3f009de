"""Why there cannot be a plan: a linear relaxation whose certificate is checked in exact fractions.

Every strip takes its cut length from runs it fits; every clique gives at most its length. Any weights on the
cliques, however found, bound what can be had; they are checked with integers, so the solver need not be trusted.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction

from stash.planner.stance import FIT_UM
from stash.planner.task import Need, Task

MOST_PER_LANE = 4
"""Counting rows: of cuts longer than 1/(q + 1) of a lane at most q fit it, for q up to this."""

DENOMINATOR = 10**6
"""Weights are rounded to fractions of at most this denominator before they are checked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lack:
    """A proof that the strips do not fit: in words, and what is missing of each stripe (um of cut length)."""

    proof: str
    missing_um: dict[str, int]


@dataclass(frozen=True, slots=True)
class _Row:
    """At most ``limit`` of the sum of coefficient x amount; columns are (need, run), coefficients by need."""

    limit: int
    runs: frozenset[int]
    counts: dict[int, int]


def find_lack(task: Task) -> Lack | None:
    """A certified shortage of cut length, or None where the relaxation finds no reason for a no."""
    longest = _longest_missing(task)
    rows = _rows(task)
    dual, primal = _relax(task, rows)
    excess = _certify(task, rows, dual) if dual is not None else Fraction(0)
    if longest is None and excess <= 0:
        return None
    missing: dict[str, int] = defaultdict(int)
    if excess > 0:
        for need, short in zip(task.needs, primal, strict=True):
            missing[need.strip.stripe] += round(short)
    if longest is not None:
        for stripe, amount in longest.missing_um.items():
            missing[stripe] = max(missing[stripe], amount)
        return Lack(proof=longest.proof, missing_um={k: v for k, v in missing.items() if v > 0})
    wanted = sum(_demand(task, need) for need in task.needs)
    proof = (
        f"all strips of {task.fabric.id} take {wanted / 1000:.1f} mm of cut length; "
        f"at least {max(1, int(excess)) / 1000:.1f} mm of it finds no room"
    )
    known = {stripe: amount for stripe, amount in missing.items() if amount > 0}
    return Lack(proof=proof, missing_um=known or {task.needs[0].strip.stripe: 1})


def _longest_missing(task: Task) -> Lack | None:
    """Strips for which no lane, alone and empty, is long enough."""
    missing: dict[str, int] = {}
    words = ""
    for need in task.needs:
        if least_segments(task, need):
            continue
        if need.most > 1:
            lengths = sorted((task.runs[run].length_um for run in _columns(task, need)), reverse=True)[: need.most]
            short = need.whole_um + max(0, len(lengths) - 1) * need.seams_um - sum(lengths)
        else:
            short = need.whole_um - max((task.runs[run].length_um for run in _columns(task, need)), default=0)
        missing[need.strip.stripe] = max(missing.get(need.strip.stripe, 1), short)
        words = words or f"no lane of {task.fabric.id} is long enough for {need.strip.id}"
    return Lack(proof=words, missing_um=missing) if missing else None


def _columns(task: Task, need: Need) -> tuple[int, ...]:
    """Where a strip counts as fitting: its runs, or all of its stripe and width where every one is too short."""
    if need.all_runs:
        return need.all_runs
    return tuple(
        index
        for index, run in enumerate(task.runs)
        if task.fabric.print.stripes[run.stripe].label == need.strip.stripe
        and abs(run.high_mm - run.low_mm - need.strip.cut_width_mm) < FIT_UM / 1000
    )


def _longest(task: Task, need: Need, count: int) -> list[int]:
    return sorted((task.runs[r].length_um for r in need.all_runs), reverse=True)[:count]


def least_segments(task: Task, need: Need) -> int:
    """The fewest segments into which the strip must be cut, whatever else lies on the cloth (0: impossible).

    One run may hold several segments only where something lies between them, which gains nothing here: the sum of a
    run's segments never passes its length.
    """
    lengths = _longest(task, need, need.most)
    held = 0
    for count, length in enumerate(lengths, start=1):
        held += length
        extra = need.head_um + need.tail_um
        if held >= need.length_um + count * need.seams_um + extra:
            return count
    return 0


def _demand(task: Task, need: Need) -> int:
    count = max(1, least_segments(task, need))
    return need.length_um + count * need.seams_um + need.head_um + need.tail_um


def _rows(task: Task) -> list[_Row]:
    rows: list[_Row] = []
    groups = [(frozenset(c.runs), c.capacity_um) for c in task.cliques]
    shorter = {frozenset((i,)): run.length_um for i, run in enumerate(task.runs)}
    groups += [(key, cap) for key, cap in shorter.items() if key not in {g for g, _ in groups}]
    for runs, limit in groups:
        sizes = {i: _amount(need) for i, need in enumerate(task.needs)}
        rows.append(_Row(limit, runs, sizes))
        for q in range(1, MOST_PER_LANE + 1):
            long = {i: 1 for i, n in enumerate(task.needs) if n.most == 1 and n.whole_um * (q + 1) > limit}
            if long and len(long) > q:
                rows.append(_Row(q, runs, long))
    return rows


def _amount(need: Need) -> int:
    """The coefficient of a column in a capacity row: a whole strip counts its length, a joined one each um."""
    return need.whole_um if need.most == 1 else 1


def _relax(task: Task, rows: list[_Row]) -> tuple[list[float] | None, list[float]]:
    """Solve min total shortage; the rows' duals and each need's shortage in um of cut length."""
    from ortools.linear_solver import pywraplp

    solver = pywraplp.Solver.CreateSolver("GLOP")
    columns: dict[int, list[tuple[int, object]]] = defaultdict(list)
    demand = []
    short = []
    objective = solver.Objective()
    for index, need in enumerate(task.needs):
        joined = need.most > 1
        lack = solver.NumVar(0, solver.infinity(), "")
        row = solver.Constraint((_demand(task, need) if joined else 1) / 1.0, solver.infinity())
        row.SetCoefficient(lack, 1)
        objective.SetCoefficient(lack, 1.0 if joined else float(need.whole_um))
        for run in _columns(task, need):
            use = solver.NumVar(0, solver.infinity(), "")
            row.SetCoefficient(use, 1)
            columns[run].append((index, use))
        demand.append(row)
        short.append((lack, 1 if joined else need.whole_um))
    limits = []
    for item in rows:
        row = solver.Constraint(-solver.infinity(), float(item.limit))
        for run in item.runs:
            for index, use in columns[run]:
                if index in item.counts:
                    row.SetCoefficient(use, float(item.counts[index]))
        limits.append(row)
    objective.SetMinimization()
    if solver.Solve() != pywraplp.Solver.OPTIMAL:
        return None, [0.0] * len(short)
    return [max(0.0, -row.dual_value()) for row in limits], [v.solution_value() * scale for v, scale in short]


def _certify(task: Task, rows: list[_Row], dual: list[float]) -> Fraction:
    """By how much the weighted demand exceeds the weighted supply, exactly; above zero is a proof (um)."""
    weights = [Fraction(value).limit_denominator(DENOMINATOR) for value in dual]
    price: dict[int, list[tuple[Fraction, _Row]]] = defaultdict(list)
    supply = Fraction(0)
    for weight, row in zip(weights, rows, strict=True):
        if weight > 0:
            supply += weight * row.limit
            for run in row.runs:
                price[run].append((weight, row))
    demand = Fraction(0)
    for index, need in enumerate(task.needs):
        cap = Fraction(1 if need.most > 1 else need.whole_um)
        value = cap
        for run in _columns(task, need):
            value = min(value, sum((w * row.counts.get(index, 0) for w, row in price[run]), Fraction(0)))
        demand += value * (_demand(task, need) if need.most > 1 else 1)
    return demand - supply
