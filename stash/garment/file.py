"""Reads a garment file: text in, the garment with all its parts out, or every mistake with its place."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from stash.errors import InputWrong
from stash.garment import caution
from stash.garment.coat import Coat, figures
from stash.garment.draft import parts_of, told, warned
from stash.garment.meeting import ALIKE, check_together, corners_told
from stash.garment.part import Garment
from stash.garment.spec import UNNAMED, PanelSpec, Pattern, StripSpec, laid_over, resolve_panel, resolve_strip
from stash.lengths import shown

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

    from stash.garment.schema import GarmentTable, Table

#: A file with more mistakes than this is told of the first ones only.
MOST_TOLD: Final = 5

#: How the keys are written that hold more than one thing.
WRITTEN: Final[Mapping[str, str]] = {
    "extra": 'write two lengths, such as extra = ["1/4 in", "0 in"]',
    "hide": 'write spans from the start of the strip, such as hide = [["10 in", "14 in"]]',
    "corner": 'write both strips and the end of each, such as corner = [["hem", "end", "front-left", "start"]]',
}


def read_garment(text: str, *, where: str = "the garment file", unnamed: str = UNNAMED) -> Garment:
    """The garment that a file describes, its parts resolved; ``unnamed`` is what one without a name is called.

    Raises InputWrong, which names ``where``.
    """
    return resolve(read_pattern(text, where=where, unnamed=unnamed), where=where)


def read_pattern(text: str, *, where: str = "the garment file", unnamed: str = UNNAMED) -> Pattern:
    """What a garment file says, nothing added yet. Raises InputWrong with all its mistakes in one sentence."""
    try:
        content = tomllib.loads(text.removeprefix("\N{BYTE ORDER MARK}").replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise InputWrong(
            f"{where} cannot be read as TOML: {error}",
            'check that line; every key stands as key = "value", and every value with words or units in quotes',
        ) from error
    except RecursionError as error:
        raise InputWrong(f"{where} is nested too deeply", "write a garment as in the README") from error
    pattern = _pattern(_table(content, where))
    return pattern if "name" in content else replace(pattern, name=unnamed)


def resolve(pattern: Pattern, *, where: str = "the garment file") -> Garment:
    """The garment with every part settled. Raises InputWrong where measures or keys are missing or do not fit."""
    missing: list[str] = []
    try:
        strip_specs, panel_specs = _merged(pattern)
        strips = [resolve_strip(spec, pattern.seam_mm, missing) for spec in strip_specs]
        panels = [resolve_panel(spec, pattern.seam_mm, missing) for spec in panel_specs]
    except InputWrong as wrong:
        raise InputWrong(f"in {where}, {wrong.problem}", wrong.remedy) from wrong
    if missing:
        raise InputWrong(f"in {where}, {_listed(missing)}", "add what is lacking")
    if not strips and not panels:
        raise InputWrong(f"{where} describes no parts", "add a [coat], a [[strip]] or a [[panel]]")
    settled = tuple(strip for strip in strips if strip)
    try:
        check_together(settled)
    except InputWrong as wrong:
        raise InputWrong(f"in {where}, {wrong.problem}", wrong.remedy) from wrong
    coat = pattern.coat
    return Garment(
        name=pattern.name,
        seam_mm=pattern.seam_mm,
        strips=settled,
        panels=tuple(panel for panel in panels if panel),
        cautions=(*(warned(coat) if coat else ()), *caution.cautions(child=bool(coat and coat.child))),
        notes=(*(told(coat, pattern.seam_mm) if coat else ()), *corners_told(settled)),
        shape="coat" if coat else None,
        figures_mm=_named_figures(coat) if coat else {},
        pattern=pattern,
    )


def _named_figures(coat: Coat) -> dict[str, float]:
    sizes = figures(coat)
    return {
        "girth": sizes.girth_mm,
        "back": sizes.back_mm,
        "front": sizes.front_mm,
        "side_cut": sizes.side_cut_mm,
        "cut_height": sizes.cut_height_mm,
        "fold": sizes.fold_mm,
        "sleeve_beyond_body": sizes.sleeve_beyond_body_mm,
        "sleeve_opening": sizes.sleeve_opening_mm,
        "front_edge": sizes.front_edge_mm,
        "slit": sizes.slit_mm,
        "join": sizes.join_mm,
        "hem": sizes.hem_mm,
        "neckline": sizes.neckline_mm,
        "borders": sizes.borders_mm,
    }


def _merged(pattern: Pattern) -> tuple[list[StripSpec], list[PanelSpec]]:
    """The coat's parts with the written ones laid over them, then the further ones; parts left out are gone."""
    ids = [spec.id for spec in pattern.strips] + [spec.id for spec in pattern.panels]
    if doubled := sorted({part_id for part_id in ids if ids.count(part_id) > 1}):
        raise InputWrong(f"more than one part has the id {_quoted(doubled)}", "give every part an id of its own")
    drawn = parts_of(pattern.coat, pattern.seam_mm) if pattern.coat else ((), ())
    strips: dict[str, StripSpec] = {spec.id: spec for spec in drawn[0]}
    panels: dict[str, PanelSpec] = {spec.id: spec for spec in drawn[1]}
    for strip in pattern.strips:
        panels.pop(strip.id, None)
        strips[strip.id] = laid_over(strips[strip.id], strip) if strip.id in strips else strip
    for panel in pattern.panels:
        strips.pop(panel.id, None)
        panels[panel.id] = laid_over(panels[panel.id], panel) if panel.id in panels else panel
    return (
        [spec for spec in strips.values() if not spec.leave_out],
        [spec for spec in panels.values() if not spec.leave_out],
    )


