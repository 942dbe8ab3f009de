"""The command that looks whether the stash is sound, and mends what can be mended."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output

if TYPE_CHECKING:
    from stash.catalogue.examination import Fault, Mended


def check(
    mend: Annotated[
        bool, typer.Option("--mend", help="Mend what can be; a damaged file is kept beside the new one.")
    ] = False,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Look whether everything kept is sound: the database, every row, every photograph."""
    from stash.catalogue import examination

    with output.progress("looking at everything"):
        mended = examination.mend(stash) if mend else None
        faults = mended.left if mended is not None else examination.examine(stash)
    document = {
        "schema": "check/1",
        "sound": not faults,
        "faults": [{"problem": fault.problem, "remedy": fault.remedy} for fault in faults],
        "mended": list(_mended(mended)) if mended is not None else [],
    }
    output.done(document, _rows(faults, mended), json=json)
    raise typer.Exit(1 if faults else 0)


def _rows(faults: tuple[Fault, ...], mended: Mended | None) -> Iterator[str]:
    if mended is not None:
        yield from _mended(mended)
    for fault in faults:
        yield f"Not sound: {fault.problem}."
        yield f"  {fault.remedy[:1].upper()}{fault.remedy[1:]}."
    if not faults:
        yield "Sound: every row can be read, and every photograph is there."


def _mended(mended: Mended) -> Iterator[str]:
    out = mended.salvaged
    if out is not None:
        yield (
            f"Brought out of the damaged file: {out.rows['fabric']} fabrics, {out.rows['piece']} pieces and "
            f"{out.rows['journal']} entries of the journal. The damaged file is kept as {out.aside}."
        )
        if out.from_journal:
            yield f"Only the journal still had {', '.join(out.from_journal)}: see whether they are there to hand."
    if mended.entry is not None:
        yield f"Mended: {mended.entry.summary}. Take it back with: stripewright undo"
