"""Ways out of a no, and the sum at the table. Truth: small cases that can be worked out with a pencil."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Panel, Strip
from stash.lengths import parse_length
from stash.piece import Piece
from stash.planner.advice import ways_out
from stash.planner.audit import audit
from stash.planner.plan import Plan, WayOut
from stash.planner.problem import Problem
from stash.planner.solve import decide
from stash.planner.tally import differs_sentence, sum_sentence
from vision.estimate import Estimate

IN = 25.4


def deck_chair(**changes: Any) -> Fabric:
    """Red 1 in, white 1 in, blue 1 in: a repeat of 3 in."""
    stripes = tuple(
        Stripe(label=label, width_mm=IN, centre_mm=(k + 0.5) * IN, colour=colour)
        for k, (label, colour) in enumerate((("A", "red"), ("B", "white"), ("C", "blue")))
    )
    print_ = Print(kind="stripe", across=Estimate(3 * IN), stripes=stripes)
    return replace(Fabric(id="deck", name="Deck chair", print=print_), **changes)


def cloth(wide_in: float, long_in: float, **changes: Any) -> Piece:
    """A rectangle with the first red stripe at its left edge."""
    corners = ((0.0, 0.0), (wide_in * IN, 0.0), (wide_in * IN, long_in * IN), (0.0, long_in * IN))
    return replace(Piece(id="length", fabric="deck", outline_mm=corners), **changes)


def band(name: str, long_in: float, **changes: Any) -> Strip:
    """A flat band 1 in wide when finished, cut 1 1/2 in."""
    strip = Strip(
        id=name, fabric="deck", stripe="A", length_mm=long_in * IN, width_mm=IN, seam_mm=IN / 4,
        cut_width_mm=1.5 * IN, stripe_at_mm=0.75 * IN,
    )  # fmt: skip
    return replace(strip, **changes)


def ask(*strips: Strip | Panel, piece: Piece, fabric: Fabric | None = None) -> Problem:
    """The strips from one piece."""
    return Problem(parts=strips, fabrics={"deck": fabric or deck_chair()}, pieces=(piece,))


def edits(ways: tuple[WayOut, ...]) -> list[tuple[Any, ...]]:
    """(part, key, value) of each."""
    return [(way.edit["part"], way.edit["key"], way.edit["value"]) for way in ways]


def edited(problem: Problem, edit: dict[str, Any]) -> Problem:
    """The garment with the edit made, done here by hand from its words."""
    for name in edit.get("parts", [edit["part"]]):
        (part,) = [part for part in problem.parts if part.id == name]
        key, value = edit["key"], edit["value"]
        if key == "leave_out":
            problem = replace(problem, parts=tuple(part for part in problem.parts if part.id != name))
        elif key in ("width", "make") and isinstance(part, Strip):
            width = parse_length(value) if key == "width" else part.width_mm
            make = value if key == "make" else part.make
            cut = 4 * width if make == "bound" else width + 2 * part.seam_mm
            part = replace(part, make=make, width_mm=width, cut_width_mm=cut, stripe_at_mm=cut / 2)
            problem = problem.with_part(part)
        elif key in ("width", "length"):
            problem = problem.with_part(replace(part, **{f"{key}_mm": parse_length(value)}))
        else:
            problem = problem.with_part(replace(part, **{key: value}))
    for further in edit.get("also", ()):
        problem = edited(problem, further)
    return problem


def test_a_strip_longer_than_the_cloth_is_joined_once() -> None:
    """50 in from cloth 40 in long: one join, or no hem; nothing else helps, least change first."""
    ways = ways_out(ask(band("hem", 50, edge="hem"), piece=cloth(13, 40, stripe_origin_mm=IN)))
    assert edits(ways) == [("hem", "joins", 1), ("hem", "leave_out", True)]


def test_a_border_too_wide_for_the_cloth_is_narrowed_to_the_widest_that_fits() -> None:
    """Red runs 3/4 in from the left edge of cloth cut 1 5/8 in wide: a cut strip is at most 1 1/2 in, 1 in finished."""
    piece = cloth(1.625, 40, stripe_origin_mm=0.25 * IN)
    wide = band("hem", 30, width_mm=2 * IN, cut_width_mm=2.5 * IN, stripe_at_mm=1.25 * IN)
    ways = ways_out(ask(wide, piece=piece))
    assert ("hem", "width", "1 in") in edits(ways)


def test_the_edge_that_shows_least_gives_way_first() -> None:
    """One red and one blue stripe of 40 in, two edges of 30 in that both want red: the inside one takes blue."""
    front, inside = band("front", 30, edge="front"), band("facing", 30, edge="inside")
    piece = cloth(4, 40, stripe_origin_mm=0.5 * IN)
    first = ways_out(ask(front, inside, piece=piece))
    assert edits(first)[0] == ("facing", "stripe", "C")
    assert next(row for row in edits(first) if row[1] == "leave_out") == ("facing", "leave_out", True)


def test_a_pair_changes_together() -> None:
    """Both fronts are named in one edit; neither is left plain alone."""
    left, right = band("left", 30, pair="fronts"), band("right", 30, pair="fronts")
    for way in ways_out(ask(left, right, piece=cloth(4, 20, stripe_origin_mm=0.5 * IN))):
        assert way.edit["key"] == "joins" or way.edit["parts"] == ["left", "right"]


def test_a_panel_is_offered_as_large_as_it_can_be_cut() -> None:
    """A panel 24 in long, no seam, from cloth only 20 in long: 20 in long, and its width is left alone."""
    panel = Panel(id="back", fabric="deck", width_mm=10 * IN, length_mm=24 * IN, seam_mm=0.0)
    ways = ways_out(ask(panel, piece=cloth(26, 20)))
    assert edits(ways) == [("back", "length", "20 in")]


CASES = {
    "too long": ask(band("hem", 50, edge="hem"), band("cuff", 12, edge="sleeve"), piece=cloth(13, 40)),
    "too many": ask(*(band(f"b{i}", 25, edge="join") for i in range(4)), piece=cloth(10, 40, stripe_origin_mm=IN)),
    "pair": ask(band("l", 30, pair="p"), band("r", 30, pair="p"), band("n", 9), piece=cloth(5.5, 40)),
    "panel": ask(Panel(id="back", fabric="deck", width_mm=300, length_mm=1200, seam_mm=0), piece=cloth(30, 40)),
}


@pytest.mark.parametrize("name", CASES)
def test_every_way_out_is_a_yes_when_its_edit_is_made_by_hand(name: str) -> None:
    """The edit's own words, applied here, give a garment that the placements serve; ways come least change first."""
    problem = CASES[name]
    assert decide(problem, optimise=False).answer == "no"
    ways = ways_out(problem)
    assert ways
    for way in ways:
        after = edited(problem, way.edit)
        assert audit(after, way.placements) == ()
        assert decide(after, optimise=False).answer == "yes"
    assert ways == ways_out(problem)


