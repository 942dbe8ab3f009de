"""Room for hands: what is spare stands where shears need it, at no higher cost."""

from __future__ import annotations

import pytest
import shapely

from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Panel, Strip
from stash.piece import Piece
from stash.planner.plan import Placement, Plan
from stash.planner.problem import Problem
from stash.planner.solve import decide
from tests.planner.test_solve import ask, cloth, fabric, strip
from vision.estimate import Estimate

EIGHTH_IN_MM = 3.175  # shears follow chalk to 1/16-1/8 in [common practice]


def ends(plan: Plan) -> list[tuple[float, float]]:
    """Least and greatest y of each placement."""
    shapes = [shapely.Polygon(placement.outline_mm).bounds for placement in plan.placements]
    return [(bounds[1], bounds[3]) for bounds in shapes]


def test_joined_strip_is_shared_out_evenly_enough() -> None:
    """980 mm in two lanes of 500 mm: 500 + 480 would leave nothing at one end; both may keep 10 mm."""
    plan = ask([strip("s", 980, joins=1)], [cloth(120, 500)])
    assert all(end <= 500 - EIGHTH_IN_MM for _, end in ends(plan))
    assert sum(p.finished_mm or 0 for p in plan.placements) == pytest.approx(980, abs=0.01)


def test_no_lane_is_full_while_another_is_half_empty() -> None:
    """1200 mm in three lanes of 500 mm leaves 300 mm: no cut need end within 1/8 in of the cloth's edge."""
    plan = ask([strip("s", 1200, joins=3)], [cloth(180, 500)])
    assert len(plan.placements) == 3
    assert all(end <= 500 - EIGHTH_IN_MM for _, end in ends(plan))


def test_shortest_segment_is_kept_when_length_moves() -> None:
    """520 mm in two lanes of 500 mm with a least of 25 mm: the short one gets longer, never shorter."""
    plan = ask([strip("s", 520, joins=1, shortest_mm=25.0)], [cloth(120, 500)])
    assert min(p.finished_mm or 0 for p in plan.placements) >= 25.0


def test_full_cloth_stays_full() -> None:
    """Where there is nothing to spare, the plan stands and says so: 1000 mm from two lanes of 500 mm."""
    plan = ask([strip("s", 1000, joins=1)], [cloth(120, 500)])
    assert plan.answer == "yes"
    assert plan.tightest is not None
    assert plan.tightest.spare_mm == pytest.approx(0, abs=0.02)


def test_lane_at_the_selvage_is_left_for_one_further_in() -> None:
    """A 60 mm strip about the A at 30 mm grazes the edge; the lane at 90 mm has 60 mm beside it."""
    plan = ask([strip("s", 400, cut=60.0)], [cloth(300, 500)])
    assert min(x for x, _ in plan.placements[0].outline_mm) > EIGHTH_IN_MM


def test_cut_behind_a_flaw_keeps_off_it() -> None:
    """Behind a flaw at 100-105 mm, 300 of 395 mm are cut: there is room to begin 1/8 in off the flaw."""
    flaw = (((0.0, 100.0), (180.0, 100.0), (180.0, 105.0), (0.0, 105.0)),)
    plan = ask([strip("s", 300)], [cloth(180, 500, flaws_mm=flaw)])
    ((begin, end),) = ends(plan)
    assert begin >= 105 + EIGHTH_IN_MM - 0.01
    assert end <= 500 - EIGHTH_IN_MM


def test_print_that_repeats_along_holds_its_cuts() -> None:
    """Repeat along 100 mm: segments run on in the print, so none may move alone; the audit looks."""
    parts: list[Strip | Panel] = [strip("s", 700, joins=1), strip("t", 200, joins=1)]
    assert ask(parts, [cloth(180, 500)], fabric(along=100.0, one_way=True)).answer == "yes"


def test_two_cuts_that_share_a_line_are_not_tight() -> None:
    """200 + 200 mm end to end in a 500 mm lane leave 100 mm along and 10 mm across: 10 mm is the least to spare."""
    plan = ask([strip("s", 200), strip("t", 200)], [cloth(60, 500)])
    assert plan.tightest is not None
    assert plan.tightest.spare_mm == pytest.approx(10, abs=0.02)


