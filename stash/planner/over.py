"""What a yes leaves: lengths of each stripe still to be had, and how much wider every border could be."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from stash.planner.change import EIGHTH_MM, of_width
from stash.planner.plan import Over, Plan
from stash.planner.price import DEFAULT
from stash.planner.problem import Problem
from stash.planner.tally import lengths_apart
from stash.planner.trial import Trial

MOST_WIDER: Final = 16  # eighths of an inch: two inches wider is another border (our judgement)


def over(problem: Problem, plan: Plan) -> tuple[Over, ...]:
    """For each stripe that is asked for the lengths that the leftovers still give, as wide as its widest strip is cut.

    Lengths that stand in one row lie side by side and can all be had; each row is by itself, for another stripe may
    take the same cloth. Shorter ones than the planner counts as useful are left out.
    """
    pieces = {piece.id: piece for piece in problem.pieces}
    used = {row.piece for row in plan.leftovers}
    rest = [replace(pieces[row.piece], outline_mm=row.outline_mm, holes_mm=row.holes_mm) for row in plan.leftovers] + [
        piece for piece in problem.pieces if piece.id not in used and not _cut(plan, piece.id)
    ]
    left = replace(problem, pieces=tuple(rest))
    rows: list[Over] = []
    for fabric, stripe in dict.fromkeys((strip.fabric, strip.stripe) for strip in problem.strips):
        strips = [strip for strip in problem.strips if (strip.fabric, strip.stripe) == (fabric, stripe)]
        widest = max(strips, key=lambda strip: strip.cut_width_mm)
        lengths = [mm for mm in lengths_apart(left, widest) if mm >= DEFAULT.useful_mm]
        told = tuple(sorted(lengths, reverse=True))
        rows.append(Over(fabric=fabric, stripe=stripe, cut_width_mm=widest.cut_width_mm, lengths_mm=told))
    return tuple(rows)


def wider_mm(problem: Problem, trial: Trial) -> float | None:
    """By how much every border could be wider, in eighths of an inch, and all still be cut; None where time ran out.

    Each width was planned and audited. Strips whose cut width the file itself says cannot be widened so.
    """
    if not problem.strips:
        return None
    low, high = 0, MOST_WIDER + 1
    while high - low > 1:
        middle = (low + high) // 2
        wider = problem
        for strip in problem.strips:
            wider = wider.with_part(of_width(strip, strip.width_mm + middle * EIGHTH_MM))
        if trial.placements(wider) is not None:
            low = middle
        elif trial.answer(wider) == "no":
            high = middle
        elif trial.left_s <= 0:
            return low * EIGHTH_MM if low else None
        else:
            high = middle
    return low * EIGHTH_MM


def _cut(plan: Plan, piece: str) -> bool:
    return any(placement.piece == piece for placement in plan.placements)
