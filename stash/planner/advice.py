"""Ways out of a no: the smallest changes that make it a yes, each one planned and audited before it is offered.

The kinds of change come in a fixed order, within a kind those that show least come first, and the ways found are
ranked by how much of the border they change where it shows. Only a change that was planned is offered: what the time
did not reach is left out, never guessed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Protocol

from stash.garment.part import Panel, Strip
from stash.planner.audit import audit
from stash.planner.change import (
    Change,
    joined,
    least_first,
    left_plain,
    narrowed,
    of_equal_width,
    one_by_one,
    restriped,
    smaller,
    steps_below,
    together,
)
from stash.planner.plan import Placement, Plan, WayOut
from stash.planner.problem import Problem
from stash.planner.tally import differs_sentence, sum_sentence

__all__ = ["LIMIT_S", "differs_sentence", "sum_sentence", "ways_out"]

LIMIT_S: Final = 15.0  # seconds for all ways together: as long as somebody waits for a second answer (our judgement)
TRY_S: Final = 2.0  # seconds for one change; most are decided in a tenth of that
MOST_OF_A_KIND: Final = 2  # a short list is read, a long one is not
LEAST_PANEL: Final = 0.6  # of its size: a smaller panel is another garment (our judgement)


class Decider(Protocol):
    """What answers a problem: ``stash.planner.solve.decide``, or a stand-in in tests."""

    def __call__(self, problem: Problem, *, limit_s: float, optimise: bool) -> Plan: ...


def ways_out(problem: Problem, *, limit_s: float = LIMIT_S, decide: Decider | None = None) -> tuple[WayOut, ...]:
    """Changes that turn the no into a yes, those that show least first; empty where none of the kinds helps.

    Kinds: one join more in a strip or a pair, a narrower border (the widest that works, in eighths of an inch),
    another stripe on the edges that show least, an edge left plain, a smaller panel. The edit of each is
    {"part": id, "key": key, "value": value} in the garment file's terms, with "parts" where several change alike; an
    edge left plain is {"key": "leave_out", "value": true}.
    """
    deadline = time.monotonic() + limit_s
    attempt = _Attempt(problem, deadline, decide or _decide)
    if attempt.subject is None:
        return ()
    found: list[tuple[Change, tuple[Placement, ...]]] = []
    kinds = (_joins, _narrower, _plain, _stripes, _panels)
    for index, kind in enumerate(kinds):
        attempt.deadline = time.monotonic() + max(0.0, deadline - time.monotonic()) / (len(kinds) - index)
        found += kind(attempt, attempt.subject)
    ranked = sorted(found, key=lambda row: (row[0].shows, row[0].words))
    return tuple(
        WayOut(change=change.words, edit=change.edit, answer="yes", placements=placements)
        for change, placements in ranked
    )


def _decide(problem: Problem, *, limit_s: float, optimise: bool) -> Plan:
    from stash.planner.solve import decide

    return decide(problem, limit_s=limit_s, optimise=optimise)


@dataclass(slots=True)
class _Attempt:
    """Plans changes to the one fabric that is short; the other fabrics' parts keep the plan they have.

    ``subject`` is that fabric's share of the problem; None where several fabrics are short, for then no single change
    helps, or where there is no telling.
    """

    problem: Problem
    deadline: float
    decide: Decider
    subject: Problem | None = None
    rest: tuple[Placement, ...] = ()

    def __post_init__(self) -> None:
        short: list[Problem] = []
        for fabric in dict.fromkeys(part.fabric for part in self.problem.parts):
            share = _share(self.problem, fabric)
            plan = self._plan(share)
            if plan.answer == "yes":
                self.rest += plan.placements
            else:
                short.append(share)
        self.subject = short[0] if len(short) == 1 else None

    def works(self, change: Change) -> tuple[Placement, ...] | None:
        """The whole garment's placements after the change, planned and audited; None where there is no such plan."""
        if time.monotonic() >= self.deadline:
            return None
        plan = self._plan(change.problem)
        if plan.answer != "yes":
            return None
        parts = [part for part in self.problem.parts if part.fabric != _fabric(self.subject or change.problem)]
        whole = replace(self.problem, parts=(*parts, *change.problem.parts))
        placements = (*self.rest, *plan.placements)
        return placements if not audit(whole, placements) else None

    def first(self, changes: Iterable[Change | None], most: int) -> list[tuple[Change, tuple[Placement, ...]]]:
        """The first few of the changes that work."""
        found: list[tuple[Change, tuple[Placement, ...]]] = []
        for change in changes:
            placements = self.works(change) if change else None
            if change and placements is not None:
                found.append((change, placements))
            if len(found) == most or time.monotonic() >= self.deadline:
                break
        return found

    def greatest(
        self, sizes: Sequence[float], make: Callable[[float], Change]
    ) -> Iterator[tuple[Change, tuple[Placement, ...]]]:
        """The change of the greatest size that works, by halving; sizes rise, and what works at one works below it."""
        low, high = 0, len(sizes)
        best: tuple[Change, tuple[Placement, ...]] | None = None
        while low < high:
            middle = (low + high) // 2
            change = make(sizes[middle])
            placements = self.works(change)
            if placements is not None:
                best, low = (change, placements), middle + 1
            else:
                high = middle
        if best is not None:
            yield best

    def _plan(self, problem: Problem) -> Plan:
        if not problem.parts:
            return Plan(answer="yes")
        left_s = max(0.05, min(TRY_S, self.deadline - time.monotonic()))
        return self.decide(problem, limit_s=left_s, optimise=False)


