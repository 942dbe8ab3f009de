"""Ways out are edits of a garment file: made in the file and asked again, each is a yes. Cases worked out by hand."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

import pytest

from stash.fabric import Fabric, Print, Stripe
from stash.garment.editing import drawn
from stash.garment.file import read_garment
from stash.garment.part import Garment
from stash.garment.resolved import together
from stash.piece import Piece
from stash.planner.advice import ways_out
from stash.planner.audit import audit
from stash.planner.nearby import Stock, near_stripes
from stash.planner.plan import WayOut
from stash.planner.problem import Problem
from stash.planner.solve import decide
from vision.estimate import Estimate

IN = 25.4
File = dict[str, Any]


def striped(name: str, *stripes: tuple[str, float, str]) -> Fabric:
    """Stripes of (label, width in inches, colour) side by side."""
    rows, reached = [], 0.0
    for label, width, colour in stripes:
        rows.append(Stripe(label=label, width_mm=width * IN, centre_mm=(reached + width / 2) * IN, hex=colour))
        reached += width
    return Fabric(id=name, name=name, print=Print(kind="stripe", across=Estimate(reached * IN), stripes=tuple(rows)))


FABRICS = {
    "deck": striped("deck", ("A", 1, "#a01c24"), ("B", 1, "#f0e8d8"), ("C", 1, "#2040a0")),
    "awning": striped("awning", ("A", 2, "#f0e8d8"), ("B", 1, "#a41e26")),
    "linen": Fabric(id="linen", name="linen", print=Print(kind="plain")),
}


def piece(name: str, fabric: str, wide_in: float, long_in: float, origin_in: float = 0.0) -> Piece:
    """A rectangle, its stripes lengthwise."""
    corners = ((0.0, 0.0), (wide_in * IN, 0.0), (wide_in * IN, long_in * IN), (0.0, long_in * IN))
    return Piece(id=name, fabric=fabric, outline_mm=corners, stripe_origin_mm=origin_in * IN)


def strip(name: str, length: str, **keys: Any) -> File:
    """A [[strip]] of red deck-chair stripe, 1 in wide."""
    return {"id": name, "fabric": "deck", "stripe": "A", "length": length, "width": "1 in", **keys}


def toml(file: File) -> str:
    """The file as text: values are words, numbers, true and lists of these."""

    def value(given: Any) -> str:
        if isinstance(given, bool):
            return str(given).lower()
        if isinstance(given, list):
            return f"[{', '.join(value(row) for row in given)}]"
        return str(given) if isinstance(given, int) else f'"{given}"'

    def rows(table: Mapping[str, Any]) -> str:
        return "\n".join(f"{key} = {value(given)}" for key, given in table.items())

    top = {key: given for key, given in file.items() if key not in ("coat", "strip", "panel")}
    tables = [rows(top)]
    tables += [f"[coat]\n{rows(file['coat'])}"] if "coat" in file else []
    tables += [f"[[{kind}]]\n{rows(table)}" for kind in ("strip", "panel") for table in file.get(kind, ())]
    return "\n\n".join(tables)


def edited(file: File, edit: Mapping[str, Any]) -> File:
    """The file with the edit made by hand: "coat" is the coat's table; a part not written yet is added as a strip.

    A value of None takes the key out.
    """
    after = copy.deepcopy(file)
    for name in edit.get("parts", [edit["part"]]):
        tables = [*after.get("strip", ()), *after.get("panel", ())]
        table = after["coat"] if name == "coat" else next((row for row in tables if row["id"] == name), None)
        if table is None:
            table = {"id": name}
            after.setdefault("strip", []).append(table)
        table[edit["key"]] = edit["value"]
        if edit["value"] is None:
            del table[edit["key"]]
    for further in edit.get("also", ()):
        after = edited(after, further)
    return after


def problem_of(garments: tuple[Garment, ...], *pieces: Piece) -> Problem:
    """The question of these garments from these pieces."""
    parts = tuple(part for garment in garments for part in garment.parts)
    wanted = {part.fabric for part in parts}
    return Problem(
        parts=parts,
        fabrics={name: FABRICS[name] for name in wanted},
        pieces=tuple(row for row in pieces if row.fabric in wanted),
    )


def ways(file: File, *pieces: Piece) -> tuple[WayOut, ...]:
    """The ways out of a file's no."""
    garment = read_garment(toml(file))
    problem = problem_of((garment,), *pieces)
    assert decide(problem, optimise=False).answer == "no"
    return ways_out(problem, redraw=drawn([garment]), stock=Stock(fabrics=FABRICS, pieces=pieces))


