"""The exact search where the print repeats along the stripe: every segment lies so many whole repeats from its strip.

A strip's ends and joins are places in one print that goes on for ever: its start anywhere in the first repeat, each
join its share of the length further on (turned: back). To lay a segment into a run is to choose which repeat of the
piece begins where the print of the strip does. With that choice both its ends follow from two such places, and all that
is asked of it is how far apart places are, which the solver sees through at once; a repeat that is itself unknown it
does not.

References:
    R. Dechter, I. Meiri, J. Pearl, Temporal constraint networks, Artificial Intelligence 49 (1991): what is asked of
    differences alone is settled by shortest paths.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, Final

from ortools.sat.python import cp_model

from stash.planner.asking import Effort, Outcome, asked
from stash.planner.stance import Stance
from stash.planner.task import Cut, Need, Task

SLACK_UM: Final = {Stance.STRICT: 0, Stance.NOMINAL: 0, Stance.GENEROUS: 17}
"""How far a segment may stand from where the print of its strip puts it (um). For a no the 15 of ``search``, and what
rounding takes: half a micrometre for where a repeat begins, one for a seam that is the other end's as well."""


@dataclass(slots=True)
class _Slot:
    """One possible segment. ``here[run]`` says that it lies there; ``laps`` holds for each repeat in which it may lie
    (or for the run, where no repeat counts) the literal, the run, the way round, and where it starts."""

    present: Any
    value: Any
    size: Any
    here: dict[int, Any] = field(default_factory=dict)
    laps: list[tuple[Any, int, bool, Any]] = field(default_factory=list)


