"""Lay one strip on the table where it costs least: whole, or in as many segments as it may have."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from stash.planner.table import Table
from stash.planner.task import Cut, Need

GREED = 0.5
"""um of cost that a um of finished length is worth, where a segment may be longer or shorter."""

TIGHT = 0.02
"""um of cost that a um of room left beside a cut counts for: between places that cost the same the snug one."""

SPREAD = 0.05
"""um of cost for a um of room that a cut takes from lanes that overlap its own: cuts lie close to each other."""

LATE = 0.3
"""um of cost for a um left free before a cut whose place in the print is given."""


@dataclass(frozen=True, slots=True)
class _Spot:
    """One place for a segment."""

    run: int
    start_um: int
    value_um: int


@dataclass(frozen=True, slots=True)
class _Ask:
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


class Hand:
    """Lays strips. Without dice every choice is the best by reckoning; with dice it wavers."""

    def __init__(self, table: Table, dice: random.Random | None = None, waver: float = 0.3) -> None:
        self.table, self.dice, self.waver = table, dice, waver

    def lay(self, index: int) -> bool:
        """Lay the strip; False, with the table as it was, where no place is found."""
        table, need = self.table, self.table.task.needs[index]
        before = table.cost_um()
        best: tuple[float, tuple[Cut, ...]] | None = None
        join_um = table.weights.join_um(need.strip)
        for count in range(1, need.most + 1):
            if best is not None and best[0] <= (count - 1) * join_um:
                break
            for turned in self._ways(need):
                for runs in (need.runs[turned],) if count == 1 else table.kinds(index, turned):
                    cuts = self._in_segments(index, need, runs, count, turned)
                    if cuts is None:
                        continue
                    price = table.cost_um() - before
                    for cut in cuts:
                        table.lift(cut)
                    if best is None or price < best[0]:
                        best = (price, cuts)
        if best is None:
            return False
        for cut in best[1]:
            table.put(cut)
        first = best[1][0]
        table.keep(index, best[1], self.phase_of(need, first) if need.phased else None)
        return True

    def _ways(self, need: Need) -> tuple[bool, ...]:
        settled = self.table.way(need)
        if settled is not None:
            return (settled,)
        if len(need.turns) > 1 and self.dice is not None and self.dice.random() < 0.5:
            return tuple(reversed(need.turns))
        return need.turns if not need.phased else need.turns[:1]

    def _in_segments(
        self, index: int, need: Need, runs: tuple[int, ...], count: int, turned: bool
    ) -> tuple[Cut, ...] | None:
        """The strip laid in ``count`` segments, or None with the table as it was."""
        left, phase = need.length_um, self.table.phase(need)
        seam_um = round(need.strip.seam_mm * 1000)
        cuts: list[Cut] = []
        for segment in range(count):
            more = count - segment - 1
            head = need.head_um if segment == 0 else 0
            fixed = need.seams_um + head + (need.tail_um if more == 0 else 0)
            least = left if more == 0 else need.shortest_um
            most = left if more == 0 else left - more * need.shortest_um
            if count > 1 and left < need.shortest_um:
                most = least - 1
            done = need.length_um - left
            at = None if phase is None or not need.phased else phase + (-done if turned else done)
            ask = _Ask(need, fixed, seam_um + head, least, most, done, more > 0, turned, at)
            spot = self._best(ask, runs) if most >= least else None
            if spot is None:
                for cut in cuts:
                    self.table.lift(cut)
                return None
            cut = Cut(need=index, segment=segment, run=spot.run, start_um=spot.start_um,
                      size_um=spot.value_um + fixed, finished_um=spot.value_um, turned=turned)  # fmt: skip
            self.table.put(cut)
            cuts.append(cut)
            left -= spot.value_um
            if need.phased and phase is None:
                phase = self.phase_of(need, cut)
        return tuple(cuts)

    def phase_of(self, need: Need, first: Cut) -> int:
        """The finished start of a strip, um past the origin of the print on its piece."""
        lead = round(need.strip.seam_mm * 1000) + need.head_um
        return (first.end_um - lead if first.turned else first.start_um + lead) - self.table.origins[first.run]

    def _best(self, ask: _Ask, runs: tuple[int, ...]) -> _Spot | None:
        """The place that scores least. What can only add to the score is reckoned last, and for few places."""
        table, dice = self.table, self.dice
        least, whole, phased = ask.least_um + ask.fixed_um, ask.least_um == ask.most_um, ask.need.phased
        waver = table.weights.useful_um * self.waver
        best, best_score = None, math.inf
        for run in table.with_room(runs, least):
            base = table.added_um(run, least) if whole else -table.lost_um(run)
            for low, high in table.gaps(run):
                room = high - low
                if room < least:
                    continue
                score = waver * dice.random() if dice is not None else 0.0
                if whole:
                    score += base + TIGHT * (room - least)
                    if score >= best_score:
                        continue
                elif score + base - GREED * min(ask.most_um, room - ask.fixed_um) >= best_score:
                    continue
                start, value = low, ask.most_um
                if not whole or phased:
                    placed = self._within(ask, run, low, high)
                    if placed is None:
                        continue
                    start, value = placed
                    score += LATE * (start - low) if phased else 0.0
                size = value + ask.fixed_um
                if not whole:
                    score += table.added_um(run, size) + TIGHT * (room - size) - GREED * value
                if score < best_score and len(table.clashes[run]) > 1:
                    score += SPREAD * table.blocked_um(run, start, start + size, (best_score - score) / SPREAD)
                if score < best_score:
                    best, best_score = _Spot(run, start, value), score
        return best

    def _within(self, ask: _Ask, run: int, low: int, high: int) -> tuple[int, int] | None:
        """Start and finished length within a gap, as long as may be."""
        base = self.table.origins[run] + (ask.phase or 0)
        period = self.table.task.period_nm
        down = ask.turned
        if ask.phase is None or period is None:
            down = ask.need.phased and self.dice is not None and self.dice.random() < 0.3
        elif ask.turned:
            least_end = low + ask.least_um + ask.fixed_um
            high_end = -first_at_or_after(-base - ask.lead_um, -high, period)
            snug = first_at_or_after(base + ask.lead_um, least_end, period)
            high = min(high_end, snug) if ask.most_um == ask.least_um else high_end
        else:
            low = first_at_or_after(base - ask.lead_um, low, period)
        value = min(ask.most_um, high - low - ask.fixed_um)
        if ask.joined and ask.need.hides:
            value = ask.need.longest_um(ask.done_um, value)
        if value < ask.least_um:
            return None
        return (high - value - ask.fixed_um if down else low), value


def first_at_or_after(base_um: int, low_um: int, period_nm: int) -> int:
    """The first base + k·period at or after low, rounded once."""
    k = -((base_um - low_um) * 1000 // period_nm)
    start = base_um + round(k * period_nm / 1000)
    return start if start >= low_um else base_um + round((k + 1) * period_nm / 1000)
