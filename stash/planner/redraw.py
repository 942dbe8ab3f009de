"""Garments drawn up again as a change says: so that an edit made in the file gives just what was planned.

How a garment is drawn is the garment's business: whoever asks for ways out hands in a ``Redraw``. A coat can also be
drawn with a smaller measure, and a change of all its borders can be said as one measure of the coat.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, Protocol

from stash.garment.part import Part
from stash.lengths import inches
from stash.planner.change import IN_MM, SAME_MM, Change, Edit, steps_below
from stash.planner.problem import Problem

STEP_MM: Final = IN_MM / 4  # a coat is made smaller in these steps (our judgement)
LEAST: Final = 0.85  # of a measure: a smaller coat is another one (our judgement)

#: Measures that may give way, alone or by the same amount together: what the sentence says for each, and the measure
#: beside which its loss is seen.
MEASURES: Final[Mapping[str, tuple[str, str]]] = {
    "length": ("the coat {new} long in place of {old}", "width"),
    "width": ("the coat {new} from sleeve end to sleeve end in place of {old}", "length"),
    "sleeve_depth": ("sleeves {new} deep in place of {old}", "width"),
}
GIVING_WAY: Final = (("length",), ("width",), ("sleeve_depth",), ("length", "width"))
#: A key of all the borders together, and what the coat calls it.
_BORDER_KEYS: Final = {
    "width": "border_width", "stripe": "stripe", "joins": "joins", "fabric": "border", "make": "make",
}  # fmt: skip


class Redraw(Protocol):
    """The garments that the problem's parts come from."""

    @property
    def sizes_mm(self) -> Mapping[str, float]:
        """The measures of a coat by the file's keys; none where there is not one coat alone."""

    @property
    def drawn_ids(self) -> frozenset[str]:
        """The parts that are drawn from the measures."""

    @property
    def ids(self) -> frozenset[str]:
        """All parts that the files have."""

    def parts(self, edits: Sequence[Mapping[str, Any]]) -> tuple[Part, ...] | None:
        """All parts once the files are edited so; None where they would then be wrong."""

    def filed(self, edit: Mapping[str, Any]) -> dict[str, Any]:
        """The edit in its file's own terms."""


def as_drawn(change: Change, problem: Problem, redraw: Redraw | None) -> Change | None:
    """The change with the parts that its edits give when they are made in the file; None where that cannot be."""
    if redraw is None:
        return change
    differ = differing(problem, redraw, change.edits)
    return None if differ is None else replace(change, parts=differ)


def differing(problem: Problem, redraw: Redraw, edits: Sequence[Edit]) -> dict[str, Part | None] | None:
    """The parts that are not as the problem has them once the files are edited so, by id; None for those that are gone.

    None in place of it where the files would be wrong, or have parts that they do not have now: those are not planned,
    and so not offered.
    """
    parts = redraw.parts(edits)
    new = {part.id: part for part in parts or ()}
    if parts is None or not new.keys() <= redraw.ids:
        return None
    return {part.id: new.get(part.id) for part in problem.parts if new.get(part.id) != part}


def resized(problem: Problem, redraw: Redraw | None) -> Iterator[tuple[list[float], Callable[[float], Change | None]]]:
    """For each measure that may give way the sizes to try, smallest first, and the change for one of them.

    Where several give way together, the sizes are the first one's, and the others lose as much.
    """
    for keys in GIVING_WAY if redraw is not None else ():
        if redraw is not None and all(key in redraw.sizes_mm for key in keys):
            size_mm = redraw.sizes_mm[keys[0]]
            yield steps_below(size_mm, LEAST * size_mm, STEP_MM), _maker(problem, redraw, keys)


def _maker(problem: Problem, redraw: Redraw, keys: Sequence[str]) -> Callable[[float], Change | None]:
    old_mm = redraw.sizes_mm

    def make(size_mm: float) -> Change | None:
        less_mm = old_mm[keys[0]] - size_mm
        new = {key: inches(old_mm[key] - less_mm + SAME_MM, toward="down") for key in keys}
        edits: tuple[Edit, ...] = tuple({"part": "coat", "key": key, "value": new[key]} for key in keys)
        differ = differing(problem, redraw, edits)
        if differ is None:
            return None
        return Change(
            words=" and ".join(MEASURES[key][0].format(new=new[key], old=inches(old_mm[key])) for key in keys),
            edits=edits,
            parts=differ,
            shows=sum(less_mm * old_mm[MEASURES[key][1]] for key in keys),
        )

    return make


def said_by_the_coat(change: Change, problem: Problem, redraw: Redraw | None) -> Change:
    """The same change with one measure of the coat in place of an edit that names every border, where that is the same.

    That it is the same is seen by drawing the coat up again.
    """
    if redraw is None or not redraw.sizes_mm:
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
