"""No plan beats the relaxation's bound. Truth: plans that are known, packings with a published optimum, and Lagrange:
whatever prices are put on strips and cloth, the bound they give holds."""

from __future__ import annotations

import random
import time
from dataclasses import replace
from typing import Any

import pytest

from stash.piece import Piece
from stash.planner.asking import Effort
from stash.planner.filling import PRICE_SCALE, Prices
from stash.planner.knapsack import Tables
from stash.planner.master import OTHER_WAYS, WHOLE_TREE, Branch, Master
from stash.planner.opening import find_choices, without_impossible
from stash.planner.price import DEFAULT
from stash.planner.quick import quick_solution
from stash.planner.recreate import recreate
from stash.planner.relaxation import Bound, Relaxation
from stash.planner.search import Search
from stash.planner.stance import Stance
from stash.planner.task import Task, build_task
from tests.bench.border import FABRIC, cloth, strip
from tests.makers.border_case import GARMENT, border_case
from tests.makers.planner_case import random_case
from tests.makers.planted_case import planted_case


def later() -> float:
    """A time that is far enough away."""
    return time.monotonic() + 60


def lanes_of_100(count: int, *lengths: float) -> Task:
    """So many pieces of one lane each, 100 mm long, and whole strips of those lengths."""
    strips = [strip(f"s{i}", length, 20, 0, 0) for i, length in enumerate(lengths)]
    return build_task(FABRIC, [cloth(f"p{i}", 60, 100) for i in range(count)], strips, (), Stance.GENEROUS)


@pytest.mark.parametrize("seed", range(12))
def test_where_a_plan_is_known_nothing_stays_uncut(seed: int) -> None:
    """Strips that were cut from the cloth in the first place find room: no lack may be proven."""
    problem, _ = planted_case(seed, strips=10)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.GENEROUS)
    assert Relaxation(task).solve(later(), stop_um=1).um == 0
    assert Relaxation(task, paired=True).solve(later(), stop_um=1).um == 0


def test_three_strips_of_60_take_three_lanes_of_100() -> None:
    """Two strips of 60 mm do not fit 100 mm: three lanes do, and two leave 60 mm uncut though 200 is more than 180."""
    enough, short = lanes_of_100(3, 60, 60, 60), lanes_of_100(2, 60, 60, 60)
    assert Relaxation(enough).solve(later()).um == 0
    assert Relaxation(short).solve(later()).um == pytest.approx(60_000, abs=1000)
    assert Relaxation(enough, DEFAULT).solve_tree(later(), 10**9).um >= 3 * DEFAULT.piece_um - 10


def test_half_and_thirds_take_whole_pieces() -> None:
    """Strips of 60, 50 and 40 mm, two of each, take at least 300 mm: three lanes of 100, and three pieces opened."""
    task = lanes_of_100(5, 60, 60, 50, 50, 40, 40)
    assert Relaxation(task, DEFAULT).solve_tree(later(), 10**9).um == pytest.approx(3 * DEFAULT.piece_um, abs=10)


def test_lanes_that_overlap_are_filled_like_one() -> None:
    """Bands of 90 mm about stripes 60 mm apart overlap: in two such lanes 100 mm long only one strip of 60 mm finds
    room, though the lanes' lengths would do for three; in three lanes, where the outer two do not overlap, two do."""
    strips = [strip(f"s{i}", 60, 90, 0, 0) for i in range(2)]
    two, three = (build_task(FABRIC, [cloth("p", width, 100)], strips, (), Stance.GENEROUS) for width in (200, 260))
    assert len(two.runs) == 2
    assert len(three.runs) == 3
    assert Relaxation(two).solve(later()).um == pytest.approx(60_000, abs=1000)
    assert Relaxation(three).solve(later()).um == 0


def test_one_segment_is_as_long_as_their_mean() -> None:
    """Two strips of 150 mm, each in two segments, need two segments of 75 mm or more. A lane of 100 mm holds one such
    and lanes of 60 mm none: one strip stays uncut, though the lanes are 400 mm long together."""
    strips = [strip(f"s{i}", 150, 20, 0, 1) for i in range(2)]
    pieces = [cloth("long", 60, 100), *(cloth(f"p{i}", 60, 60) for i in range(5))]
    task = build_task(FABRIC, pieces, strips, (), Stance.GENEROUS)
    assert Relaxation(task).solve(later()).um == pytest.approx(150_000, abs=1000)


