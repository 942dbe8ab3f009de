"""Strips that keep step with a repeat along the stripe: how far apart two of them start, in whole repeats.

Strips of a group start at the same place in the repeat, so that from one to the next on the same stretch of cloth there
are whole repeats, and never less than the first one's length: its length is as good as rounded up. That follows from
what the search is told anyway, but it does not see it by steps of a micrometre.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Any, NamedTuple

from stash.planner.task import Need, Task


class Laid(NamedTuple):
    """A strip in one length: ``here[run]`` says that it lies there, ``start[run]`` where."""

    need: Need
    here: Mapping[int, Any]
    start: Mapping[int, Any]


def keep_in_step(model: Any, task: Task, laid: Sequence[Laid], ways: Mapping[str, Any], slack_nm: int) -> None:
    """Tell the model how far apart strips of a group start where they lie one after the other.

    ``ways`` is the literal that a group is turned, or a constant; ``slack_nm`` is how far a phase may stand from that
    of its group.
    """
    clashing: dict[int, set[int]] = defaultdict(set)
    for clique in task.cliques:
        for run in clique.runs:
            clashing[run].update(clique.runs)
    groups: dict[str, list[Laid]] = defaultdict(list)
    for strip in laid:
        groups[strip.need.group].append(strip)
    for group, members in groups.items():
        for one, other in combinations(members, 2):
            _apart(model, task, one, other, clashing, ways[group], slack_nm)


def _apart(
    model: Any, task: Task, one: Laid, other: Laid, clashing: Mapping[int, set[int]], way: Any, slack_nm: int
) -> None:
    first = model.new_bool_var("")
    for turned in one.need.turns:
        turn = [] if len(one.need.turns) == 1 else [way if turned else way.negated()]
        after = steps_um(task, one.need, other.need, turned, slack_nm)
        before = steps_um(task, other.need, one.need, turned, slack_nm)
        for run in one.need.runs[turned]:
            for there in clashing[run].intersection(other.need.runs[turned]) | ({run} & set(other.need.runs[turned])):
                when = [one.here[run], other.here[there], *turn]
                gap = other.start[there] - one.start[run]
                model.add(gap >= after).only_enforce_if([*when, first])
                model.add(-gap >= before).only_enforce_if([*when, first.negated()])


def steps_um(task: Task, one: Need, other: Need, turned: bool, slack_nm: int) -> int:
    """How far after the one the other starts at least, where both show the print alike and lie on the same stretch."""
    assert task.period_nm is not None
    shift_nm = 1000 * (_lead_um(other, turned) - _lead_um(one, turned))
    laps = -((2 * slack_nm - 1000 * one.whole_um - shift_nm) // task.period_nm)
    return max(one.whole_um, -((2 * slack_nm + shift_nm - laps * task.period_nm) // 1000))


def _lead_um(need: Need, turned: bool) -> int:
    """How far from the lower end of its cut the finished strip's phase is told."""
    lead = round(need.strip.seam_mm * 1000) + need.head_um
    return need.whole_um - lead if turned else lead
