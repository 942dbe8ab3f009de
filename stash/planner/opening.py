"""Which pieces to open: for each number of pieces what a plan costs at least, and whether there can be one at all."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

from stash.planner.asking import Effort
from stash.planner.master import WHOLE, Branch
from stash.planner.relaxation import Relaxation
from stash.planner.search import Search
from stash.planner.task import Task

NODES = 60
"""Branches looked at while the sets of pieces are listed on which a cheaper plan may be."""

MOST_SETS = 3
"""With more sets than these for one number of pieces, none of them is ruled out."""

WORK = 0.5
"""Deterministic seconds of exact search a set: some two seconds of a laptop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A number of pieces, what a plan that opens so many costs at least (um), and the pieces that it would open."""

    count: int
    least_um: int
    pieces: frozenset[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """The choices up to some number of pieces, the cheapest first; and what a plan on any other number costs."""

    inside: tuple[Choice, ...]
    outside_um: int

    def bound_um(self) -> int:
        """What no plan can beat."""
        return min(self.outside_um, *(choice.least_um for choice in self.inside))


def find_choices(relaxation: Relaxation, most: int, deadline: float) -> Choices:
    """The choices of up to ``most`` pieces, from the number on that the linear program opens."""
    counts = _counts(relaxation, most, deadline)
    found: list[Choice] = []
    for count in counts:
        bound = relaxation.solve(deadline, branch=Branch(fewest=count, most=count))
        likely = sorted(bound.opened, key=lambda piece: (-bound.opened[piece], piece))
        found.append(Choice(count=count, least_um=bound.um, pieces=frozenset(likely[:count])))
    fewer = relaxation.solve(deadline, branch=Branch(most=counts[0] - 1)).um
    more = relaxation.solve(deadline, branch=Branch(fewest=most + 1)).um
    return Choices(inside=tuple(sorted(found, key=lambda c: (c.least_um, c.count))), outside_um=min(fewer, more))


def _counts(relaxation: Relaxation, most: int, deadline: float) -> range:
    """The numbers of pieces from the one on that the linear program opens."""
    root = relaxation.solve(deadline)
    return range(min(most, max(1, math.floor(sum(root.opened.values()) + WHOLE))), most + 1)


def without_impossible(choices: Choices, relaxation: Relaxation, cost_um: int, deadline: float) -> Choices:
    """The choices with what is ruled out told as no cheaper than ``cost_um``; the cheapest is tried first."""
    inside = list(choices.inside)
    for index, choice in enumerate(inside):
        if choice.least_um >= min(cost_um, choices.outside_um) or time.monotonic() > deadline:
            break
        if not _ruled_out(relaxation, choice.count, cost_um, deadline):
            break
        inside[index] = replace(choice, least_um=cost_um)
    return replace(choices, inside=tuple(inside))


def _ruled_out(relaxation: Relaxation, count: int, cost_um: int, deadline: float) -> bool:
    """Whether no plan on so many pieces costs less: the few sets of pieces that might do are found impossible."""
    sets = list(_sets(relaxation, count, cost_um, deadline))
    return len(sets) <= MOST_SETS and all(
        pieces is not None and _impossible(relaxation.bays.task.only_on(pieces), deadline) for pieces in sets
    )


def _sets(relaxation: Relaxation, count: int, cost_um: int, deadline: float) -> Iterator[frozenset[int] | None]:
    """The sets of so many pieces on which a plan may cost less, one more at most than are tried; None: unknown ones."""
    waiting = [Branch(fewest=count, most=count)]
    found = 0
    for _ in range(NODES):
        if not waiting or found > MOST_SETS:
            return
        branch = waiting.pop()
        bound = relaxation.solve(deadline, stop_um=cost_um, branch=branch)
        if bound.um >= cost_um:
            continue
        if not bound.opened:
            break
        free = {piece: share for piece, share in bound.opened.items() if piece not in branch.fixed}
        if free:
            piece = min(free, key=lambda piece: (abs(free[piece] - 0.5), piece))
            waiting += [replace(branch, fixed={**branch.fixed, piece: choice}) for choice in (False, True)]
        else:
            found += 1
            yield frozenset(piece for piece, opened in branch.fixed.items() if opened)
    yield None


def _impossible(task: Task, deadline: float) -> bool:
    """Whether exact search finds that the strips cannot all lie on the task's pieces, a repeat along left out."""
    seconds = min(10.0, deadline - time.monotonic())
    return seconds > 0 and Search(task, phased=False).run(Effort(seconds=seconds, work=WORK)).status == "none"