class PhaseSearch:
    """The model of one task without panels whose fabric repeats along the stripe; build once, then ask. ``slack_um``
    other than that of the task's stance, where it is told."""

    def __init__(self, task: Task, slack_um: int | None = None) -> None:
        assert task.period_nm is not None
        assert not task.panels
        self.task, self.period_nm = one_way_round(task), task.period_nm
        self.slack_um = SLACK_UM[task.stance] if slack_um is None else slack_um
        self.model = cp_model.CpModel()
        self.load: dict[int, list[Any]] = defaultdict(list)
        self.spans: dict[int, list[Any]] = defaultdict(list)
        self.phase: dict[str, Any] = {}
        self.turned: dict[str, Any] = {}
        self.slots = [self._strip(need) for need in self.task.needs]
        self._capacities()
        self._break_symmetry()

    # -- the strips ---------------------------------------------------------------------------------------------

    def _strip(self, need: Need) -> list[_Slot]:
        if not need.phased:
            return [self._anywhere(need)]
        more = range(1, need.most)
        done: list[Any] = [0, *(self.model.new_int_var(0, need.length_um, "") for _ in more), need.length_um]
        present: list[Any] = [1, *(self.model.new_bool_var("") for _ in more)]
        for before, after in pairwise(present[1:]):
            self.model.add_implication(after, before)
        places = [self._place(need, at) for at in done]
        slots = [self._slot(need, number, done, present) for number in range(need.most)]
        for number, slot in enumerate(slots):
            following = present[number + 1] if number + 1 < need.most else 0
            self._lie_somewhere(need, number, slot, places[number : number + 2], following)
        if need.most > 1:
            self._same_neighbours(need, slots)
        return slots

    def _anywhere(self, need: Need) -> _Slot:
        """A strip in one length to which it does not matter where in the repeat it lies."""
        slot = _Slot(1, need.length_um, need.whole_um)
        for run in need.all_runs:
            stretch = self.task.runs[run]
            if stretch.length_um < need.whole_um:
                continue
            here = slot.here[run] = self.model.new_bool_var("")
            start = self.model.new_int_var(stretch.start_um, stretch.end_um - need.whole_um, "")
            self.spans[run].append(self.model.new_optional_fixed_size_interval_var(start, need.whole_um, here, ""))
            self.load[run].append(need.whole_um * here)
            slot.laps.append((here, run, need.way(run), start))
        self.model.add(sum(slot.here.values()) == 1)
        return slot

    def _way(self, need: Need) -> Any:
        """The literal that the strip's group is turned; a constant where there is no choice."""
        if need.group not in self.turned:
            self.turned[need.group] = self.model.new_bool_var("") if len(need.turns) > 1 else int(need.turns[0])
        return self.turned[need.group]

    def _when(self, need: Need, turned: bool) -> list[Any]:
        """What must hold for what is said of one way round."""
        if len(need.turns) == 1:
            return []
        return [self._way(need) if turned else self._way(need).negated()]

    def _place(self, need: Need, done: Any) -> Any:
        """Where in the print the strip is after so much of it, um past the start of a repeat."""
        if need.group not in self.phase:
            told = self.task.start_um(need.group)
            self.phase[need.group] = self.model.new_int_var(0, self._repeat_um, "") if told is None else told
        phase = self.phase[need.group]
        if len(need.turns) == 1:
            exactly = phase - done if need.turns[0] else phase + done
            if isinstance(done, int):
                return exactly
        place = self.model.new_int_var(-need.length_um, self._repeat_um + need.length_um, "")
        for turned in need.turns:
            self.model.add(place == phase + (-done if turned else done)).only_enforce_if(self._when(need, turned))
        return place

    @property
    def _repeat_um(self) -> int:
        return self.period_nm // 1000 + 1

    def _slot(self, need: Need, number: int, done: Sequence[Any], present: Sequence[Any]) -> _Slot:
        """The slot of a segment: its finished length from what is done before and after it, and its cut length."""
        if need.most == 1:
            return _Slot(present[0], need.length_um, need.whole_um)
        model, here = self.model, present[number]
        following = present[number + 1] if number + 1 < need.most else 0
        value, size = model.new_int_var(0, need.length_um, ""), model.new_int_var(0, need.whole_um, "")
        model.add(value == done[number + 1] - done[number])
        if number == 0:
            model.add(value >= need.shortest_um)
            model.add(size == value + need.seams_um + need.head_um + need.tail_um * (1 - following))
        else:
            model.add(value == 0).only_enforce_if(here.negated())
            model.add(value >= need.shortest_um).only_enforce_if(here)
            model.add(size == value + need.seams_um * here + need.tail_um * (here - following))
            if need.hides:
                spans = cp_model.Domain.from_intervals([list(span) for span in need.hides])
                model.add_linear_expression_in_domain(done[number], spans).only_enforce_if(here)
        return _Slot(here, value, size)

    def _lie_somewhere(self, need: Need, number: int, slot: _Slot, ends: Sequence[Any], following: Any) -> None:
        """The segment lies in one run, there in one repeat, between its two ends in the print."""
        model, last = self.model, slot.present - following
        edges = {turned: self._edges(need, number, ends, turned, last=last) for turned in need.turns}
        uses = []
        for run in need.all_runs:
            stretch = self.task.runs[run]
            if stretch.length_um < need.least_um:
                continue
            here = slot.here[run] = model.new_bool_var("")
            uses.append(self._use(need, slot, here, stretch.length_um))
            self.load[run].append(uses[-1])
            literals = []
            for turned in (way for way in need.turns if run in need.runs[way]):
                for offset in self._offsets(need, number, run, turned):
                    literals.append(lap := model.new_bool_var(""))
                    for way in self._when(need, turned):
                        model.add_implication(lap, way)
                    start, end = edges[turned][0] + offset, edges[turned][1] + offset
                    model.add(start >= stretch.start_um).only_enforce_if(lap)
                    model.add(end <= stretch.end_um).only_enforce_if(lap)
                    self.spans[run].append(model.new_optional_interval_var(start, slot.size, end, lap, ""))
                    slot.laps.append((lap, run, turned, start))
            model.add(sum(literals) == here)
        model.add(sum(slot.here.values()) == slot.present)
        if need.most > 1:
            model.add(sum(uses) == slot.size)

    def _edges(self, need: Need, number: int, ends: Sequence[Any], turned: bool, *, last: Any) -> tuple[Any, Any]:
        """Where the segment's cut begins and ends in the print, each by one variable of the model at most."""
        seam, head = round(need.strip.seam_mm * 1000), need.head_um if number == 0 else 0
        shift: Any = self.model.new_int_var(-self.slack_um, self.slack_um, "") if self.slack_um else 0
        tail = need.tail_um if need.most == 1 else need.tail_um * last
        before, after = seam + head, need.seams_um - seam + tail
        start, end = (
            (ends[1] + shift - after, ends[0] + shift + before)
            if turned
            else (ends[0] + shift - before, ends[1] + shift + after)
        )
        if not self.slack_um and (need.most == 1 or not need.tail_um):
            return start, end
        return self._named(need, start), self._named(need, end)

    def _named(self, need: Need, place: Any) -> Any:
        reach = self._repeat_um + 2 * need.whole_um
        named = self.model.new_int_var(-reach, reach, "")
        self.model.add(named == place)
        return named

    def _use(self, need: Need, slot: _Slot, here: Any, length_um: int) -> Any:
        """How much the segment takes of a run."""
        if need.most == 1:
            return need.whole_um * here
        use = self.model.new_int_var(0, min(length_um, need.whole_um), "")
        self.model.add(use == 0).only_enforce_if(here.negated())
        self.model.add(use >= need.least_um).only_enforce_if(here)
        self.model.add(use == slot.size).only_enforce_if(here)
        return use

    def _offsets(self, need: Need, number: int, run: int, turned: bool) -> Iterator[int]:
        """Where the repeats begin on the run's piece that the strip's print may be laid on, along d (um)."""
        stretch, origin = self.task.runs[run], self.task.origin_um(self.task.runs[run].piece)
        lead = round(need.strip.seam_mm * 1000) + (need.head_um if number == 0 else 0)
        room = stretch.length_um - need.least_um
        first = stretch.end_um - room - lead if turned else stretch.start_um + lead
        reach = need.length_um if number else 0
        lowest, highest = (-reach, self._repeat_um) if turned else (0, self._repeat_um + reach)
        told = self.task.start_um(need.group)
        if told is not None:
            lowest, highest = lowest + min(0, told), highest + max(0, told)
        margin = self.slack_um + 2
        lap = (first - margin - highest - origin) * 1000 // self.period_nm
        while (offset := origin + round(lap * self.period_nm / 1000)) + lowest <= first + room + margin:
            if offset + highest >= first - margin:
                yield offset
            lap += 1

    def _same_neighbours(self, need: Need, slots: Sequence[_Slot]) -> None:
        kinds = sorted({self.task.runs[run].showing for run in need.all_runs})
        if len(kinds) < 2:
            return
        chosen = {kind: self.model.new_bool_var("") for kind in kinds}
        self.model.add_exactly_one(chosen.values())
        for slot in slots:
            for run, here in slot.here.items():
                self.model.add_implication(here, chosen[self.task.runs[run].showing])

    # -- what the cloth gives -------------------------------------------------------------------------------------

    def _capacities(self) -> None:
        wanted = sorted(self.load)
        for run in wanted:
            self.model.add(sum(self.load[run]) <= self.task.runs[run].length_um)
        for clique in self.task.cliques:
            active = [run for run in clique.runs if run in self.load]
            if len(active) > 1:
                self.model.add(sum(use for run in active for use in self.load[run]) <= clique.capacity_um)
            if active:
                self.model.add_no_overlap([span for run in active for span in self.spans[run]])

    def _break_symmetry(self) -> None:
        """Strips that differ in nothing lie in order."""
        alike: dict[tuple[Any, ...], list[int]] = defaultdict(list)
        for index, need in enumerate(self.task.needs):
            alike[_kind(need)].append(index)
        for group in alike.values():
            for one, other in pairwise(group):
                self.model.add(self._rank(one) <= self._rank(other))

    def _rank(self, index: int) -> Any:
        return sum(place * here for place, here in enumerate(self.slots[index][0].here.values()))

    # -- asking ---------------------------------------------------------------------------------------------------

    @property
    def choices(self) -> int:
        """How many repeats there are to choose from, all segments together: what makes the model large."""
        return sum(len(slot.laps) for slots in self.slots for slot in slots)

    def run(self, effort: Effort) -> Outcome:
        """Search within the effort. "none" means that the solver found the model infeasible."""
        status, solver = asked(self.model, effort, linear=2 if effort.second else int(effort.linear))
        if status != "found":
            return Outcome(status=status)
        return Outcome(status="found", cuts=tuple(self._cuts(solver)))

    def _cuts(self, solver: Any) -> Iterator[Cut]:
        for index, slots in enumerate(self.slots):
            for number, slot in enumerate(slots):
                for lap, run, turned, start in slot.laps:
                    if solver.value(lap):
                        yield Cut(need=index, segment=number, run=run, start_um=solver.value(start),
                                  size_um=solver.value(slot.size), finished_um=solver.value(slot.value),
                                  turned=turned)  # fmt: skip


