"""The command add: cloth into the stash."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output
from stash.cli.photographed import photographed
from stash.errors import InputWrong

if TYPE_CHECKING:
    from stash import adding
    from stash.adding import Added
    from stash.catalogue.stash import Stash
    from stash.measuring import Asked


@photographed
def add(
    photos: Annotated[list[Path] | None, typer.Argument(metavar="PHOTO…", help="Photographs of cloth.")] = None,
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
    counted: Annotated[
        str | None,
        typer.Option(
            "--counted",
            metavar='"red 12, L, L"',
            help="One stripe counted across the width, and how far from the left and the right selvage its first and "
            "last begin: no error of the repeat adds up then.",
        ),
    ] = None,
    folded: Annotated[
        bool | None,
        typer.Option("--folded/--unfolded", help="The width is that of cloth folded lengthwise: it is taken twice."),
    ] = None,
    crease: Annotated[bool, typer.Option("--crease", help="Parts keep clear of the old fold.")] = False,
    margins: Annotated[
        str | None,
        typer.Option(
            "--margins", metavar='"sides L, top L"', help="Selvages and bare margins that are kept out of use."
        ),
    ] = None,
    one_way: Annotated[bool, typer.Option("--one-way", help="It may not be turned end for end.")] = False,
    both_faces: Annotated[bool, typer.Option("--both-faces", help="Both its faces are alike.")] = False,
    only: Annotated[
        str | None, typer.Option("--only", metavar="N,N", help="Only the scraps of these numbers in the photograph.")
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing: keep the scraps that are sure or surely new, leave out others.")
    ] = False,
    look: Annotated[
        bool, typer.Option("--look", help="Only say which fabric each scrap is of, and keep nothing.")
    ] = False,
    stash: option.Where = None,
    json: option.AsJson = False,
    *,
    asked: Asked,
) -> None:
    """Add lengths and remnants to the stash, from photographs or from a typed size.

    With neither --name nor --fabric, the fabric of each scrap in a photograph is recognised, and asked about where it
    is not sure.
    """
    from stash import actions, adding

    cloth = adding.Cloth(
        name=name, fabric_id=fabric, width=width, length=length, stripes=stripes, start=start, counted=counted,
        folded=bool(folded), crease=crease, margins=margins, one_way=one_way, both_faces=both_faces,
    )  # fmt: skip
    held = actions.stash_at(stash, write=not look)
    numbers = None if only is None else _numbers(only)
    if photos and name is None and fabric is None and width is None and length is None:
        from stash.cli import basket

        _refuse_lone(
            stripes=stripes, start=start, counted=counted, folded=folded, crease=crease, margins=margins,
            one_way=one_way, both_faces=both_faces,
        )  # fmt: skip
        raise typer.Exit(basket.take(held, photos, asked, only=numbers, yes=yes, look=look, json=json))
    if look:
        raise InputWrong("--look says what a photograph shows", "name the photograph alone, or leave --look out")
    if numbers is not None and not photos:
        raise InputWrong("--only names scraps in a photograph, and there is none", "name the photograph")
    if crease and not folded:
        raise InputWrong("an old fold is told of, and no folded cloth", "give --folded, too, or leave out --crease")
    if width is not None and not (yes or json) and sys.stdin.isatty():
        from stash.cli import yardage

        cloth = yardage.asked_for(cloth, folded=folded, striped=_striped(held, cloth, photos))
    with output.progress("measuring" if photos else "adding"):
        done = adding.add_photos(held, photos, cloth, asked, numbers) if photos else [adding.add_typed(held, cloth)]
    if json:
        output.document({"schema": "added/1", "added": [_document(row) for row in done]})
        return
    for row in done:
        output.lines([f"Added: {row.entry.summary}.", *(f"  Mind: {warning}" for warning in row.warnings)])


def _refuse_lone(**given: object) -> None:
    """Raises InputWrong where something is said of one cloth, and none is named."""
    said = [f"--{name.replace('_', '-')}" for name, value in given.items() if value]
    if said:
        raise InputWrong(
            f"{said[0]} is said of one cloth, and the scraps of a photograph may be of several",
            "give --name or --fabric with it, and --only for some of the scraps",
        )


def _striped(held: Stash, cloth: adding.Cloth, photos: Sequence[Path] | None) -> bool:
    """Whether the cloth may have stripes to count."""
    if photos or cloth.stripes is not None:
        return True
    return cloth.fabric_id is not None and held.fabric(cloth.fabric_id).print.kind in ("stripe", "check")


def _numbers(typed: str) -> list[int]:
    words = typed.replace(",", " ").split()
    if not words or not all(word.isdecimal() for word in words):
        raise InputWrong(f'"{typed[:40]}" are no numbers of scraps', "write them like --only 2 or --only 2,5")
    return [int(word) for word in words]


def _document(row: Added) -> dict[str, object]:
    return {
        "fabrics": list(row.entry.fabrics_in),
        "pieces": list(row.entry.pieces_in),
        "warnings": list(row.warnings),
    }
