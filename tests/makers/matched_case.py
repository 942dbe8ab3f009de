"""Small random questions in which strips belong together: mirror sets, corners, what lies outward, hidden joins."""

from __future__ import annotations

import random
from dataclasses import replace

from stash.garment.part import Corner, End, Strip
from stash.planner.problem import Problem
from tests.makers.planner_case import random_case

ENDS: tuple[End, End] = ("start", "end")


def matched_case(seed: int) -> Problem:
    """A question of ``random_case`` with two to four strips of one stripe tied to each other; flat strips only."""
    rng = random.Random(f"matched {seed}")
    problem = random_case(seed, unsure=rng.random() < 0.1)
    while len(problem.strips) < 2:
        seed += 10_000
        problem = random_case(seed, unsure=False)
    fabric = replace(problem.fabrics["cloth"], both_faces=rng.random() < 0.4, one_way=rng.random() < 0.5)
    stripe = problem.strips[0].stripe
    strips = [replace(_flat(strip), stripe=stripe) for strip in problem.strips]
    if rng.random() < 0.7:
        strips = [replace(strip, pair=None) for strip in strips]
    kinds = rng.sample(("mirror", "corner", "outward"), rng.choice((1, 1, 2)))
    if "mirror" in kinds:
        for index in range(rng.choice((2, 2, len(strips)))):
            strips[index] = replace(strips[index], mirror="set")
    if "corner" in kinds:
        one, other = rng.sample(range(len(strips)), 2)
        corner: Corner = (strips[one].id, rng.choice(ENDS), strips[other].id, rng.choice(ENDS))
        strips[one] = replace(strips[one], corner=(corner,))
    if "outward" in kinds:
        for index in rng.sample(range(len(strips)), rng.choice((2, len(strips)))):
            strips[index] = replace(strips[index], outward=rng.choice(("left", "right")))
    strips = [_hidden(rng, strip) for strip in strips]
    return replace(problem, parts=tuple(strips), fabrics={"cloth": fabric})


def _flat(strip: Strip) -> Strip:
    cut = strip.width_mm + 2 * strip.seam_mm
    return replace(strip, make="flat", cut_width_mm=cut, stripe_at_mm=cut / 2)


def _hidden(rng: random.Random, strip: Strip) -> Strip:
    if strip.joins == 0 or rng.random() < 0.4:
        return strip
    ends = sorted(round(rng.uniform(0, strip.length_mm), 1) for _ in range(rng.choice((2, 4))))
    return replace(strip, hide_mm=tuple(zip(ends[::2], ends[1::2], strict=True)))
