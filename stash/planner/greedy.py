"""First fit with restarts: a quick start for the search. It finds most of the plans there are; it proves nothing."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

from stash.planner.cost import cost_um
from stash.planner.price import Weights
from stash.planner.task import Cut, Need, Task

ROUNDS = 60
"""Orders tried before the search proper takes over."""

ENOUGH = 6
"""Plans found before the cheapest is taken."""

PHASED = 8
"""Times as many orders where the print repeats along the stripes: where a strip starts in the print matters, too."""

SEED = 20240229


def lay_greedily(
    task: Task, weights: Weights, deadline: float, rounds: int = ROUNDS, enough: int = ENOUGH
) -> list[Cut] | None:
    """The cheapest of ``enough`` plans for the strips of a task, or None where no order tried led to one."""
    dice = random.Random(SEED)
    order = sorted(range(len(task.needs)), key=lambda i: (len(task.needs[i].all_runs) == 0, -task.needs[i].whole_um, i))
    if any(not need.all_runs for need in task.needs):
        return None
    clashes = _clash_table(task)
    best: list[Cut] | None = None
    best_price = 0
    found = 0
    rounds *= PHASED if any(need.phased for need in task.needs) else 1
    for attempt in range(rounds):
        if time.monotonic() > deadline or found >= enough:
            break
        noise = 0.0 if attempt == 0 else 0.1 + 0.3 * dice.random()
        keys = {i: task.needs[i].whole_um * (1 + noise * (dice.random() - 0.5)) for i in order}
        singles_first = attempt % 2 == 0
        tried = sorted(order, key=lambda i: (singles_first and task.needs[i].most > 1, -keys[i], i))
        ways = _ways(task, dice, attempt)
        cuts = _Attempt(task, clashes, weights, ways, dice if attempt else None).lay(tried)
        if cuts is not None:
            found += 1
            price = cost_um(task, cuts, (), weights)
            if best is None or price < best_price:
                best, best_price = cuts, price
    return best


def _ways(task: Task, dice: random.Random, attempt: int) -> dict[str, bool]:
    """Which way round each group lies: unturned at first, then at random."""
    ways: dict[str, bool] = {}
    for need in task.needs:
        if need.group not in ways:
            ways[need.group] = attempt >= 10 and True in need.turns and dice.random() < 0.5
    return ways


def _clash_table(task: Task) -> list[list[int]]:
    table: list[set[int]] = [{index} for index in range(len(task.runs))]
    for clique in task.cliques:
        for run in clique.runs:
            table[run].update(clique.runs)
    return [sorted(other for other in row) for row in table]


@dataclass(slots=True)
class _Attempt:
    task: Task
    clashes: list[list[int]]
    weights: Weights
    ways: dict[str, bool]
    dice: random.Random | None
    laid: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    opened: set[int] = field(default_factory=set)
    phases: dict[str, int] = field(default_factory=dict)

    def lay(self, order: list[int]) -> list[Cut] | None:
        cuts: list[Cut] = []
        for index in order:
            done = self._lay_strip(index)
            if done is None:
                return None
            cuts += done
        return cuts

    def _lay_strip(self, index: int) -> list[Cut] | None:
        need = self.task.needs[index]
        turned = self.ways[need.group] if self.ways[need.group] in need.turns else need.turns[0]
        runs = need.runs[turned]
        if need.most == 1 and not need.phased and len(need.turns) > 1 and need.group.startswith("strip"):
            runs = need.all_runs
        phase = self.phases.get(need.group)
        for count in range(1, need.most + 1):
            for kind in self._kinds(runs, count):
                eligible = [r for r in runs if kind is None or self.task.runs[r].showing == kind]
                cuts = self._split(index, need, eligible, count, turned, phase)
                if cuts is not None:
                    self._remember(need, cuts)
                    return cuts
        return None

    def _kinds(self, runs: tuple[int, ...], count: int) -> list[tuple[str, str, bool] | None]:
        if count == 1:
            return [None]
        return [*sorted({self.task.runs[r].showing for r in runs})]

    def _split(
        self, index: int, need: Need, runs: list[int], count: int, turned: bool, phase: int | None
    ) -> list[Cut] | None:
        """The strip in ``count`` segments: each takes as much as its place allows, the last what is left."""
        left = need.length_um
        cuts: list[Cut] = []
        for segment in range(count):
            more = count - segment - 1
            fixed = need.seams_um + (need.head_um if segment == 0 else 0) + (need.tail_um if more == 0 else 0)
            least = left if more == 0 else need.shortest_um
            most = left if more == 0 else left - more * need.shortest_um
            if most < least or (count > 1 and least < need.shortest_um):
                self._give_back(cuts)
                return None
            done = need.length_um - left
            place = self._place(need, runs, fixed, least, most, turned, phase, done, segment, joined=more > 0)
            if place is None:
                self._give_back(cuts)
                return None
            run, start, value = place
            way = turned if need.phased or run in need.runs[turned] else need.way(run)
            cut = Cut(need=index, segment=segment, run=run, start_um=start, size_um=value + fixed,
                      finished_um=value, turned=way)  # fmt: skip
            if need.phased and phase is None:
                phase = self._phase_of(need, cut)
            self.laid.setdefault(run, []).append((start, start + value + fixed))
            cuts.append(cut)
            left -= value
        return cuts

    def _give_back(self, cuts: list[Cut]) -> None:
        for cut in cuts:
            self.laid[cut.run].remove((cut.start_um, cut.end_um))

    def _remember(self, need: Need, cuts: list[Cut]) -> None:
        self.opened.update(self.task.runs[cut.run].piece for cut in cuts)
        if need.phased:
            self.phases.setdefault(need.group, self._phase_of(need, cuts[0]))

    def _phase_of(self, need: Need, cut: Cut) -> int:
        """The finished start of the strip, um past the origin of the print on its piece."""
        lead = round(need.strip.seam_mm * 1000) + need.head_um
        origin = self.task.origin_um(self.task.runs[cut.run].piece)
        return (cut.end_um - lead if cut.turned else cut.start_um + lead) - origin

    def _place(
        self, need: Need, runs: list[int], fixed: int, least: int, most: int, turned: bool,
        phase: int | None, done: int, segment: int, *, joined: bool,
    ) -> tuple[int, int, int] | None:  # fmt: skip
        """The best gap: the fullest one where only part fits, else the one that is left least useful."""
        best: tuple[float, int, int, int] | None = None
        for run in runs:
            for low, high in self._gaps(run, least + fixed):
                if high - low < least + fixed:
                    continue
                start = self._start(need, run, low, high, fixed, least, turned, phase, done, segment)
                if start is None:
                    continue
                room = (high - start) if not turned or phase is None or not need.phased else None
                value = min(most, room - fixed) if room is not None else most
                if room is None:
                    fitted = self._turned_fit(need, run, low, high, fixed, least, most, phase or 0, done, segment)
                    if fitted is None:
                        continue
                    start, value = fitted
                if joined and need.hides:
                    shorter = need.longest_um(done, value)
                    start, value = start + (value - shorter if room is None else 0), shorter
                if value < least:
                    continue
                score = self._score(run, high - low, value + fixed, most + fixed)
                if best is None or (score, run, start) < (best[0], best[1], best[2]):
                    best = (score, run, start, value)
        return None if best is None else (best[1], best[2], best[3])

    def _score(self, run: int, gap: int, size: int, wanted: int) -> float:
        unopened = self.task.runs[run].piece not in self.opened
        rest = gap - size
        score = float(rest) + 3.0 * (wanted - size) + (self.weights.piece_um if unopened else 0)
        return score * (1 + 0.2 * self.dice.random()) if self.dice else score

    def _start(
        self, need: Need, run: int, low: int, high: int, fixed: int, least: int, turned: bool,
        phase: int | None, done: int, segment: int,
    ) -> int | None:  # fmt: skip
        if not need.phased or self.task.period_nm is None:
            return low
        if phase is None:
            shift = min(high - low - fixed - least, self.task.period_nm // 1000)
            return low + (self.dice.randint(0, shift) if self.dice and self.dice.random() < 0.5 else 0)
        if turned:
            return low
        lead = round(need.strip.seam_mm * 1000) + (need.head_um if segment == 0 else 0)
        base = self.task.origin_um(self.task.runs[run].piece) + phase + done - lead
        start = _first_at_or_after(base, low, self.task.period_nm)
        return start if start + fixed + least <= high else None

    def _turned_fit(
        self, need: Need, run: int, low: int, high: int, fixed: int, least: int, most: int,
        phase: int, done: int, segment: int,
    ) -> tuple[int, int] | None:  # fmt: skip
        """A turned segment ends (along d) where its phase says; from there it reaches down."""
        assert self.task.period_nm is not None
        lead = round(need.strip.seam_mm * 1000) + (need.head_um if segment == 0 else 0)
        base = self.task.origin_um(self.task.runs[run].piece) + phase - done + lead
        end = -_first_at_or_after(-base, -high, self.task.period_nm)
        value = min(most, end - low - fixed)
        return (end - value - fixed, value) if value >= least else None

    def _gaps(self, run: int, least: int) -> Iterator[tuple[int, int]]:
        stretch = self.task.runs[run]
        if stretch.length_um < least:
            return
        taken = sorted(
            span for other in self.clashes[run] for span in self.laid.get(other, ())
            if span[0] < stretch.end_um and span[1] > stretch.start_um
        )  # fmt: skip
        low = stretch.start_um
        for start, end in taken:
            if start - low >= least:
                yield low, start
            low = max(low, end)
        if stretch.end_um - low >= least:
            yield low, stretch.end_um


def _first_at_or_after(base_um: int, low_um: int, period_nm: int) -> int:
    """The first base + k·period at or after low, rounded once."""
    k = -((base_um - low_um) * 1000 // period_nm)
    start = base_um + round(k * period_nm / 1000)
    return start if start >= low_um else base_um + round((k + 1) * period_nm / 1000)
