"""Asking the solver (OR-Tools CP-SAT): how hard, and what it answers.

One worker and a fixed seed: the same question has the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from ortools.sat.python import cp_model

from stash.planner.halt import solved
from stash.planner.space import Lay
from stash.planner.task import Cut

Status = Literal["found", "best", "none", "open"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How hard to search. ``second`` is the other way of asking: no presolve, other seed, other linear relaxation.

    ``linear`` takes all of the model into the linear relaxation: slower a step, but it sees through a repeat along the
    stripe that few strips must keep, where steps alone may go on for minutes.
    """

    seconds: float
    work: float | None = None
    second: bool = False
    linear: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What the search found. ``bound_um``: no plan costs less, where a cost was asked for."""

    status: Status
    cuts: tuple[Cut, ...] = ()
    lays: tuple[Lay, ...] = ()
    bound_um: int | None = None


def asked(model: Any, effort: Effort, *, linear: int) -> tuple[Literal["found", "none", "open"], Any]:
    """What the solver makes of a model within the effort, and the solver, to read the values from. "none" means that it
    found the model infeasible; ``linear``: how much of it is relaxed to a linear program (the solver's own levels)."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 7 if effort.second else 1
    solver.parameters.max_time_in_seconds = max(0.05, effort.seconds)
    if effort.work is not None:
        solver.parameters.max_deterministic_time = effort.work
    solver.parameters.linearization_level = linear
    if effort.second:
        solver.parameters.cp_model_presolve = False
        solver.parameters.symmetry_level = 0
    status = solved(solver, model)
    if status == cp_model.MODEL_INVALID:
        raise AssertionError(model.validate())
    if status == cp_model.INFEASIBLE:
        return "none", solver
    return "found" if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else "open", solver