def test_panel_spare_is_how_much_larger_it_could_be() -> None:
    """A 170 x 480 panel on 180 x 500: 10 mm wider is the least, and it lies wholly on the cloth."""
    panel = Panel(id="body", fabric="f", width_mm=170, length_mm=480, seam_mm=0)
    plan = ask([panel], [cloth(180, 500)])
    assert plan.tightest is not None
    assert plan.tightest.spare_mm == pytest.approx(10, abs=0.02)
    assert shapely.box(0, 0, 180, 500).covers(shapely.Polygon(plan.placements[0].outline_mm))


def on_piece(plan: Plan) -> dict[str, list[Placement]]:
    """Placements by piece."""
    rows: dict[str, list[Placement]] = {}
    for placement in plan.placements:
        rows.setdefault(placement.piece, []).append(placement)
    return rows


def test_strips_that_go_on_one_piece_open_one_piece() -> None:
    """Three strips of 150 mm fit one lane of 500 mm; of three such pieces only one is opened."""
    pieces = [cloth(60, 500, name) for name in "pqr"]
    plan = ask([strip(f"s{i}", 150) for i in range(3)], pieces)
    assert len(on_piece(plan)) == 1
    assert plan.best


@pytest.mark.parametrize(("key", "length"), [("pair", 800), ("mirror", 800), ("pair", 820)])
def test_joins_of_a_pair_lie_at_the_same_height(key: str, length: float) -> None:
    """Two fronts from two lanes of 500 mm and one each of 450 and 430: both can be joined at one height [practice]."""
    strips = [strip(name, length, joins=1, edge="front", **{key: "fronts"}) for name in ("left", "right")]
    plan = ask(strips, [cloth(120, 500), cloth(60, 450, "q"), cloth(60, 430, "r")])
    heights = {p.part: p.finished_mm for p in plan.placements if p.segment == 1}
    assert heights["left"] == pytest.approx(heights["right"], abs=0.02)


def test_joins_at_different_heights_are_no_reason_for_a_no() -> None:
    """900 mm twice: from 500 + 420 and from 450 + 470 no height is common to both, and both are cut all the same."""
    strips = [strip(name, 900, joins=1, pair="fronts") for name in ("left", "right")]
    pieces = [cloth(60, 500, "a"), cloth(60, 420, "b"), cloth(60, 450, "c"), cloth(60, 470, "d")]
    assert ask(strips, pieces).answer == "yes"


def test_a_join_stays_where_it_hides_when_length_moves() -> None:
    """980 mm in two lanes of 500 mm, to be joined between 495 and 500: it stays there, though 490 would leave room."""
    plan = ask([strip("s", 980, joins=1, hide_mm=((495.0, 500.0),))], [cloth(120, 500)])
    first = next(p.finished_mm for p in plan.placements if p.segment == 1)
    assert first is not None
    assert 495 <= first <= 500


def test_strips_are_taken_from_one_side_inwards() -> None:
    """Cloth 40 repeats of 60 mm wide and three strips that fill their lanes: lanes at one side, next to each other.

    Cut 40 mm wide about a stripe 60 mm apart, lanes do not meet: the three nearest to a side end within 3 · 60 mm.
    """
    stripes = (Stripe(label="A", width_mm=20, centre_mm=10), Stripe(label="B", width_mm=40, centre_mm=40))
    ticking = Fabric(id="f", name="F", print=Print(kind="stripe", across=Estimate(60.0), stripes=stripes))
    outline = ((0.0, 0.0), (2400.0, 0.0), (2400.0, 900.0), (0.0, 900.0))
    piece = Piece(id="p", fabric="f", outline_mm=outline, stripe_origin_mm=20.0)
    strips = tuple(
        Strip(id=f"s{n}", fabric="f", stripe="A", length_mm=800 + 10 * n, width_mm=28, seam_mm=6, cut_width_mm=40,
              stripe_at_mm=20) for n in range(3)
    )  # fmt: skip
    plan = decide(Problem(parts=strips, fabrics={"f": ticking}, pieces=(piece,)))
    reached = [x for placement in plan.placements for x, _ in placement.outline_mm]
    assert min(max(reached), 2400 - min(reached)) <= 180
