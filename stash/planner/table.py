"""The cutting table while a plan is being laid: which cuts lie where, what room is left, and what it costs so far."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from stash.planner.price import Weights
from stash.planner.task import Cut, Need, Task

Gap = tuple[int, int]


@dataclass(slots=True)
class _Group:
    """What the strips of a group have in common once one of them lies: the way round, and the phase where it counts."""

    members: int = 0
    turned: bool = False
    phase: int | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """What the table looked like at some time."""

    cuts: dict[int, tuple[Cut, ...]]
    groups: dict[str, tuple[int, bool, int | None]]


class Table:
    """A task's cloth with the cuts laid so far; they come and go by whole strips. ``opened`` pieces are cut anyway."""

    def __init__(self, task: Task, weights: Weights, opened: frozenset[int] = frozenset()) -> None:
        self.task, self.weights = task, weights
        self.cuts: dict[int, tuple[Cut, ...]] = {}
        self._laid: list[list[Cut]] = [[] for _ in task.runs]
        self.load = [0] * len(task.runs)
        self._gaps: list[list[Gap]] = [[] for _ in task.runs]
        self._widest = [0] * len(task.runs)
        self._stale = set(range(len(task.runs)))
        self._uses = [int(piece in opened) for piece in range(len(task.pieces))]
        self._groups: dict[str, _Group] = {need.group: _Group() for need in task.needs}
        self._started = {name: task.start_um(name) for name in self._groups}
        self.room = [run.length_um - 2 * task.stance.fit_um for run in task.runs]
        self.clashes = clash_table(task)
        self.pieces = [run.piece for run in task.runs]
        self.origins = [task.origin_um(run.piece) for run in task.runs]
        self._joins = [weights.join_um(need.strip) for need in task.needs]
        self._useful, self._ease, self._piece = weights.useful_um, weights.ease_um, weights.piece_um
        self._cost = 0
        self._kinds: dict[tuple[int, bool], tuple[tuple[int, ...], ...]] = {}

    # -- what lies there ------------------------------------------------------------------------------------------

    def put(self, cut: Cut) -> None:
        """Lay one segment of a strip (``keep`` books the strip when all its segments lie)."""
        self._laid[cut.run].append(cut)
        self._count(cut, 1)

    def lift(self, cut: Cut) -> None:
        """Take one segment away."""
        self._laid[cut.run].remove(cut)
        self._count(cut, -1)

    def _count(self, cut: Cut, sign: int) -> None:
        """Keep the books: load, uses and cost, and forget the gaps that change."""
        run, piece = cut.run, self.pieces[cut.run]
        before = self.lost_um(run) + (self._piece if self._uses[piece] else 0)
        self.load[run] += sign * cut.size_um
        self._uses[piece] += sign
        after = self.lost_um(run) + (self._piece if self._uses[piece] else 0)
        self._cost += after - before + (sign * self._joins[cut.need] if cut.segment else 0)
        self._forget(run)

    def keep(self, need: int, cuts: tuple[Cut, ...], phase: int | None) -> None:
        """Book a strip whose segments lie."""
        self.cuts[need] = cuts
        group = self._groups[self.task.needs[need].group]
        group.members += 1
        if group.members == 1:
            group.turned, group.phase = cuts[0].turned, phase

    def clear(self, need: int) -> tuple[Cut, ...]:
        """Take a whole strip away."""
        cuts = self.cuts.pop(need)
        for cut in cuts:
            self.lift(cut)
        self._groups[self.task.needs[need].group].members -= 1
        return cuts

    def kept(self) -> Kept:
        """The table as it is, to come back to."""
        groups = {name: (g.members, g.turned, g.phase) for name, g in self._groups.items()}
        return Kept(dict(self.cuts), groups)

    def restore(self, kept: Kept) -> None:
        """The table as it was."""
        for need, cuts in list(self.cuts.items()):
            if kept.cuts.get(need) is not cuts:
                for cut in cuts:
                    self.lift(cut)
                del self.cuts[need]
        for need, cuts in kept.cuts.items():
            if need not in self.cuts:
                for cut in cuts:
                    self.put(cut)
                self.cuts[need] = cuts
        for name, (members, turned, phase) in kept.groups.items():
            group = self._groups[name]
            group.members, group.turned, group.phase = members, turned, phase

    def push_together(self, runs: Iterable[int]) -> None:
        """Cuts in these runs moved down to the next thing that is in their way; phased ones stay where they are."""
        cuts = sorted((cut for run in set(runs) for cut in self._laid[run]), key=lambda c: (c.start_um, c.need))
        for cut in cuts:
            if self.task.needs[cut.need].phased:
                continue
            low = self.task.runs[cut.run].start_um
            for other in self.clashes[cut.run]:
                for lying in self._laid[other]:
                    if lying.start_um < cut.start_um and lying.end_um > low:
                        low = lying.end_um
            if low < cut.start_um:
                self._move(cut, low)

    def _move(self, cut: Cut, start_um: int) -> None:
        moved = replace(cut, start_um=start_um)
        self._laid[cut.run].remove(cut)
        self._laid[cut.run].append(moved)
        self._forget(cut.run)
        mine = self.cuts[cut.need]
        self.cuts[cut.need] = tuple(moved if c is cut else c for c in mine)

    def _forget(self, run: int) -> None:
        self._stale.update(self.clashes[run])

    # -- what is told of it ---------------------------------------------------------------------------------------

    def way(self, need: Need) -> bool | None:
        """The way round that the strip's group lies already, if any of it does."""
        group = self._groups[need.group]
        return group.turned if group.members else None

    def phase(self, need: Need) -> int | None:
        """The phase at which the strip must start, if another of its group lies already or is cut."""
        group = self._groups[need.group]
        return group.phase if group.members else self._started.get(need.group)

    def gaps(self, run: int) -> list[Gap]:
        """The free stretches of a run, in order."""
        if run in self._stale:
            self._look(run)
        return self._gaps[run]

    def with_room(self, runs: Iterable[int], least_um: int) -> list[int]:
        """Those of the runs that have so long a free stretch."""
        for run in self._stale.intersection(runs):
            self._look(run)
        widest = self._widest
        return [run for run in runs if widest[run] >= least_um]

    def _look(self, run: int) -> None:
        """Find the free stretches of a run anew."""
        self._stale.discard(run)
        stretch, laid = self.task.runs[run], self._laid
        last, low, widest = stretch.end_um, stretch.start_um, 0
        taken = [(c.start_um, c.start_um + c.size_um) for other in self.clashes[run] for c in laid[other]]
        taken.sort()
        taken.append((last, last))
        gaps = []
        for start, end in taken:
            if start > low:
                high = start if start < last else last
                if high > low:
                    gaps.append((low, high))
                    if high - low > widest:
                        widest = high - low
            if end > low:
                low = end
        self._gaps[run], self._widest[run] = gaps, widest

    def kinds(self, index: int, turned: bool) -> tuple[tuple[int, ...], ...]:
        """The runs of a strip, those together that show the same: its segments must."""
        key = index, turned
        if key not in self._kinds:
            alike: dict[tuple[str, str, bool], list[int]] = {}
            for run in self.task.needs[index].runs[turned]:
                alike.setdefault(self.task.runs[run].showing, []).append(run)
            self._kinds[key] = tuple(tuple(alike[kind]) for kind in sorted(alike))
        return self._kinds[key]

    def blocked_um(self, run: int, start_um: int, end_um: int, most_um: float) -> int:
        """How much room of the lanes that overlap the run a cut there would take; more is not counted than shows that
        it is ``most_um`` or more."""
        blocked = 0
        for other in self.clashes[run]:
            if other == run:
                continue
            for low, high in self.gaps(other):
                if low >= end_um:
                    break
                if high > start_um:
                    blocked += (high if high < end_um else end_um) - (low if low > start_um else start_um)
            if blocked >= most_um:
                break
        return blocked

    def on_run(self, run: int) -> list[int]:
        """The strips of which something lies in the run."""
        return [cut.need for cut in self._laid[run]]

    def on_piece(self, piece: int) -> list[int]:
        """The strips of which something lies on the piece."""
        return sorted(
            need for need, cuts in self.cuts.items() if any(self.task.runs[c.run].piece == piece for c in cuts)
        )

    def opened(self, piece: int) -> bool:
        """Whether anything is cut from the piece."""
        return self._uses[piece] > 0

    def lost_um(self, run: int, more_um: int = 0) -> int:
        """What is lost at the end of the run, with so much more laid into it."""
        load = self.load[run] + more_um
        if load == 0:
            return 0
        rest = self.room[run] - load
        return rest - self._ease if self._ease < rest < self._useful else 0

    def added_um(self, run: int, size_um: int) -> int:
        """What it adds to the cost to lay so much more into the run, joins apart."""
        load, useful, ease = self.load[run], self._useful, self._ease
        rest = self.room[run] - load
        added = 0 if self._uses[self.pieces[run]] else self._piece
        if load and ease < rest < useful:
            added -= rest - ease
        rest -= size_um
        return added + rest - ease if ease < rest < useful else added

    def cost_um(self) -> int:
        """What the plan costs so far."""
        return self._cost


def clash_table(task: Task) -> list[tuple[int, ...]]:
    """Of each run the runs that may get in its way, itself among them."""
    table: list[set[int]] = [{index} for index in range(len(task.runs))]
    for clique in task.cliques:
        for run in clique.runs:
            table[run].update(clique.runs)
    return [tuple(sorted(row)) for row in table]
