"""The audit accepts plans that are sound by construction and names every way they can be spoilt.

Truth: the contract's own example of a yes, and plans laid by hand whose coordinates follow from plain geometry.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Panel, Strip
from stash.piece import Piece, Point
from stash.planner.audit import audit, audit_leftovers
from stash.planner.plan import Leftover, Placement
from stash.planner.problem import Problem
from vision.estimate import Estimate

IN = 25.4
Plan = tuple[Problem, tuple[Placement, ...]]


def ticking(**changes: Any) -> Fabric:
    """The contract's red ticking: A 20 mm, B 40 mm, a repeat of 60 mm."""
    stripes = (Stripe(label="A", width_mm=20, centre_mm=10), Stripe(label="B", width_mm=40, centre_mm=40))
    print_ = Print(kind="stripe", across=Estimate(60, changes.pop("u95", 0.0)), stripes=stripes)
    if along := changes.pop("along", None):
        print_ = replace(print_, along=Estimate(along))
    return Fabric(id="ticking", name="Red ticking", print=replace(print_, **changes))


def hem(**changes: Any) -> Strip:
    """The contract's hem: 52 in long, 2 in wide, a quarter-inch seam, one join, segments of 6 in at least."""
    strip = Strip(
        id="hem", fabric="ticking", stripe="A", length_mm=52 * IN, width_mm=2 * IN, seam_mm=IN / 4,
        cut_width_mm=2.5 * IN, stripe_at_mm=1.25 * IN, joins=1, shortest_mm=6 * IN,
    )  # fmt: skip
    return replace(strip, **changes)


def length(**changes: Any) -> Piece:
    """The contract's piece: 1100 x 900 mm, no skew."""
    piece = Piece(id="t1", fabric="ticking", outline_mm=((0, 0), (1100, 0), (1100, 900), (0, 900)))
    return replace(piece, **changes)


def cut(part: str, segment: int, finished: float | None, corners: list[Point], **changes: Any) -> Placement:
    """One placement on the contract's piece."""
    row = Placement(
        part=part, segment=segment, piece="t1", stripe=None if finished is None else "A",
        finished_mm=finished, turned=False, outline_mm=tuple(corners),
    )  # fmt: skip
    return replace(row, **changes)


def box(left: float, top: float, right: float, bottom: float) -> list[Point]:
    """A rectangle's corners in the contract's order for a strip that runs along d."""
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def contract_example() -> Plan:
    """The plan of the contract's first example, number for number."""
    problem = Problem(parts=(hem(),), fabrics={"ticking": ticking()}, pieces=(length(),))
    placements = (
        cut("hem", 1, 700.0, box(38.25, 0, 101.75, 712.7)),
        cut("hem", 2, 620.8, box(158.25, 0, 221.75, 633.5)),
    )
    return problem, placements


def turned_about(point: Point, degrees: float) -> Point:
    """The point carried round the origin, counter-clockwise as seen with y down."""
    a = math.radians(degrees)
    return point[0] * math.cos(a) + point[1] * math.sin(a), -point[0] * math.sin(a) + point[1] * math.cos(a)


def skewed(plan: Plan, degrees: float) -> Plan:
    """The whole scene, cloth and cuts, carried round: nothing about it changes but the frame."""
    problem, placements = plan
    pieces = tuple(
        replace(
            piece,
            outline_mm=tuple(turned_about(p, degrees) for p in piece.outline_mm),
            holes_mm=tuple(tuple(turned_about(p, degrees) for p in ring) for ring in piece.holes_mm),
            flaws_mm=tuple(tuple(turned_about(p, degrees) for p in ring) for ring in piece.flaws_mm),
            stripe_direction_deg=(piece.stripe_direction_deg or 0.0) + degrees,
        )
        for piece in problem.pieces
    )
    moved = tuple(
        replace(row, outline_mm=tuple(_written(turned_about(p, degrees)) for p in row.outline_mm)) for row in placements
    )
    return replace(problem, pieces=pieces), moved


def _written(point: Point) -> Point:
    return round(point[0], 3), round(point[1], 3)


