"""Answers against sums and figures that can be worked out by hand."""

from __future__ import annotations

import pytest
import shapely

from stash.errors import InputWrong
from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Panel, Strip
from stash.piece import Piece
from stash.planner.audit import audit
from stash.planner.plan import Plan
from stash.planner.problem import Problem
from stash.planner.solve import decide
from vision.estimate import Estimate


def fabric(**changes: object) -> Fabric:
    """A 20, B 40 on 60 mm."""
    stripes = (Stripe(label="A", width_mm=20, centre_mm=10), Stripe(label="B", width_mm=40, centre_mm=40))
    across = Estimate(60.0, float(changes.pop("u95", 0.0)))
    along = changes.pop("along", None)
    printed = Print(kind="stripe", across=across, along=Estimate(float(along)) if along else None, stripes=stripes)
    return Fabric(id="f", name="F", print=printed, **changes)


def strip(name: str, length: float, *, cut: float = 40.0, at: float | None = None, **more: object) -> Strip:
    """A strip of A without seams."""
    seam = float(more.pop("seam", 0.0))
    return Strip(id=name, fabric="f", stripe="A", length_mm=length, width_mm=cut, seam_mm=seam, cut_width_mm=cut,
                 stripe_at_mm=cut / 2 if at is None else at, **more)  # fmt: skip


def cloth(width: float, length: float, name: str = "p", **more: object) -> Piece:
    """A rectangle whose A stripes have their centres at 30, 90, 150 … mm."""
    outline = ((0.0, 0.0), (width, 0.0), (width, length), (0.0, length))
    return Piece(id=name, fabric="f", outline_mm=outline, **{"stripe_origin_mm": 20.0, **more})


def ask(parts: list[Strip | Panel], pieces: list[Piece], cloth_kind: Fabric | None = None) -> Plan:
    """Decide, and let the audit look at every yes."""
    problem = Problem(parts=tuple(parts), fabrics={"f": cloth_kind or fabric()}, pieces=tuple(pieces))
    plan = decide(problem, limit_s=20)
    if plan.answer == "yes":
        assert audit(problem, plan.placements, strict=True) == ()
        assert plan.bound is not None
        assert plan.cost is not None
        assert plan.bound <= plan.cost
    return plan


def test_exactly_full_lanes_are_enough() -> None:
    """Three lanes of 500 mm take 300 + 200, 250 + 250 and 500 mm and not a millimetre more."""
    lengths = [300, 200, 250, 250, 500]
    full = [strip(f"s{i}", length) for i, length in enumerate(lengths)]
    assert ask(full, [cloth(180, 500)]).answer == "yes"
    over = ask([*full[:-1], strip("s4", 501)], [cloth(180, 500)])
    assert (over.answer, over.proven) == ("no", True)
    assert over.short[0].missing_mm == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("angle", [2.1, -7.0, 45.0])
def test_full_lane_on_a_turned_piece_stays_full(angle: float) -> None:
    """Turning the cloth with its print changes nothing, though every coordinate is rounded to 0.001 mm."""
    turned = shapely.affinity.rotate(shapely.box(0, 0, 180, 500), -angle, origin=(0, 0))
    outline = tuple((round(x, 3), round(y, 3)) for x, y in turned.exterior.coords[:-1])
    piece = Piece(id="p", fabric="f", outline_mm=outline, stripe_direction_deg=angle, stripe_origin_mm=20.0)
    parts = [strip(f"s{i}", length) for i, length in enumerate([300, 200, 250, 250, 500])]
    assert ask(parts, [piece]).answer == "yes"


def test_total_that_does_not_add_up_in_lanes_is_a_no() -> None:
    """Two lanes of 500 mm hold no three strips of 300 mm, although 900 < 1000."""
    plan = ask([strip(f"s{i}", 300) for i in range(3)], [cloth(120, 500)])
    assert (plan.answer, plan.proven) == ("no", True)
    assert ask([strip("s0", 300), strip("s1", 300), strip("s2", 300, joins=1)], [cloth(120, 500)]).answer == "yes"


def test_join_costs_two_seams() -> None:
    """980 mm from two lanes of 500 needs one join: 980 + 4 x 5 = 1000 goes, 980 + 4 x 6 does not."""
    assert ask([strip("s", 980, joins=1, seam=5.0)], [cloth(120, 500)]).answer == "yes"
    assert ask([strip("s", 980, joins=1, seam=6.0)], [cloth(120, 500)]).answer == "no"


def test_shortest_segment_forbids_a_scrap() -> None:
    """510 mm on lanes of 500 and 20 mm: the second segment is 10 to 20 mm long, so a least of 25 mm forbids it."""
    pieces = [cloth(60, 500), cloth(60, 20, "q")]
    assert ask([strip("s", 510, joins=1, shortest_mm=10.0)], pieces).answer == "yes"
    assert ask([strip("s", 510, joins=1, shortest_mm=25.0)], pieces).answer == "no"


def test_lopsided_strip_may_lie_turned_but_not_on_one_way_cloth() -> None:
    """The stripe's centre lies 10 mm from the left edge of the cloth; a strip with 30 mm before it fits only turned."""
    piece = cloth(40, 500, stripe_origin_mm=0.0)
    plan = ask([strip("s", 400, at=30.0)], [piece])
    assert plan.answer == "yes"
    assert plan.placements[0].turned
    assert ask([strip("s", 400, at=30.0)], [piece], fabric(one_way=True)).answer == "no"


