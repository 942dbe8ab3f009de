"""A better plan from a found one: fewer pieces and joins, shorter lost ends, then room for hands at the same cost."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from stash.planner.asking import Effort
from stash.planner.bound import least_segments
from stash.planner.easing import eased, level, tidy
from stash.planner.halt import Ended, how
from stash.planner.layout import sound
from stash.planner.load import Loads
from stash.planner.opening import Choice, Choices, few_joins, find_choices, without_impossible
from stash.planner.pool import Pool
from stash.planner.price import Weights
from stash.planner.quick import COMFORT_UM, Solution, trimmed
from stash.planner.recreate import recreate
from stash.planner.relaxation import Relaxation
from stash.planner.search import Search
from stash.planner.task import Cut, Task

FIRST_ROUNDS = 1000
"""Rounds before anything else: a quarter of a second that makes most first plans much cheaper, so that fewer numbers of
pieces come into question."""

ROUNDS = 12_000
"""Rounds of laying anew in search of a cheaper plan, from an empty table: about three seconds. From a cheap plan on,
fewer tables are cheap enough to go on from; one such search finds cheaper plans than several short ones do."""

THROWS = 6
"""Such searches in all, each with dice of its own: of sixteen hard borders of our own the last four made seven
cheaper by 1 to 6 %."""

MOST_CHOICES = 2
"""Numbers of pieces that are tried by themselves, those first of which a plan may be cheapest."""

SOON_ROUNDS = 2000
"""Rounds on the pieces alone that the cheapest plan of so many pieces would open if lanes could be filled in fractions:
where strips lie on them, that is often all there is to be found."""

NEARLY = 2
"""Strips that may be missing then where ``ROUNDS`` on the same pieces may lay them all: a border of 28 strips lay so
on one piece after 12,000, but not after 6000."""

TOGETHER = 2
"""Throws after which a plan is put together of all that was seen."""

MERGED_ROUNDS = 2000
"""Rounds from such a plan on."""

PATIENCE = 2000
"""Rounds after which a search on all pieces is given up where not all strips lie on them."""

LAST_ROUNDS = 3000
"""Rounds from the cheapest plan on, once more on all pieces."""

WORK = 0.03
"""Deterministic seconds spent on an exact search for a cheaper plan: a tenth of a second of a laptop."""

MOST_PLACES = 400
"""Segments times runs up to which a cheaper plan is searched for exactly; with more, none is found so soon."""

LOAD_WORK = 1.0
"""Deterministic seconds on what lanes that overlap may be laden with: more makes the bound no higher, but seldom."""

WIDE = 0.1
"""Ratio. How far the bound stays below the cost where that is asked for."""

MOST_LOADS = 6000
"""Strips times lanes up to which that is asked: with more, the solver sees nothing in that time."""

NEAR = 0.01
"""Ratio. A plan whose cost is this near the least there can be is good enough."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Better:
    """A plan and what any plan costs at least (um). ``stopped``: it was interrupted, and why; ``cut_short``: its time
    was over before the search for a cheaper one was."""

    solution: Solution
    bound_um: int
    stopped: Ended | None = None
    cut_short: bool = False


def as_it_is(found: Solution, weights: Weights) -> Better:
    """The plan with room for hands, and no search for a cheaper one."""
    better = _eased(found, weights)
    return replace(better, solution=tidy(better.solution, weights))


def _eased(found: Solution, weights: Weights) -> Better:
    return Better(solution=eased(found, weights), bound_um=_least_cost(found.task, weights))


def improve(found: Solution, weights: Weights, seconds: float, say: Callable[[str], None] = lambda _: None) -> Better:
    """A cheaper plan, if there is one, and last the joins of strips that are alike at the same height.

    Stopped (Ctrl-C, or the time is up), it gives the best plan so far at once.
    """
    better = Better(solution=found, bound_um=0)
    try:
        better = _eased(found, weights)
        if found.task.needs:
            better = _cheaper(better, weights, time.monotonic() + seconds, say)
        return replace(better, solution=tidy(level(better.solution, weights), weights))
    except KeyboardInterrupt as interruption:
        return replace(better, stopped=how(interruption))


