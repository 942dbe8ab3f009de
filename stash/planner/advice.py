"""Ways out of a no: the smallest changes that make it a yes, each one planned and audited before it is offered.

The kinds of change come in a fixed order, within a kind those that show least come first, and the ways found are
ranked by how much of the garment they change where it shows. Where several fabrics are short, a change for each is
found first and then they are made together. Only a change that was planned is offered: what the time did not reach is
left out, never guessed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import Any, Final

from stash.garment.part import Panel, Strip
from stash.lengths import inches
from stash.planner.change import (
    BOUND_MM,
    MORE,
    Change,
    bound,
    joined,
    left_plain,
    listed,
    narrowed,
    of_equal_width,
    one_by_one,
    restriped,
    smaller,
    steps_below,
    together,
)
from stash.planner.halt import how
from stash.planner.loosening import both, by_the_coat, joined_anywhere, looser
from stash.planner.nearby import Stock, from_other_cloth
from stash.planner.plan import Placement, WayOut
from stash.planner.problem import Problem
from stash.planner.redraw import Redraw, as_drawn, resized, said_by_the_coat
from stash.planner.trial import Decider, Trial, decided, share_of

LIMIT_S: Final = 15.0  # seconds for all ways together: as long as somebody waits for a second answer (our judgement)
MOST_OF_A_KIND: Final = 2  # a short list is read, a long one is not
MOST: Final = 8  # ways offered in all
MANY: Final = 4  # borders from which all of them are told by their number
LEAST_PANEL: Final = 0.6  # of its size: a smaller panel is another garment (our judgement)

Kind = Callable[["_Search"], list[Change]]


def ways_out(
    problem: Problem,
    *,
    limit_s: float = LIMIT_S,
    decide: Decider | None = None,
    redraw: Redraw | None = None,
    stock: Stock | None = None,
    trial: Trial | None = None,
) -> tuple[WayOut, ...]:
    """Changes that turn the no into a yes, those that show least first; empty where none of the kinds helps.

    Kinds: strips that need not mirror, joins where they show, one join more in a strip or a pair, a narrower border
    (the widest that works, in eighths of an inch), another stripe or a narrow binding on the edges that show least, an
    edge left plain, a smaller panel, a smaller coat (``redraw``), another cloth whose stripe is near (``stock``). For
    the edits see ``WayOut``; an edge left plain is {"key": "leave_out", "value": true}, a key taken out has null.
    Interrupted, it gives those found before, and ``trial.cut_short`` says so.
    """
    trial = (trial or Trial(time.monotonic() + limit_s, decide or decided)).until(time.monotonic() + limit_s)
    whole = trial.part(3).until(trial.deadline)
    found: list[Change] = []
    each: list[list[Change]] = []
    try:
        short = whole.short(problem)
        each += [[] for _ in short]
        if redraw and trial.left_s > 0:
            found += _for_all(_Search(problem, "", problem, trial, redraw, stock))
        for n, fabric in enumerate(short):
            part = trial.part(len(short) - n)
            _for_one(_Search(problem, fabric, share_of(problem, fabric), part, redraw, stock), each[n])
    except KeyboardInterrupt as interruption:
        trial.cut_short.append(how(interruption))
        trial = trial.until(time.monotonic())
    ways: list[tuple[Change, tuple[Placement, ...]]] = []
    for change in _ranked([*found, *_combined([_ranked(changes) for changes in each])])[:MOST]:
        drawn = as_drawn(change, problem, redraw)
        placements = None if drawn is None else trial.placements(drawn.after(problem))
        if drawn is not None and placements is not None:
            ways.append((said_by_the_coat(drawn, problem, redraw), placements))
    return tuple(
        WayOut(
            change=_with_places(change, problem, placements),
            edit=_filed(change, redraw),
            answer="yes",
            placements=placements,
        )
        for change, placements in ways
    )


def _filed(change: Change, redraw: Redraw | None) -> dict[str, Any]:
    edit = change.edit
    if redraw is None:
        return edit
    told = redraw.filed(edit)
    return {**told, "also": [redraw.filed(row) for row in edit["also"]]} if "also" in edit else told


@dataclass(frozen=True, slots=True)
class _Search:
    """Changes for one fabric that is short: its share, and what may be tried until when.

    ``alone``: it is enough that this fabric is enough after the change; the others that are short change besides.
    """

    problem: Problem
    fabric: str
    share: Problem
    trial: Trial
    redraw: Redraw | None
    stock: Stock | None
    alone: bool = False

    @property
    def strips(self) -> tuple[Strip, ...]:
        """The fabric's strips."""
        return self.share.strips

    def works(self, change: Change) -> bool:
        """Whether every fabric that the change touches is then enough."""
        after = change.after(self.problem)
        touched = {part.fabric for part in self.problem.parts if part.id in change.parts}
        touched |= {part.fabric for part in change.parts.values() if part is not None}
        left = {part.fabric for part in after.parts}
        if self.alone:
            touched &= {self.fabric}
        return all(self.trial.share(after, name).answer == "yes" for name in sorted(touched & left))

    def working(self, change: Change | None) -> Change | None:
        """The change as the file gives it, where it works."""
        drawn = None if change is None else as_drawn(change, self.problem, self.redraw)
        return drawn if drawn is not None and self.works(drawn) else None

    def first(self, changes: Iterable[Change | None], most: int) -> list[Change]:
        """The first few of the changes that work."""
        found: list[Change] = []
        for change in changes:
            if self.trial.left_s <= 0 or len(found) == most:
                break
            working = self.working(change)
            if working is not None:
                found.append(working)
        return found

    def greatest(self, sizes: Sequence[float], make: Callable[[float], Change | None]) -> Change | None:
        """The change of the greatest size that works, by halving; sizes rise, and what works at one works below it."""
        low, high = 0, len(sizes)
        best: Change | None = None
        while low < high and self.trial.left_s > 0:
            middle = (low + high) // 2
            change = self.working(make(sizes[middle]))
            if change is not None:
                best, low = change, middle + 1
            else:
                high = middle
        return best

    def grown(self, make: Callable[[Sequence[Strip]], Change | None]) -> list[Change]:
        """The change on more and more edges, from the one that shows least, until it works; then on those it takes.

        Where the file cannot say it of all (a garment without any part), it is tried on all but one, and so on.
        """
        taken: list[list[Strip]] = []
        best: Change | None = None
        for rows in together(self.strips):
            taken.append(rows)
            best = self.working(make(_flat(taken))) if len(taken) > 1 and self.trial.left_s > 0 else None
            if best is not None:
                break
        every = make(_flat(taken)) if best is None and len(taken) > 1 else None
        too_much = every is not None and as_drawn(every, self.problem, self.redraw) is None
        for rows in taken[-2::-1] if best is not None or too_much else ():
            fewer = [other for other in taken if other is not rows]
            change = self.working(make(_flat(fewer)))
            if change is not None:
                best, taken = change, fewer
        return [] if best is None else [best]

    def until(self, part: int) -> _Search:
        """The same with an equal part of the time."""
        return replace(self, trial=self.trial.part(part))