def paired_on_a_motif() -> Plan:
    """Two fronts in two segments each on a print that repeats every 100 mm along: the print runs on, both start alike.

    Seam 10, so a segment's finished start lies 10 mm inside its cut start (15 mm more where the corner asks for it).
    """
    left = hem(
        id="left", length_mm=500, seam_mm=10, cut_width_mm=40, stripe_at_mm=20, shortest_mm=100, pair="fronts",
        extra_mm=(15.0, 5.0),
    )  # fmt: skip
    right = replace(left, id="right")
    piece = length(along_origin_mm=30.0)
    problem = Problem(parts=(left, right), fabrics={"ticking": ticking(along=100)}, pieces=(piece,))
    # left 1: finished 230 from p·d = 25 (phase 95) to 255; left 2 starts at phase 95 + 230 = 25 (mod 100): p·d = 355
    # right 1: finished 300 from p·d = 425 (phase 95); right 2 starts at phase 95 + 300 = 95: p·d = 125
    placements = (
        cut("left", 1, 230.0, box(-10 + 60, 0, 30 + 60, 265)),
        cut("left", 2, 270.0, box(-10 + 60, 345, 30 + 60, 345 + 270 + 20 + 5)),
        cut("right", 1, 300.0, box(-10 + 180, 400, 30 + 180, 400 + 300 + 20 + 15)),
        cut("right", 2, 200.0, box(-10 + 180, 115, 30 + 180, 115 + 200 + 20 + 5)),
    )
    return problem, placements


def the_same_turned() -> Plan:
    """The same fronts cut with the print upside down: everything mirrored in p·d = 450, phases running backwards."""
    problem, placements = paired_on_a_motif()
    piece = replace(problem.pieces[0], along_origin_mm=870.0)

    def flipped(row: Placement) -> Placement:
        a, b, c, d = [(x, 900 - y) for x, y in row.outline_mm]
        return replace(row, turned=True, outline_mm=(a, b, c, d))

    return replace(problem, pieces=(piece,)), tuple(flipped(row) for row in placements)


def with_panel() -> Plan:
    """A 400 x 300 panel beside the hem, cut 420 x 320."""
    problem, placements = contract_example()
    panel = Panel(id="back", fabric="ticking", width_mm=400, length_mm=300, seam_mm=10)
    return (
        replace(problem, parts=(*problem.parts, panel)),
        (*placements, cut("back", 1, None, box(300, 100, 720, 420))),
    )


SOUND: dict[str, Callable[[], Plan]] = {
    "contract": contract_example,
    "skewed": lambda: skewed(contract_example(), 3.7),
    "skewed-the-other-way": lambda: skewed(contract_example(), -12.0),
    "motif": paired_on_a_motif,
    "motif-turned": the_same_turned,
    "motif-skewed": lambda: skewed(paired_on_a_motif(), 2.2),
    "panel": with_panel,
    "panel-skewed": lambda: skewed(with_panel(), -2.9),
}


@pytest.mark.parametrize("name", SOUND)
def test_a_plan_that_is_sound_by_construction_passes(name: str) -> None:
    """The contract's example and hand-laid plans, also carried round with their cloth, have nothing wrong with them."""
    problem, placements = SOUND[name]()
    assert audit(problem, placements) == ()
    assert audit(problem, placements, strict=False) == ()


def change_row(index: int, **changes: Any) -> Callable[[Plan], Plan]:
    """Spoil one placement."""

    def spoil(plan: Plan) -> Plan:
        problem, rows = plan
        return problem, tuple(replace(row, **changes) if i == index else row for i, row in enumerate(rows))

    return spoil


def shift_row(index: int, across: float, along: float) -> Callable[[Plan], Plan]:
    """Carry one placement sideways or along its stripe."""

    def spoil(plan: Plan) -> Plan:
        problem, rows = plan
        s = math.radians(problem.pieces[0].stripe_direction_deg or 0.0)
        dx, dy = across * math.cos(s) + along * math.sin(s), -across * math.sin(s) + along * math.cos(s)
        moved = tuple((x + dx, y + dy) for x, y in rows[index].outline_mm)
        return change_row(index, outline_mm=moved)(plan)

    return spoil


def change_part(part: str, **changes: Any) -> Callable[[Plan], Plan]:
    """Ask for something else than was cut."""

    def spoil(plan: Plan) -> Plan:
        problem, rows = plan
        (old,) = [p for p in problem.parts if p.id == part]
        return problem.with_part(replace(old, **changes)), rows

    return spoil