def _joins(attempt: _Attempt, subject: Problem) -> list[tuple[Change, tuple[Placement, ...]]]:
    alone = attempt.first((joined(subject, strips) for strips in one_by_one(subject.strips)), MOST_OF_A_KIND)
    return alone or attempt.first((joined(subject, strips) for strips in least_first(subject.strips)), 1)


def _narrower(attempt: _Attempt, subject: Problem) -> list[tuple[Change, tuple[Placement, ...]]]:
    """The whole border narrower, and the one edge that does it alone with the least change."""
    groups = of_equal_width(subject.strips)
    edges = [rows for rows in together(subject.strips) if rows not in groups]
    return [*_narrowest(attempt, subject, groups), *_narrowest(attempt, subject, edges)[:1]]


def _narrowest(
    attempt: _Attempt, subject: Problem, sets: list[list[Strip]]
) -> list[tuple[Change, tuple[Placement, ...]]]:
    found: list[tuple[Change, tuple[Placement, ...]]] = []
    for strips in sets:
        if len({round(strip.width_mm, 2) for strip in strips}) > 1:
            continue

        def make(width_mm: float, strips: list[Strip] = strips) -> Change:
            return narrowed(subject, strips, width_mm)

        found += attempt.greatest(steps_below(strips[0].width_mm), make)
    return sorted(found, key=lambda row: row[0].shows)


def _stripes(attempt: _Attempt, subject: Problem) -> list[tuple[Change, tuple[Placement, ...]]]:
    labels = list(dict.fromkeys(stripe.label for stripe in subject.fabrics[_fabric(subject)].print.stripes))
    alone = together(subject.strips)
    sets = [*alone, *(rows for rows in least_first(subject.strips) if rows not in alone)]
    changes = (
        restriped(subject, strips, label)
        for strips in sets
        for label in labels
        if all(strip.stripe != label for strip in strips) and len({strip.stripe for strip in strips}) == 1
    )
    return attempt.first(changes, MOST_OF_A_KIND)


def _plain(attempt: _Attempt, subject: Problem) -> list[tuple[Change, tuple[Placement, ...]]]:
    singles = attempt.first((left_plain(subject, strips) for strips in together(subject.strips)), MOST_OF_A_KIND)
    return singles or attempt.first((left_plain(subject, strips) for strips in least_first(subject.strips)), 1)


def _panels(attempt: _Attempt, subject: Problem) -> list[tuple[Change, tuple[Placement, ...]]]:
    found: list[tuple[Change, tuple[Placement, ...]]] = []
    for panel in subject.panels:
        for key, size_mm in (("length", panel.length_mm), ("width", panel.width_mm)):

            def make(less_mm: float, panel: Panel = panel, key: str = key) -> Change:
                return smaller(subject, panel, key, less_mm)

            found += attempt.greatest(steps_below(size_mm, LEAST_PANEL * size_mm), make)
    return found


def _share(problem: Problem, fabric: str) -> Problem:
    return replace(
        problem,
        parts=tuple(part for part in problem.parts if part.fabric == fabric),
        pieces=tuple(piece for piece in problem.pieces if piece.fabric == fabric),
    )


def _fabric(problem: Problem) -> str:
    return problem.parts[0].fabric
