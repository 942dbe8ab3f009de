"""Tight lanes: where hardly anything is to spare, every lane must be filled in one of a few ways; list them all.

Applies to whole strips without a phase on lanes that do not get in each other's way. The fillings are exhaustive, so
this is a second, different way to a plan or to a no.
"""

from __future__ import annotations

import math
import time
from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import Any, Literal

from stash.planner.halt import solved
from stash.planner.task import Cut, Task

MOST_FILLINGS = 20_000
"""Fillings listed before giving up: about two seconds of search."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """What listing the fillings found: a plan, none, or nothing ("open": too many, or not applicable)."""

    status: Literal["found", "none", "open"]
    cuts: tuple[Cut, ...] = ()


def fill_tight_lanes(task: Task, deadline: float) -> Filled:
    """Choose one filling a lane so that every strip is cut once."""
    if not _applies(task):
        return Filled(status="open")
    sizes = Counter(need.whole_um for need in task.needs)
    unit = math.gcd(*sizes)
    lanes: dict[int, list[int]] = defaultdict(list)
    for run in sorted({run for need in task.needs for run in need.all_runs}):
        lanes[task.runs[run].length_um // unit * unit].append(run)
    wanted = sum(size * count for size, count in sizes.items())
    spare = sum(length * len(runs) for length, runs in lanes.items()) - wanted
    if spare < 0:
        return Filled(status="none")
    fillings: dict[int, list[dict[int, int]]] = {}
    for length in lanes:
        listed = _list_fillings(sorted(sizes.items(), reverse=True), length, spare)
        if listed is None:
            return Filled(status="open")
        fillings[length] = listed
    return _choose(task, sizes, lanes, fillings, deadline)


def _applies(task: Task) -> bool:
    if task.panels or not task.needs or any(n.most > 1 or n.phased or len(n.turns) > 1 for n in task.needs):
        return False
    if len({need.strip.stripe for need in task.needs}) > 1:
        return False
    every = {run for need in task.needs for run in need.all_runs}
    # A run that is too short for a strip is out of its fillings anyway; a run of another profile would not be.
    alike = all(
        set(need.all_runs) == {run for run in every if task.runs[run].length_um >= need.whole_um} for need in task.needs
    )
    return alike and not any(sum(run in every for run in clique.runs) > 1 for clique in task.cliques)


def _list_fillings(sizes: list[tuple[int, int]], length: int, spare: int) -> list[dict[int, int]] | None:
    """Every multiset of strips that fills the length but for at most ``spare``; None where there are too many."""
    out: list[dict[int, int]] = []
    rest = [0] * (len(sizes) + 1)
    for index in range(len(sizes) - 1, -1, -1):
        rest[index] = rest[index + 1] + sizes[index][0] * sizes[index][1]
    steps = 0

    def extend(index: int, room: int, chosen: dict[int, int]) -> bool:
        nonlocal steps
        steps += 1
        if len(out) > MOST_FILLINGS or steps > 40 * MOST_FILLINGS:
            return False
        if room <= spare:
            out.append(dict(chosen))
        for at in range(index, len(sizes)):
            size, count = sizes[at]
            if room - rest[at] > spare:
                break
            for times in range(min(count, room // size), 0, -1):
                chosen[size] = times
                if not extend(at + 1, room - times * size, chosen):
                    return False
                del chosen[size]
        return True

    return out if extend(0, length, {}) else None


def _choose(
    task: Task, sizes: Counter[int], lanes: dict[int, list[int]], fillings: dict[int, list[dict[int, int]]],
    deadline: float,
) -> Filled:  # fmt: skip
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    times: dict[tuple[int, int], Any] = {}
    for length, runs in lanes.items():
        for index in range(len(fillings[length])):
            times[length, index] = model.new_int_var(0, len(runs), "")
        model.add(sum(times[length, index] for index in range(len(fillings[length]))) == len(runs))
    for size, count in sizes.items():
        model.add(sum(fillings[length][index].get(size, 0) * var for (length, index), var in times.items()) == count)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = max(0.05, deadline - time.monotonic())
    status = solved(solver, model)
    if status == cp_model.INFEASIBLE:
        return Filled(status="none")
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Filled(status="open")
    counts = {key: solver.value(var) for key, var in times.items()}
    return Filled(status="found", cuts=tuple(_cuts(task, lanes, fillings, counts)))


def _cuts(
    task: Task, lanes: dict[int, list[int]], fillings: dict[int, list[dict[int, int]]],
    counts: dict[tuple[int, int], int],
) -> list[Cut]:  # fmt: skip
    waiting: dict[int, list[int]] = defaultdict(list)
    for index, need in enumerate(task.needs):
        waiting[need.whole_um].append(index)
    cuts = []
    for length, runs in lanes.items():
        chosen = [i for i in range(len(fillings[length])) for _ in range(counts[length, i])]
        for run, filling in zip(runs, chosen, strict=True):
            at = task.runs[run].start_um
            for size, many in sorted(fillings[length][filling].items(), reverse=True):
                for _ in range(many):
                    strip = waiting[size].pop()
                    need = task.needs[strip]
                    cuts.append(Cut(need=strip, segment=0, run=run, start_um=at, size_um=size,
                                    finished_um=need.length_um, turned=need.turns[0]))  # fmt: skip
                    at += size
    return cuts
