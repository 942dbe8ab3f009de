"""Being stopped: an interruption is heard whatever is being done, and what was found before it is given."""

from __future__ import annotations

import sys
import time
from _thread import start_new_thread
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from types import FrameType
from typing import Any

import pytest
from ortools.sat.python import cp_model

from stash.planner.advice import ways_out
from stash.planner.explaining import WAYS, explained
from stash.planner.halt import TimeUp, alarm, heard, how, solved
from stash.planner.plan import Plan
from stash.planner.problem import Problem
from stash.planner.solve import decide
from stash.planner.trial import Trial
from tests.makers.border_case import GARMENT, border_case
from tests.makers.border_file import kept
from tests.planner.test_advice import ask, band, cloth

#: CPU seconds that finishing a plan may take once its time is up: the audit, what is left over (our judgement).
FINISHING_S = 1.0


def _pigeons() -> cp_model.CpModel:
    """Fifteen pigeons, fourteen holes, clause by clause: known to take resolution exponentially many steps (A. Haken,
    Theor. Comput. Sci. 39, 1985; from memory)."""
    model = cp_model.CpModel()
    sits = [[model.new_bool_var("") for _ in range(14)] for _ in range(15)]
    for row in sits:
        model.add_bool_or(row)
    for hole in range(14):
        for one in range(15):
            for other in range(one):
                model.add_bool_or(sits[one][hole].negated(), sits[other][hole].negated())
    return model


def test_an_alarm_is_heard_while_the_solver_works() -> None:
    """The solver would go on for a minute; the alarm ends it long before."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.cp_model_presolve = False
    solver.parameters.symmetry_level = 0
    solver.parameters.max_time_in_seconds = 60
    began = time.monotonic()
    with pytest.raises(TimeUp), alarm(0.3):
        solved(solver, _pigeons())
    assert 0.2 < time.monotonic() - began < 20


def test_an_alarm_is_heard_while_a_solver_of_whole_programs_works() -> None:
    """SCIP, with pigeons and holes as rows of a program, would go on for long: the alarm ends it, and it can be asked
    again."""
    from ortools.linear_solver import pywraplp

    solver = pywraplp.Solver.CreateSolver("SCIP")
    sits = [[solver.BoolVar("") for _ in range(14)] for _ in range(15)]
    for row in sits:
        solver.Add(sum(row) >= 1)
    for hole in range(14):
        for one, other in combinations(range(15), 2):
            solver.Add(sits[one][hole] + sits[other][hole] <= 1)
    solver.SetSolverSpecificParametersAsString(
        "misc/catchctrlc = FALSE\nseparating/maxrounds = 0\nseparating/maxroundsroot = 0\n"
        "misc/usesymmetry = 0\npresolving/maxrounds = 0\n"
    )
    solver.SetTimeLimit(60_000)
    began = time.monotonic()
    with pytest.raises(TimeUp), alarm(0.3):
        heard(solver.Solve, solver.InterruptSolve)
    assert 0.2 < time.monotonic() - began < 20


def _small() -> tuple[cp_model.CpSolver, cp_model.CpModel]:
    """x + y = 5 with x >= 3, and who answers it."""
    model = cp_model.CpModel()
    x, y = model.new_int_var(3, 9, "x"), model.new_int_var(0, 9, "y")
    model.add(x + y == 5)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    return solver, model


@dataclass(slots=True)
class _Interrupted:
    """Python's own hook for debuggers, used to interrupt what it runs at a chosen step: a line begun, or a return."""

    at: int
    steps: int = 0

    def __call__(self, frame: FrameType, event: str, argument: Any) -> Callable[..., Any]:
        del frame, argument
        if event != "call":
            self.steps += 1
            if self.steps == self.at:
                raise TimeUp
        return self


def _interrupted_at(step: int) -> tuple[str, int]:
    """What became of a small question interrupted at that step, and the steps that were taken."""
    became: list[str] = []
    hook = _Interrupted(at=step)

    def ask() -> None:
        solver, model = _small()
        sys.settrace(hook)
        try:
            became.append("answered" if solved(solver, model) == cp_model.OPTIMAL else "not answered")
        except TimeUp:
            became.append("stopped")
        except RuntimeError as error:
            became.append(str(error))
        finally:
            sys.settrace(None)

    start_new_thread(ask, ())
    until = time.monotonic() + 20
    while not became and time.monotonic() < until:
        time.sleep(0.001)
    return (became or ["deaf for ever"])[0], hook.steps


def test_wherever_an_interruption_comes_it_is_heard() -> None:
    """Interrupted at any one step of asking the solver, ours or of what we call: it ends, and tells how.

    Waiting on an event of Python's ``threading`` does not pass this: interrupted inside, it leaves its lock shut.
    """
    step, seen = 1, []
    while True:
        became, steps = _interrupted_at(step)
        if steps < step:
            break
        seen.append(became)
        assert became in ("answered", "stopped"), f"interrupted at step {step}"
        step += 1
    assert seen.count("stopped") > 5


class _Tidied:
    """Takes a while to go, as memory does that is tidied up; what is raised meanwhile Python drops."""

    def __del__(self) -> None:
        until = time.monotonic() + 0.1
        while time.monotonic() < until:
            pass


