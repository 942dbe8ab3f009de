"""The exact search with few joins: which strips may be joined, and what all joins together may cost.

A strip that is not joined, and starts nowhere in particular, may lie anywhere in the repeat along the stripe; so a plan
of few joins is soon found, or soon known not to be, where one of many is neither.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from stash.planner.asking import Effort, Outcome
from stash.planner.phase import SLACK_UM, PhaseSearch
from stash.planner.price import Weights
from stash.planner.search import Search, lost_end
from stash.planner.stance import Stance
from stash.planner.task import Task

WIDE_UM: Final = SLACK_UM[Stance.GENEROUS]
"""How far a segment may stand from where the print of its strip puts it (um), where it is asked whether there is any
plan at all: farther than in any plan that passes the audit."""

MOST_REPEATS: Final = 3000
"""Repeats to choose from, all segments together, up to which it is asked: with more, nothing is known in time."""

FEW_REPEATS: Final = 1200
"""The same for a cheap plan: where there were more, none was found so soon, and laying anew finds one in that time."""


def joins_up_to(task: Task, weights: Weights, joins_um: int) -> Task:
    """The same task, each strip in no more segments than joins of its own for so much allow."""
    members = Counter(need.group for need in task.needs)
    needs = []
    for need in task.needs:
        most = min(need.most, 1 + joins_um // weights.join_um(need.strip)) if need.most > 1 else 1
        alone = most == 1 and members[need.group] == 1 and task.start_um(need.group) is None
        needs.append(replace(need, most=most, phased=need.phased and not alone))
    return replace(task, needs=tuple(needs))


def join_step_um(task: Task, weights: Weights) -> int:
    """What joins cost together is a multiple of this (0: nothing may be joined)."""
    return math.gcd(*(weights.join_um(need.strip) for need in task.needs if need.most > 1))


def ask_thrifty(
    task: Task, weights: Weights, joins_um: int, effort: Effort, *, slack_um: int = 0, least: bool = False
) -> Outcome:
    """The strips on the task's pieces, with joins for at most ``joins_um`` together: found, none, or open.

    Where the print repeats along, each segment within ``slack_um`` of its place. Panels are left out. ``least``: with
    joins and lanes' ends for as little as is found within the effort.
    """
    thrifty = replace(joins_up_to(task, weights, joins_um), panels=())
    if not all(need.all_runs for need in thrifty.needs):
        return Outcome(status="none")
    search: Search | PhaseSearch
    if any(need.phased for need in thrifty.needs):
        search = PhaseSearch(thrifty, slack_um=slack_um)
        if search.choices > (FEW_REPEATS if least else MOST_REPEATS):
            return Outcome(status="open")
    else:
        search = Search(thrifty, phased=False)
    slots: Sequence[Sequence[Any]] = search.slots
    prices = [weights.join_um(need.strip) for need in thrifty.needs]
    joins = [price * slot.present for price, strip in zip(prices, slots, strict=True) for slot in strip[1:]]
    if joins:
        search.model.add(sum(joins) <= joins_um)
    if least:
        search.model.minimize(sum(joins) + sum(_lost_ends(search, slots, weights)))
    return search.run(effort)


def _lost_ends(search: Search | PhaseSearch, slots: Sequence[Sequence[Any]], weights: Weights) -> Iterator[Any]:
    for run, load in sorted(search.load.items()):
        here = [slot.here[run] for strip in slots for slot in strip if run in slot.here]
        yield lost_end(search.model, search.task, run, here, load, weights)