def _for_one(search: _Search, found: list[Change]) -> None:
    """Adds the changes that help, kind by kind."""
    kinds: tuple[Kind, ...] = (
        _looks, _joins, _narrower, _plain, _stripes, _bound, _panels, _measures, _other_cloth,
    )  # fmt: skip
    for index, kind in enumerate(kinds):
        found += [_in_short(change, search.strips) for change in kind(search.until(len(kinds) - index))]


def _in_short(change: Change, strips: Sequence[Strip]) -> Change:
    """The same, with ``all 8 borders`` in place of their names."""
    if len(strips) < MANY or set(change.parts) != {strip.id for strip in strips}:
        return change
    return replace(change, words=change.words.replace(listed(list(change.parts)), f"all {len(strips)} borders"))


def _for_all(search: _Search) -> list[Change]:
    """Smaller measures of the whole coat, which may mend several fabrics at once; a third of the time at most."""
    limited = search.until(3)
    return _measures(limited)


def _measures(search: _Search) -> list[Change]:
    """A smaller coat, as far as this one fabric goes."""
    alone = replace(search, alone=bool(search.fabric))
    found: list[Change] = []
    for sizes, make in resized(search.problem, search.redraw):
        change = alone.greatest(sizes, make)
        if change is not None and not any(_asks_more(change, other) for other in found):
            found.append(change)
    return found


