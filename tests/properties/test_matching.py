"""What must hold of matching sets, whatever the cloth. Truth: geometry, and what a yes and a no mean."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from stash.garment.part import Corner, Side, Strip
from stash.planner.problem import Problem
from tests.makers.matched_case import matched_case
from tests.makers.planner_case import random_case
from tests.properties.test_planner import answer, backwards_origin, counted_backwards, placed

SEEDS = st.integers(min_value=20_000, max_value=20_400)
FEW = settings(max_examples=20, deadline=None, derandomize=True)
ORDER = {"no": 0, "unsure": 1, "yes": 2}
OTHER: dict[Side | None, Side | None] = {"left": "right", "right": "left", None: None}


def free(strip: Strip) -> Strip:
    """The strip with nothing asked of its look, nor of its joins."""
    return replace(strip, mirror=None, outward=None, corner=(), hide_mm=())


def with_strips(problem: Problem, strips: list[Strip]) -> Problem:
    return replace(problem, parts=tuple(strips))


@FEW
@given(SEEDS)
def test_asking_for_less_never_makes_it_worse(seed: int) -> None:
    """no < unsure < yes: a plan whose looks match is a plan where nothing is asked of looks."""
    problem = matched_case(seed)
    tied = answer(problem).answer
    loose = answer(with_strips(problem, [free(strip) for strip in problem.strips])).answer
    assert ORDER[loose] >= ORDER[tied]


@FEW
@given(SEEDS)
def test_what_is_its_own_mirror_may_be_asked_to_mirror(seed: int) -> None:
    """Strips no wider than their stripe show no other; on cloth with no repeat along, a mirror set changes nothing."""
    problem = random_case(seed, unsure=False)
    fabric = problem.fabrics["cloth"]
    fabric = replace(fabric, print=replace(fabric.print, along=None))
    strips = []
    for strip in problem.strips:
        narrowest = min(one.width_mm for one in fabric.print.occurrences(strip.stripe))
        strips.append(replace(strip, stripe=problem.strips[0].stripe, width_mm=min(strip.width_mm, narrowest)))
    assume(len(strips) > 1)
    narrowest = min(one.width_mm for one in fabric.print.occurrences(strips[0].stripe))
    strips = [replace(strip, width_mm=min(strip.width_mm, narrowest)) for strip in strips]
    problem = replace(with_strips(problem, strips), fabrics={"cloth": fabric})
    mirrored = with_strips(problem, [replace(strip, mirror="all") for strip in strips])
    assert answer(mirrored).answer == answer(problem).answer


@FEW
@given(SEEDS)
def test_the_mirror_image_of_a_matching_set_matches(seed: int) -> None:
    """Seen in a mirror: x, skew and the stripes' order change sides, and what lay outward on the left lies right."""
    problem = matched_case(seed)
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
    strips = [replace(strip, outward=OTHER[strip.outward]) for strip in problem.strips]
    mirrored = Problem(parts=tuple(strips), fabrics={"cloth": counted_backwards(fabric)}, pieces=pieces)
    assert answer(mirrored).answer == answer(problem).answer


@FEW
@given(SEEDS)
def test_strips_read_from_their_other_end_match_as_before(seed: int) -> None:
    """Start and end called the other way round: outward sides, corners and spans change with them, the answer does not
    where the cloth may be turned and has no repeat along."""
    problem = matched_case(seed)
    fabric = problem.fabrics["cloth"]
    fabric = replace(fabric, one_way=False, print=replace(fabric.print, along=None))
    strips = []
    for strip in problem.strips:
        spans = tuple(sorted((strip.length_mm - high, strip.length_mm - low) for low, high in strip.hide_mm))
        corners: tuple[Corner, ...] = tuple(
            (one, "start" if end == "end" else "end", two, "start" if far == "end" else "end")
            for one, end, two, far in strip.corner
        )
        strips.append(
            replace(
                strip, outward=OTHER[strip.outward], hide_mm=spans, corner=corners,
                extra_mm=(strip.extra_mm[1], strip.extra_mm[0]),
            )
        )  # fmt: skip
    back = replace(with_strips(problem, strips), fabrics={"cloth": fabric})
    assert answer(back).answer == answer(replace(problem, fabrics={"cloth": fabric})).answer
