"""How the strips of a plan lie on the print: read off their cut lines, so that what is cut later can match them."""

from __future__ import annotations

from collections.abc import Sequence

from stash.garment.part import Laid, Strip
from stash.piece import Piece, across_axis
from stash.planner.plan import Placement
from stash.planner.problem import Problem


def laid_in(problem: Problem, placements: Sequence[Placement]) -> dict[tuple[str, int], Laid]:
    """How each segment of a strip lies, by part and segment; ``start_mm`` is where its own finished start stands."""
    strips = {strip.id: strip for strip in problem.strips}
    pieces = {piece.id: piece for piece in problem.pieces}
    found: dict[tuple[str, int], Laid] = {}
    for placement in placements:
        strip, piece = strips.get(placement.part), pieces[placement.piece]
        laid = None if strip is None else _laid(problem, strip, piece, placement)
        if laid is not None:
            found[placement.part, placement.segment] = laid
    return found


def _laid(problem: Problem, strip: Strip, piece: Piece, placement: Placement) -> Laid | None:
    print_ = problem.fabrics[strip.fabric].print
    if print_.across is None or piece.stripe_direction_deg is None or not print_.occurrences(strip.stripe):
        return None
    n = across_axis(piece.stripe_direction_deg)
    d = (-n[1], n[0])
    across = [x * n[0] + y * n[1] for x, y in placement.outline_mm]
    first = placement.turned != placement.over
    middle = max(across) - strip.stripe_at_mm if first else min(across) + strip.stripe_at_mm
    at = middle - piece.stripe_origin_mm

    def off(stripe: int) -> float:
        assert print_.across is not None
        gap = (at - print_.stripes[stripe].centre_mm) % print_.across.value
        return min(gap, print_.across.value - gap)

    places = [index for index, stripe in enumerate(print_.stripes) if stripe.label == strip.stripe]
    phase = None
    if print_.along is not None:
        x, y = placement.outline_mm[0]
        inwards = strip.seam_mm + (strip.extra_mm[0] if placement.segment == 1 else 0.0)
        start = x * d[0] + y * d[1] + (-inwards if placement.turned else inwards)
        phase = (start - piece.along_origin_mm) % print_.along.value
    return Laid(turned=placement.turned, over=placement.over, stripe=min(places, key=off), start_mm=phase)