def _asks_more(change: Change, other: Change) -> bool:
    """Whether the change makes smaller all that the other does, and more besides."""
    keys = {(edit["part"], edit["key"]) for edit in change.edits}
    return keys > {(edit["part"], edit["key"]) for edit in other.edits}


def _ranked(changes: Sequence[Change]) -> list[Change]:
    once = {repr(change.edits): change for change in changes}
    return sorted(once.values(), key=lambda change: (change.shows, change.words))


def _combined(each: Sequence[Sequence[Change]]) -> list[Change]:
    """One change for every fabric that is short: the least of each together, then with one of them the next."""
    if not each or not all(each):
        return []
    if len(each) == 1:
        return list(each[0])
    picks = [tuple(0 for _ in each)]
    picks += [
        tuple(step if at == n else 0 for n in range(len(each)))
        for at, changes in enumerate(each)
        for step in range(1, min(len(changes), MOST_OF_A_KIND + 1))
    ]
    rows = ([changes[step] for changes, step in zip(each, pick, strict=True)] for pick in picks)
    return [_all_of(changes) for changes in rows if _apart(changes)]


def _apart(changes: Sequence[Change]) -> bool:
    """Whether no two of the changes set the same key of the same part."""
    keys = [(edit["part"], edit["key"]) for change in changes for edit in change.edits]
    return len(set(keys)) == len(keys)


def _all_of(changes: Sequence[Change]) -> Change:
    whole = changes[0]
    for change in changes[1:]:
        whole = whole.with_(change)
    return whole


def _with_places(change: Change, problem: Problem, placements: Sequence[Placement]) -> str:
    """The words of the change, and where its joins lie: ``one more join in hem, 14 in from its start``."""
    if not change.joins:
        return change.words
    after = {strip.id: strip for strip in change.after(problem).strips}
    places: dict[str, str] = {}
    for name in change.joins:
        mine = sorted((p for p in placements if p.part == name and p.finished_mm), key=lambda p: p.segment)
        reached = [0.0]
        for placement in mine[:-1]:
            reached.append(reached[-1] + (placement.finished_mm or 0.0))
        if name in after and len(reached) > 1:
            places[name] = listed([inches(mm) for _, mm in pairwise(reached)])
    if len(set(places.values())) == 1 and set(places) == set(change.parts):
        return f"{change.words}, {next(iter(places.values()))} from {'its' if len(places) == 1 else 'their'} start"
    told = "; ".join(f"{name} joined {place} from its start" for name, place in places.items())
    return f"{change.words} ({told})" if told else change.words


def _flat(sets: Sequence[Sequence[Strip]]) -> list[Strip]:
    return [strip for rows in sets for strip in rows]


# -- the kinds ---------------------------------------------------------------------------------------------------


def _looks(search: _Search) -> list[Change]:
    """The nearest look that the cloth offers, and joins where they would show."""
    looks = by_the_coat(search.problem, search.redraw) or looser(search.strips)
    found = [
        *search.first(looks, MOST_OF_A_KIND),
        *search.first((joined_anywhere(strips) for strips in one_by_one(search.strips)), 1),
    ]
    hiding = joined_anywhere([strip for strip in search.strips if strip.joins and strip.hide_mm])
    return found or search.first([both(looks[-1], hiding)] if looks and hiding else [], 1)


