"""The lay-out by eye that plans are compared with: longest strip first, each into the place that it fills best.

Best-fit decreasing, as in any account of cutting stock; a strip that fits nowhere whole is cut into the longest places
left, as many as its joins allow. It knows lanes, pairs and the print along the stripe as the planner does, and the
audit judges what it lays.
"""

from __future__ import annotations

from collections.abc import Iterator

from stash.planner.audit import audit
from stash.planner.placing import place
from stash.planner.plan import Placement
from stash.planner.problem import Problem
from stash.planner.stance import Stance
from stash.planner.task import Cut, Need, Task, build_task


def best_fit(problem: Problem) -> tuple[Placement, ...] | None:
    """A sound plan for the strips of a problem of one fabric, or None where best fit finds none."""
    (fabric,) = problem.fabrics.values()
    task = build_task(fabric, problem.pieces, problem.strips, (), Stance.STRICT)
    table = _Table(task)
    cuts: list[Cut] = []
    for index in sorted(range(len(task.needs)), key=lambda i: (-task.needs[i].whole_um, i)):
        laid = table.lay(index)
        if laid is None:
            return None
        cuts += laid
    placements = tuple(place(task, cuts, ()))
    return placements if not audit(problem, placements) else None


class _Table:
    def __init__(self, task: Task) -> None:
        self.task = task
        self.laid: list[Cut] = []
        self.phases: dict[str, int] = {}

    def lay(self, index: int) -> list[Cut] | None:
        """The strip whole where it fits, else in as many bits as it may have; None where it finds no place."""
        need = self.task.needs[index]
        for count in range(1, need.most + 1):
            kept = list(self.laid)
            cuts = self._in_bits(index, need, count)
            if cuts is not None:
                if need.phased:
                    self.phases.setdefault(need.group, self._phase(need, cuts[0]))
                return cuts
            self.laid = kept
        return None

    def _in_bits(self, index: int, need: Need, count: int) -> list[Cut] | None:
        """Each bit but the last as long as its place allows, the last where least is left."""
        cuts: list[Cut] = []
        left, phase = need.length_um, self.phases.get(need.group)
        for segment in range(count):
            last = segment == count - 1
            head = need.head_um if segment == 0 else 0
            fixed = need.seams_um + head + (need.tail_um if last else 0)
            least = left if last else need.shortest_um
            most = left if last else left - (count - segment - 1) * need.shortest_um
            done = None if phase is None else phase + need.length_um - left
            best: tuple[int, int, int, int] | None = None
            for run in need.runs[False]:
                for low, high in self._gaps(run):
                    start = low if done is None else self._aligned(need, run, low, done, head)
                    value = min(most, high - start - fixed)
                    rest = high - start - fixed - value if last else -value
                    if value >= least and (best is None or (rest, run, start, value) < best):
                        best = (rest, run, start, value)
            if best is None:
                return None
            _, run, start, value = best
            cuts.append(
                Cut(need=index, segment=segment, run=run, start_um=start, size_um=value + fixed, finished_um=value,
                    turned=False)
            )  # fmt: skip
            self.laid.append(cuts[-1])
            left -= value
            if need.phased and phase is None:
                phase = self._phase(need, cuts[0])
        return cuts

    def _phase(self, need: Need, first: Cut) -> int:
        """Where the finished strip starts, um past the origin of the print on its piece."""
        lead = round(need.strip.seam_mm * 1000) + need.head_um
        return first.start_um + lead - self.task.origin_um(self.task.runs[first.run].piece)

    def _aligned(self, need: Need, run: int, low: int, phase: int, head: int) -> int:
        """The first place at or after ``low`` where the print stands at that phase."""
        period = self.task.period_nm or 1
        base = self.task.origin_um(self.task.runs[run].piece) + phase - head - round(need.strip.seam_mm * 1000)
        laps = -((base - low) * 1000 // period)
        return base + -(-laps * period // 1000)

    def _gaps(self, run: int) -> Iterator[tuple[int, int]]:
        stretch = self.task.runs[run]
        taken = sorted(
            (cut.start_um, cut.end_um)
            for cut in self.laid
            if cut.run == run or self.task.runs[cut.run].clashes(stretch)
        )
        low = stretch.start_um
        for start, end in taken:
            if low < min(start, stretch.end_um):
                yield low, min(start, stretch.end_um)
            low = max(low, end)
        if low < stretch.end_um:
            yield low, stretch.end_um