def _cheaper(better: Better, weights: Weights, deadline: float, say: Callable[[str], None]) -> Better:
    """The plan with room for hands, after a search for a cheaper one.

    Panels stay where they are. The answer does not depend on the machine, but for running out of time.
    """
    quest = _Quest(better, weights, deadline, say)
    try:
        quest.follow()
    except KeyboardInterrupt as interruption:
        return replace(quest.better, stopped=how(interruption))
    better = quest.better
    out_of_time = not better.stopped and time.monotonic() > deadline and not _good_enough(better, weights)
    return replace(better, cut_short=out_of_time) if out_of_time else better


class _Quest:
    """What is known after every step, so that it is there whenever the search is left."""

    def __init__(self, better: Better, weights: Weights, deadline: float, say: Callable[[str], None]) -> None:
        self.better, self.weights, self.deadline, self.say = better, weights, deadline, say
        solution = better.solution
        self.opened = frozenset(lay.spot.piece for lay in solution.lays)
        self.pool = Pool(solution.task, weights, solution.cost_um(weights), self.opened)

    def follow(self) -> None:
        """For a moment among the plans that leave room at the lanes' ends, then among all: on few pieces, on all from
        an empty table, on fewer than that plan opens, and on all once more. Then what makes the bound higher, but no
        plan cheaper; with what time is left, from an empty table again and again, and put together of what was seen."""
        task = self.better.solution.task
        fit_um = task.stance.fit_um
        self._laid_anew(COMFORT_UM, FIRST_ROUNDS)
        relaxation = None if self.better.solution.lays else Relaxation(task, self.weights, paired=True)
        choices = self._bounded(relaxation) if relaxation else None
        few = choices.inside[:MOST_CHOICES] if choices else ()
        hopeful: list[Choice] = []
        for choice in few:
            if self._worth_while(choice):
                self.better = _with_few_joins(self.better, choice, self.weights, self.deadline)
            missing = self._laid_anew(fit_um, SOON_ROUNDS, choice)
            hopeful += [choice] if missing <= NEARLY else []
        self._laid_anew(fit_um, ROUNDS, throw=1)
        for choice in hopeful:
            if choice.count < self._opened():
                self._laid_anew(fit_um, ROUNDS, choice)
        self._laid_anew(fit_um, LAST_ROUNDS)
        if relaxation and choices and not self.better.stopped:
            self.better = _searched(self.better, self.weights, self.deadline)
            self.better = _laden(self.better, self.weights, self.deadline)
            self.better = _proven(self.better, choices, relaxation, self.weights, self.deadline)
            if self._worth_while(None):
                self._no_less_than(relaxation.solve_tree(self.deadline, self._cost_um()).um)
        for throw in range(2, THROWS + 1):
            self._laid_anew(fit_um, ROUNDS, throw=throw)
            if throw % TOGETHER == 0:
                self._put_together(fit_um)

    def _put_together(self, margin_um: int) -> None:
        """The cheapest plan of the parts of all that were seen, laid anew from there on, as long as that is cheaper."""
        before_um = self._cost_um() + 1
        while self._cost_um() < before_um and self._worth_while(None):
            before_um = self._cost_um()
            self._laid_anew(margin_um, MERGED_ROUNDS, start=self.pool.put_together(self.deadline))

    def _bounded(self, relaxation: Relaxation) -> Choices:
        """What any plan costs at least, and for each number of pieces."""
        relaxation.start(self.better.solution.cuts)
        self._no_less_than(relaxation.solve(self.deadline, stop_um=self._cost_um()).um)
        choices = find_choices(relaxation, self._opened(), self.deadline)
        self._no_less_than(choices.bound_um())
        return choices

    def _no_less_than(self, um: int) -> None:
        self.better = replace(self.better, bound_um=max(self.better.bound_um, um))

    def _cost_um(self) -> int:
        return self.better.solution.cost_um(self.weights)

    def _opened(self) -> int:
        return len({self.better.solution.task.runs[cut.run].piece for cut in self.better.solution.cuts})

    def _worth_while(self, choice: Choice | None) -> bool:
        """Whether there is a cheaper plan to be looked for, on the chosen pieces where these are told, and time."""
        if self.better.stopped or _good_enough(self.better, self.weights) or time.monotonic() > self.deadline:
            return False
        return choice is None or choice.least_um < self._cost_um()

    def _laid_anew(
        self, margin_um: int, rounds: int, choice: Choice | None = None, throw: int = 0, start: Sequence[Cut] = ()
    ) -> int:
        """The cheaper plan that laying anew finds among those with such a margin at the lanes' ends, on some pieces:
        from the plan that there is or from the cuts told, or from an empty table on some pieces and with a ``throw`` of
        the dice other than the first. Gives the number of strips that find no room (all, where it is not worth while).
        """
        if not self._worth_while(choice):
            return len(self.better.solution.task.needs)
        self.say(_known(self.better, self.weights))
        solution = self.better.solution
        among = trimmed(solution.task, margin_um)
        if not (start or choice or throw) and sound(replace(solution, task=among)):
            start = solution.cuts
        among = among.only_on(choice.pieces) if choice else among
        enough_um = int((1 + NEAR) * max(choice.least_um if choice else 0, self.better.bound_um))
        laid = recreate(
            among, self.weights, self.deadline, rounds=rounds, start=start, throw=throw,
            patience=None if choice else PATIENCE,
            opened=self.opened, enough=lambda cost: cost <= enough_um, seen=self.pool.keep,
        )  # fmt: skip
        self.better = replace(self.better, stopped=laid.stopped)
        if not laid.missing:
            self.better = _if_cheaper(self.better, laid.cuts, self.weights)
        return len(laid.missing)