def _table(content: dict[str, Any], where: str) -> GarmentTable:
    from pydantic import ValidationError

    from stash.garment.schema import GarmentTable

    try:
        return GarmentTable.model_validate(content)
    except ValidationError as error:
        raise _wrong([_mistake(detail, content) for detail in error.errors(include_url=False)], where) from error


def _wrong(mistakes: list[tuple[str, str]], where: str) -> InputWrong:
    """One sentence for all the mistakes, each with its own remedy."""
    if len(mistakes) == 1:
        return InputWrong(f"in {where}, {mistakes[0][0]}", mistakes[0][1])
    found = _listed([f"{problem} ({remedy})" for problem, remedy in mistakes])
    return InputWrong(f"{len(mistakes)} mistakes in {where}: {found}", "mend these and ask again")


def _mistake(detail: ErrorDetails, content: dict[str, Any]) -> tuple[str, str]:
    place, kind = detail["loc"], detail["type"]
    at, key = _place(place, content)
    context = detail.get("ctx", {})
    value = shown(detail["input"])
    if kind == "length":
        return f"{at}{context['problem']}", str(context["remedy"])
    if kind == "extra_forbidden":
        return _unknown(at, key, place)
    if kind == "missing":
        return f"{at}{key} is missing or too short", WRITTEN.get(key, f"add {key}")
    if kind == "literal_error":
        return f"{at}{key} is {value}", f"write {context['expected']}"
    if kind == "list_type":
        return f"[{key}] is not a list of tables", f"write [[{key}]] with double brackets: there may be several"
    if kind.startswith(("model", "dict")):
        return f"{at}{key} is {value}, not a table", f"write {key} as a heading in brackets with its keys below it"
    if key in WRITTEN and kind.startswith(("tuple", "too_")):
        return f"{at}{key} is {value}", WRITTEN[key]
    if kind.startswith(("int", "greater", "less")):
        return f"{at}{key} is {value}", "write a whole number from 0 to 99"
    if kind == "bool_type":
        return f"{at}{key} is {value}", "write true or false"
    if kind.startswith("string_"):
        return f"{at}{key} is {value}", "write one to eighty letters in quotes, on one line"
    return f"{at}{key} is {value}: {detail['msg']}", "see the README for what may stand there"


def _unknown(at: str, key: str, place: tuple[int | str, ...]) -> tuple[str, str]:
    known = _known_keys(place)
    near = difflib.get_close_matches(key.casefold(), known, 1, ALIKE)
    if near:
        return f'{at}"{key}" is not a key known here; the nearest is "{near[0]}"', f"write {near[0]}, or take it out"
    return f'{at}"{key}" is not a key known here', f"take it out; known are {', '.join(known)}"


def _known_keys(place: tuple[int | str, ...]) -> list[str]:
    from stash.garment.schema import CoatTable, GarmentTable, PanelTable, StripTable

    tables: dict[str, type[Table]] = {"coat": CoatTable, "strip": StripTable, "panel": PanelTable}
    table = tables.get(str(place[0]), GarmentTable) if len(place) > 1 else GarmentTable
    return list(table.model_fields)


def _place(steps: tuple[int | str, ...], content: dict[str, Any]) -> tuple[str, str]:
    """Where in the file a mistake stands, in words (``strip 2 (hem): ``), and the key it concerns."""
    if len(steps) == 1:
        return "", str(steps[0])
    if not isinstance(steps[1], int):
        return f"{steps[0]}: ", str(steps[1])
    entry = content[str(steps[0])][steps[1]]
    name = entry.get("id") if isinstance(entry, dict) else None
    number = f"{steps[0]} {steps[1] + 1}"
    if len(steps) == 2:
        return "", number
    return f"{number}{f' ({name})' if isinstance(name, str) else ''}: ", str(steps[2])


def _pattern(table: GarmentTable) -> Pattern:
    return Pattern(
        name=table.name,
        seam_mm=table.seam,
        coat=Coat(**_in_mm(Coat, table.coat)) if table.coat else None,
        strips=tuple(StripSpec(**_in_mm(StripSpec, strip)) for strip in table.strip),
        panels=tuple(PanelSpec(**_in_mm(PanelSpec, panel)) for panel in table.panel),
    )


def _in_mm(kind: type[Coat | StripSpec | PanelSpec], table: Any) -> dict[str, Any]:
    """The values of a table under the names of our own fields, which carry the unit."""
    names = kind.__dataclass_fields__
    values = {}
    for key in type(table).model_fields:
        name = key if key in names else f"{key}_mm"
        if name in names:
            values[name] = getattr(table, key)
    return values


def _listed(words: list[str]) -> str:
    told = words[:MOST_TOLD]
    more = f"; and {len(words) - MOST_TOLD} more" if len(words) > MOST_TOLD else ""
    return "; ".join(told) + more


def _quoted(words: list[str]) -> str:
    return ", ".join(f'"{word}"' for word in words)