@pytest.mark.parametrize("seed", range(6))
def test_no_choice_of_pieces_promises_less_than_a_known_plan_on_as_many(seed: int) -> None:
    """The bound for a number of pieces is no more than the cost of a plan that opens as many."""
    problem = border_case(seed, along=False, size=replace(GARMENT, ratio=(0.6, 0.8)))
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    laid = recreate(task, DEFAULT, later(), rounds=400, enough=lambda cost: False)
    opened = len({task.runs[cut.run].piece for cut in laid.cuts})
    choices = find_choices(Relaxation(task, DEFAULT, paired=True), opened, later())
    bounds = {choice.count: choice.least_um for choice in choices.inside}
    assert not laid.missing
    assert bounds[opened] <= laid.cost_um


@pytest.mark.parametrize("paired", [False, True])
@pytest.mark.parametrize("seed", range(10))
def test_the_bound_is_no_more_than_the_cheapest_plan(seed: int, paired: bool) -> None:
    """The cheapest plan of a small question, as the exact search proves it, costs at least the bound."""
    problem = random_case(seed, unsure=False)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    exact = Search(task, goal=DEFAULT).run(Effort(seconds=20))
    if exact.status == "best":
        assert exact.bound_um is not None
        assert Relaxation(task, DEFAULT, paired=paired).solve_tree(later(), 10**12).um <= exact.bound_um


@pytest.mark.parametrize("seed", range(10))
def test_ruling_out_pieces_leaves_the_cheapest_plan(seed: int) -> None:
    """What is ruled out costs no less than the cheapest plan of a small question, as the exact search proves it."""
    problem = random_case(seed, unsure=False)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    exact = Search(task, goal=DEFAULT).run(Effort(seconds=20))
    if exact.status == "best" and exact.bound_um:
        relaxation = Relaxation(task, DEFAULT)
        choices = find_choices(relaxation, len({task.runs[cut.run].piece for cut in exact.cuts}), later())
        assert without_impossible(choices, relaxation, exact.bound_um + 1, later()).bound_um() <= exact.bound_um + 1
        assert without_impossible(choices, relaxation, 10**9, later()).bound_um() <= exact.bound_um


def test_pieces_are_ruled_out_where_no_strips_lie_on_them() -> None:
    """A border of 20 strips that a plan cuts from seven pieces: the linear program would have six, on one set of them
    only, and the strips do not go on those: with that told, nothing costs less than seven pieces opened."""
    problem = border_case(3056, along=False)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    relaxation = Relaxation(task, DEFAULT)
    choices = find_choices(relaxation, 7, later())
    assert choices.bound_um() < 6.5 * DEFAULT.piece_um
    left = without_impossible(choices, relaxation, 2200 * 1000, later())
    assert left.bound_um() >= 7 * DEFAULT.piece_um - 10
    on_six = quick_solution(task.only_on(choices.inside[0].pieces), DEFAULT, later(), 1000)
    assert on_six is None


