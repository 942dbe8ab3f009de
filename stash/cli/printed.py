"""The commands stash samplebook and stash tickets: something to look at, and something to pin on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stash.cli import option, output


def samplebook(
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="The folder to write the book into.")],
    paper: option.Paper = "a4",
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Write a book of swatches: every cloth's stripes at true width, and the lengths it still yields."""
    from stash import actions
    from stash.sheet.samplebook import sample_book

    with output.progress("drawing the swatches"):
        files = sample_book(actions.stash_at(stash).contents(), paper=paper)
    written = [_write(out / name, content) for name, content in files.items()]
    output.done(
        {"schema": "written/1", "file": str(written[0]), "files": [str(file) for file in written]},
        [f"The sample book is in {written[0]}, and for a screen in {written[1].name}."],
        json=json,
    )


def tickets(
    out: Annotated[Path, typer.Option("--out", metavar="FILE.pdf", help="The file to write.")],
    piece: Annotated[
        list[str] | None, typer.Option("--piece", metavar="ID", help="Only for this piece; may be repeated.")
    ] = None,
    paper: option.Paper = "a4",
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Write small tickets with a QR code to pin to the cloth."""
    from stash import actions
    from stash.errors import InputWrong
    from stash.sheet.ticket import tickets as drawn

    if out.suffix.lower() != ".pdf":
        raise InputWrong(f"{out} does not end in .pdf", "name a PDF file with --out")
    held = actions.stash_at(stash)
    for name in piece or []:
        held.piece(name)
    contents = held.contents()
    if not contents.pieces:
        raise InputWrong("there is no piece in the stash to write a ticket for", "add cloth first with: add")
    _write(out, drawn(contents, paper=paper, only=piece or ()))
    count = len(set(piece)) if piece else len(contents.pieces)
    rows = [f"{count} ticket{'s' * (count != 1)} in {out}: print at 100 %, cut, and pin on."]
    output.done({"schema": "written/1", "file": str(out)}, rows, json=json)


def _write(file: Path, content: bytes) -> Path:
    from stash.errors import InputWrong

    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    except OSError as error:
        raise InputWrong(f"{file} cannot be written ({error.strerror or error})", "name another place") from None
    return file