def _laden(better: Better, weights: Weights, deadline: float) -> Better:
    """A higher bound, where lanes overlap and what they take together depends on which of them take it."""
    task, cost = better.solution.task, better.solution.cost_um(weights)
    wanted = {run for need in task.needs for run in need.all_runs}
    overlap = any(len(wanted.intersection(clique.runs)) > 1 for clique in task.cliques)
    few = sum(len(need.all_runs) for need in task.needs) <= MOST_LOADS
    seconds = deadline - time.monotonic()
    if not overlap or not few or seconds <= 0 or better.bound_um > (1 - WIDE) * cost:
        return better
    least = Loads(task, weights).least_um(Effort(seconds=min(5.0, seconds), work=LOAD_WORK), better.solution.cuts)
    return replace(better, bound_um=max(better.bound_um, min(cost, least)))


def _proven(better: Better, choices: Choices, relaxation: Relaxation, weights: Weights, deadline: float) -> Better:
    """A higher bound, where all sets of few pieces can be ruled out one by one."""
    if _good_enough(better, weights):
        return better
    cost = better.solution.cost_um(weights)
    left = without_impossible(choices, relaxation, cost, deadline)
    return replace(better, bound_um=max(better.bound_um, min(cost, left.bound_um())))


def _known(better: Better, weights: Weights) -> str:
    cost, bound = better.solution.cost_um(weights) / 1000, better.bound_um / 1000
    return f"a plan is found at a cost of {cost:.0f}, and none costs less than {bound:.0f}; looking for a cheaper one"


def _good_enough(better: Better, weights: Weights) -> bool:
    return better.solution.cost_um(weights) <= (1 + NEAR) * better.bound_um


def _with_few_joins(better: Better, choice: Choice, weights: Weights, deadline: float) -> Better:
    """The cheaper plan that exact search finds at once on the pieces of a choice, with hardly a join."""
    cuts = few_joins(better.solution.task, weights, choice, deadline)
    return _if_cheaper(better, cuts, weights) if cuts else better


def _if_cheaper(better: Better, cuts: Sequence[Cut], weights: Weights) -> Better:
    """With that plan, given room for hands, if it is cheaper."""
    tried = eased(replace(better.solution, cuts=tuple(cuts)), weights)
    return replace(better, solution=tried) if tried.cost_um(weights) < better.solution.cost_um(weights) else better


def _searched(better: Better, weights: Weights, deadline: float) -> Better:
    """The exact search, for few places only: its bound may prove the plan the cheapest."""
    task = better.solution.task
    places = sum(need.most * len(need.all_runs) for need in task.needs)
    if places > MOST_PLACES or better.solution.cost_um(weights) <= better.bound_um:
        return better
    effort = Effort(seconds=min(2.5, deadline - time.monotonic()), work=WORK)
    outcome = Search(task, goal=weights).run(effort, better.solution.cuts)
    if outcome.bound_um is not None:
        better = replace(better, bound_um=max(better.bound_um, outcome.bound_um))
    if outcome.status not in ("found", "best"):
        return better
    return _if_cheaper(better, outcome.cuts, weights)


def _least_cost(task: Task, weights: Weights) -> int:
    """One piece, and the joins that the longest lanes force."""
    joins = sum(max(0, least_segments(task, need) - 1) * weights.join_um(need.strip) for need in task.needs)
    return weights.piece_um + joins
