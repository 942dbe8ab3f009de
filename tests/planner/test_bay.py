"""How much bays of one piece take together. Truth: every choice of disjoint bands tried in turn, and known plans."""

from __future__ import annotations

import random
import time
from collections.abc import Sequence
from itertools import combinations

import pytest

from stash.planner.bay import abreast_um, crowded, find_bays, room_um
from stash.planner.lanes import Run
from stash.planner.price import DEFAULT
from stash.planner.quick import quick_solution
from stash.planner.stance import Stance
from stash.planner.task import build_task
from tests.makers.border_case import border_case


def lane(left: int, right: int, start: int, end: int) -> Run:
    """A lane by what it occupies, across and along."""
    return Run(piece=0, stripe=0, count=0, kind=("A", "B"), low_mm=left / 1000, high_mm=right / 1000, left_um=left,
               right_um=right, start_um=start, end_um=end)  # fmt: skip


def most_abreast(lanes: Sequence[Run], place: int) -> int:
    """The most lanes over a place of which no two overlap across, by trying all sets of them."""
    over = [run for run in lanes if run.start_um <= place < run.end_um]
    for many in range(len(over), 0, -1):
        for chosen in combinations(over, many):
            pairs = combinations(chosen, 2)
            if all(a.right_um <= b.left_um or b.right_um <= a.left_um for a, b in pairs):
                return many
    return 0


@pytest.mark.parametrize("seed", range(40))
def test_bays_take_no_more_than_what_lies_abreast(seed: int) -> None:
    """Place by place the greatest set of bands that do not overlap; bands that touch lie abreast."""
    rng = random.Random(seed)
    lanes = []
    for _ in range(rng.randint(2, 7)):
        left, start = rng.randint(0, 12), rng.randint(0, 10)
        lanes.append(lane(left, left + rng.randint(1, 6), start, start + rng.randint(1, 9)))
    bays = find_bays(lanes, range(len(lanes)))
    assert abreast_um(lanes, bays) == sum(most_abreast(lanes, place) for place in range(20))
    for held, together in crowded(lanes, bays):
        assert together < sum(room_um(lanes, bays[bay]) for bay in held)


def test_a_short_lane_gives_no_room_beside_the_long_one_it_overlaps() -> None:
    """Two long lanes overlap, and so do each and a short one outside: two cuts lie abreast for the first 100 um,
    one alone for the other 900, though the bays are longer together whichever way they are parted."""
    lanes = [lane(0, 60, 0, 100), lane(40, 100, 0, 1000), lane(80, 140, 0, 1000), lane(120, 180, 0, 100)]
    bays = find_bays(lanes, range(4))
    assert sum(room_um(lanes, bay) for bay in bays) == 2000
    assert [together for _, together in crowded(lanes, bays)] == [1100]


@pytest.mark.parametrize("seed", [0, 1, 3, 4, 5, 6, 7, 8, 9, 11])
def test_no_plan_lies_more_crowded(seed: int) -> None:
    """What a plan lays into bays that are said to be crowded is no more than they are said to take."""
    problem = border_case(seed)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    found = quick_solution(task, DEFAULT, time.monotonic() + 60, 300)
    assert found is not None
    wanted = sorted({run for need in task.needs for run in need.all_runs})
    bays = find_bays(task.runs, wanted)
    for piece in range(len(task.pieces)):
        mine = [bay for bay in bays if task.runs[bay[0]].piece == piece]
        for held, together in crowded(task.runs, mine):
            runs = {run for bay in held for run in mine[bay]}
            assert sum(cut.size_um for cut in found.cuts if cut.run in runs) <= together
