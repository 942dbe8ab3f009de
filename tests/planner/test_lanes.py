"""Lanes against plane geometry worked out by hand."""

from __future__ import annotations

import math
import random

import pytest
import shapely

from stash.fabric import Fabric, Print, Stripe
from stash.planner.lanes import Profile, Run, find_cliques, find_runs
from stash.planner.region import to_piece, to_print
from stash.planner.stance import FIT_UM, Stance
from vision.estimate import Estimate

PROFILE = Profile(label="A", cut_width_mm=40.0, centre_at_mm=20.0)


def fabric(u95: float = 0.0, across: float = 60.0) -> Fabric:
    """Stripes A 20 mm and B 40 mm on a repeat of 60 mm."""
    stripes = (Stripe(label="A", width_mm=20, centre_mm=10), Stripe(label="B", width_mm=40, centre_mm=40))
    return Fabric(id="f", name="F", print=Print(kind="stripe", across=Estimate(across, u95), stripes=stripes))


def runs_on(shape: shapely.Polygon, stance: Stance = Stance.NOMINAL, u95: float = 0.0) -> list[Run]:
    """The runs of the profile, stripes along y, origin 30 mm: centres stand at 40, 100, 160 …"""
    return find_runs(piece=0, cloth=shape, origin_mm=30.0, fabric=fabric(u95), profile=PROFILE, stance=stance,
                     shortest_um=1)  # fmt: skip


def test_rectangle_has_one_run_a_whole_lane() -> None:
    """On a 180 mm wide rectangle whole lanes 40 mm wide about 40, 100 and 160 mm fit: three; each 500 mm and FIT."""
    runs = runs_on(shapely.box(0, 0, 180, 500))
    assert [run.low_mm for run in runs] == pytest.approx([20, 80, 140])
    assert {run.length_um for run in runs} == {500_000 + 2 * FIT_UM}


def test_lane_that_passes_the_edge_is_none() -> None:
    """A lane 0.1 mm over the edge is not there; one that ends on the edge is."""
    assert len(runs_on(shapely.box(0, 0, 179.9, 500))) == 2
    assert len(runs_on(shapely.box(20, 0, 180, 500))) == 3
    assert len(runs_on(shapely.box(20.1, 0, 180, 500))) == 2


def test_notch_between_the_edges_bars_the_lane() -> None:
    """A notch that meets neither edge line of the lane still parts it in two: the projection decides, not the edges."""
    shape = shapely.box(0, 0, 80, 500).difference(shapely.box(39, 200, 41, 210))
    assert [(run.start_um, run.end_um) for run in runs_on(shape)] == [
        (-FIT_UM, 200_000 + FIT_UM),
        (210_000 - FIT_UM, 500_000 + FIT_UM),
    ]


def test_slanted_end_counts_by_its_least_reach() -> None:
    """Under a 45 degree end a 40 mm lane ends where its shorter side does."""
    (run,) = runs_on(shapely.Polygon([(0, 0), (80, 0), (80, 300), (0, 220)]))
    assert run.end_um == pytest.approx(240_000 + FIT_UM, abs=FIT_UM + 1)


def test_width_uncertainty_grows_with_the_count() -> None:
    """Lane k is widened by k times the repeat's u95 on each side, from the occurrence nearest the origin."""
    runs = runs_on(shapely.box(-200, 0, 400, 500), Stance.STRICT, 0.5)
    for run in runs:
        widened = run.right_um - run.left_um + FIT_UM
        assert widened == pytest.approx(40_000 + 2 * 500 * abs(run.count), abs=1)


def test_frame_turns_without_a_mirror() -> None:
    """(x, y) -> (p·n, p·d) -> (x, y) is the identity, and both frames have the same handedness."""
    for angle in (-170.0, -3.0, 0.0, 17.5, 90.0):
        s = math.radians(angle)
        point = to_print(shapely.Point(100, 250), angle)
        assert point.x == pytest.approx(100 * math.cos(s) - 250 * math.sin(s))
        assert to_piece(point.x, point.y, angle) == pytest.approx((100, 250), abs=1e-3)
        ring = to_print(shapely.Polygon([(0, 0), (1, 0), (1, 1)]), angle)
        assert ring.exterior.is_ccw


def test_cliques_hold_the_length_of_the_union() -> None:
    """Three bands that share a place form one clique; its capacity is the union's length, not the sum."""

    def run(left: int, right: int, start: int, end: int) -> Run:
        return Run(piece=0, stripe=0, count=0, kind=("B", "B"), low_mm=0, high_mm=1, left_um=left, right_um=right,
                   start_um=start, end_um=end)  # fmt: skip

    runs = [run(0, 10, 0, 100), run(5, 15, 50, 200), run(9, 20, 300, 400)]
    found = {clique.runs: clique.capacity_um for clique in find_cliques(runs)}
    assert found[(0, 1)] == 200
    assert found[(2,)] == 100


def test_no_place_for_a_strip_is_overlooked() -> None:
    """Wherever a cut rectangle about some stripe lies wholly on the cloth (shapely says so), a run contains it."""
    dice = random.Random(5)
    seen = 0
    for _ in range(60):
        angle = dice.uniform(-30, 30)
        corners = [(dice.uniform(0, 60), dice.uniform(0, 60)), (dice.uniform(300, 400), dice.uniform(0, 80)),
                   (dice.uniform(300, 400), dice.uniform(300, 420)), (dice.uniform(150, 250), dice.uniform(200, 300)),
                   (dice.uniform(0, 60), dice.uniform(300, 420))]  # fmt: skip
        hole = shapely.Point(dice.uniform(80, 250), dice.uniform(80, 250)).buffer(dice.uniform(2, 20))
        cloth = to_print(shapely.Polygon(corners).difference(hole), angle)
        runs = runs_on(cloth, Stance.STRICT)
        for _ in range(200):
            count, start, length = dice.randint(-8, 12), dice.uniform(-200, 400), dice.uniform(10, 250)
            middle = 40.0 + 60.0 * count
            if not cloth.contains(shapely.box(middle - 20, start, middle + 20, start + length)):
                continue
            seen += 1
            mine = [run for run in runs if run.low_mm == pytest.approx(middle - 20)]
            assert any(run.start_um <= start * 1000 and (start + length) * 1000 <= run.end_um for run in mine)
    assert seen > 200