def change_piece(**changes: Any) -> Callable[[Plan], Plan]:
    """Cut from other cloth than was planned."""

    def spoil(plan: Plan) -> Plan:
        problem, rows = plan
        return replace(problem, pieces=(replace(problem.pieces[0], **changes), *problem.pieces[1:])), rows

    return spoil


def change_fabric(**changes: Any) -> Callable[[Plan], Plan]:
    """Cut from another fabric than was planned."""

    def spoil(plan: Plan) -> Plan:
        problem, rows = plan
        return replace(problem, fabrics={"ticking": replace(problem.fabrics["ticking"], **changes)}), rows

    return spoil


def drop_row(index: int) -> Callable[[Plan], Plan]:
    """Forget one placement."""
    return lambda plan: (plan[0], tuple(row for i, row in enumerate(plan[1]) if i != index))


NOTCH = ((90.0, 300.0), (140.0, 300.0), (140.0, 340.0), (90.0, 340.0))
U95 = ticking(u95=0.5).print

SPOILT: list[tuple[str, str, Callable[[Plan], Plan], str]] = [
    ("lost segment", "contract", drop_row(1), "make 700.000 mm, needed 1320.800"),
    ("nothing placed", "contract", lambda plan: (plan[0], ()), "hem is not placed"),
    ("numbering", "contract", change_row(1, segment=3), "numbered"),
    ("same number twice", "contract", change_row(1, segment=1), "numbered"),
    ("too many joins", "contract", change_part("hem", joins=0), "0 joins are allowed"),
    ("a longer hem", "contract", change_part("hem", length_mm=1321.0), "make 1320.800 mm, needed 1321.000"),
    ("a short segment", "contract", change_part("hem", shortest_mm=621.0), "at least 621.000"),
    ("wider strip", "contract", change_part("hem", cut_width_mm=63.55), "not cut as a rectangle"),
    ("wider seam", "contract", change_part("hem", seam_mm=6.4), "not cut as a rectangle"),
    ("corner's extra left out", "contract", change_part("hem", extra_mm=(0.0, 9.0)), "not cut as a rectangle"),
    ("stripe off its middle", "contract", change_part("hem", stripe_at_mm=31.80), "no stripe A runs"),
    ("moved off its stripe", "contract", shift_row(0, 0.03, 0), "no stripe A runs"),
    ("moved off its stripe, skewed", "skewed", shift_row(0, -0.03, 0), "no stripe A runs"),
    ("another stripe", "contract", change_row(0, stripe="B"), "shows stripe B, needed A"),
    ("the wrong stripe asked", "contract", change_part("hem", stripe="B"), "no stripe B runs"),
    ("another piece", "contract", change_row(0, piece="t9"), "there is no piece t9"),
    ("another part", "contract", change_row(0, part="cuff"), "cuff is placed but is no part"),
    ("over the end", "contract", shift_row(0, 0, -0.03), "reaches beyond t1"),
    ("over the end, skewed", "skewed", shift_row(0, 0, -0.03), "reaches beyond t1"),
    ("over the side", "contract", shift_row(0, -60, 0), "reaches beyond t1"),
    ("over the other", "contract", shift_row(1, -120, 0), "over each other"),
    ("neighbours that overlap", "contract", shift_row(1, -60, 0), "over each other"),
    ("flaw", "contract", change_piece(flaws_mm=(NOTCH,)), "hole or flaw"),
    ("hole", "contract", change_piece(holes_mm=(NOTCH,)), "hole or flaw"),
    ("a notch in the outline", "contract", change_piece(outline_mm=(
        (0, 0), (1100, 0), (1100, 900), (120, 900), (120, 400), (100, 400), (100, 900), (0, 900))), "beyond t1"),
    ("a piece that was measured short", "contract", change_piece(outline_u95_mm=0.05), "beyond t1"),
    ("a direction nobody knows", "contract", change_piece(stripe_direction_deg=None), "not known which way"),
    ("another direction", "contract", change_piece(stripe_direction_deg=0.1), "not cut as a rectangle"),
    ("an origin elsewhere", "contract", change_piece(stripe_origin_mm=1.0), "no stripe A runs"),
    ("a repeat elsewhere", "contract", change_fabric(print=replace(U95, across=Estimate(60.5))), "no stripe A runs"),
    ("corner order: clockwise", "contract", lambda plan: change_row(
        0, outline_mm=tuple(reversed(plan[1][0].outline_mm)))(plan), "not cut as a rectangle"),
    ("corner order: from the far end", "contract", lambda plan: change_row(
        0, outline_mm=plan[1][0].outline_mm[2:] + plan[1][0].outline_mm[:2])(plan), "not cut as a rectangle"),
    ("turned, but laid along d", "contract", change_row(0, turned=True), "not cut as a rectangle"),
    ("one segment turned", "contract", lambda plan: change_row(0, turned=True, outline_mm=tuple(
        (x, 900 - y) for x, y in plan[1][0].outline_mm))(plan), "some segments are turned"),
    ("turned on one-way cloth", "motif-turned", change_fabric(one_way=True), "has one way up"),
    ("a crooked corner", "contract", lambda plan: change_row(0, outline_mm=(
        *plan[1][0].outline_mm[:3], (38.30, 712.7)))(plan), "not cut as a rectangle"),
    ("the print does not run on", "motif", shift_row(1, 0, 0.5), "does not run on"),
    ("nor when turned", "motif-turned", shift_row(1, 0, 0.5), "does not run on"),
    ("nor skewed", "motif-skewed", shift_row(1, 0, -0.5), "does not run on"),
    ("another repeat along", "motif", change_fabric(print=ticking(along=99).print), "does not run on"),
    ("a pair out of step", "motif", lambda plan: shift_row(2, 0, 20)(shift_row(3, 0, 20)(plan)), "same place"),
    ("segments in the other order", "motif", lambda plan: change_row(0, segment=2)(
        change_row(1, segment=1)(plan)), "not cut as a rectangle"),
    ("panel narrower", "panel", change_part("back", width_mm=400.1), "back: is not cut"),
    ("panel the other way", "panel", change_part("back", width_mm=300, length_mm=400), "back: is not cut"),
    ("panel on the grain", "panel-skewed", change_part("back", align="grain"), "along the grain"),
    ("panel over a strip", "panel", shift_row(2, -100, 0), "over each other"),
    ("panel twice", "panel", lambda plan: (plan[0], (*plan[1], plan[1][2])), "placed 2 times"),
    ("no panel", "panel", drop_row(2), "back is not placed"),
    ("panel off the cloth", "panel", shift_row(2, 400, 0), "reaches beyond"),
    ("panel with a stripe", "panel", change_row(2, stripe="A"), "no stripe"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "base", "spoil", "said"), SPOILT, ids=[row[0] for row in SPOILT])
