"""An edit in a garment file's terms, made: what the planner offers as a way out, applied to what the file says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

from stash.errors import InputWrong
from stash.garment.coat import Coat
from stash.garment.draft import parts_of
from stash.garment.file import resolve
from stash.garment.part import Part
from stash.garment.spec import PanelSpec, Pattern, StripSpec
from stash.lengths import parse_length


def edited(pattern: Pattern, edit: Mapping[str, Any]) -> Pattern:
    """The pattern once {"part", "key", "value"} is made, with its "parts" and "also"; "coat" is the coat's own table.

    Raises:
        InputWrong: there is no such key.
    """
    for name in edit.get("parts", [edit["part"]]):
        pattern = _set(pattern, name, edit["key"], edit["value"])
    for further in edit.get("also", ()):
        pattern = edited(pattern, further)
    return pattern


def _set(pattern: Pattern, name: str, key: str, value: Any) -> Pattern:
    if name == "coat" and pattern.coat is not None:
        return replace(pattern, coat=replace(pattern.coat, **_said(Coat, key, value)))
    if name in _panel_ids(pattern):
        return replace(pattern, panels=_with(pattern.panels, PanelSpec, name, key, value))
    return replace(pattern, strips=_with(pattern.strips, StripSpec, name, key, value))


def _with(specs: Sequence[Any], kind: type[Any], name: str, key: str, value: Any) -> tuple[Any, ...]:
    said = _said(kind, key, value)
    if any(spec.id == name for spec in specs):
        return tuple(replace(spec, **said) if spec.id == name else spec for spec in specs)
    return (*specs, kind(id=name, **said))


def _said(kind: type[Any], key: str, value: Any) -> dict[str, Any]:
    """The field that a key of the file stands for, with the value in our own terms."""
    names = {item.name for item in fields(kind)}
    if f"{key}_mm" in names and isinstance(value, str):
        return {f"{key}_mm": parse_length(value, what=key)}
    if key in names:
        return {key: value}
    raise InputWrong(f"{key} is no key of a garment file's part", "take the edit as the plan gives it")


def _panel_ids(pattern: Pattern) -> set[str]:
    strips = {spec.id for spec in pattern.strips}
    drawn = _drawn(pattern)[1]
    return {spec.id for spec in (*pattern.panels, *drawn) if spec.id not in strips}


def _drawn(pattern: Pattern) -> tuple[tuple[StripSpec, ...], tuple[PanelSpec, ...]]:
    return parts_of(pattern.coat, pattern.seam_mm) if pattern.coat is not None else ((), ())


@dataclass(frozen=True, kw_only=True)
class DrawnCoat:
    """The coat of a pattern, drawn up again as it is edited: what the planner's ``Redraw`` asks for."""

    pattern: Pattern

    @cached_property
    def sizes_mm(self) -> Mapping[str, float]:
        """The coat's measures by the file's keys; none where the pattern is no coat."""
        coat = self.pattern.coat
        if coat is None:
            return {}
        return {item.name.removesuffix("_mm"): value for item in fields(Coat) if item.name.endswith("_mm")
                and isinstance(value := getattr(coat, item.name), float)}  # fmt: skip

    @cached_property
    def drawn_ids(self) -> frozenset[str]:
        """The parts that are drawn from the measures."""
        return frozenset(spec.id for specs in _drawn(self.pattern) for spec in specs)

    def parts(self, edits: Sequence[Mapping[str, Any]]) -> tuple[Part, ...] | None:
        """All parts once the edits are made; None where that is no coat."""
        pattern = self.pattern
        try:
            for edit in edits:
                pattern = edited(pattern, edit)
            return resolve(pattern).parts
        except InputWrong:
            return None
