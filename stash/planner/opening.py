"""Which pieces to open: for each number of pieces what a plan costs at least, and whether there can be one at all."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

from stash.planner.asking import Effort
from stash.planner.master import WHOLE, Branch
from stash.planner.price import Weights
from stash.planner.relaxation import Relaxation
from stash.planner.search import Search
from stash.planner.task import Cut, Task
from stash.planner.thrift import WIDE_UM, ask_thrifty, join_step_um

NODES = 60
"""Branches looked at while the sets of pieces are listed on which a cheaper plan may be."""

MOST_SETS = 3
"""With more sets than these for one number of pieces, none of them is ruled out."""

WORK = 0.5
"""Deterministic seconds of exact search a set: some two seconds of a laptop."""

JOINS_WORK = 0.3
"""The same for each price of the joins: what is not known by then is seldom known soon."""

SOON_WORK = 0.3
"""The same for the cheapest plan on the pieces of a choice with the fewest joins there may be: where there is one, it
is found in a tenth of that, or not for long."""


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
    """The choices with what exact search knows better: a plan that opens so many pieces costs as much as the joins that
    it takes at least, or, where there is none, no less than ``cost_um``. The cheapest is tried first."""
    inside = dict(enumerate(choices.inside))
    tried: set[int] = set()
    while time.monotonic() < deadline:
        index = min(inside, key=lambda index: (inside[index].least_um, index), default=-1)
        if index < 0 or index in tried or inside[index].least_um >= min(cost_um, choices.outside_um):
            break
        tried.add(index)
        inside[index] = _better_known(relaxation, inside[index], cost_um, deadline)
    return replace(choices, inside=tuple(inside.values()))


def _better_known(relaxation: Relaxation, choice: Choice, cost_um: int, deadline: float) -> Choice:
    """The choice, and what its plans cost where all sets of pieces that might do are few and each is known better."""
    sets = list(_sets(relaxation, choice.count, cost_um, deadline))
    known = [pieces for pieces in sets if pieces is not None]
    if len(sets) > MOST_SETS or len(known) < len(sets):
        return choice
    least_um = cost_um
    for pieces in known:
        if least_um <= choice.least_um:
            return choice
        least_um = min(least_um, _least_on(relaxation, replace(choice, pieces=pieces), cost_um, deadline))
    return replace(choice, least_um=max(choice.least_um, least_um))


def _least_on(relaxation: Relaxation, choice: Choice, cost_um: int, deadline: float) -> int:
    """What a plan on just these pieces costs at least (um; ``cost_um``: that or more, or there is none): asked is first
    whether any strips lie there at all, then with joins for so much more each time."""
    task, weights = relaxation.bays.task.only_on(choice.pieces), relaxation.bays.weights
    if _impossible(task, deadline):
        return cost_um
    step_um = join_step_um(task, weights) if weights else 0
    if weights is None or not step_um:
        return choice.least_um
    opening_um = choice.count * weights.piece_um
    joins_um = first_um = max(0, choice.least_um - opening_um) // step_um * step_um
    while opening_um + joins_um < cost_um and _not_with(task, weights, joins_um, deadline):
        joins_um += step_um
    return min(cost_um, opening_um + joins_um) if joins_um > first_um else choice.least_um


def _not_with(task: Task, weights: Weights, joins_um: int, deadline: float) -> bool:
    """Whether exact search finds that the strips cannot lie on the task's pieces with joins for no more than that."""
    seconds = min(10.0, deadline - time.monotonic())
    effort = Effort(seconds=seconds, work=JOINS_WORK)
    return seconds > 0 and ask_thrifty(task, weights, joins_um, effort, slack_um=WIDE_UM).status == "none"


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


def few_joins(task: Task, weights: Weights, choice: Choice, deadline: float) -> tuple[Cut, ...]:
    """A plan on the pieces of a choice with joins for no more than its least plan has room for (none: not found so
    soon). Only asked where the print repeats along: strips that need not go on in it are laid as if it did not."""
    seconds = min(10.0, deadline - time.monotonic())
    if task.period_nm is None or seconds <= 0:
        return ()
    step_um = join_step_um(task, weights)
    joins_um = max(0, choice.least_um - choice.count * weights.piece_um) // step_um * step_um if step_um else 0
    effort = Effort(seconds=seconds, work=SOON_WORK)
    return ask_thrifty(task.only_on(choice.pieces), weights, joins_um, effort, least=True).cuts
