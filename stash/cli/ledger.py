"""The commands about the journal: what was done, and taking it back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry


def journal(stash: option.Where = None, json: option.AsJson = False) -> None:
    """All that was done and stands, the oldest first, each with its number and its time."""
    from stash import actions

    entries = actions.stash_at(stash).journal()
    document = {
        "schema": "journal/1",
        "entries": [{**output.entry(entry), "number": entry.number, "at": entry.at} for entry in entries],
    }
    rows = [f"{entry.number}  {_local(entry.at)}  {_what(entry)}" for entry in entries]
    output.done(document, rows or ["Nothing was done yet, or all of it was taken back."], json=json)


def undo(
    back_to: Annotated[
        int | None,
        typer.Option("--back-to", metavar="N", help="Take back all from the last to entry N of stash journal."),
    ] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Take back the last change of the stash, or the last ones in order."""
    from stash import actions

    held = actions.stash_at(stash, write=True)
    taken = (held.undo(),) if back_to is None else held.undo_back_to(back_to)
    document = output.entry(taken[0])
    if back_to is not None:
        document = {**output.entry(taken[-1]), "taken_back": [output.entry(entry) for entry in taken]}
    output.done(document, [f"Taken back: {_what(entry)}." for entry in taken], json=json)


def _what(entry: Entry) -> str:
    return entry.summary if entry.summary.startswith(entry.verb) else f"{entry.verb}, {entry.summary}"


def _local(at: str) -> str:
    """The time of an entry on her own clock, to the minute."""
    from datetime import datetime

    return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M")
