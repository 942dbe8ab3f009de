"""A table of cloth, taken in or only looked at: every row's fate in words."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from stash.cli import output

if TYPE_CHECKING:
    from stash.spreadsheet import Taken

_ENDINGS = frozenset({".csv", ".tsv", ".txt"})


def is_table(file: Path) -> bool:
    """Whether the file is a table, by its ending."""
    return file.suffix.lower() in _ENDINGS


def take(file: Path, where: str | None, *, dry: bool, json: bool) -> None:
    """Takes the table in, or with ``dry`` looks at it."""
    from stash import actions, spreadsheet

    taken = spreadsheet.take_table(actions.stash_at(where, write=not dry), file, dry=dry)
    document = {
        **output.entry(taken.entry), "schema": "table/1", "dry": dry, "rows": [fate.document for fate in taken.fates],
    }  # fmt: skip
    output.done(document, _told(taken, dry=dry), json=json)


def _told(taken: Taken, *, dry: bool) -> Iterator[str]:
    would = "would be " if dry else ""
    words = {"new": f"{would}new fabric {{fabric}}, piece {{piece}}", "more": f"{would}piece {{piece}} of {{fabric}}"}
    for fate in taken.fates:
        told = words.get(fate.kind, "").format(fabric=fate.fabric, piece=fate.piece)
        yield f"line {fate.line}: {told or fate.told if fate.kind != 'left out' else 'left out: ' + fate.told}"
    into = sum(fate.kind in ("new", "more") for fate in taken.fates)
    out = sum(fate.kind == "left out" for fate in taken.fates)
    yield f"{into} of {len(taken.fates)} rows {'would come' if dry else 'came'} in, {out} left out."
