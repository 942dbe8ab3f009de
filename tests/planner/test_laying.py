"""One strip laid: it finds the places that geometry says there are, where the print repeats along the stripe.

Truth: arithmetic on lanes of 60 mm and a print that begins anew every 120 mm, reckoned beside each test; the audit.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

import pytest

from stash.garment.part import Strip
from stash.piece import Piece
from stash.planner.audit import audit
from stash.planner.laying import Hand
from stash.planner.price import DEFAULT
from stash.planner.quick import Solution
from stash.planner.recreate import recreate
from stash.planner.stance import Stance
from stash.planner.stretch import stretches_between
from stash.planner.table import Table
from stash.planner.task import Cut, Task, build_task
from tests.bench.border import FABRIC, cloth, strip
from tests.makers.border_case import GARMENT, border_case
from vision.estimate import Estimate

MOTIF = replace(FABRIC, one_way=True, print=replace(FABRIC.print, kind="motif", along=Estimate(120.0)))


def motif_task(pieces: Sequence[Piece], strips: Sequence[Strip]) -> Task:
    """Strips against pieces of a cloth whose print repeats every 120 mm along the stripe."""
    return build_task(MOTIF, pieces, strips, (), Stance.STRICT)


def laid_at(need: int, run: int, start_mm: float, length_mm: float) -> Cut:
    """A whole strip without seams."""
    length = round(length_mm * 1000)
    return Cut(need=need, segment=0, run=run, start_um=round(start_mm * 1000), size_um=length, finished_um=length,
               turned=False)  # fmt: skip


def test_a_strip_that_may_lie_anywhere_makes_way() -> None:
    """A strip of 150 mm lies at the start of a lane of 400 mm; one of 200 mm must begin with the print, at 0, 120 or
    240 mm. Behind the first it would end at 440 mm; before it, the first goes from 200 to 350 mm. A strip that may be
    joined makes way as one that may not."""
    for joins in (0, 1):
        pair = [replace(strip(name, 200, 20, 0, 0), pair="p") for name in ("a", "b")]
        task = motif_task([cloth("p0", 60, 400), cloth("p1", 60, 205)], [strip("f", 150, 20, 0, joins), *pair])
        table = Table(task, DEFAULT)
        for cut in (laid_at(0, 0, 0, 150), laid_at(1, 1, 0, 200)):
            table.put(cut)
            table.keep(cut.need, (cut,), 0 if cut.need else None)
        assert Hand(table).lay(2)
        (behind,), (first,) = table.cuts[0], table.cuts[2]
        assert (first.run, first.start_um) == (0, 0)
        assert 200_000 <= behind.start_um <= 250_000


def test_a_segment_of_a_pair_does_not_make_way() -> None:
    """Where the one in the way belongs to a pair itself, it stays: there is no place."""
    pair = [replace(strip(name, length, 20, 0, 0), pair="p") for name, length in (("a", 150), ("b", 200), ("c", 200))]
    task = motif_task([cloth("p0", 60, 400), cloth("p1", 60, 205)], pair)
    table = Table(task, DEFAULT)
    for cut in (laid_at(0, 0, 0, 150), laid_at(1, 1, 0, 200)):
        table.put(cut)
        table.keep(cut.need, (cut,), 0)
    assert not Hand(table).lay(2)
    assert table.cuts[0] == (laid_at(0, 0, 0, 150),)


@pytest.mark.parametrize("turned", [False, True])
def test_the_lanes_of_two_segments_are_chosen_together(turned: bool) -> None:
    """760 mm in lanes of 500 and 300 mm leave 40 mm to spare. Begun in the longer one, the second segment must begin
    500 mm into the print, 70 mm into its lane, whose print begins at 50 mm: too late. Begun in the shorter one, 50 mm
    before the print begins, it must begin 250 mm into the print: at 10 mm. Turned, all of it in a mirror."""
    short = replace(cloth("p1", 60, 300), along_origin_mm=250.0 if turned else 50.0)
    long = replace(cloth("p0", 60, 500), along_origin_mm=500.0 if turned else 0.0)
    task = motif_task([long, short], [strip("s", 760, 20, 0, 1)])
    if turned:
        needs = (replace(need, turns=(True,), runs={True: need.runs[False]}) for need in task.needs)
        task = replace(task, needs=tuple(needs))
    table = Table(task, DEFAULT)
    assert Hand(table).lay(0)
    cuts = table.cuts[0]
    assert [cut.run for cut in cuts] == [1, 0]
    first, second = (cut.end_um if turned else cut.start_um for cut in cuts)
    origins = [round(1000 * piece.along_origin_mm) for piece in (short, long)]
    step = (second - origins[1]) - (first - origins[0])
    past = -cuts[0].finished_um if turned else cuts[0].finished_um
    assert abs((step - past + 60_000) % 120_000 - 60_000) <= 4


def test_two_segments_leave_a_useful_end_whole() -> None:
    """Of 760 mm in lanes of 500 and 500 mm, 240 mm are left over: in one lane, where they are of use, and not some in
    either."""
    task = build_task(FABRIC, [cloth(f"p{i}", 60, 500) for i in range(2)], [strip("s", 760, 20, 0, 1)], (),
                      Stance.STRICT)  # fmt: skip
    table = Table(task, DEFAULT)
    assert Hand(table).lay(0)
    assert table.cost_um() == 2 * DEFAULT.piece_um + DEFAULT.join_um(task.needs[0].strip)


@pytest.mark.parametrize("seed", range(3991, 3999, 2))
def test_what_is_laid_on_a_motif_passes_the_audit(seed: int) -> None:
    """Strips pushed to and fro for each other lie where the print runs on over every join and pairs start alike."""
    problem = border_case(seed, along=True, size=replace(GARMENT, ratio=(0.6, 0.8)))
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    laid = recreate(task, DEFAULT, time.monotonic() + 60, rounds=200, enough=lambda _: False)
    assert laid.missing == ()
    assert audit(problem, Solution(task=task, cuts=laid.cuts, lays=()).placements()) == ()


def test_a_stretch_tells_how_far_in_a_cut_may_begin() -> None:
    """Between 100 and 900 um lie cuts of 200 and 300 um: another may begin at once, or after either or both; with more
    than four, after the first so many."""
    two = [laid_at(0, 0, 0.1, 0.2), laid_at(1, 0, 0.4, 0.3)]
    taken = [(0, 100, None), *((cut.start_um, cut.end_um, cut) for cut in two), (900, 950, None)]
    (between, beyond) = stretches_between(0, 0, 1000, taken)
    assert (between.low_um, between.high_um, between.room_um) == (100, 900, 300)
    assert dict(between.ways()) == {0: 0b00, 200: 0b01, 300: 0b10, 500: 0b11}
    assert (beyond.low_um, beyond.high_um, beyond.cuts) == (950, 1000, ())
    five = [laid_at(number, 0, number / 10, 0.1) for number in range(5)]
    (many,) = stretches_between(0, 0, 1000, [(cut.start_um, cut.end_um, cut) for cut in five])
    assert dict(many.ways()) == {100 * count: (1 << count) - 1 for count in range(6)}
