"""A coat drawn up again with a smaller measure, and changes of all its borders said as one measure of the coat.

How a coat is drawn is the garment's business: whoever asks for ways out hands in a ``Redraw``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, Protocol

from stash.garment.part import Part
from stash.lengths import inches
from stash.planner.change import IN_MM, Change, Edit, steps_below
from stash.planner.problem import Problem

STEP_MM: Final = IN_MM / 4  # a coat is made smaller in these steps (our judgement)
LEAST: Final = 0.85  # of a measure: a smaller coat is another one (our judgement)

#: Each measure that may give way: what the sentence says, and the measure beside which its loss is seen.
MEASURES: Final[Mapping[str, tuple[str, str]]] = {
    "length": ("the coat {new} long in place of {old}", "width"),
    "width": ("the coat {new} from sleeve end to sleeve end in place of {old}", "length"),
    "sleeve_depth": ("sleeves {new} deep in place of {old}", "width"),
}
#: A key of all the borders together, and what the coat calls it.
_BORDER_KEYS: Final = {
    "width": "border_width", "stripe": "stripe", "joins": "joins", "fabric": "border", "make": "make",
}  # fmt: skip


class Redraw(Protocol):
    """The coat that the problem's parts come from."""

    @property
    def sizes_mm(self) -> Mapping[str, float]:
        """Its measures by the file's keys."""

    @property
    def drawn_ids(self) -> frozenset[str]:
        """The parts that are drawn from the measures."""

    def parts(self, edits: Sequence[Mapping[str, Any]]) -> tuple[Part, ...] | None:
        """All parts once the file is edited so; None where that is no coat."""


def resized(problem: Problem, redraw: Redraw | None) -> Iterator[tuple[list[float], Callable[[float], Change | None]]]:
    """For each measure that may give way the sizes to try, smallest first, and the change for one of them."""
    for key in MEASURES if redraw is not None else ():
        assert redraw is not None
        if key in redraw.sizes_mm:
            yield _sizes(redraw.sizes_mm[key]), _maker(problem, redraw, key)


def _sizes(size_mm: float) -> list[float]:
    return steps_below(size_mm, LEAST * size_mm, STEP_MM)


def _maker(problem: Problem, redraw: Redraw, key: str) -> Callable[[float], Change | None]:
    words, beside = MEASURES[key]
    old_mm = redraw.sizes_mm[key]

    def make(size_mm: float) -> Change | None:
        edit: Edit = {"part": "coat", "key": key, "value": inches(size_mm)}
        parts = redraw.parts([edit])
        if parts is None:
            return None
        new = {part.id: part for part in parts}
        return Change(
            words=words.format(new=inches(size_mm), old=inches(old_mm)),
            edits=(edit,),
            parts={part.id: new.get(part.id) for part in problem.parts if new.get(part.id) != part},
            shows=(old_mm - size_mm) * redraw.sizes_mm[beside],
        )

    return make


def said_by_the_coat(change: Change, problem: Problem, redraw: Redraw | None) -> Change:
    """The same change with one measure of the coat in place of an edit that names every border, where that is the same.

    That it is the same is seen by drawing the coat up again.
    """
    if redraw is None:
        return change
    edits = tuple(
        {"part": "coat", "key": _BORDER_KEYS[edit["key"]], "value": edit["value"]}
        if "parts" in edit and edit["key"] in _BORDER_KEYS
        else edit
        for edit in change.edits
    )
    if edits == change.edits:
        return change
    drawn, wanted = redraw.parts(edits), change.after(problem).parts
    same = drawn is not None and sorted(drawn, key=lambda p: p.id) == sorted(wanted, key=lambda p: p.id)
    return replace(change, edits=edits) if same else change
