"""The commands under stash: what is kept, and how it moves in and out."""

from __future__ import annotations

from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import fact, find, ledger, option, output, parting, printed, soundness
from stash.errors import InputWrong

if TYPE_CHECKING:
    from stash.catalogue.stash import Stash


def group() -> typer.Typer:
    """The commands under stash."""
    commands = typer.Typer(
        help="What cloth there is, what is known of it, and how it moves in and out.", no_args_is_help=True
    )
    commands.command("list")(list_)
    commands.command("show")(show)
    commands.command("find")(find.find)
    commands.command("note")(fact.note)
    commands.command("wash")(fact.wash)
    commands.command("remeasure")(parting.remeasure)
    commands.command("give")(parting.give)
    commands.command("return")(parting.return_)
    commands.command("snippets")(parting.snippets)
    commands.command("journal")(ledger.journal)
    commands.command("check")(soundness.check)
    commands.command("samplebook")(printed.samplebook)
    commands.command("tickets")(printed.tickets)
    commands.command("import")(import_)
    commands.command("export")(export)
    commands.command("backup")(backup)
    commands.command("restore")(restore)
    return commands


def list_(
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="As it was at the end of that day, or at that moment.")
    ] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """All lengths and remnants, by fabric."""
    from stash import actions
    from stash.catalogue.moment import read_moment
    from stash.catalogue.reservation import reservations
    from stash.catalogue.snippet import snippets
    from stash.cli import inventory
    from stash.interchange.writer import stash_document

    held = actions.stash_at(stash)
    contents = held.contents() if on is None else held.contents_on(read_moment(on))
    if json:
        output.document(stash_document(contents))
    else:
        output.lines(inventory.listed(contents.fabrics, contents.pieces, reservations(contents), snippets(contents)))


def show(
    piece: Annotated[str, typer.Argument(metavar="ID", help="A piece's or a fabric's id.")],
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """One piece or one fabric, with all that is known of it."""
    from stash import actions
    from stash.catalogue.reservation import reservations
    from stash.catalogue.snippet import snippets
    from stash.cli import inventory
    from stash.fact import OF_FABRIC
    from stash.interchange.writer import fabric_document, piece_document

    held = actions.stash_at(stash)
    contents = held.contents()
    reserved = reservations(contents)
    fabrics = {fabric.id: fabric for fabric in contents.fabrics}
    if piece in fabrics and piece not in {row.id for row in contents.pieces}:
        fabric = fabrics[piece]
        rows = list(inventory.listed([fabric], contents.pieces, reserved, snippets(contents)))
        rows += inventory.told(fabric.extra, OF_FABRIC)
        if json:
            output.document(fabric_document(fabric))
        else:
            output.lines(rows)
        return
    found = held.piece(piece)
    if json:
        output.document(piece_document(found))
    else:
        output.lines(inventory.shown(found, fabrics[found.fabric], held.photo_of(piece), reserved.get(piece)))


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="stash.json, or a table FILE.csv.")],
    replace: Annotated[
        bool, typer.Option("--replace", help="Put the document's content in place of other content.")
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Of a table: only say what would become of each row.")
    ] = False,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Take in the cloth of an interchange document, or of a table kept as CSV."""
    from stash import actions
    from stash.cli import table

    if table.is_table(file):
        table.take(file, stash, dry=dry_run, json=json)
        return
    if dry_run:
        raise InputWrong(f"{file} is no table, and only tables are looked at first", "leave --dry-run out")
    entry = actions.stash_at(stash, write=True).import_document(
        actions.read_json(file), replace=replace, source=str(file)
    )
    told = "All of it is in the stash already; nothing was changed."
    if entry is not None:
        told = f"Imported: {entry.summary}."
    output.done(output.entry(entry), [told], json=json)


def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the document.")],
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Write everything (but photographs and journal) as an interchange document."""
    from stash import actions

    held = actions.stash_at(stash)
    actions.write_text(file, actions.as_json(held.export_document()) + "\n")
    told = f"Exported {_count(held)} to {file}."
    output.done({"schema": "written/1", "file": str(file)}, [told], json=json)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the backup.")],
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Write everything, photographs and journal too, into one file."""
    from stash import actions

    with output.progress("writing the backup"):
        actions.stash_at(stash).backup(file)
    told = f"Everything is in {file}. Bring it back with: stripewright stash restore {quote(str(file))}"
    output.done({"schema": "written/1", "file": str(file)}, [told], json=json)


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
    replace: Annotated[bool, typer.Option("--replace", help="Put it in place of the stash that is here.")] = False,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Bring a backup back."""
    from stash import actions

    with output.progress("bringing the backup back"):
        held = actions.stash_at(stash, write=True)
        held.restore(file, replace=replace)
    count = {"pieces": len(held.pieces()), "fabrics": len(held.fabrics())}
    output.done({"schema": "restored/1", **count}, [f"Restored: {_count(held)}."], json=json)


def _count(held: Stash) -> str:
    pieces, fabrics = len(held.pieces()), len(held.fabrics())
    return f"{pieces} piece{'s' * (pieces != 1)} of {fabrics} fabric{'s' * (fabrics != 1)}"