def _joins(search: _Search) -> list[Change]:
    """One more join in a strip or a pair; else in as few strips as will do; else two more, and so on."""
    singles = one_by_one(search.strips)
    for more in MORE:
        alone = search.first((joined(strips, more) for strips in singles), MOST_OF_A_KIND)
        found = alone or search.grown(partial(joined, more=more))
        if found:
            return found
    return []


def _narrower(search: _Search) -> list[Change]:
    """The whole border narrower, and the one edge that does it alone with the least change."""
    groups = of_equal_width(search.strips)
    edges = [rows for rows in together(search.strips) if rows not in groups]
    return [*_narrowest(search.until(2), groups), *_narrowest(search, edges)[:1]]


def _narrowest(search: _Search, sets: Sequence[list[Strip]]) -> list[Change]:
    found: list[Change] = []
    for strips in sets:
        if len({round(strip.width_mm, 2) for strip in strips}) > 1:
            continue

        def make(width_mm: float, strips: list[Strip] = strips) -> Change:
            return narrowed(strips, width_mm)

        change = search.greatest(steps_below(strips[0].width_mm), make)
        found += [change] if change is not None else []
    return _ranked(found)


def _stripes(search: _Search) -> list[Change]:
    labels = list(dict.fromkeys(stripe.label for stripe in search.problem.fabrics[search.fabric].print.stripes))

    def to(label: str) -> Callable[[Sequence[Strip]], Change | None]:
        def make(strips: Sequence[Strip]) -> Change | None:
            one = len({strip.stripe for strip in strips}) == 1 and strips[0].stripe != label
            return restriped(strips, label) if one else None

        return make

    makers = [to(label) for label in labels]
    alone = search.first((make(strips) for strips in together(search.strips) for make in makers), MOST_OF_A_KIND)
    return alone or [change for make in makers for change in search.grown(make)][:MOST_OF_A_KIND]


def _bound(search: _Search) -> list[Change]:
    """A narrow binding, as wide as it goes, on the edge that shows least, or else on as few edges as will do."""
    for strips in together(search.strips):

        def make(width_mm: float, strips: list[Strip] = strips) -> Change | None:
            return bound(strips, width_mm)

        change = search.greatest(BOUND_MM, make)
        if change is not None:
            return [change]
    return search.grown(lambda strips: bound(strips, BOUND_MM[-1])) or search.grown(lambda s: bound(s, BOUND_MM[0]))


def _plain(search: _Search) -> list[Change]:
    return search.first((left_plain(strips) for strips in together(search.strips)), MOST_OF_A_KIND) or search.grown(
        left_plain
    )


def _panels(search: _Search) -> list[Change]:
    found: list[Change] = []
    drawn = search.redraw.drawn_ids if search.redraw else frozenset()
    for panel in search.share.panels:
        if panel.id in drawn:
            continue
        for key, size_mm in (("length", panel.length_mm), ("width", panel.width_mm)):

            def make(less_mm: float, panel: Panel = panel, key: str = key) -> Change:
                return smaller(panel, key, less_mm)

            change = search.greatest(steps_below(size_mm, LEAST_PANEL * size_mm), make)
            found += [change] if change is not None else []
    return found


def _other_cloth(search: _Search) -> list[Change]:
    if search.stock is None:
        return []
    fabric = search.problem.fabrics[search.fabric]
    sets = [*of_one_stripe(search.strips), *together(search.strips)]
    return search.first(from_other_cloth(sets, fabric, search.stock), MOST_OF_A_KIND)


def of_one_stripe(strips: Sequence[Strip]) -> list[list[Strip]]:
    """The strips that show one stripe, as one border."""
    labels = dict.fromkeys(strip.stripe for strip in strips)
    return [[strip for strip in strips if strip.stripe == label] for label in labels]
