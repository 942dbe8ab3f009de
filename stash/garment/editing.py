"""An edit in a garment file's terms, made: what the planner offers as a way out, applied to what the file says."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

from stash.errors import InputWrong
from stash.garment.coat import Coat
from stash.garment.draft import parts_of
from stash.garment.file import resolve
from stash.garment.part import Garment, Part
from stash.garment.resolved import together
from stash.garment.spec import PanelSpec, Pattern, StripSpec
from stash.lengths import parse_length


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
    if f"{key}_mm" in names:
        return {f"{key}_mm": _in_mm(value, key)}
    if key in names:
        return {key: value}
    raise InputWrong(f"{key} is no key of a garment file's part", "take the edit as the plan gives it")


def _in_mm(value: Any, key: str) -> Any:
    """A length as it is typed, or rows of such, in mm; None, which takes the key out, stays None."""
    if isinstance(value, list | tuple):
        return tuple(_in_mm(row, key) for row in value)
    return None if value is None else parse_length(value, what=key)


def _panel_ids(pattern: Pattern) -> set[str]:
    strips = {spec.id for spec in pattern.strips}
    drawn = _drawn(pattern)[1]
    return {spec.id for spec in (*pattern.panels, *drawn) if spec.id not in strips}


def _drawn(pattern: Pattern) -> tuple[tuple[StripSpec, ...], tuple[PanelSpec, ...]]:
    return parts_of(pattern.coat, pattern.seam_mm) if pattern.coat is not None else ((), ())


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Garments drawn up again as their files are edited: what the planner's ``Redraw`` asks for.

    Edits name parts as the garments do that are planned together (``stash.garment.resolved.together``).
    """

    garments: tuple[Garment, ...]

    @cached_property
    def sizes_mm(self) -> Mapping[str, float]:
        """The measures, by the file's keys, of the one coat there is; none where there is no coat, or more."""
        coat = self._patterns[0].coat if len(self._patterns) == 1 else None
        if coat is None:
            return {}
        return {item.name.removesuffix("_mm"): value for item in fields(Coat) if item.name.endswith("_mm")
                and isinstance(value := getattr(coat, item.name), float)}  # fmt: skip

    @cached_property
    def drawn_ids(self) -> frozenset[str]:
        """The parts that are drawn from measures."""
        ids = []
        for index, pattern in enumerate(self._patterns):
            own = {spec.id for specs in _drawn(pattern) for spec in specs}
            ids += [called for called, name in self._own[index].items() if name in own]
        return frozenset(ids)

    @cached_property
    def ids(self) -> frozenset[str]:
        """All parts, by the names they are planned under."""
        return frozenset(name for own in self._own for name in own)

    def parts(self, edits: Sequence[Mapping[str, Any]]) -> tuple[Part, ...] | None:
        """All parts once the edits are made; None where the files would then be wrong."""
        patterns = list(self._patterns)
        try:
            for edit in (row for whole in edits for row in _one_by_one(whole)):
                at, name = self._place(str(edit["part"]))
                patterns[at] = _set(patterns[at], name, edit["key"], edit["value"])
            garments = together([resolve(pattern) for pattern in patterns], self._shared)
        except InputWrong:
            return None
        return tuple(part for garment in garments for part in garment.parts)

    def filed(self, edit: Mapping[str, Any]) -> dict[str, Any]:
        """The edit in its file's own terms: of several garments it says which, and names the part as that file does."""
        if len(self.garments) == 1:
            return dict(edit)
        at, name = self._place(str(edit["part"]))
        told = {**edit, "part": name, "garment": self.garments[at].name}
        if "parts" in edit:
            told["parts"] = [self._place(part)[1] for part in edit["parts"]]
        return told

    @cached_property
    def _patterns(self) -> tuple[Pattern, ...]:
        return tuple(garment.pattern for garment in self.garments if garment.pattern is not None)

    @cached_property
    def _own(self) -> tuple[dict[str, str], ...]:
        """For each garment its parts' names in its own file, by the names they are planned under."""
        return tuple(
            {part.id: own.id for part, own in zip(garment.parts, resolve(pattern).parts, strict=True)}
            for garment, pattern in zip(self.garments, self._patterns, strict=True)
        )

    @cached_property
    def _shared(self) -> frozenset[str]:
        """The ids that several garments use: a part keeps its name where the others of its id are left out."""
        counts = Counter(part.id for pattern in self._patterns for part in resolve(pattern).parts)
        return frozenset(name for name, count in counts.items() if count > 1)

    def _place(self, name: str) -> tuple[int, str]:
        """Which garment a part is of, and its name there."""
        for index, own in enumerate(self._own):
            if name in own:
                return index, own[name]
        return 0, name


def drawn(garments: Sequence[Garment]) -> Drawn | None:
    """The garments as they can be drawn up again; None where what their files say is not known, or not all that holds
    (what is cut already is no longer to be cut)."""
    if not garments or any(garment.pattern is None for garment in garments):
        return None
    again = Drawn(garments=tuple(garments))
    return again if again.parts(()) == tuple(part for garment in garments for part in garment.parts) else None


def _one_by_one(edit: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The edit as edits of one part each."""
    rows = [{"part": name, "key": edit["key"], "value": edit["value"]} for name in edit.get("parts", [edit["part"]])]
    return [*rows, *(row for further in edit.get("also", ()) for row in _one_by_one(further))]