SEAM = {"name": "Case", "seam": "1/4 in"}
COAT = {
    "width": "44 in", "length": "30 in", "sleeve_depth": "8 in", "main": "linen", "border": "deck", "stripe": "A",
    "border_width": "1 1/2 in", "joins": 1, "shortest": "4 in",
}  # fmt: skip
WIDE = {"width": "2 1/2 in"}
LINEN = piece("l", "linen", 60, 44)

CASES: dict[str, tuple[File, tuple[Piece, ...]]] = {
    "too long": (
        {**SEAM, "strip": [strip("hem", "50 in", edge="hem"), strip("cuff", "12 in", edge="sleeve")]},
        (piece("d", "deck", 13, 40, 1), piece("a", "awning", 12, 60)),
    ),
    "too many": (
        {**SEAM, "strip": [strip(f"b{n}", "25 in", edge="join") for n in range(4)]},
        (piece("d", "deck", 10, 40, 1), piece("a", "awning", 7, 40, 1)),
    ),
    "too wide": (
        {**SEAM, "strip": [strip(f"b{n}", "30 in", **WIDE, pair="p") for n in range(2)]},
        (piece("d", "deck", 5.5, 35, 1),),
    ),
    "mirrored": (
        {**SEAM, "strip": [strip(name, "30 in", mirror="m", edge="front", width="3 in") for name in ("l", "r")]},
        (piece("d", "deck", 9, 36, 1),),
    ),
    "join that hides": (
        {**SEAM, "strip": [strip("hem", "50 in", joins=1, edge="hem", hide=[["23 in", "27 in"]])]},
        (piece("d", "deck", 2.5, 20, 1), piece("e", "deck", 2.5, 40, 1)),
    ),
    "two fabrics": (
        {**SEAM, "strip": [strip("hem", "50 in"), strip("cuff", "45 in", fabric="awning", stripe="B")]},
        (piece("d", "deck", 13, 40, 1), piece("a", "awning", 10, 40)),
    ),
    "corner": (
        {**SEAM, "strip": [
            strip("hem", "30 in", edge="hem", corner=[["hem", "end", "front", "start"]]),
            strip("front", "30 in", edge="front"),
        ]},
        (piece("d", "deck", 4, 40, 0.5),),
    ),
    "coat, wide border": (
        {**SEAM, "coat": {**COAT, "border_width": "3 in"}}, (LINEN, piece("d", "deck", 20, 40, 1)),
    ),
    "coat, little stripe": ({**SEAM, "coat": COAT}, (LINEN, piece("d", "deck", 13, 30, 1))),
    "coat, little linen": (
        {**SEAM, "coat": {**COAT, "turn": False}}, (piece("l", "linen", 43, 60), piece("d", "deck", 60, 60)),
    ),
    "coat and all": (
        {**SEAM, "coat": COAT, "strip": [strip("belt", "70 in"), {"id": "hem", "joins": 0}]},
        (piece("l", "linen", 43.5, 29.5), piece("d", "deck", 40, 40)),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_every_edit_made_in_the_file_gives_a_yes_and_what_was_offered(name: str) -> None:
    """The edit is made in the file's text and the whole is read and asked again: yes; the offered cuts serve it."""
    file, pieces = CASES[name]
    found = ways(file, *pieces)
    assert found
    for way in found:
        after = problem_of((read_garment(toml(edited(file, way.edit))),), *pieces)
        assert audit(after, way.placements) == (), way.change
        assert decide(after, optimise=False).answer == "yes", way.change


def test_where_the_join_lies_is_where_it_is_cut() -> None:
    """50 in and two seams of 1/4 in from lanes of 40 in: the place told is the first segment's finished length."""
    (way, *_) = ways(*[CASES["too long"][0]], *CASES["too long"][1][:1])
    first = next(row for row in way.placements if row.part == "hem" and row.segment == 1)
    assert way.edit == {"part": "hem", "key": "joins", "value": 1}
    assert first.finished_mm is not None
    told = way.change.removeprefix("one more join in hem, ").removesuffix(" in from its start")
    whole, _, part = told.partition(" ")
    top, bottom = part.split("/") if part else ("0", "1")
    assert (int(whole) + int(top) / int(bottom)) * IN == pytest.approx(first.finished_mm, abs=IN / 32)


def test_two_fabrics_that_are_short_are_mended_together() -> None:
    """Hem 50 in and cuff 45 in, each longer than its cloth of 40 in: the least is a join in each, told as one way."""
    (way, *_) = ways(*[CASES["two fabrics"][0]], *CASES["two fabrics"][1])
    edits = [way.edit, *way.edit["also"]]
    assert {(edit["part"], edit["key"], edit["value"]) for edit in edits} == {("hem", "joins", 1), ("cuff", "joins", 1)}


def test_of_a_garment_of_strips_alone_those_are_left_plain_that_must_be() -> None:
    """Two strips of 50 in without joins, each too long for 40 in, and one of 20 in that would stay: they are left out.

    A file without any part says nothing, so that all three cannot be tried first.
    """
    bands = [strip("hem", "50 in", edge="hem", shortest="30 in"), strip("front", "50 in", shortest="30 in")]
    file = {**SEAM, "strip": [strip("cuff", "20 in", edge="inside"), *bands]}
    plain = [way.edit for way in ways(file, piece("d", "deck", 1.6, 40, 0.3)) if way.edit["key"] == "leave_out"]
    assert [sorted(edit["parts"]) for edit in plain] == [["front", "hem"]]


def test_a_stripe_of_another_cloth_is_offered_where_it_is_near_in_colour() -> None:
    """Two reds a shade apart are near, red and blue are not; and the strip that finds no lane is cut from the other."""
    near = near_stripes(FABRICS["deck"], "A", Stock(fabrics=FABRICS, pieces=()))
    assert [(fabric.id, label) for _, fabric, label in near] == [("awning", "B")]
    assert near_stripes(FABRICS["deck"], "C", Stock(fabrics=FABRICS, pieces=())) == []
    offered = [way.edit for way in ways(CASES["too many"][0], *CASES["too many"][1])]
    assert any(edit["key"] == "fabric" and edit["value"] == "awning" for edit in offered)


def test_a_bound_edge_takes_the_place_of_a_border() -> None:
    """Bands cut 3 in wide; 1/2 in bound takes 4 · 1/2 = 2 in: beside one lane of 3 in the cloth has 2 1/2 in left."""
    file = {**SEAM, "strip": [strip("front", "30 in", width="2 1/2 in", edge="front"),
                              strip("hem", "30 in", width="2 1/2 in", edge="hem")]}  # fmt: skip
    cloth = piece("d", "deck", 5.5, 31, 1)  # reds at 1 1/2 and 4 1/2 in: 0 to 3 in, then 3 1/2 to 5 1/2 in when bound
    found = [way for way in ways(file, cloth) if way.edit["key"] == "make"]
    assert [way.edit["part"] for way in found] == ["hem"]
    assert found[0].edit["also"] == [{"part": "hem", "key": "width", "value": "1/2 in"}]


def test_all_borders_of_a_coat_are_narrowed_by_its_one_measure() -> None:
    """Where every border of a coat changes alike, the edit is the coat's own key, and no part need be written."""
    file, pieces = CASES["coat, wide border"]
    keys = [(way.edit["part"], way.edit["key"]) for way in ways(file, *pieces)]
    assert ("coat", "border_width") in keys


def test_a_coat_is_made_smaller_where_its_cloth_is() -> None:
    """44 in of coat from linen 43 in wide, not to be turned: it must lose an inch of width and no more, in quarters."""
    file, pieces = CASES["coat, little linen"]
    found = ways(file, *pieces)
    assert {"part": "coat", "key": "width", "value": "43 in"} in [way.edit for way in found]


def test_of_several_garments_the_edit_says_which() -> None:
    """Two garments with a hem each: the edit names the garment, and the part as that garment's own file does."""
    hems = (("One", "50 in"), ("Two", "9 in"))
    files = [{**SEAM, "name": name, "strip": [strip("hem", length)]} for name, length in hems]
    garments = together([read_garment(toml(file)) for file in files])
    problem = problem_of(garments, piece("d", "deck", 13, 40, 1))
    (way, *_) = ways_out(problem, redraw=drawn(garments))
    assert way.edit == {"part": "hem", "key": "joins", "value": 1, "garment": "One"}
