"""Which one or two measurements, taken again, settle an answer that is too close to call, and how close they must be.

A measurement settles it where the answer is a certain yes or no with its uncertainty made small, everything else as it
is. How small is found by halving: with less uncertainty an answer once certain stays so. It is supposed that the figure
itself comes out the same; where it comes out otherwise, ask again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

from stash.lengths import inches
from stash.planner.plan import Plan, Remeasure
from stash.planner.problem import Problem
from stash.planner.trial import Trial, fabrics_of, share_of
from vision.estimate import Estimate

HALVINGS: Final = 6  # of the uncertainty: to a sixty-fourth of what it is
TAPE_MM: Final = 25.4 / 64  # no tape is read closer (practice: half of 1/32 in)
MOST_PAIRED: Final = 6  # measurements among which pairs are tried


@dataclass(frozen=True, slots=True)
class _Figure:
    """One uncertain measurement: a piece's outline, or a fabric's repeat across."""

    what: str
    of: str
    u95_mm: float


def remeasures(problem: Problem, trial: Trial) -> tuple[Remeasure, ...]:
    """The fewest measurements that settle it, for every fabric that is unsure; empty where time did not reach."""
    found: list[Remeasure] = []
    unsure = [fabric for fabric in trial.short(problem) if trial.share(problem, fabric).reason != "time"]
    for index, fabric in enumerate(unsure):
        found += _for_one(share_of(problem, fabric), trial.part(len(unsure) - index))
    return tuple(found)


def settle_sentences(plan: Plan) -> tuple[str, ...]:
    """What to measure again, a sentence each."""
    many = len(plan.remeasure) > 1
    return tuple(_sentence(row) + (", and" if many and row != plan.remeasure[-1] else "") for row in plan.remeasure)


def _sentence(row: Remeasure) -> str:
    near = f"to {row.needed_u95_mm:g} mm ({_fine(row.needed_u95_mm)}) or closer; now it is to {row.now_u95_mm:.2g} mm"
    if row.what == "repeat":
        return f"measure the repeat of {row.of} again over more repeats, {near}"
    beyond = "; no tape tells that, so rather make the border a little less" if row.needed_u95_mm < TAPE_MM else ""
    return f"measure the outline of {row.of} again, {near}{beyond}"


def _fine(mm: float) -> str:
    """In inches down to 1/64, for a tape's divisions."""
    return inches(mm, 64, toward="down") if mm >= 25.4 / 64 else "less than 1/64 in"


def _for_one(share: Problem, trial: Trial) -> list[Remeasure]:
    figures = _figures(share)
    for group in [*((figure,) for figure in figures), *_pairs(figures)]:
        if trial.left_s <= 0:
            return []
        if _settled(share, group, 0.0, trial):
            return _needed(share, group, trial)
    return _needed(share, figures, trial) if figures and _settled(share, figures, 0.0, trial) else []


def _figures(share: Problem) -> list[_Figure]:
    """The uncertain measurements: outlines of pieces, the least sure first, then the repeats."""
    outlines = [_Figure("outline", piece.id, piece.outline_u95_mm) for piece in share.pieces if piece.outline_u95_mm]
    repeats = [
        _Figure("repeat", name, across.u95)
        for name in fabrics_of(share)
        if (across := share.fabrics[name].print.across) is not None and across.u95
    ]
    return [*sorted(outlines, key=lambda figure: (-figure.u95_mm, figure.of)), *repeats]


def _pairs(figures: Sequence[_Figure]) -> list[tuple[_Figure, ...]]:
    return list(combinations(figures[:MOST_PAIRED], 2))


def _settled(share: Problem, group: Sequence[_Figure], ratio: float, trial: Trial) -> bool:
    """Whether it is certain either way with those uncertainties at that ratio of what they are."""
    return trial.answer(_surer(share, group, ratio)) != "unsure"


def _surer(share: Problem, group: Sequence[_Figure], ratio: float) -> Problem:
    outlines = {figure.of: figure.u95_mm * ratio for figure in group if figure.what == "outline"}
    repeats = {figure.of: figure.u95_mm * ratio for figure in group if figure.what == "repeat"}
    fabrics = dict(share.fabrics)
    for name, u95_mm in repeats.items():
        across = fabrics[name].print.across
        if across is not None:
            exact = Estimate(across.value, u95_mm)
            fabrics[name] = replace(fabrics[name], print=replace(fabrics[name].print, across=exact))
    pieces = (replace(p, outline_u95_mm=outlines.get(p.id, p.outline_u95_mm)) for p in share.pieces)
    return replace(share, fabrics=fabrics, pieces=tuple(pieces))


def _needed(share: Problem, group: Sequence[_Figure], trial: Trial) -> list[Remeasure]:
    """How close each must be: the same ratio of all, as large as it may be, rounded down to two figures."""
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if _settled(share, group, middle, trial) else (low, middle)
    return [
        Remeasure(
            what="outline" if figure.what == "outline" else "repeat", of=figure.of, now_u95_mm=figure.u95_mm,
            needed_u95_mm=_down(low * figure.u95_mm),
        )
        for figure in group
    ]  # fmt: skip


def _down(value: float) -> float:
    """Rounded down to two significant figures."""
    if value <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return round(math.floor(value / step + 1e-9) * step, 9)
