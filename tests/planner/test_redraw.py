"""Garments drawn up again as a change says. Truth: the parts that their files have."""

from __future__ import annotations

from dataclasses import replace

from stash.garment.editing import Drawn, drawn
from stash.garment.file import read_garment
from stash.garment.part import Part
from stash.planner.change import Change
from stash.planner.problem import Problem
from stash.planner.redraw import as_drawn

GARMENT = """
[[strip]]
id = "hem"
fabric = "deck"
stripe = "R"
length = "20 in"
width = "2 in"
"""


class AnotherName(Drawn):
    """Files that name a part otherwise once they are edited."""

    def parts(self, edits: object) -> tuple[Part, ...]:
        """The parts as they are, under other names."""
        return tuple(replace(part, id=f"new {part.id}") for garment in self.garments for part in garment.parts)


def test_what_is_not_planned_is_not_offered() -> None:
    """A narrower hem is drawn with the width that the edit says; where the edited files have a part by another name,
    which no plan holds, there is no such change."""
    garment = read_garment(GARMENT)
    redraw = drawn([garment])
    problem = Problem(parts=garment.parts, fabrics={}, pieces=())
    narrower = Change(
        words="hem 1 in wide", edits=({"part": "hem", "key": "width", "value": "1 in"},), parts={}, shows=1.0
    )
    same = as_drawn(narrower, problem, redraw)
    assert same is not None
    assert [getattr(part, "width_mm", None) for part in same.parts.values()] == [25.4]
    assert as_drawn(narrower, problem, AnotherName(garments=(garment,))) is None