def test_what_the_time_does_not_reach_is_left_out() -> None:
    """With no time there is no way out, not a guess."""

    def never(problem: Problem, *, limit_s: float, optimise: bool) -> Plan:
        return Plan(answer="unsure", reason="time")

    assert ways_out(CASES["too long"], limit_s=0.0, decide=never) == ()


def test_a_plan_that_the_audit_refuses_is_never_offered() -> None:
    """A planner that says yes to everything and places nothing is not believed."""

    def boast(problem: Problem, *, limit_s: float, optimise: bool) -> Plan:
        whole = {part.id for part in problem.parts} == {"hem"} and problem.strips[0].joins == 0
        return Plan(answer="no" if whole and problem.strips[0].width_mm == IN else "yes")

    ways = ways_out(ask(band("hem", 50), piece=cloth(13, 40)), decide=boast)
    assert all(way.edit["key"] == "leave_out" for way in ways)


# --- the sum ----------------------------------------------------------------------------------------------------


def test_the_sum_counts_whole_stripes() -> None:
    """Cloth 31 in wide from the first red on: reds at 0, 3, ... 30 in: 11 whole ones of 40 in make 440 in.

    Needed: 52 + 52 in, and 1/2 in of seams for each: 105 in.
    """
    problem = ask(band("hem", 52, joins=1), band("neck", 52, joins=1), piece=cloth(31, 40))
    assert sum_sentence(problem) == "11 red stripes of 40 in = 440 in; needed 105 in with seams"


def test_the_sum_names_every_length() -> None:
    """Two pieces of 40 and 20 in: the counts stand side by side."""
    problem = ask(band("hem", 10), piece=cloth(31, 40))
    problem = replace(problem, pieces=(problem.pieces[0], replace(cloth(7, 20), id="remnant")))
    assert sum_sentence(problem) == "11 red stripes of 40 in and 3 of 20 in = 500 in; needed 11 in with seams"


def test_the_sum_speaks_of_one_stripe_as_one() -> None:
    """Two remnants with one whole red each, of 40 and 20 in: "1 red stripe", although there are two in all."""
    problem = ask(band("hem", 10), piece=cloth(2, 40))
    problem = replace(problem, pieces=(problem.pieces[0], replace(cloth(2, 20), id="remnant")))
    assert sum_sentence(problem) == "1 red stripe of 20 in and 1 of 40 in = 60 in; needed 11 in with seams"


def test_nothing_to_explain_where_the_sum_says_no_as_well() -> None:
    """3 in of red too few: the sum says it all."""
    problem = ask(band("hem", 43), piece=cloth(1, 40, stripe_origin_mm=0.0))
    assert differs_sentence(problem, decide(problem, optimise=False)) == ""


def test_time_that_ran_out_is_no_hair() -> None:
    """Where nothing but the time decides, nothing is said of measurements, which may be exact."""
    problem = ask(band("hem", 20), piece=cloth(31, 40))
    assert differs_sentence(problem, Plan(answer="unsure", reason="time")) == ""
    assert "a hair" in differs_sentence(problem, Plan(answer="unsure", reason="measurement"))


REASONS = {
    "longest": (ask(band("hem", 45), piece=cloth(31, 40)), "hem is cut 45 1/2 in long in one length"),
    "edge": (ask(band("hem", 30), band("neck", 30), piece=cloth(4, 40)), "has that much cloth beside it"),
    "flaw": (
        ask(band("hem", 30), piece=cloth(3, 40, stripe_origin_mm=IN, flaws_mm=(
            ((0, 15 * IN), (76, 15 * IN), (76, 26 * IN), (0, 26 * IN)),))),
        "flaws and holes leave only",
    ),
    "overlap": (
        ask(*(band(name, 30, width_mm=3 * IN, cut_width_mm=3.5 * IN, stripe_at_mm=1.75 * IN) for name in "abcd"),
            piece=cloth(16, 40, stripe_origin_mm=1.5 * IN)),
        "overlap the next red stripe",
    ),
    "ends": (
        ask(*(band(name, 21) for name in "abc"), piece=cloth(6.5, 40, stripe_origin_mm=IN)),
        "too short for another strip",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REASONS)
def test_where_the_answer_is_not_the_sum_s_one_sentence_says_why(name: str) -> None:
    """Each case has red enough by the sum, and one reason why it will not do."""
    problem, reason = REASONS[name]
    plan = decide(problem, optimise=False)
    assert plan.answer == "no"
    assert reason in differs_sentence(problem, plan)
