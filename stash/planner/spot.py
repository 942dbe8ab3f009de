"""Where a segment may begin in a stretch of a lane, and how long it may be there, so that the print runs on.

A strip that is laid turned is reckoned with in a mirror, where it runs along d like all others.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from stash.planner.stretch import Stretch
from stash.planner.table import Table
from stash.planner.task import Need

TIGHT = 0.02
"""um of cost that a um of room left beside a cut counts for: between places that cost the same the snug one."""

SPREAD = 0.05
"""um of cost for a um of room that a cut takes from lanes that overlap its own: cuts lie close to each other."""

LATE = 0.3
"""um of cost for a um left free before a cut whose place in the print is given."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One place for a segment: where it begins in the stretch, its finished and its cut length (um), and which of the
    cuts that lie there come before it (bits)."""

    stretch: Stretch
    start_um: int
    value_um: int
    size_um: int
    before: int


@dataclass(frozen=True, slots=True)
class Ask:
    """What a segment is to be: its finished length from ``least`` to ``most``, the rest of its cut length, and where
    the print must stand at its finished start (None: anywhere). ``joined``: a join follows ``done`` and its length."""

    need: Need
    fixed_um: int
    lead_um: int
    least_um: int
    most_um: int
    done_um: int
    joined: bool
    turned: bool
    phase: int | None

    def longest_um(self, room_um: int) -> int:
        """The longest finished length in so much room that ends where a join may lie."""
        value = min(self.most_um, room_um - self.fixed_um)
        return self.need.longest_um(self.done_um, value) if self.joined else value

    def origin_um(self, table: Table, stretch: Stretch) -> int:
        """Where the print begins on the stretch's piece, in the mirror."""
        origin = table.origins[stretch.run]
        return -origin if self.turned else origin

    def low_um(self, stretch: Stretch) -> int:
        """Where the stretch begins, in the mirror."""
        return -stretch.high_um if self.turned else stretch.low_um

    def spot(self, stretch: Stretch, start_um: int, value_um: int, before: int) -> Spot:
        """A place in the mirror as it is on the cloth."""
        size_um = value_um + self.fixed_um
        if self.turned:
            start_um, before = -(start_um + size_um), stretch.all_cuts - before
        return Spot(stretch, start_um, value_um, size_um, before)


def ask_for(need: Need, number: int, count: int, done_um: int, turned: bool, phase: int | None) -> Ask:
    """What the next of ``count`` segments is to be, after so much of the strip that starts at such a phase (in the
    mirror)."""
    more, left = count - number - 1, need.length_um - done_um
    head = need.head_um if number == 0 else 0
    fixed = need.seams_um + head + (need.tail_um if more == 0 else 0)
    lead = round(need.strip.seam_mm * 1000) + head
    least = left if more == 0 else need.shortest_um
    most = left - more * need.shortest_um
    if count > 1 and left < need.shortest_um:
        most = least - 1
    return Ask(need, fixed, lead, least, most, done_um, more > 0, turned, None if phase is None else phase + done_um)


def starts(table: Table, ask: Ask, stretch: Stretch) -> Iterator[tuple[int, int, int]]:
    """Where a segment may begin in the mirror, how much is left free before it, and which cuts come before (bits)."""
    period, low = table.task.period_nm, ask.low_um(stretch)
    for taken_um, before in stretch.ways():
        at = start = low + taken_um
        if ask.phase is not None and period is not None:
            start = first_at_or_after(ask.origin_um(table, stretch) + ask.phase - ask.lead_um, at, period)
        if start - at <= stretch.room_um:
            yield start, start - at, before


def crowding(table: Table, spot: Spot, most: float) -> float:
    """What counts for the room that a cut there takes from lanes that overlap its own, as far as ``most``."""
    run = spot.stretch.run
    if len(table.clashes[run]) == 1:
        return 0.0
    return SPREAD * table.blocked_um(run, spot.start_um, spot.start_um + spot.size_um, most / SPREAD)


def first_at_or_after(base_um: int, low_um: int, period_nm: int) -> int:
    """The first base + k·period at or after low, rounded once."""
    k = -((base_um - low_um) * 1000 // period_nm)
    start = base_um + round(k * period_nm / 1000)
    return start if start >= low_um else base_um + round((k + 1) * period_nm / 1000)
