"""Cuts that match in a repeat along the cloth, planned, against what the trade reckons for them.

n equal cuts of raw length L in a repeat R take (n - 1)·⌈L/R⌉·R + L: each but the last is rounded up to whole repeats,
and an exact multiple adds none (common practice; the figures are worked out).
"""

from __future__ import annotations

import pytest

from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Strip
from stash.piece import Piece
from stash.planner.problem import Problem
from stash.planner.solve import decide
from vision.estimate import Estimate

INCH = 25.4
WIDE_MM = 80.0
#: Cut widths are held to a few micrometres; a planner may not live off more than this.
HAIR_MM = 0.1


def answer(raw_in: float, repeat_in: float, count: int, cloth_mm: float) -> str:
    """Whether so many cuts that start alike go on a length as wide as one of them."""
    print_ = Print(
        kind="motif", across=Estimate(WIDE_MM), along=Estimate(repeat_in * INCH),
        stripes=(Stripe(label="A", width_mm=WIDE_MM, centre_mm=WIDE_MM / 2),),
    )  # fmt: skip
    cuts = tuple(
        Strip(
            id=f"drop-{number}", fabric="f", stripe="A", length_mm=raw_in * INCH, width_mm=WIDE_MM, seam_mm=0.0,
            cut_width_mm=WIDE_MM, stripe_at_mm=WIDE_MM / 2, pair="drops",
        )
        for number in range(count)
    )  # fmt: skip
    ring = ((0.0, 0.0), (WIDE_MM, 0.0), (WIDE_MM, cloth_mm), (0.0, cloth_mm))
    fabric = Fabric(id="f", name="f", print=print_, one_way=True)
    piece = Piece(id="p", fabric="f", outline_mm=ring, stripe_direction_deg=0.0, stripe_origin_mm=0.0)
    found = decide(Problem(parts=cuts, fabrics={"f": fabric}, pieces=(piece,)), limit_s=20)
    assert found.proven
    return found.answer


@pytest.mark.parametrize(
    ("raw", "repeat", "count", "takes"),
    [
        (100, 26, 1, 100),
        (100, 26, 2, 204),
        (116, 25, 2, 241),
        (96, 27, 3, 312),
        (118, 13, 2, 248),
        (114, 4.5, 3, 348),
        (108, 27, 2, 216),
    ],
)
def test_matched_cuts_take_whole_repeats(raw: float, repeat: float, count: int, takes: float) -> None:
    """Cuts that start at the same place in the repeat go on exactly the length that the rule gives, and on no less."""
    assert answer(raw, repeat, count, takes * INCH + HAIR_MM) == "yes"
    assert answer(raw, repeat, count, takes * INCH - HAIR_MM) == "no"
