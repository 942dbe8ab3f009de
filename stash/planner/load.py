"""What a plan costs at least by how much each lane is laden, the order of cuts along the lanes left out (CP-SAT).

Where lanes overlap across and do not all reach as far, how much they take together depends on which of them take it.
Bays do not see that; here every lane has its own load, and lanes that pass over one place share theirs. The print
along the stripe, the ends of lanes, pairs of strips and panels are left out, which can only make the bound weaker.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from ortools.sat.python import cp_model

from stash.planner.asking import Effort
from stash.planner.bound import least_segments
from stash.planner.halt import solved
from stash.planner.price import Weights
from stash.planner.task import Cut, Need, Task


class Loads:
    """The model of one task without panels; build once, then ask."""

    def __init__(self, task: Task, weights: Weights) -> None:
        self.task, self.weights = task, weights
        self.model = cp_model.CpModel()
        self.load: dict[int, list[Any]] = defaultdict(list)
        self.hints: list[tuple[Any, tuple[int, ...]]] = []
        wanted = sorted({run for need in task.needs for run in need.all_runs})
        self.opened = {task.runs[run].piece: self.model.new_bool_var("") for run in wanted}
        self.price: list[Any] = [weights.piece_um * opened for opened in self.opened.values()]
        self.whole: dict[tuple[int, int], Any] = {}
        self.part: dict[tuple[int, int], tuple[Any, Any]] = {}
        self.count: dict[tuple[int, int], Any] = {}
        for index, need in enumerate(task.needs):
            self._strip(index, need)
        self._capacities(wanted)
        self.model.minimize(sum(self.price))

    def _strip(self, index: int, need: Need) -> None:
        """Whole in one lane, or of so many segments, their length together shared out among lanes."""
        model, runs = self.model, self.task.runs
        for run in need.all_runs:
            if runs[run].length_um >= need.whole_um:
                self.whole[index, run] = model.new_bool_var("")
                self._lies(run, self.whole[index, run], need.whole_um * self.whole[index, run])
        ways = [self.whole[index, run] for run in need.all_runs if (index, run) in self.whole]
        first = max(2, least_segments(self.task, need))
        counts = {number: model.new_bool_var("") for number in range(first, need.most + 1)}
        model.add(sum(ways) + sum(counts.values()) == 1)
        if not counts:
            return
        parts = []
        for run in need.all_runs:
            here, size = model.new_bool_var(""), model.new_int_var(0, min(need.whole_um, runs[run].length_um), "")
            model.add(size >= need.least_um).only_enforce_if(here)
            model.add(size == 0).only_enforce_if(here.negated())
            self.part[index, run] = here, size
            self._lies(run, here, size)
            parts.append((here, size))
        for number, told in counts.items():
            self.count[index, number] = told
            self.price.append((number - 1) * self.weights.join_um(need.strip) * told)
            length_um = need.length_um + number * need.seams_um + need.head_um + need.tail_um
            model.add(sum(here for here, _ in parts) <= number).only_enforce_if(told)
            model.add(sum(size for _, size in parts) == length_um).only_enforce_if(told)
        joined = sum(counts.values())
        for here, _ in parts:
            model.add(here <= joined)

    def _lies(self, run: int, here: Any, size: Any) -> None:
        self.load[run].append(size)
        self.model.add_implication(here, self.opened[self.task.runs[run].piece])

    def _capacities(self, wanted: Sequence[int]) -> None:
        for run in wanted:
            stretch = self.task.runs[run]
            self.model.add(sum(self.load[run]) <= stretch.length_um * self.opened[stretch.piece])
        for clique in self.task.cliques:
            active = [run for run in clique.runs if run in self.load]
            if len(active) > 1:
                opened = self.opened[self.task.runs[active[0]].piece]
                self.model.add(sum(use for run in active for use in self.load[run]) <= clique.capacity_um * opened)

    def least_um(self, effort: Effort, cuts: Sequence[Cut]) -> int:
        """What no plan can beat, as far as the effort goes; ``cuts`` are a known plan."""
        self._hint(cuts)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_time_in_seconds = max(0.05, effort.seconds)
        if effort.work is not None:
            solver.parameters.max_deterministic_time = effort.work
        solver.parameters.linearization_level = 2
        status = solved(solver, self.model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.UNKNOWN):
            return 0
        return max(0, round(solver.best_objective_bound))

    def _hint(self, cuts: Sequence[Cut]) -> None:
        laid: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        parts: dict[int, int] = defaultdict(int)
        for cut in cuts:
            laid[cut.need][cut.run] += cut.size_um
            parts[cut.need] += 1
        pieces = {self.task.runs[cut.run].piece for cut in cuts}
        add = self.model.add_hint
        for piece, opened in self.opened.items():
            add(opened, piece in pieces)
        for (index, run), here in self.whole.items():
            add(here, parts[index] == 1 and run in laid[index])
        for (index, run), (here, size) in self.part.items():
            held = laid[index].get(run, 0) if parts[index] > 1 else 0
            add(here, held > 0)
            add(size, held)
        for (index, number), told in self.count.items():
            add(told, parts[index] == number)
