"""After a cut: what is left as it really is, asked piece by piece on a terminal, and told how elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from stash.cli import output
from stash.errors import StashError

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry
    from stash.catalogue.stash import Stash
    from stash.remeasure import Told

_SIDES = ("left", "right", "top", "bottom")


def watched() -> bool:
    """Whether somebody sits there who can be asked."""
    return sys.stdin.isatty()


def how(entry: Entry, at: str) -> Iterator[str]:
    """What is left as planned, and how to tell what is left in truth; ``at`` names the stash where one was named."""
    if entry.pieces_in:
        yield f"Left, as planned: {', '.join(entry.pieces_in)}. Lay it on the table; where it is otherwise, say so:"
        how = f"stripewright stash remeasure {quote(entry.pieces_in[0])} --width L --length L{at}"
        yield f"  {how}, or a photograph, or --gone"


def ask(held: Stash, entry: Entry) -> None:
    """Asks for each piece that is left; nothing typed leaves it as planned."""
    from stash.cli.inventory import size

    if not entry.pieces_in:
        return
    _say("Lay on the table what is left. Is it as planned? Press Enter if so; else type its width x length, and the")
    _say(
        "edge that is as planned (38 x 71 cm left), or a photograph's name, or gone. With stop the rest stays as it is."
    )
    for piece_id in entry.pieces_in:
        _say(f"{piece_id}: {size(held.piece(piece_id))}")
        if not _settled(held, piece_id):
            return


def _settled(held: Stash, piece_id: str) -> bool:
    """Asks until it is understood; False where she wants to stop."""
    from stash import remeasure
    from stash.measuring import Asked

    while True:
        print("  [as planned] > ", end="", file=sys.stderr, flush=True)
        typed = sys.stdin.readline()
        said = typed.strip()
        if not typed or said.casefold() == "stop":
            return False
        if not said:
            return True
        try:
            done = remeasure.remeasure(held, piece_id, _told(said), Asked())
        except StashError as error:
            _say(f"  {error.problem}: {error.remedy}")
            continue
        if done.entry is not None:
            output.lines([f"Measured again: {done.entry.summary}.", *(f"  Mind: {note}." for note in done.notes)])
        return True


def _told(said: str) -> Told:
    """What she typed. Raises InputWrong."""
    from stash.remeasure import Told
    from stash.seeking import read_room

    if said.casefold() == "gone":
        return Told(gone=True)
    if Path(said).is_file():
        return Told(photo=Path(said))
    words = said.replace(",", " , ").split()
    edges = []
    while words and (words[-1].casefold() in _SIDES or words[-1] in (",", "and")):
        edges.append(words.pop().casefold())
    room = read_room(" ".join(words).replace(" , ", ","), "along", what="what is left")
    return Told(
        width=f"{room.along_mm} mm",
        length=f"{room.across_mm} mm",
        edges=tuple(edge for edge in edges if edge in _SIDES),
    )


def _say(text: str) -> None:
    print(output.wrapped(text), file=sys.stderr)
