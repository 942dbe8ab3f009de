"""Ruin and recreate: take some strips off the table, lay them anew, and keep what is no worse.

After Schrimpf, Schneider, Stamm-Wilbrandt, Dueck, "Record breaking optimization results using the ruin and recreate
principle", J. Comput. Phys. 159 (2000), with the record-to-record acceptance of Dueck, J. Comput. Phys. 104 (1993).
It finds plans and cheaper plans; it proves nothing. The same task gives the same plan, whatever the machine.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from stash.planner.halt import Ended, how
from stash.planner.laying import Hand
from stash.planner.price import Weights
from stash.planner.table import Kept, Table
from stash.planner.task import Cut, Task

SEED = 20240229

PENALTY = 20
"""um of cost for a um of cut length that does not lie on the table."""

SLACK = 0.02
"""Ratio. How much worse than the best a table may be to go on from, at first; it falls to nothing."""

UNJOINING = 0.25
"""The share of rounds in which a joined strip is to be laid whole."""

LANES = 0.4
"""The share of rounds in which some lanes are cleared; in the rest any strips are taken away."""

CLOSING = 0.15
"""The share of rounds in which a whole piece is cleared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """The best table found: its cuts, and the strips that found no room. ``stopped``: before the end, and why."""

    cuts: tuple[Cut, ...]
    missing: tuple[int, ...]
    cost_um: int
    rounds: int
    stopped: Ended | None = None


def recreate(
    task: Task,
    weights: Weights,
    deadline: float,
    *,
    rounds: int,
    start: Sequence[Cut] = (),
    opened: frozenset[int] = frozenset(),
    enough: Callable[[int], bool] | None = None,
    patience: int | None = None,
    throw: int = 0,
    seen: Callable[[Mapping[int, tuple[Cut, ...]], int], None] | None = None,
) -> Laid:
    """The best of so many rounds. Stops at a plan whose cost ``enough`` accepts (None: at any plan), and where after
    ``patience`` rounds there still is no plan.

    ``opened`` pieces are cut into anyway; what they cost is not counted. Another ``throw`` of the dice is another
    search. ``seen`` is shown the cuts of every strip that lies on a table worth going on from, and what they cost.

    Raises:
        KeyboardInterrupt: it was stopped before there was a plan; afterwards the best plan is returned.
    """
    dice = random.Random(SEED + throw)
    table = Table(task, weights, opened)
    works = _Works(table, dice)
    works.begin(start)
    best, best_score = table.kept(), works.score()
    current, current_score = best, best_score
    done = 0
    stopped: Ended | None = None
    try:
        for done in range(1, rounds + 1):
            missing = works.missing(best)
            if time.monotonic() > deadline or (not missing and _stop(best_score, enough)):
                break
            if missing and patience is not None and done > patience:
                break
            works.ruin()
            works.rebuild()
            score = works.score()
            if score <= best_score:
                best, best_score = table.kept(), score
            if score <= current_score or score <= best_score * (1 + SLACK * (1 - done / rounds)):
                current, current_score = table.kept(), score
                if seen is not None:
                    seen(table.cuts, table.cost_um())
            else:
                table.restore(current)
    except KeyboardInterrupt as interruption:
        if works.missing(best):
            raise
        stopped = how(interruption)
    cuts = tuple(cut for need in sorted(best.cuts) for cut in best.cuts[need])
    return Laid(cuts=cuts, missing=works.missing(best), cost_um=best_score, rounds=done, stopped=stopped)


def _stop(cost_um: int, enough: Callable[[int], bool] | None) -> bool:
    return enough is None or enough(cost_um)


