"""The cheapest plan that parts of others make. Truth: every choice of parts listed; plans whose halves are known."""

from __future__ import annotations

import time
from dataclasses import replace
from itertools import combinations

import pytest

from stash.planner import improving
from stash.planner.audit import audit
from stash.planner.cost import cost_um
from stash.planner.improving import improve
from stash.planner.layout import sound
from stash.planner.pool import Pool
from stash.planner.price import DEFAULT
from stash.planner.quick import Solution, quick_solution
from stash.planner.recreate import recreate
from stash.planner.stance import Stance
from stash.planner.task import Cut, Task, build_task
from tests.bench.border import FABRIC, cloth, strip
from tests.makers.border_case import GARMENT, border_case

PLENTY_UM = 10**9


def _task(lengths: list[float], pieces: int, *, joins: int = 0) -> Task:
    """Strips of such lengths, and pieces with one lane of 1000 mm each."""
    strips = [strip(f"s{i}", length, 20, 0, joins) for i, length in enumerate(lengths)]
    return build_task(FABRIC, [cloth(f"p{i}", 60, 1000) for i in range(pieces)], strips, (), Stance.STRICT)


def _laid(task: Task, piece_of: list[int]) -> dict[int, tuple[Cut, ...]]:
    """Each strip whole on that piece, after those before it."""
    at: dict[int, int] = {}
    laid = {}
    for index, (need, piece) in enumerate(zip(task.needs, piece_of, strict=True)):
        run = next(run for run in need.all_runs if task.runs[run].piece == piece)
        start = at.get(run, task.runs[run].start_um)
        at[run] = start + need.whole_um
        laid[index] = (Cut(need=index, segment=0, run=run, start_um=start, size_um=need.whole_um,
                           finished_um=need.length_um, turned=False),)  # fmt: skip
    return laid


def test_the_good_halves_of_two_plans_make_a_better_one() -> None:
    """Four strips on three pieces twice, the first plan with two of them on one piece and the second with the other
    two: together they lie on two pieces."""
    task = _task([600, 390, 700, 290], 4)
    pool = Pool(task, DEFAULT, PLENTY_UM)
    for pieces in ([0, 0, 1, 2], [0, 3, 1, 1]):
        laid = _laid(task, pieces)
        pool.keep(laid, cost_um(task, [cut for cuts in laid.values() for cut in cuts], (), DEFAULT))
    cuts = pool.put_together(time.monotonic() + 60)
    assert sound(Solution(task=task, cuts=cuts, lays=()))
    assert {task.runs[cut.run].piece for cut in cuts} == {0, 1}


def test_a_pair_comes_from_one_table() -> None:
    """The left sleeve's border from a table without the right one's, turned one way, and the right one's from a table
    without the left's, turned the other, are no pair: not both are taken."""
    left, right = (replace(strip(name, 400, 20, 0, 0), pair="sleeves") for name in ("left", "right"))
    strips = [left, right, strip("hem", 500, 20, 0, 0)]
    pieces = [cloth(f"p{i}", 60, 1000) for i in range(3)]
    task = build_task(FABRIC, pieces, strips, (), Stance.STRICT)
    pool = Pool(task, DEFAULT, PLENTY_UM)
    laid = _laid(task, [0, 1, 2])
    pool.keep({need: laid[need] for need in (0, 2)}, 1)
    pool.keep({1: tuple(replace(cut, turned=True) for cut in laid[1]), 2: laid[2]}, 1)
    cuts = pool.put_together(time.monotonic() + 60)
    assert {2} <= {cut.need for cut in cuts} < {0, 1, 2}


def _seen(task: Task, rounds: int) -> tuple[Pool, int]:
    """The parts of what a few short searches see, and what the cheapest plan among it costs."""
    pool = Pool(task, DEFAULT, PLENTY_UM)
    deadline = time.monotonic() + 100
    laid = [
        recreate(task, DEFAULT, deadline, rounds=rounds, throw=throw, enough=lambda _: False, seen=pool.keep)
        for throw in range(3)
    ]
    return pool, min(one.cost_um for one in laid if not one.missing)


def _listed_um(pool: Pool) -> int:
    """The cheapest of all choices of parts that lay every strip once, clear of each other."""
    task, parts = pool.task, list(pool.blocks.values())
    best = PLENTY_UM
    for many in range(1, len(task.needs) + 1):
        for chosen in combinations(parts, many):
            cuts = tuple(cut for block in chosen for cut in block.cuts)
            starts = [cut.need for cut in cuts if cut.segment == 0]
            if sorted(starts) == list(range(len(task.needs))) and sound(Solution(task=task, cuts=cuts, lays=())):
                best = min(best, cost_um(task, cuts, (), DEFAULT))
    return best


@pytest.mark.parametrize("lengths", [[700, 520, 410, 280], [900, 450, 430, 120], [640, 350, 330, 310]])
def test_no_choice_of_parts_is_cheaper(lengths: list[float]) -> None:
    """Every choice of the parts seen, listed: none of them costs less than what is put together."""
    pool, _ = _seen(_task(lengths, 3, joins=1), 12)
    cuts = pool.put_together(time.monotonic() + 60)
    assert sound(Solution(task=pool.task, cuts=cuts, lays=()))
    assert cost_um(pool.task, cuts, (), DEFAULT) == _listed_um(pool)


@pytest.mark.parametrize("seed", range(6))
def test_what_is_put_together_is_sound_and_no_dearer_than_what_was_seen(seed: int) -> None:
    """Borders with a repeat along and without: each strip whole, clear of the others, the plan as cheap as any seen."""
    problem = border_case(seed, size=replace(GARMENT, ratio=(0.6, 0.85)))
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    pool, least_um = _seen(task, 300)
    solution = Solution(task=task, cuts=pool.put_together(time.monotonic() + 60), lays=())
    assert sound(solution)
    assert audit(problem, solution.placements()) == ()
    assert solution.cost_um(DEFAULT) <= least_um


def test_a_search_ends_cheaper_with_what_all_throws_saw(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same search of the same dice, with what was seen put together after every other throw or never."""
    problem = border_case(4134)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    found = quick_solution(task, DEFAULT, time.monotonic() + 100, 300)
    assert found is not None
    for name, rounds in (("ROUNDS", 1500), ("SOON_ROUNDS", 1), ("LAST_ROUNDS", 1)):
        monkeypatch.setattr(improving, name, rounds)
    monkeypatch.setattr(improving, "_proven", lambda better, *_: better)
    together = improve(found, DEFAULT, 100).solution
    monkeypatch.setattr(improving, "TOGETHER", improving.THROWS + 1)
    apart = improve(found, DEFAULT, 100).solution
    assert audit(problem, together.placements()) == ()
    assert together.cost_um(DEFAULT) < apart.cost_um(DEFAULT)