def test_every_spoilt_plan_is_refused_and_says_why(
    name: str, base: str, spoil: Callable[[Plan], Plan], said: str
) -> None:
    """Each single departure from a promise of the contract is found, and the sentence names it."""
    wrong = audit(*spoil(SOUND[base]()))
    assert any(said in line for line in wrong), (name, wrong)


def test_a_panel_may_lie_a_quarter_turn_round_only_where_it_may() -> None:
    """The rectangle 300 x 400 serves for 400 x 300 where the part says ``turn``."""
    plan = change_part("back", width_mm=300, length_mm=400, turn=True)(with_panel())
    assert audit(*plan) == ()


def test_lengths_that_differ_by_a_hundredth_are_equal() -> None:
    """The contract: lengths that differ by at most 0.01 mm are equal; three hundredths are not."""
    assert audit(*shift_row(0, 0, -0.01)(contract_example())) == ()
    assert audit(*shift_row(0, 0.01, 0)(contract_example())) == ()
    assert audit(*shift_row(0, 0, -0.02)(contract_example())) != ()


def test_a_strip_is_widened_by_the_repeat_s_uncertainty_times_the_runs_counted() -> None:
    """Stripe A at 10 mm, repeat 60: the run nearest the origin is k = 0, so the run at 670 mm is k = 11.

    It is 63.5 mm wide, so its edge lies at 701.75; u95 0.5 mm widens it to 707.25. Cloth to 708 is enough, to 706 not;
    the run at 10 mm is widened by nothing at all.
    """
    strip = hem(length_mm=600, joins=0)
    fabrics = {"ticking": ticking(u95=0.5)}

    def plan(left: float, right_end: float) -> tuple[str, ...]:
        piece = length(outline_mm=((-21.75, 0), (right_end, 0), (right_end, 900), (-21.75, 900)))
        problem = Problem(parts=(strip,), fabrics=fabrics, pieces=(piece,))
        return audit(problem, (cut("hem", 1, 600.0, box(left, 0, left + 63.5, 612.7)),))

    assert plan(638.25, 708.0) == ()
    assert any("beyond" in line for line in plan(638.25, 706.0))
    assert plan(-21.75, 708.0) == ()