def _tidied_up() -> None:
    thing = _Tidied()
    del thing
    time.sleep(30)


def test_an_alarm_that_nobody_heard_rings_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """An exception raised in __del__ is ignored (The Python Language Reference, 3.3.1): the alarm is not lost by it."""
    dropped: list[object] = []
    monkeypatch.setattr(sys, "unraisablehook", lambda found: dropped.append(found.exc_value))
    began = time.monotonic()
    with pytest.raises(TimeUp), alarm(0.05):
        _tidied_up()
    assert time.monotonic() - began < 20
    assert [type(one) for one in dropped] == [TimeUp]


def test_an_alarm_that_was_heard_rings_no_more() -> None:
    """What is put in order after the time was up, still inside the block, is not interrupted."""
    heard = []
    with alarm(0.05):
        try:
            time.sleep(30)
        except KeyboardInterrupt as interruption:
            heard.append(how(interruption))
        time.sleep(0.3)
        heard.append("went on")
    assert heard == ["time", "went on"]


def test_a_solver_that_ends_by_itself_is_answered_as_ever() -> None:
    """x + y = 5 with x >= 3 has an answer, and the values are there to be read."""
    solver, model = _small()
    assert solved(solver, model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    x, y = (solver.value(model.get_int_var_from_proto_index(k)) for k in (0, 1))
    assert x >= 3
    assert x + y == 5


def test_alarms_ring_each_at_its_own_level() -> None:
    """An inner alarm does not put off the outer one, nor does an outer one that is due within an inner get lost."""
    rung: list[str] = []
    try:
        with alarm(0.2):
            try:
                with alarm(0.05):
                    time.sleep(5)
            except TimeUp:
                rung.append("inner")
            time.sleep(5)
    except TimeUp:
        rung.append("outer")
    try:
        with alarm(0.05):
            try:
                with alarm(3):
                    time.sleep(5)
            except TimeUp:
                rung.append("inner, for the outer")
            time.sleep(5)
    except TimeUp:
        rung.append("outer")
    assert rung == ["inner", "outer", "inner, for the outer", "outer"]


def test_no_alarm_rings_once_the_block_is_left() -> None:
    """What is finished in time is not interrupted afterwards."""
    with alarm(0.05):
        pass
    time.sleep(0.1)


@pytest.mark.parametrize("limit_s", [0.3, 1.0])
def test_the_limit_holds_for_a_cheaper_plan_and_all_that_is_said_of_it(limit_s: float) -> None:
    """A border of 28 strips, whose cheapest plan takes seconds: the limit is kept, and what was left out is said."""
    problem = border_case(501, along=False, size=GARMENT)
    decide(problem, limit_s=0.1, optimise=False)  # so that what is imported once is there
    began = time.process_time()
    plan = decide(problem, limit_s=limit_s, keep_s=limit_s / 4)
    told = explained(problem, plan, limit_s=max(0.01, limit_s - plan.seconds))
    assert time.process_time() - began < limit_s + FINISHING_S
    assert told.answer == "unsure" or told.ended == "time"
    assert told.answer == "unsure" or "a cheaper plan" in told.untold


def test_a_no_whose_time_is_up_names_what_was_not_looked_for() -> None:
    """With hardly any time the no stands as it was proven, and the ways out are named as not looked for."""
    problem = kept("no-by-fillings")
    plan = decide(problem, limit_s=60, optimise=False)
    assert plan.answer == "no"
    told = explained(problem, plan, limit_s=0.02)
    assert told.answer == "no"
    assert told.proven
    assert told.short
    assert told.ended == "time"
    assert WAYS in told.untold


def test_stopped_while_ways_out_are_sought_those_found_are_given() -> None:
    """Ctrl-C before the last of what would be tried: what was found is offered, no other, and why is noted."""
    problem = kept_small()
    tried = _Tried(stop_at=10**9)
    all_of_them = ways_out(problem, trial=Trial(time.monotonic() + 120, decide=tried))
    assert len(all_of_them) > 2
    tried = _Tried(stop_at=tried.count - 3)
    trial = Trial(time.monotonic() + 120, decide=tried)
    some = ways_out(problem, trial=trial)
    assert trial.cut_short == ["stopped"]
    assert 0 < len(some) < len(all_of_them)
    assert {way.change for way in some} <= {way.change for way in all_of_them}
    assert tried.count == tried.stop_at


def kept_small() -> Problem:
    """Three bands of red, 1 in wide, on cloth with room for two of them."""
    bands = [band(name, 30, edge=edge) for name, edge in (("hem", "hem"), ("neck", "neck"), ("cuff", "sleeve"))]
    return ask(*bands, piece=cloth(8, 40))


@dataclass(slots=True)
class _Tried:
    """The planner, stopped at one of the questions."""

    stop_at: int
    count: int = 0

    def __call__(self, problem: Problem, *, limit_s: float, optimise: bool) -> Plan:
        self.count += 1
        if self.count >= self.stop_at:
            raise KeyboardInterrupt
        return decide(problem, limit_s=limit_s, optimise=optimise)
