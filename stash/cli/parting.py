"""The commands for pieces that are not what was planned, and for those that go: give, return, remeasure, snippets."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output
from stash.cli.photographed import photographed

if TYPE_CHECKING:
    from stash.interchange.contents import Contents
    from stash.measuring import Asked
    from stash.remeasure import Remeasured


@photographed
def remeasure(
    piece: Annotated[str, typer.Argument(metavar="ID", help="A piece's id.")],
    photo: Annotated[Path | None, typer.Argument(metavar="PHOTO", help="A photograph of it by itself.")] = None,
    width: Annotated[str | None, typer.Option("--width", metavar="L", help="Its width, across the grain.")] = None,
    length: Annotated[str | None, typer.Option("--length", metavar="L", help="Its length, along the grain.")] = None,
    edge: Annotated[
        list[str] | None,
        typer.Option(
            "--edge", metavar="left|right|top|bottom", help="An edge that is as it was: stripes keep their place by it."
        ),
    ] = None,
    gone: Annotated[bool, typer.Option("--gone", help="There is nothing of it.")] = False,
    stash: option.Where = None,
    json: option.AsJson = False,
    *,
    asked: Asked,
) -> None:
    """Tell what a piece really is, such as what a cut left; what it was stays in the journal."""
    from stash import actions
    from stash import remeasure as again

    told = again.Told(width=width, length=length, edges=tuple(edge or ()), photo=photo, gone=gone)
    held = actions.stash_at(stash, write=True)
    with output.progress("measuring" if photo else "noting"):
        done = again.remeasure(held, piece, told, asked)
    document = {**output.entry(done.entry), "warnings": list(done.notes)}
    output.done(document, _again(done), json=json)


def _again(done: Remeasured) -> Iterator[str]:
    yield "It is so already; nothing was changed." if done.entry is None else f"Measured again: {done.entry.summary}."
    yield from (f"  Mind: {note}." for note in done.notes)


def give(
    pieces: Annotated[list[str], typer.Argument(metavar="ID…", help="Pieces that leave the stash.")],
    to: Annotated[str | None, typer.Option("--to", metavar="WORDS", help="To whom, or what for.")] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Tell that pieces were given away; they come back with stash return."""
    from stash import actions, keeping

    entry = keeping.give_away(actions.stash_at(stash, write=True), pieces, to)
    output.done(output.entry(entry), [f"Given away: {entry.summary}."], json=json)


def return_(
    pieces: Annotated[list[str], typer.Argument(metavar="ID…", help="Pieces that were given away.")],
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Tell that pieces which were given away are back, as they were."""
    from stash import actions, keeping

    entry = keeping.give_back(actions.stash_at(stash, write=True), pieces)
    output.done(output.entry(entry), [f"Returned: {entry.summary}."], json=json)


def snippets(
    below: Annotated[
        str | None,
        typer.Option("--below", metavar='"3 x 6 in"', help="From now on leftovers smaller than this are snippets."),
    ] = None,
    used_up: Annotated[
        str | None, typer.Option("--used-up", metavar="FABRIC", help="The snippets of this fabric are used up.")
    ] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """What cuts left that is too small to be a piece: how many of each fabric, and how much."""
    from stash import actions, keeping

    held = actions.stash_at(stash, write=below is not None or used_up is not None)
    entries = [
        *([] if below is None else [keeping.keep_from(held, below)]),
        *([] if used_up is None else [keeping.use_up(held, used_up)]),
    ]
    contents = held.contents()
    output.done(
        {"schema": "snippets/1", **_document(contents), "entries": [output.entry(entry) for entry in entries]},
        [*(f"Kept: {entry.summary}." for entry in entries if entry is not None), *_listed(contents)],
        json=json,
    )


def _document(contents: Contents) -> dict[str, object]:
    from stash.catalogue.snippet import snippets as told
    from stash.catalogue.worth import worth_document, worth_in

    rows = [{"fabric": name, "count": row.count, "area_mm2": row.area_mm2} for name, row in told(contents).items()]
    return {"below_mm": worth_document(worth_in(contents)), "snippets": rows}


def _listed(contents: Contents) -> Iterator[str]:
    from stash.catalogue.snippet import snippets as told
    from stash.catalogue.worth import worth_in
    from stash.cli.inventory import snippet_line
    from stash.lengths import inches

    names = {fabric.id: fabric.name for fabric in contents.fabrics}
    rows = told(contents)
    yield from (f"{names[name][:60]} ({name}): {snippet_line(row)}" for name, row in rows.items())
    least = worth_in(contents)
    size = f"{inches(least.short_mm)} x {inches(least.long_mm)}"
    yield f"{'There are no snippets. ' if not rows else ''}Leftovers are kept as pieces from {size} on, or from one \
whole stripe of that length; set it with --below."
