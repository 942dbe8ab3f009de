"""Writes a garment file: what ``stash.garment.file`` reads back as the same pattern."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import MISSING, fields
from typing import Any

from stash.garment.coat import Coat
from stash.garment.spec import PanelSpec, Pattern, StripSpec
from stash.lengths import written


def write_garment_toml(pattern: Pattern) -> str:
    """The garment file of a pattern. Keys at their defaults are left out."""
    blocks = [[f"name = {_text(pattern.name)}", f"seam = {_text(written(pattern.seam_mm))}"]]
    if pattern.coat:
        blocks.append(["[coat]", *_keys(pattern.coat)])
    blocks += [["[[strip]]", *_keys(strip)] for strip in pattern.strips]
    blocks += [["[[panel]]", *_keys(panel)] for panel in pattern.panels]
    return "\n\n".join("\n".join(lines) for lines in blocks) + "\n"


def _keys(table: Coat | StripSpec | PanelSpec) -> Iterator[str]:
    for item in fields(table):
        value = getattr(table, item.name)
        if value is None or (item.default is not MISSING and value == item.default):
            continue
        yield f"{item.name.removesuffix('_mm')} = {_value(item.name, value)}"


def _value(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return f"[{', '.join(_value(name, item) for item in value)}]"
    if name.endswith("_mm"):
        return _text(written(value))
    return str(value) if isinstance(value, int) else _text(value)


def _text(value: str) -> str:
    """A basic string of TOML 1.0: quotes, backslashes and control characters escaped."""
    escaped = value.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(mark if mark.isprintable() else f"\\U{ord(mark):08x}" for mark in escaped) + '"'
