"""What must hold of every answer of the planner, whatever the cloth. Truth: geometry, and what a yes and a no mean."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from stash.fabric import Fabric
from stash.garment.part import Strip
from stash.piece import Piece, Point, Polygon
from stash.planner.plan import Plan
from stash.planner.problem import Problem
from stash.planner.solve import decide
from tests.makers.planner_case import random_case

SEEDS = st.integers(min_value=10_000, max_value=10_400)
FEW = settings(max_examples=25, deadline=None, derandomize=True)


def answer(problem: Problem) -> Plan:
    """The planner's answer, certain or not at all: a case for which the time ran out says nothing."""
    plan = decide(problem, limit_s=5, optimise=False)
    assume(plan.reason != "time")
    return plan


def placed(piece: Piece, move: Callable[[Point], Point]) -> dict[str, object]:
    """The piece's outlines carried point by point."""

    def ring(points: Polygon) -> Polygon:
        return tuple(move(point) for point in points)

    return {
        "outline_mm": ring(piece.outline_mm),
        "holes_mm": tuple(ring(hole) for hole in piece.holes_mm),
        "flaws_mm": tuple(ring(flaw) for flaw in piece.flaws_mm),
    }


def counted_backwards(fabric: Fabric) -> Fabric:
    """The repeat read from its other end."""
    repeat = fabric.print.across
    assert repeat is not None
    stripes = tuple(
        replace(stripe, centre_mm=repeat.value - stripe.centre_mm) for stripe in reversed(fabric.print.stripes)
    )
    return replace(fabric, print=replace(fabric.print, stripes=stripes))


def backwards_origin(piece: Piece, fabric: Fabric) -> float:
    """Where the repeat read from its other end starts, once p·n has changed its sign."""
    assert fabric.print.across is not None
    return -piece.stripe_origin_mm - fabric.print.across.value


@FEW
@given(SEEDS)
def test_more_cloth_never_turns_a_yes_into_a_no(seed: int) -> None:
    """A plan for the cloth there is stays a plan when there is a further piece, or when a flaw is mended."""
    problem = random_case(seed)
    assume(answer(problem).answer == "yes")
    more = replace(random_case(seed + 1).pieces[0], id="more", stripe_direction_deg=1.0)
    assert answer(replace(problem, pieces=(*problem.pieces, more))).answer == "yes"
    mended = tuple(replace(piece, flaws_mm=(), holes_mm=()) for piece in problem.pieces)
    assert answer(replace(problem, pieces=mended)).answer == "yes"


@FEW
@given(SEEDS)
def test_less_cloth_never_turns_a_no_into_a_yes(seed: int) -> None:
    """What cannot be cut from all pieces cannot be cut from some of them, nor from the same pieces with a flaw more."""
    problem = random_case(seed)
    assume(answer(problem).answer == "no")
    assert answer(replace(problem, pieces=problem.pieces[1:])).answer == "no"
    x, y = problem.pieces[0].outline_mm[0]
    flaw = ((x, y), (x + 9, y), (x, y + 9))
    spoilt = replace(problem.pieces[0], flaws_mm=(*problem.pieces[0].flaws_mm, flaw))
    assert answer(replace(problem, pieces=(spoilt, *problem.pieces[1:]))).answer == "no"


@FEW
@given(SEEDS, st.floats(min_value=0.5, max_value=12))
def test_a_wider_border_never_turns_a_no_into_a_yes(seed: int, wider_mm: float) -> None:
    """A strip holds every narrower strip about the same stripe."""
    problem = random_case(seed)
    assume(answer(problem).answer == "no")

    def widened(strip: Strip) -> Strip:
        return replace(
            strip, cut_width_mm=strip.cut_width_mm + 2 * wider_mm, stripe_at_mm=strip.stripe_at_mm + wider_mm
        )

    parts = tuple(widened(part) if isinstance(part, Strip) else part for part in problem.parts)
    assert answer(replace(problem, parts=parts)).answer == "no"


@FEW
@given(SEEDS)
def test_one_join_more_never_turns_a_yes_into_a_no(seed: int) -> None:
    """``joins`` is a most: a plan with fewer stays a plan."""
    problem = random_case(seed)
    assume(answer(problem).answer == "yes")
    parts = tuple(replace(part, joins=part.joins + 1) if isinstance(part, Strip) else part for part in problem.parts)
    assert answer(replace(problem, parts=parts)).answer == "yes"


@FEW
@given(SEEDS)
def test_the_mirror_image_has_the_same_answer(seed: int) -> None:
    """Seen in a mirror every plan is a plan: x, skew, the stripes' order and the strips' first edges change sides."""
    problem = random_case(seed, unsure=False)
    fabric = problem.fabrics["cloth"]
    pieces = tuple(
        replace(
            piece,
            **placed(piece, lambda p: (-p[0], p[1])),
            stripe_direction_deg=-(piece.stripe_direction_deg or 0.0),
            stripe_origin_mm=backwards_origin(piece, fabric),
        )
        for piece in problem.pieces
    )
    strips = tuple(replace(s, stripe_at_mm=s.cut_width_mm - s.stripe_at_mm) for s in problem.strips)
    mirrored = Problem(parts=strips, fabrics={"cloth": counted_backwards(fabric)}, pieces=pieces)
    assert answer(mirrored).answer == answer(problem).answer


@FEW
@given(SEEDS)
def test_cloth_that_may_be_turned_may_lie_upside_down(seed: int) -> None:
    """A half turn of every piece changes nothing where the cloth is not one-way: what ran along d runs along -d."""
    problem = random_case(seed, unsure=False)
    fabric = replace(problem.fabrics["cloth"], one_way=False)
    problem = replace(problem, fabrics={"cloth": fabric})
    pieces = tuple(
        replace(
            piece,
            **placed(piece, lambda p: (-p[0], -p[1])),
            stripe_origin_mm=backwards_origin(piece, fabric),
            along_origin_mm=-piece.along_origin_mm,
        )
        for piece in problem.pieces
    )
    upside_down = replace(problem, fabrics={"cloth": counted_backwards(fabric)}, pieces=pieces)
    assert answer(upside_down).answer == answer(problem).answer


@FEW
@given(SEEDS, st.floats(min_value=-40, max_value=40))
def test_how_the_cloth_lies_on_the_table_does_not_matter(seed: int, degrees: float) -> None:
    """Outline and stripes carried round together: a yes may not become a no, nor a no a yes."""
    problem = random_case(seed, unsure=False)
    a = math.radians(degrees)
    pieces = tuple(
        replace(
            piece,
            **placed(
                piece,
                lambda p: (p[0] * math.cos(a) + p[1] * math.sin(a), -p[0] * math.sin(a) + p[1] * math.cos(a)),
            ),
            stripe_direction_deg=(piece.stripe_direction_deg or 0.0) + degrees,
        )
        for piece in problem.pieces
    )
    assert answer(replace(problem, pieces=pieces)).answer == answer(problem).answer
