"""How much more of the same cloth would make it a yes: told as a measure of what is missing, for often none is left."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from stash.piece import Piece
from stash.planner.plan import Purchase
from stash.planner.problem import Problem
from stash.planner.trial import Trial

EIGHTH_YARD_MM: Final = 914.4 / 8  # cloth is cut from the bolt in eighths of a yard (common practice)
MOST_EIGHTHS: Final = 32  # four yards: more is another garment's cloth (our judgement)
MOST_REPEATS: Final = 8  # more repeats than this are told in length alone (our judgement)


def purchases(problem: Problem, fabrics: list[str], trial: Trial) -> tuple[Purchase, ...]:
    """For each fabric that is short the least more, in eighths of a yard; nothing where that does not help.

    The new length is as wide as the widest piece of the fabric, its stripes as they lie there, and as exactly known.
    Where the print repeats along them, nobody knows at which place of it the shop begins to cut: it is one repeat
    longer than would do from the best place.
    """
    found: list[Purchase] = []
    for index, fabric in enumerate(fabrics):
        like = _widest(problem, fabric)
        eighths = None if like is None else _least_eighths(problem, fabric, like, trial.part(len(fabrics) - index))
        if like is None or eighths is None:
            return ()
        found.append(Purchase(fabric=fabric, length_mm=eighths * EIGHTH_YARD_MM, width_mm=round(_wide_mm(like), 3)))
        problem = replace(problem, pieces=(*problem.pieces, _length(problem, like, eighths)))
    return tuple(found) if trial.placements(problem) is not None else ()


def _least_eighths(problem: Problem, fabric: str, like: Piece, trial: Trial) -> int | None:
    def works(eighths: int) -> bool:
        if eighths * EIGHTH_YARD_MM <= _lost_mm(problem, fabric):
            return False
        more = replace(problem, pieces=(*problem.pieces, _length(problem, like, eighths)))
        return trial.share(more, fabric).answer == "yes"

    high = 1
    while not works(high):
        high *= 2
        if high > MOST_EIGHTHS or trial.left_s <= 0:
            return None
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if works(middle) else (middle, high)
    return high


def more_repeats(problem: Problem, fabric: str, stripe: str, trial: Trial) -> int | None:
    """The fewest repeats more across the stripes, as long as the longest piece, that make it a yes; None: not known.

    They are cut half-way between two stripes of that label, as somebody would who wants the stripe whole.
    """
    across = problem.fabrics[fabric].print.across
    pieces = [p for p in problem.pieces if p.fabric == fabric and p.stripe_direction_deg is not None]
    shown = problem.fabrics[fabric].print.occurrences(stripe)
    if across is None or not pieces or not shown:
        return None
    long_mm = max(_long_mm(piece) for piece in pieces)
    for repeats in range(1, MOST_REPEATS + 1):
        wide_mm = repeats * across.value
        more = replace(
            pieces[0], id=f"more of {fabric}", outline_mm=_rectangle(wide_mm, long_mm), holes_mm=(), flaws_mm=(),
            stripe_direction_deg=0.0, stripe_origin_mm=across.value / 2 - shown[0].centre_mm, along_origin_mm=0.0,
        )  # fmt: skip
        if trial.share(replace(problem, pieces=(*problem.pieces, more)), fabric).answer == "yes":
            return repeats
        if trial.left_s <= 0:
            return None
    return None


def _widest(problem: Problem, fabric: str) -> Piece | None:
    return max((piece for piece in problem.pieces if piece.fabric == fabric), key=_wide_mm, default=None)


def _wide_mm(piece: Piece) -> float:
    across = [x for x, _ in piece.outline_mm]
    return max(across) - min(across)


def _long_mm(piece: Piece) -> float:
    along = [y for _, y in piece.outline_mm]
    return max(along) - min(along)


def _length(problem: Problem, like: Piece, eighths: int) -> Piece:
    long_mm = eighths * EIGHTH_YARD_MM - _lost_mm(problem, like.fabric)
    outline = _rectangle(_wide_mm(like), long_mm)
    return replace(like, id=f"more of {like.fabric}", outline_mm=outline, holes_mm=(), flaws_mm=())


def _lost_mm(problem: Problem, fabric: str) -> float:
    """What may have to be cut off before the print stands where it is wanted: one repeat along it."""
    along = problem.fabrics[fabric].print.along
    return 0.0 if along is None else along.value


def _rectangle(wide_mm: float, long_mm: float) -> tuple[tuple[float, float], ...]:
    return ((0.0, 0.0), (wide_mm, 0.0), (wide_mm, long_mm), (0.0, long_mm))
