"""The exact search for strips: which run each segment lies in, where, and how long (OR-Tools CP-SAT).

One worker and a fixed seed: the same question has the same answer. An answer "infeasible" is not taken for a proof by
itself; ``solve`` asks a second time, in another way.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from ortools.sat.python import cp_model

from stash.planner.asking import Effort, Outcome, asked
from stash.planner.price import Weights
from stash.planner.space import Lay, PanelModel
from stash.planner.stance import Stance
from stash.planner.step import Laid, keep_in_step
from stash.planner.task import Cut, Need, Task

PHASE_SLACK_NM = {Stance.STRICT: 4_000, Stance.NOMINAL: 4_000, Stance.GENEROUS: 15_000}
"""How far a phase may stand from that of its strip (nm). Lengths within 0.01 mm are equal: two segments may each be off
by 0.004 mm and be written to 0.001 mm; for a no there is more than that."""


@dataclass(slots=True)
class _Slot:
    """One possible segment: ``here[run]`` says it lies there, ``use[run]`` how much it takes, ``start[run]`` where."""

    present: Any
    value: Any
    head: Any
    here: dict[int, Any]
    use: dict[int, Any]
    start: dict[int, Any]


class Search:
    """The model of one task; build once, then decide or improve."""

    def __init__(self, task: Task, *, phased: bool = True, goal: Weights | None = None) -> None:
        self.task, self.phased, self.goal = task, phased, goal
        self.model = cp_model.CpModel()
        self.wanted = {run for need in task.needs for run in need.all_runs}
        self.panels = PanelModel(self.model, task)
        self.ordered = self._ordered_runs()
        self.load: dict[int, list[Any]] = defaultdict(list)
        self.spans: dict[int, list[Any]] = defaultdict(list)
        self.literals: dict[int, list[Any]] = defaultdict(list)
        self.turned: dict[str, Any] = {}
        self.phase: dict[str, Any] = {}
        self.slots: list[list[_Slot]] = [self._strip(index, need) for index, need in enumerate(task.needs)]
        self._capacities()
        self._keep_in_step()
        self.panels.keep_clear(self._strip_spans())
        self._break_symmetry()
        if goal is not None:
            self._price(goal)

    # -- the strips ---------------------------------------------------------------------------------------------

    def _ordered_runs(self) -> set[int]:
        """Runs in which the order along d matters; in all others only the sum of what is laid into them does."""
        ordered: set[int] = set()
        for clique in self.task.cliques:
            active = [run for run in clique.runs if run in self.wanted]
            if len(active) > 1:
                ordered.update(active)
        for need in self.task.needs:
            if self.phased and need.phased:
                ordered.update(need.all_runs)
        ordered.update(r for r in self.wanted if self.task.runs[r].piece in self.panels.pieces)
        return ordered

    def _way(self, need: Need) -> Any:
        """The literal that the strip's group is turned; a constant where there is no choice."""
        if need.group not in self.turned:
            self.turned[need.group] = self.model.new_bool_var("") if len(need.turns) > 1 else int(need.turns[0])
        return self.turned[need.group]

    def _strip(self, index: int, need: Need) -> list[_Slot]:
        slots = [self._slot(need, number) for number in range(need.most)]
        self._share_length(need, slots)
        for slot in slots:
            self._lie_somewhere(need, slot)
        if need.most > 1:
            self._same_neighbours(need, slots)
        if self.phased and need.phased:
            self._run_on(need, slots)
        return slots

    def _slot(self, need: Need, number: int) -> _Slot:
        """Slot 0 is the strip's first segment, slot 1 its last where there are two or more, the others lie between."""
        present = 1 if number == 0 else self.model.new_bool_var("")
        value = need.length_um if need.most == 1 else self.model.new_int_var(0, need.length_um, "")
        return _Slot(present, value, need.head_um if number == 0 else 0, {}, {}, {})

    def _share_length(self, need: Need, slots: list[_Slot]) -> None:
        if need.most == 1:
            return
        model = self.model
        model.add(sum(slot.value for slot in slots) == need.length_um)
        for slot in slots[1:]:
            model.add(slot.value >= need.shortest_um).only_enforce_if(slot.present)
            model.add(slot.value == 0).only_enforce_if(slot.present.negated())
        model.add(slots[0].value >= need.shortest_um).only_enforce_if(slots[1].present)
        for before, after in pairwise(slots[1:]):
            model.add_implication(after.present, before.present)
        if need.hides:
            self._hide_joins(need, slots)

    def _hide_joins(self, need: Need, slots: list[_Slot]) -> None:
        """Every join lies in one of the spans: how far it is from the start is what stands before it."""
        spans = cp_model.Domain.from_intervals([list(span) for span in need.hides])
        done = slots[0].value
        self.model.add_linear_expression_in_domain(done, spans).only_enforce_if(slots[1].present)
        for slot in slots[2:]:
            done = done + slot.value
            self.model.add_linear_expression_in_domain(done, spans).only_enforce_if(slot.present)

    def _size(self, need: Need, slots_present: Any, number: int, value: Any) -> Any:
        """The cut length of a slot: finished, seams, and the extra at the strip's own start and end."""
        if need.most == 1:
            return need.whole_um
        if number == 0:
            return value + need.seams_um + need.head_um + need.tail_um * (1 - slots_present[1])
        tail = need.tail_um if number == 1 else 0
        return value + (need.seams_um + tail) * slots_present[number]

    def _lie_somewhere(self, need: Need, slot: _Slot) -> None:
        model, way = self.model, self._way(need)
        for run in need.all_runs:
            length = self.task.runs[run].length_um
            here = model.new_bool_var("")
            slot.here[run] = here
            sides = [turned for turned in need.turns if run in need.runs[turned]]
            if len(need.turns) > 1 and len(sides) == 1:
                model.add(way == int(sides[0])).only_enforce_if(here)
            if need.most == 1:
                slot.use[run] = need.whole_um * here
                size: Any = need.whole_um
            else:
                size = model.new_int_var(0, min(length, need.whole_um), "")
                slot.use[run] = size
                model.add(size >= need.least_um).only_enforce_if(here)
                model.add(size == 0).only_enforce_if(here.negated())
            self.load[run].append(slot.use[run])
            self.literals[run].append(here)
            if run in self.ordered:
                self._span(slot, run, size, here)
        model.add(sum(slot.here.values()) == slot.present)

    def _span(self, slot: _Slot, run: int, size: Any, here: Any) -> None:
        stretch = self.task.runs[run]
        start = self.model.new_int_var(stretch.start_um, stretch.end_um, "")
        end = self.model.new_int_var(stretch.start_um, stretch.end_um, "")
        slot.start[run] = start
        self.spans[run].append(self.model.new_optional_interval_var(start, size, end, here, ""))

    def _same_neighbours(self, need: Need, slots: list[_Slot]) -> None:
        present = [slot.present for slot in slots]
        for number, slot in enumerate(slots):
            self.model.add(sum(slot.use.values()) == self._size(need, present, number, slot.value))
        kinds = sorted({self.task.runs[run].showing for run in need.all_runs})
        if len(kinds) < 2:
            return
        chosen = {kind: self.model.new_bool_var("") for kind in kinds}
        self.model.add_exactly_one(chosen.values())
        for slot in slots:
            for run, here in slot.here.items():
                self.model.add_implication(here, chosen[self.task.runs[run].showing])

    def _run_on(self, need: Need, slots: list[_Slot]) -> None:
        """The phase runs on from segment to segment, and is the same at the start of a pair."""
        period = self.task.period_nm
        assert period is not None
        model, way, task = self.model, self._way(need), self.task
        if need.group not in self.phase:
            cut = task.start_um(need.group)
            free = model.new_int_var(0, period // 1000 + 1, "") if cut is None else cut
            self.phase[need.group] = free
        phase = self.phase[need.group]
        reach = 1 + max((abs(v) for r in task.runs for v in (r.start_um, r.end_um)), default=0)
        reach += max(abs(task.origin_um(p)) for p in range(len(task.pieces))) + need.length_um
        laps = 2 + reach * 2000 // period
        seam = round(need.strip.seam_mm * 1000)
        done: Any = 0
        for number in [0, *range(2, len(slots)), *([1] if len(slots) > 1 else [])]:
            slot = slots[number]
            at = model.new_int_var(-2 * reach, 2 * reach, "")
            for run, here in slot.here.items():
                origin = task.origin_um(task.runs[run].piece)
                size = need.whole_um if need.most == 1 else slot.use[run]
                for turned in (t for t in need.turns if run in need.runs[t]):
                    lead = seam + slot.head
                    finished = slot.start[run] + size - lead if turned else slot.start[run] + lead
                    when = [here] if len(need.turns) == 1 else [here, way if turned else way.negated()]
                    model.add(at == finished - origin).only_enforce_if(when)
            lap = model.new_int_var(-laps, laps, "")
            slack = PHASE_SLACK_NM[task.stance]
            for turned in need.turns:
                past = done if not turned else -done
                gap = 1000 * (at - phase - past) - period * lap
                when = [] if len(need.turns) == 1 else [way if turned else way.negated()]
                when += [] if isinstance(slot.present, int) else [slot.present]
                model.add(gap <= slack).only_enforce_if(when)
                model.add(gap >= -slack).only_enforce_if(when)
            done = done + slot.value

    def _keep_in_step(self) -> None:
        """Of strips in one length, which alone have their place in the repeat by their start."""
        pairs = zip(self.task.needs, self.slots, strict=True)
        whole = [Laid(n, s[0].here, s[0].start) for n, s in pairs if self.phased and n.phased and n.most == 1]
        keep_in_step(self.model, self.task, whole, self.turned, PHASE_SLACK_NM[self.task.stance])

    # -- what the cloth gives -------------------------------------------------------------------------------------

    def _capacities(self) -> None:
        for run in sorted(self.wanted):
            self.model.add(sum(self.load[run]) <= self.task.runs[run].length_um)
        for clique in self.task.cliques:
            active = [run for run in clique.runs if run in self.wanted]
            if len(active) > 1:
                self.model.add(sum(use for run in active for use in self.load[run]) <= clique.capacity_um)
                self.model.add_no_overlap([span for run in active for span in self.spans[run]])
            elif active and active[0] in self.ordered:
                self.model.add_no_overlap(self.spans[active[0]])

    def _strip_spans(self) -> list[tuple[int, Any, Any]]:
        """Segments on pieces that also take panels: run, interval along d, literal."""
        return [
            (run, span, literal)
            for run in sorted(self.ordered)
            if self.task.runs[run].piece in self.panels.pieces
            for span, literal in zip(self.spans[run], self.literals[run], strict=True)
        ]

    def _break_symmetry(self) -> None:
        """Runs that differ in nothing are filled in order; strips that differ in nothing lie in order."""
        alike: dict[tuple[Any, ...], list[int]] = defaultdict(list)
        users: dict[int, list[int]] = defaultdict(list)
        for index, need in enumerate(self.task.needs):
            for run in need.all_runs:
                users[run].append(index)
        for run in sorted(self.wanted - self.ordered):
            stretch = self.task.runs[run]
            alike[(stretch.piece, stretch.length_um, stretch.showing, tuple(users[run]))].append(run)
        for runs in alike.values():
            for first, second in pairwise(runs):
                self.model.add(sum(self.load[first]) >= sum(self.load[second]))
        for group in _equal_needs(self.task.needs):
            for a, b in pairwise(group):
                self.model.add(self._rank(a) <= self._rank(b))

    def _rank(self, index: int) -> Any:
        return sum(place * here for place, here in enumerate(self.slots[index][0].here.values()))

    # -- cost -----------------------------------------------------------------------------------------------------

    def _price(self, weights: Weights) -> None:
        model = self.model
        terms: list[Any] = []
        by_piece: dict[int, list[Any]] = defaultdict(list)
        for run in sorted(self.wanted):
            by_piece[self.task.runs[run].piece] += self.literals[run]
            terms.append(lost_end(model, self.task, run, self.literals[run], self.load[run], weights))
        for piece, literals in self.panels.literals.items():
            by_piece[piece] += literals
        for literals in by_piece.values():
            opened = model.new_bool_var("")
            for literal in literals:
                model.add_implication(literal, opened)
            terms.append(weights.piece_um * opened)
        for need, slots in zip(self.task.needs, self.slots, strict=True):
            terms += [weights.join_um(need.strip) * slot.present for slot in slots[1:]]
        model.minimize(sum(terms))

    # -- asking ---------------------------------------------------------------------------------------------------

    def run(self, effort: Effort, hint: Sequence[Cut] = (), lays: Sequence[Lay] = (),
            progress: Callable[[str], None] | None = None) -> Outcome:  # fmt: skip
        """Search within the effort. "none" means that the solver found the model infeasible."""
        if hint:
            self._hint(hint, lays)
        status, solver = asked(self.model, effort, linear=2 if effort.second or effort.linear else 1)
        if status != "found":
            return Outcome(status=status)
        bound = int(solver.best_objective_bound) if self.goal is not None else None
        best = bound is not None and bound >= round(solver.objective_value)
        return Outcome(status="best" if best else "found", cuts=tuple(self._cuts(solver)),
                       lays=self.panels.lays(solver), bound_um=bound)  # fmt: skip

    def _hint(self, cuts: Sequence[Cut], lays: Sequence[Lay]) -> None:
        laid: dict[tuple[int, int], Cut] = {}
        for index in range(len(self.task.needs)):
            mine = [cut for cut in cuts if cut.need == index]
            for cut in mine:
                last = cut.segment == len(mine) - 1 and cut.segment > 0
                laid[(index, 1 if last else cut.segment + (1 if cut.segment else 0))] = cut
        for index, slots in enumerate(self.slots):
            for number, slot in enumerate(slots):
                hinted = laid.get((index, number))
                for run, here in slot.here.items():
                    self.model.add_hint(here, int(hinted is not None and hinted.run == run))
                if hinted is not None and hinted.run in slot.start:
                    self.model.add_hint(slot.start[hinted.run], hinted.start_um)
                if not isinstance(slot.present, int):
                    self.model.add_hint(slot.present, int(hinted is not None))
                if not isinstance(slot.value, int):
                    self.model.add_hint(slot.value, hinted.finished_um if hinted else 0)

    def _cuts(self, solver: Any) -> list[Cut]:
        cuts: list[Cut] = []
        fill: dict[int, int] = {}
        for index, (need, slots) in enumerate(zip(self.task.needs, self.slots, strict=True)):
            segment = 0
            way = self._way(need)
            group_turned = bool(way) if isinstance(way, int) else bool(solver.value(way))
            for number in [0, *range(2, len(slots)), *([1] if len(slots) > 1 else [])]:
                slot = slots[number]
                for run, here in slot.here.items():
                    if not solver.value(here):
                        continue
                    size = need.whole_um if need.most == 1 else solver.value(slot.use[run])
                    value = slot.value if isinstance(slot.value, int) else solver.value(slot.value)
                    if run in slot.start:
                        start = solver.value(slot.start[run])
                    else:
                        start = fill.get(run, self.task.runs[run].start_um)
                        fill[run] = start + size
                    cuts.append(Cut(need=index, segment=segment, run=run, start_um=start, size_um=size,
                                    finished_um=value, turned=group_turned))  # fmt: skip
                    segment += 1
        return cuts


def lost_end(model: Any, task: Task, run: int, here: Sequence[Any], load: Sequence[Any], weights: Weights) -> Any:
    """The end of a used run that is too short to be of use, but for the ease that shears need (um). ``here`` says what
    lies in the run, ``load`` how much of it each takes."""
    length = task.runs[run].length_um - 2 * task.stance.fit_um
    used, small = model.new_bool_var(""), model.new_bool_var("")
    model.add_max_equality(used, here)
    rest = length - sum(load)
    lost = model.new_int_var(0, weights.useful_um, "")
    model.add(rest >= weights.useful_um).only_enforce_if([used, small.negated()])
    model.add(lost >= rest - weights.ease_um).only_enforce_if([used, small])
    return lost


def _equal_needs(needs: Sequence[Need]) -> list[list[int]]:
    """Single-segment strips that are interchangeable."""
    groups: dict[tuple[Any, ...], list[int]] = defaultdict(list)
    for index, need in enumerate(needs):
        if need.most == 1 and not need.phased and need.turns == (False,):
            groups[(need.whole_um, need.runs[False])].append(index)
    return [group for group in groups.values() if len(group) > 1]
