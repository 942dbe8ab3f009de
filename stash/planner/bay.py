"""Bays: lanes that all pass over one place, so that no two cuts in them lie abreast; a bay is filled like one lane."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise

from stash.planner.lanes import Run

Bay = tuple[int, ...]


def find_bays(runs: Sequence[Run], wanted: Sequence[int]) -> list[Bay]:
    """Each wanted run in one bay; of two ways to part a piece, the one that promises less room.

    Bands of lanes are intervals, so the fewest bays are as many as lanes that can be cut side by side (interval graphs
    are perfect: Golumbic, Algorithmic Graph Theory and Perfect Graphs, 1980); a sweep from either side finds as few.
    """
    by_piece: dict[int, list[int]] = defaultdict(list)
    for run in wanted:
        by_piece[runs[run].piece].append(run)
    bays: list[Bay] = []
    for members in by_piece.values():
        ways = (
            list(_swept(runs, members, lambda run: (run.left_um, run.right_um))),
            list(_swept(runs, members, lambda run: (-run.right_um, -run.left_um))),
        )
        bays += min(ways, key=lambda way: sum(room_um(runs, bay) for bay in way))
    return bays


def abreast_um(runs: Sequence[Run], bays: Sequence[Bay]) -> int:
    """No more than this is laid into some bays of a piece together: at every place along their lanes no more cuts than
    lie abreast there without overlapping (the most disjoint intervals: those that end first are taken first)."""
    lanes = sorted((run for bay in bays for run in bay), key=lambda run: (runs[run].right_um, run))
    places = sorted({place for run in lanes for place in (runs[run].start_um, runs[run].end_um)})
    total = 0
    for low, high in pairwise(places):
        edge: int | None = None
        for lane in (runs[run] for run in lanes):
            if lane.start_um <= low < lane.end_um and (edge is None or lane.left_um >= edge):
                edge = lane.right_um
                total += high - low
    return total


def crowded(runs: Sequence[Run], bays: Sequence[Bay]) -> Iterator[tuple[tuple[int, ...], int]]:
    """Neighbours among the bays of a piece that take less together than apart, and how much (um)."""
    order = sorted(range(len(bays)), key=lambda bay: (min(runs[run].left_um for run in bays[bay]), bay))
    most = {(at, at + 1): room_um(runs, bays[bay]) for at, bay in enumerate(order)}
    for many in range(2, len(order) + 1):
        for first in range(len(order) - many + 1):
            last = first + many
            apart = min(most[first, at] + most[at, last] for at in range(first + 1, last))
            together = abreast_um(runs, [bays[bay] for bay in order[first:last]])
            most[first, last] = min(apart, together)
            if together < apart:
                yield tuple(sorted(order[first:last])), together


def room_um(runs: Sequence[Run], bay: Bay) -> int:
    """No more than this is laid into a bay: its lanes' stretches together, which are connected."""
    return max(runs[r].end_um for r in bay) - min(runs[r].start_um for r in bay)


def together_um(runs: Sequence[Run], lanes: Iterable[int]) -> int:
    """No more than this is laid into some lanes of a bay: what their stretches cover."""
    total, reached = 0, None
    for start, end in sorted((runs[run].start_um, runs[run].end_um) for run in lanes):
        total += max(0, end - (start if reached is None else max(start, reached)))
        reached = end if reached is None else max(reached, end)
    return total


def _swept(runs: Sequence[Run], members: Sequence[int], band: Callable[[Run], tuple[int, int]]) -> Iterator[Bay]:
    """Swept over: the lane that ends first, and all that pass over its end beside some of its length."""
    left = sorted(members, key=lambda run: (band(runs[run])[1], run))
    while left:
        edge = band(runs[left[0]])[1]
        over = [run for run in left if band(runs[run])[0] < edge]
        bay = _connected(runs, left[0], over)
        yield bay
        left = [run for run in left if run not in bay]


def _connected(runs: Sequence[Run], first: int, over: Sequence[int]) -> Bay:
    """Of lanes that pass over one place those whose stretches hang together with the first one's."""
    low, high = runs[first].start_um, runs[first].end_um
    bay = {first}
    while more := [r for r in over if r not in bay and runs[r].start_um < high and runs[r].end_um > low]:
        bay.update(more)
        low, high = min(runs[r].start_um for r in bay), max(runs[r].end_um for r in bay)
    return tuple(sorted(bay))
