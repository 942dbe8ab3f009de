"""Lay one strip on the table where it costs least: whole, or in as many segments as it may have."""

from __future__ import annotations

import math
import random

from stash.planner.joining import best_two
from stash.planner.spot import LATE, TIGHT, Ask, Spot, ask_for, crowding, starts
from stash.planner.stretch import Stretch
from stash.planner.table import Table
from stash.planner.task import Cut, Need

GREED = 0.5
"""um of cost that a um of finished length is worth, where a segment may be longer or shorter."""

DOWN = 0.3
"""The share of strips laid anywhere in the print that are laid from the far end of a stretch."""


class Hand:
    """Lays strips. Without dice every choice is the best by reckoning; with dice it wavers. ``together``: the last two
    segments of a strip whose print runs on are laid together, not one after another."""

    def __init__(
        self, table: Table, dice: random.Random | None = None, waver: float = 0.3, *, together: bool = True
    ) -> None:
        self.table, self.dice, self.together = table, dice, together
        self.waver_um = table.weights.useful_um * waver

    def lay(self, index: int) -> bool:
        """Lay the strip; False, with the table as it was, where no place is found."""
        table, need = self.table, self.table.task.needs[index]
        best: tuple[int, bool, tuple[Spot, ...]] | None = None
        join_um = table.weights.join_um(need.strip)
        for count in range(1, need.most + 1):
            if best is not None and best[0] <= (count - 1) * join_um:
                break
            for turned in self._ways(need):
                for runs in (need.runs[turned],) if count == 1 else table.kinds(index, turned):
                    found = self._in_segments(index, runs, count, turned)
                    if found is not None and (best is None or found[0] < best[0]):
                        best = (found[0], turned, found[1])
        if best is None:
            return False
        _, turned, spots = best
        cuts = tuple(self._put(index, number, turned, spot)[0] for number, spot in enumerate(spots))
        table.keep(index, cuts, self.phase_of(need, cuts[0]) if need.phased else None)
        return True

    def _ways(self, need: Need) -> tuple[bool, ...]:
        settled = self.table.way(need)
        if settled is not None:
            return (settled,)
        if len(need.turns) > 1 and self.dice is not None and self.dice.random() < 0.5:
            return tuple(reversed(need.turns))
        return need.turns if not need.phased else need.turns[:1]

    def _put(self, index: int, number: int, turned: bool, spot: Spot) -> tuple[Cut, list[Cut]]:
        """Lay a segment; gives it, and the cuts that made way for it as they lay."""
        cut = Cut(need=index, segment=number, run=spot.stretch.run, start_um=spot.start_um,
                  size_um=spot.size_um, finished_um=spot.value_um, turned=turned)  # fmt: skip
        moved = self.table.make_way(spot.stretch, spot.before, cut.start_um, cut.size_um)
        self.table.put(cut)
        return cut, moved

    def _in_segments(
        self, index: int, runs: tuple[int, ...], count: int, turned: bool
    ) -> tuple[int, tuple[Spot, ...]] | None:
        """What it costs to lay the strip in ``count`` segments, and where; the table stays as it was."""
        table, need = self.table, self.table.task.needs[index]
        phase = table.phase(need) if need.phased else None
        phase = -phase if phase is not None and turned else phase
        before, done = table.cost_um(), 0
        spots: list[Spot] = []
        laid: list[tuple[Cut, list[Cut]]] = []
        try:
            while len(spots) < count:
                ask = ask_for(need, len(spots), count, done, turned, phase)
                if ask.most_um < ask.least_um:
                    return None
                if self.together and need.phased and len(spots) == count - 2:
                    last = ask_for(need, count - 1, count, done, turned, None)
                    two = best_two(table, ask, last, runs, self.dice, self.waver_um)
                    if two is None:
                        return None
                    joins_um = table.weights.join_um(need.strip) * (2 if spots else 1)
                    return table.cost_um() - before + two.price_um + joins_um, (*spots, *two.spots)
                spot = self._best(ask, runs)
                if spot is None:
                    return None
                spots.append(spot)
                laid.append(self._put(index, len(laid), turned, spot))
                done += spot.value_um
                if need.phased and phase is None:
                    phase = self.phase_of(need, laid[0][0]) * (-1 if turned else 1)
            return table.cost_um() - before, tuple(spots)
        finally:
            for cut, moved in reversed(laid):
                table.lift(cut)
                table.move_back(moved)

    def phase_of(self, need: Need, first: Cut) -> int:
        """The finished start of a strip, um past the origin of the print on its piece."""
        lead = round(need.strip.seam_mm * 1000) + need.head_um
        return (first.end_um - lead if first.turned else first.start_um + lead) - self.table.origins[first.run]

    def _best(self, ask: Ask, runs: tuple[int, ...]) -> Spot | None:
        """The place that scores least. What can only add to the score is reckoned last, and for few places."""
        table, dice = self.table, self.dice
        least, whole = ask.least_um + ask.fixed_um, ask.least_um == ask.most_um
        best, best_score = None, math.inf
        for run in table.with_room(runs, least):
            base = table.added_um(run, least) if whole else -table.lost_um(run)
            for stretch in table.stretches(run):
                room = stretch.room_um
                if room < least:
                    continue
                score = self.waver_um * dice.random() if dice is not None else 0.0
                if whole:
                    score += base + TIGHT * (room - least)
                    if score >= best_score:
                        continue
                elif score + base - GREED * min(ask.most_um, room - ask.fixed_um) >= best_score:
                    continue
                placed = self._within(ask, stretch)
                if placed is None:
                    continue
                late, spot = placed
                score += LATE * late
                if not whole:
                    score += table.added_um(run, spot.size_um) + TIGHT * (room - spot.size_um) - GREED * spot.value_um
                score += crowding(table, spot, best_score - score) if score < best_score else 0.0
                if score < best_score:
                    best, best_score = spot, score
        return best

    def _within(self, ask: Ask, stretch: Stretch) -> tuple[int, Spot] | None:
        """The place in a stretch with the least left free before it, as long as may be there; and how much is."""
        if ask.phase is None:
            value = ask.longest_um(stretch.room_um)
            if value < ask.least_um:
                return None
            down = ask.need.phased and self.dice is not None and self.dice.random() < DOWN
            size = value + ask.fixed_um
            start = stretch.high_um - size if down else stretch.high_um - stretch.room_um
            return 0, Spot(stretch, start, value, size, stretch.all_cuts)
        best: tuple[int, int, int, int] | None = None
        for start, late, before in starts(self.table, ask, stretch):
            value = ask.longest_um(stretch.room_um - late)
            if value >= ask.least_um and (best is None or late < best[0]):
                best = late, start, value, before
        if best is None:
            return None
        return best[0], ask.spot(stretch, *best[1:])
