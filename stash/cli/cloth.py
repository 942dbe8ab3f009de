"""The command add: cloth into the stash."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output
from stash.cli.photographed import photographed

if TYPE_CHECKING:
    from stash.adding import Added
    from stash.measuring import Asked


@photographed
def add(
    photos: Annotated[list[Path] | None, typer.Argument(metavar="PHOTO…", help="Photographs of one fabric.")] = None,
    name: Annotated[str | None, typer.Option("--name", help="What to call a new fabric.")] = None,
    fabric: Annotated[str | None, typer.Option("--fabric", metavar="ID", help="The fabric that it is of.")] = None,
    width: Annotated[str | None, typer.Option("--width", metavar="L", help="Its width, across the grain.")] = None,
    length: Annotated[str | None, typer.Option("--length", metavar="L", help="Its length, along the selvage.")] = None,
    stripes: Annotated[
        str | None, typer.Option("--stripes", help='One repeat in words: "from the left red 3/4 in, white 1/4".')
    ] = None,
    start: Annotated[
        str | None, typer.Option("--start", metavar="L", help="Where a repeat starts, from the left edge.")
    ] = None,
    one_way: Annotated[bool, typer.Option("--one-way", help="It may not be turned end for end.")] = False,
    both_faces: Annotated[bool, typer.Option("--both-faces", help="Both its faces are alike.")] = False,
    stash: option.Where = None,
    json: option.AsJson = False,
    *,
    asked: Asked,
) -> None:
    """Add a length or remnants to the stash, from photographs or from a typed size."""
    from stash import actions, adding

    cloth = adding.Cloth(
        name=name, fabric_id=fabric, width=width, length=length, stripes=stripes, start=start, one_way=one_way,
        both_faces=both_faces,
    )  # fmt: skip
    held = actions.stash_at(stash, write=True)
    with output.progress("measuring" if photos else "adding"):
        done = adding.add_photos(held, photos, cloth, asked) if photos else [adding.add_typed(held, cloth)]
    if json:
        output.document({"schema": "added/1", "added": [_document(row) for row in done]})
        return
    for row in done:
        output.lines([f"Added: {row.entry.summary}.", *(f"  Mind: {warning}" for warning in row.warnings)])


def _document(row: Added) -> dict[str, object]:
    return {
        "fabrics": list(row.entry.fabrics_in),
        "pieces": list(row.entry.pieces_in),
        "warnings": list(row.warnings),
    }