def test_pair_starts_at_the_same_phase() -> None:
    """Repeat along 100 mm, two 150 mm strips on one 320 mm lane: starts 200 apart need 350 mm; one lane more does."""
    pair = [strip("l", 150, pair="x"), strip("r", 150, pair="x")]
    one_way = fabric(along=100.0, one_way=True)
    assert ask([strip("l", 150), strip("r", 150)], [cloth(60, 320)], one_way).answer == "yes"
    assert ask(pair, [cloth(60, 320)], one_way).answer == "no"
    assert ask(pair, [cloth(60, 350)], one_way).answer == "yes"
    assert ask(pair, [cloth(120, 320)], one_way).answer == "yes"


def test_uncertain_outline_makes_it_unsure() -> None:
    """A strip of 500 mm on 500 mm of cloth known to 1 mm is neither yes nor no; 497 is a yes, 503 a no."""
    answers = {
        length: ask([strip("s", length)], [cloth(70, 500, outline_u95_mm=1.0)]).answer for length in (497, 500, 503)
    }
    assert answers == {497: "yes", 500: "unsure", 503: "no"}


def test_uncertain_plan_says_what_to_measure() -> None:
    """Where only the outline is uncertain, the outline is what to measure; a nominal plan is shown."""
    plan = ask([strip("s", 500)], [cloth(70, 500, outline_u95_mm=1.0)])
    assert plan.reason == "measurement"
    assert plan.placements
    assert "outline" in plan.settle[0]


def test_unknown_direction_supports_neither_yes_nor_no() -> None:
    """Stripes of unknown direction could lie any way; only the area can still say no."""
    blind = cloth(180, 500, stripe_direction_deg=None)
    assert ask([strip("s", 300)], [blind]).answer == "unsure"
    assert ask([strip("s", 300)], [blind, cloth(60, 300, "q")]).answer == "yes"
    assert ask([strip(f"s{i}", 500) for i in range(6)], [blind]).answer == "no"


def test_strip_lies_clear_of_flaws_and_panels() -> None:
    """A 100 x 100 panel leaves one of two 300 mm lanes whole; two strips of 300 do not go beside it."""
    panel = Panel(id="panel", fabric="f", width_mm=60, length_mm=100, seam_mm=0)
    assert ask([panel, strip("s", 300)], [cloth(120, 300)]).answer == "yes"
    assert ask([panel, strip("s", 300), strip("t", 300)], [cloth(120, 300)]).answer == "no"
    flaw = (((50.0, 100.0), (55.0, 100.0), (55.0, 110.0), (50.0, 110.0)),)
    assert ask([strip("s", 300)], [cloth(60, 300, flaws_mm=flaw)]).answer == "yes"
    inside = (((45.0, 100.0), (55.0, 100.0), (55.0, 110.0), (45.0, 110.0)),)
    assert ask([strip("s", 300)], [cloth(60, 300, flaws_mm=inside)]).answer == "no"


def test_panel_on_the_grain_of_a_skewed_print() -> None:
    """On the grain a 100 x 200 panel fits a 100 x 200 piece whatever the skew; on the print it needs W cos + L sin."""
    piece = cloth(100, 200, stripe_direction_deg=3.0)
    grain = Panel(id="b", fabric="f", width_mm=100, length_mm=200, seam_mm=0, align="grain")
    printed = Panel(id="b", fabric="f", width_mm=100, length_mm=200, seam_mm=0)
    assert ask([grain], [piece]).answer == "yes"
    assert ask([printed], [piece]).answer == "no"


def test_quarter_turn_where_allowed() -> None:
    """A 200 x 100 panel fits a 100 x 200 piece only a quarter turn round."""
    for turn, answer in ((False, "no"), (True, "yes")):
        panel = Panel(id="b", fabric="f", width_mm=200, length_mm=100, seam_mm=0, turn=turn)
        assert ask([panel], [cloth(100, 200)]).answer == answer


def test_leftovers_and_placements_make_up_the_piece() -> None:
    """Area is conserved: the piece is its placements and its leftovers."""
    plan = ask([strip("s", 300), strip("t", 200, joins=1)], [cloth(180, 500)])
    cut = sum(shapely.Polygon(p.outline_mm).area for p in plan.placements)
    left = sum(shapely.Polygon(rest.outline_mm, rest.holes_mm).area for rest in plan.leftovers)
    assert cut + left == pytest.approx(180 * 500, abs=20)


def test_same_question_same_answer() -> None:
    """One worker and fixed seeds: two runs give the same plan to the last digit."""
    parts = [strip(f"s{i}", 130 + 37 * i, joins=i % 2) for i in range(8)]
    first, second = (ask(parts, [cloth(240, 600), cloth(130, 400, "q")]) for _ in range(2))
    assert first.placements == second.placements


def test_unknown_stripe_is_wrong_input() -> None:
    """A stripe that the fabric does not show is a mistake in the question, not a no."""
    odd = Strip(id="s", fabric="f", stripe="Z", length_mm=10, width_mm=5, seam_mm=0, cut_width_mm=5, stripe_at_mm=2.5)
    with pytest.raises(InputWrong, match="stripe Z"):
        ask([odd], [cloth(100, 100)])