class _Works:
    """The two halves of a round."""

    def __init__(self, table: Table, dice: random.Random) -> None:
        self.table, self.dice, self.task = table, dice, table.task
        self.sizes = [need.whole_um for need in table.task.needs]
        self.dear = [table.weights.join_um(need.strip) for need in table.task.needs]
        self.lanes = sorted({run for need in table.task.needs for run in need.all_runs})

    def begin(self, start: Sequence[Cut]) -> None:
        """The table as told, or laid longest first."""
        by_need: dict[int, list[Cut]] = {}
        for cut in start:
            by_need.setdefault(cut.need, []).append(cut)
        hand = Hand(self.table)
        for index, cuts in by_need.items():
            need = self.task.needs[index]
            mine = tuple(sorted(cuts, key=lambda c: c.segment))
            for cut in mine:
                self.table.put(cut)
            self.table.keep(index, mine, hand.phase_of(need, mine[0]) if need.phased else None)
        for index in sorted(self.missing(), key=lambda i: (-self.sizes[i], i)):
            hand.lay(index)

    def missing(self, kept: Kept | None = None) -> tuple[int, ...]:
        """The strips that do not lie on the table."""
        cuts = self.table.cuts if kept is None else kept.cuts
        return tuple(index for index in range(len(self.task.needs)) if index not in cuts)

    def score(self) -> int:
        """Cost, and a price on what does not lie on the table."""
        return self.table.cost_um() + PENALTY * sum(self.sizes[index] for index in self.missing())

    def ruin(self) -> None:
        """Take some strips away: those of a piece, of a few lanes, any few, or what keeps a strip from lying whole."""
        table, dice = self.table, self.dice
        lying = sorted(table.cuts)
        if not lying:
            return
        many = dice.randint(1, max(2, len(lying) // 4))
        kind = dice.random()
        if kind < CLOSING:
            piece = dice.choice([p for p in range(len(self.task.pieces)) if table.opened(p)])
            gone = table.on_piece(piece)
            dice.shuffle(gone)
            gone = gone[: max(many, len(lying) // 3)]
        elif kind < CLOSING + UNJOINING and (joined := [n for n in lying if len(table.cuts[n]) > 1]):
            gone = self._unjoined(joined)
        elif kind < CLOSING + UNJOINING + LANES:
            gone = self._of_lanes(dice.randint(1, 3))
        else:
            gone = dice.sample(lying, min(many, len(lying)))
        touched: set[int] = set()
        for index in dict.fromkeys(gone):
            if self.task.needs[index].phased and dice.random() < 0.7:
                gone = [*gone, *self._partners(index)]
        for index in dict.fromkeys(gone):
            if index in table.cuts:
                touched.update(cut.run for cut in table.clear(index))
        near = {other for run in touched for other in table.clashes[run]}
        table.push_together(near)

    def _partners(self, index: int) -> list[int]:
        group = self.task.needs[index].group
        return [other for other in self.table.cuts if self.task.needs[other].group == group]

    def _of_lanes(self, count: int) -> list[int]:
        """The strips of some used lanes, those that lose an end more often than others."""
        table, dice = self.table, self.dice
        used = [run for run in self.lanes if table.on_run(run)]
        weights = [1.0 + table.lost_um(run) / 10_000 for run in used]
        chosen = dice.choices(used, weights, k=min(count, len(used)))
        return [need for run in chosen for need in table.on_run(run)]

    def _unjoined(self, joined: Sequence[int]) -> list[int]:
        """A joined strip, the dear ones more often than others, and what lies in a lane that may take it whole."""
        table, dice = self.table, self.dice
        prices = [self.dear[n] * (len(table.cuts[n]) - 1) for n in joined]
        (index,) = dice.choices(joined, prices)
        need = self.task.needs[index]
        room = [run for run in need.all_runs if self.task.runs[run].length_um >= need.whole_um]
        room = room or list(need.all_runs)
        lanes = dice.sample(room, min(len(room), dice.randint(1, 2)))
        return [index, *(other for lane in lanes for run in table.clashes[lane] for other in table.on_run(run))]

    def rebuild(self) -> None:
        """Lay what is missing, the long ones first more or less."""
        dice = self.dice
        noise = dice.choice((0.0, 0.2, 0.6, 2.0))
        keys = {index: self.sizes[index] * (1 + noise * dice.random()) for index in self.missing()}
        hand = Hand(self.table, dice, dice.choice((0.0, 0.1, 0.5)))
        joined_last = dice.choices((self._alike, self._joinable, self._cheap), (2, 1, 2))[0]
        for index in sorted(keys, key=lambda i: (joined_last(i), -keys[i], i)):
            hand.lay(index)

    def _alike(self, index: int) -> int:
        del index
        return 0

    def _joinable(self, index: int) -> int:
        return int(self.task.needs[index].most > 1)

    def _cheap(self, index: int) -> int:
        """Strips that may be joined after those that may not, and the cheaper the join the later."""
        return -self.dear[index] if self.task.needs[index].most > 1 else -(1 << 40)
