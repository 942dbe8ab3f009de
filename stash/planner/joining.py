"""The last two segments of a strip laid together, for what the print asks of one depends on where the other lies.

Where the print repeats along the stripe, the second segment must begin where that of the first leaves off. Between the
end of what lies before the first in its lane and the beginning of the second so much is lost, less than a repeat,
however the length is shared out; how much depends on the two lanes and on which of the cuts in them come first.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stash.planner.spot import LATE, TIGHT, Ask, Spot, crowding, first_at_or_after, starts
from stash.planner.stretch import Stretch
from stash.planner.table import Table

MOST_FIRST = 16
"""Stretches tried for the segment before the last; any of them, where there are more."""

MOST_LAST = 3
"""Stretches tried for the last segment beside each, the shortest first: of those that are long enough, and of those
that are so by a useful length."""


@dataclass(frozen=True, slots=True)
class Two:
    """Two places, what cuts there add to the cost, joins apart (um), and how that scores beside others."""

    spots: tuple[Spot, Spot]
    price_um: int
    score: float


def best_two(
    table: Table, one: Ask, last: Ask, runs: tuple[int, ...], dice: random.Random | None, waver_um: float
) -> Two | None:
    """The two places that score least, or None. They are in lanes that do not overlap."""
    need = one.need
    least = need.shortest_um + need.seams_um
    rooms = [s for run in table.with_room(runs, least) for s in table.stretches(run) if s.room_um >= least]
    rooms.sort(key=lambda stretch: stretch.room_um)
    sizes = [stretch.room_um for stretch in rooms]
    total = need.length_um - one.done_um + one.fixed_um + last.fixed_um
    firsts = [at for at, size in enumerate(sizes) if size + sizes[-1] >= total]
    if len(firsts) > MOST_FIRST:
        firsts = dice.sample(firsts, MOST_FIRST) if dice is not None else firsts[-MOST_FIRST:]
    floors = [_least_added_um(table, stretch.run) for stretch in rooms]
    noise = [waver_um * dice.random() if dice is not None else 0.0 for _ in rooms]
    best, best_score = None, math.inf
    for first in firsts:
        for second in _beside(table, rooms, sizes, first, total):
            floor, score = floors[first] + floors[second], noise[first] + noise[second]
            if _twice(table, rooms[first].run, rooms[second].run):
                floor -= table.weights.piece_um
            if floor + score >= best_score:
                continue
            found = _joined(table, one, last, rooms[first], rooms[second])
            if found is None:
                continue
            score += found.score
            for spot in found.spots:
                score += crowding(table, spot, best_score - score) if score < best_score else 0.0
            if score < best_score:
                best, best_score = found, score
    return best


def _beside(table: Table, rooms: Sequence[Stretch], sizes: Sequence[int], first: int, total_um: int) -> Iterator[int]:
    """The stretches to try for the last segment beside that one."""
    clashing, tried = table.clashes[rooms[first].run], -1
    for useful_um in (0, table.weights.useful_um):
        left = MOST_LAST
        for at in range(max(tried + 1, bisect_left(sizes, total_um + useful_um - sizes[first])), len(rooms)):
            if rooms[at].run not in clashing:
                yield at
                tried, left = at, left - 1
            if not left:
                break


def _joined(table: Table, one: Ask, last: Ask, here: Stretch, there: Stretch) -> Two | None:
    """The segments in two stretches, in the order of what lies there that costs least."""
    left = one.need.length_um - one.done_um
    period = table.task.period_nm if one.need.phased else None
    low = one.low_um(there)
    shift = one.lead_um - last.lead_um + one.origin_um(table, there) - one.origin_um(table, here)
    spare = here.room_um + there.room_um - left - one.fixed_um - last.fixed_um
    least = max(one.least_um, left + last.fixed_um - there.room_um)
    best: tuple[float, int, tuple[int, int, int], tuple[int, int, int]] | None = None
    for start, late, before in starts(table, one, here):
        most = one.longest_um(here.room_um - late)
        if most < least:
            continue
        base, gap = start + shift + most, 0
        for taken, behind in there.ways():
            at = low + taken
            if period is not None:
                if (base - at) * 1000 % period > 1000 * spare + 500:
                    continue
                gap = first_at_or_after(base, at, period) - at
            if left - most + gap + last.fixed_um > there.room_um:
                continue
            for begin, value in _shares(one, start, most, least, gap):
                first, second = value + one.fixed_um, left - value + last.fixed_um
                price = _added_um(table, here.run, first, there.run, second)
                score = price + TIGHT * (here.room_um + there.room_um - first - second) + LATE * (late + gap)
                if best is None or score < best[0]:
                    wait = max(0, gap - (start + most - begin - value))
                    best = score, price, (begin, value, before), (at + wait, left - value, behind)
    if best is None:
        return None
    score, price, mine, others = best
    return Two((one.spot(here, *mine), last.spot(there, *others)), price, score)


def _shares(one: Ask, start: int, most: int, least: int, gap: int) -> Iterator[tuple[int, int]]:
    """Where the first segment begins and how long it is: as long as may be, with the gap behind it in place of before
    the second, or as short as may be."""
    yield start, most
    if one.need.hides:
        return
    if gap and most - gap >= least:
        yield start, most - gap
    if one.phase is None and most - gap > least:
        yield start + most - gap - least, least


def _added_um(table: Table, run: int, size_um: int, other: int, other_um: int) -> int:
    """What two cuts on runs that differ add to the cost."""
    added_um = table.added_um(run, size_um) + table.added_um(other, other_um)
    return added_um - table.weights.piece_um if _twice(table, run, other) else added_um


def _least_added_um(table: Table, run: int) -> int:
    """What any cut on the run adds to the cost at least."""
    return (0 if table.opened(table.pieces[run]) else table.weights.piece_um) - table.lost_um(run)


def _twice(table: Table, run: int, other: int) -> bool:
    """Whether two cuts would each be told to open the piece that both lie on."""
    return table.pieces[run] == table.pieces[other] and not table.opened(table.pieces[run])