def test_two_wide_strips_need_the_room_of_both_widenings() -> None:
    """Runs k = 5 and k = 6 of a 60 mm repeat, strips of 58 mm: 2 mm between them, widenings 11 x u95 together."""
    for u95, sound in ((0.1, True), (0.2, False)):
        strips = [hem(id=name, length_mm=600, joins=0, cut_width_mm=58, stripe_at_mm=29) for name in ("one", "two")]
        problem = Problem(parts=tuple(strips), fabrics={"ticking": ticking(u95=u95)}, pieces=(length(),))
        rows = (
            cut("one", 1, 600.0, box(310 - 29, 0, 310 + 29, 612.7)),
            cut("two", 1, 600.0, box(370 - 29, 0, 370 + 29, 612.7)),
        )
        assert (audit(problem, rows) == ()) is sound
        assert audit(problem, rows, strict=False) == ()


def test_segments_of_one_strip_show_the_same_neighbours() -> None:
    """In A B A C the first A lies between C and B, the second between B and C: one strip may not show both."""
    labels = (("A", 10, 5), ("B", 20, 20), ("A", 10, 35), ("C", 20, 50))
    stripes = tuple(Stripe(label=label, width_mm=w, centre_mm=c) for label, w, c in labels)
    fabric = replace(ticking(), print=Print(kind="stripe", across=Estimate(60), stripes=stripes))
    strip = hem(length_mm=1000, cut_width_mm=20, stripe_at_mm=10, seam_mm=5)

    def plan(second: float) -> tuple[str, ...]:
        problem = Problem(parts=(strip,), fabrics={"ticking": fabric}, pieces=(length(),))
        rows = (
            cut("hem", 1, 500.0, box(65 - 10, 0, 65 + 10, 510)),
            cut("hem", 2, 500.0, box(second - 10, 0, second + 10, 510)),
        )
        return audit(problem, rows)

    assert plan(125.0) == ()
    assert any("different neighbours" in line for line in plan(95.0))


def test_a_turned_strip_is_the_same_strip_after_a_half_turn() -> None:
    """A folded strip's stripe lies off its middle; turned, the first cut edge is the one where p·n is greatest.

    Truth: a half turn of the plane, applied to strip and cloth together, changes nothing.
    """
    strip = hem(length_mm=600, joins=0, cut_width_mm=50, stripe_at_mm=15)
    problem = Problem(parts=(strip,), fabrics={"ticking": ticking()}, pieces=(length(),))
    straight = cut("hem", 1, 600.0, box(130 - 15, 0, 130 + 35, 612.7))
    assert audit(problem, (straight,)) == ()
    a, b, c, d = box(130 - 35, 612.7, 130 + 15, 0)
    turned = replace(straight, turned=True, outline_mm=(a, b, c, d))
    assert audit(problem, (turned,)) == ()
    a, b, c, d = box(130 - 15, 612.7, 130 + 35, 0)
    assert any("no stripe A runs" in line for line in audit(problem, (replace(turned, outline_mm=(a, b, c, d)),)))


def test_leftovers_are_what_is_not_cut() -> None:
    """The contract's own leftover outline adds up; losing a corner of it, or listing cut cloth again, does not."""
    problem, rows = contract_example()
    outline = (
        (0, 0), (38.25, 0), (38.25, 712.7), (101.75, 712.7), (101.75, 0), (158.25, 0), (158.25, 633.5),
        (221.75, 633.5), (221.75, 0), (1100, 0), (1100, 900), (0, 900),
    )  # fmt: skip
    assert audit_leftovers(problem, rows, [Leftover(piece="t1", outline_mm=outline)]) == ()
    smaller = Leftover(piece="t1", outline_mm=(*outline[:-3], (1100, 0), (1000, 900), (0, 900)))
    assert any("neither cut nor left over" in line for line in audit_leftovers(problem, rows, [smaller]))
    whole = Leftover(piece="t1", outline_mm=((0, 0), (1100, 0), (1100, 900), (0, 900)))
    assert any("takes in cloth that is cut" in line for line in audit_leftovers(problem, rows, [whole]))
    assert any("neither cut" in line for line in audit_leftovers(problem, rows, []))
    assert audit_leftovers(problem, (), []) == ()