def test_nothing_is_ruled_out_where_the_linear_program_is_not_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces that nothing is known of may hold a plan: where no linear program says which would be opened, the bound
    stays what it was."""
    task = lanes_of_100(5, 60, 60, 50, 50, 40, 40)
    relaxation = Relaxation(task, DEFAULT)
    choices = find_choices(relaxation, 3, later())
    monkeypatch.setattr(Relaxation, "solve", lambda *_, **__: Bound(0, {}, {}, {}))
    assert without_impossible(choices, relaxation, 10**9, later()) == choices


def test_what_one_way_of_solving_misses_another_finds() -> None:
    """A border on which the primal simplex gives up half way, with nothing proven: the linear program has a solution
    all the same, dearer than three pieces opened."""
    problem = border_case(3745, along=True)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    assert Relaxation(task, DEFAULT, paired=True).solve(later()).um > 3 * DEFAULT.piece_um


def test_undoing_its_preprocessing_costs_no_bound() -> None:
    """Five strips of 60 mm and two of 50, solved as GLOP is first asked to; where that ends without a solution, it is
    asked without preprocessing, and the bound is the same."""
    relaxation = Relaxation(lanes_of_100(9, 60, 60, 60, 60, 60, 50, 50), DEFAULT)
    master = Master(relaxation.bays, WHOLE_TREE)
    first = master.solve()
    calls: list[str] = []

    class GivesUp:
        """The solver, but that with preprocessing it ends without a solution."""

        def __init__(self, solver: Any) -> None:
            self.solver, self.way = solver, ""

        def SetSolverSpecificParametersAsString(self, way: str) -> None:
            self.way = way
            self.solver.SetSolverSpecificParametersAsString(way)

        def Solve(self, *told: Any) -> int:
            calls.append(self.way)
            return self.solver.Solve(*told) if "preprocessing" in self.way else self.solver.ABNORMAL

    master.solver = GivesUp(master.solver)
    assert first is not None
    assert master.solve() == first
    assert [OTHER_WAYS[0] in way for way in calls] == [False, False, True]


def test_a_simplex_that_goes_round_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """A border whose linear programs take hundreds of steps: after ten, none is waited for, and less is known of it."""
    problem = border_case(3745, along=True)
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    known = Relaxation(task, DEFAULT).solve(later()).um
    monkeypatch.setattr("stash.planner.master.MOST_STEPS", 10)
    assert Relaxation(task, DEFAULT).solve(later()).um < known / 2


def strips_on_a_step(*lengths: float) -> Task:
    """A piece in two steps: a lane of 200 mm, and one of 850 mm that overlaps it across and for 50 mm along. Strips of
    those lengths, whole."""
    outline = ((0.0, 0.0), (90.0, 0.0), (90.0, 150.0), (150.0, 150.0), (150.0, 1000.0), (60.0, 1000.0), (60.0, 200.0),
               (0.0, 200.0))  # fmt: skip
    piece = Piece(id="p", fabric="f", outline_mm=outline, stripe_origin_mm=35.0)
    strips = [strip(f"s{i}", length, 90, 0, 0) for i, length in enumerate(lengths)]
    return build_task(FABRIC, [piece], strips, (), Stance.GENEROUS)


@pytest.mark.parametrize("paired", [False, True])
def test_a_lane_too_short_for_long_strips_gives_them_no_room(paired: bool) -> None:
    """Four strips of 250 mm are as long as both lanes together, and only three lie in the long one; three and one of
    200 mm lie on the piece."""
    lying, not_lying = strips_on_a_step(250, 250, 250, 200), strips_on_a_step(250, 250, 250, 250)
    assert Search(lying).run(Effort(seconds=10)).status == "found"
    assert Search(not_lying).run(Effort(seconds=10)).status == "none"
    assert Relaxation(lying, paired=paired).solve(later()).um == 0
    assert Relaxation(not_lying, paired=paired).solve(later()).um == pytest.approx(250_000, abs=1000)


@pytest.mark.parametrize("paired", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_any_prices_give_a_bound_that_holds(seed: int, paired: bool) -> None:
    """Lagrange: with prices drawn at random the bound stays below what the best prices found give."""
    dice = random.Random(seed)
    problem = border_case(seed, along=False, size=replace(GARMENT, ratio=(0.6, 0.8)))
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    relaxation = Relaxation(task, DEFAULT, paired=paired)
    value = relaxation.solve(later()).um
    for _ in range(10):
        prices = Prices(
            strips=tuple(int(dice.uniform(0, 2) * need.whole_um * PRICE_SCALE) for need in task.needs),
            cliques=tuple(int(dice.uniform(0, 2) * PRICE_SCALE) for _ in relaxation.bays.cliques),
            joined={family: int(dice.uniform(0, 2) * PRICE_SCALE) for family in set(relaxation.bays.family)},
            segment={family: int(dice.uniform(0, 1e5) * PRICE_SCALE) for family in set(relaxation.bays.family)},
        )
        assert relaxation.bound_um(prices, WHOLE_TREE, Tables(relaxation.bays, prices)) <= value * 1.01


def test_segments_of_two_widths_may_share_a_lane() -> None:
    """Strips of 160 and 140 mm, 20 and 24 mm wide, from three lanes of 100 mm: 100 and 60, 100 and 40, and the 60 and
    the 40 one after the other in the third. Nothing need stay uncut."""
    strips = [strip("s0", 160, 20, 0, 1), strip("s1", 140, 24, 0, 1)]
    task = build_task(FABRIC, [cloth(f"p{i}", 60, 100) for i in range(3)], strips, (), Stance.GENEROUS)
    assert Search(task).run(Effort(seconds=10)).status == "found"
    assert Relaxation(task).solve(later()).um == 0
    assert Relaxation(task, DEFAULT).solve_tree(later(), 10**9).um <= 3 * DEFAULT.piece_um + 2 * 600_000


@pytest.mark.parametrize("paired", [False, True])
@pytest.mark.parametrize("seed", [0, 1, 3, 4])
def test_the_branch_that_holds_a_plan_promises_no_more_than_it_costs(seed: int, paired: bool) -> None:
    """A plan joins some strips and lays their segments into some bays: told all of that, or what it does in any one
    bay, the bound is no more than the plan costs."""
    problem = border_case(seed, along=False, size=replace(GARMENT, ratio=(0.7, 0.85)))
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    laid = recreate(task, DEFAULT, later(), rounds=300, enough=lambda cost: False)
    assert not laid.missing
    relaxation = Relaxation(task, DEFAULT, paired=paired)
    relaxation.start(laid.cuts)
    many = {cut.need for cut in laid.cuts if cut.segment}
    runs = {cut.run for cut in laid.cuts if cut.need in many}
    tails = {index: bool(runs.intersection(bay)) for index, bay in enumerate(relaxation.bays.bays)}
    joined = {index: index in many for index, splits in enumerate(relaxation.bays.splits) if splits}
    told = [Branch(tails=tails, joined=joined), *(Branch(tails={bay: has}) for bay, has in list(tails.items())[::4])]
    for branch in told:
        assert relaxation.solve(later(), branch=branch).um <= laid.cost_um


def test_what_is_left_of_a_lane_is_lost_though_another_passes_over_the_same_place() -> None:
    """Two strips of 200 mm, 20 wide, and one of 450 mm, 24 wide, on two pieces 500 mm long: they share no piece, so
    100 and 50 mm are left too short to use. A third piece lets one of the short ones lie alone, which is dearer."""
    strips = [strip("s0", 200, 20, 0, 0), strip("s1", 200, 20, 0, 0), strip("s2", 450, 24, 0, 0)]
    task = build_task(FABRIC, [cloth(f"p{i}", 60, 500) for i in range(3)], strips, (), Stance.STRICT)
    exact = Search(task, goal=DEFAULT).run(Effort(seconds=20))
    assert exact.status == "best"
    assert exact.bound_um == 2 * DEFAULT.piece_um + 150_000 - 2 * DEFAULT.ease_um
    bound = Relaxation(task, DEFAULT, paired=True).solve_tree(later(), 10**9).um
    assert bound == pytest.approx(exact.bound_um, abs=2000)
    assert bound <= exact.bound_um


@pytest.mark.parametrize("lengths", [(300.36,), (150.36, 149.96), (120.36, 100.36, 100.36)])
def test_strips_rounded_down_leave_no_longer_end(lengths: tuple[float, ...]) -> None:
    """Lengths are counted in steps of 0.4 mm, strips rounded down and lanes up: what is left of a lane must not count
    for more than it is."""
    strips = [strip(f"s{i}", length, 20, 0, 0) for i, length in enumerate(lengths)]
    task = build_task(FABRIC, [cloth("p", 60, 400.4 + 0.02)], strips, (), Stance.STRICT)
    exact = Search(task, goal=DEFAULT).run(Effort(seconds=20))
    assert exact.status == "best"
    assert exact.bound_um is not None
    assert Relaxation(task, DEFAULT).solve_tree(later(), 10**9).um <= exact.bound_um