def _kind(need: Need) -> tuple[Any, ...]:
    """What strips have in common that may change places."""
    runs = tuple(sorted(need.runs.items()))
    lengths = (need.length_um, need.seams_um, need.head_um, need.tail_um, need.shortest_um, need.most)
    return (*lengths, need.strip.seam_mm, need.hides, need.turns, runs, need.group if need.phased else "")


def one_way_round(task: Task) -> Task:
    """The same task, strips that may lie either way round laid one way only where that loses nothing.

    A strip whose two ends are alike, turned, covers the same cloth as one that is not, with the segments in the other
    order, and starts where the other ends. So may a whole group of equal length.
    """
    groups: dict[str, list[Need]] = defaultdict(list)
    for need in task.needs:
        groups[need.group].append(need)
    alike = {
        group for group, members in groups.items()
        if task.start_um(group) is None and len({need.length_um for need in members}) == 1
        and all(_ends_alike(need) for need in members)
    }  # fmt: skip
    needs = (
        replace(need, turns=(False,), runs={False: need.runs[False]}) if need.group in alike else need
        for need in task.needs
    )
    return replace(task, needs=tuple(needs))


def _ends_alike(need: Need) -> bool:
    same = need.head_um == need.tail_um and not need.hides
    return same and len(need.turns) == 2 and need.runs[False] == need.runs[True]
