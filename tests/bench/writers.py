"""Two programs that change one stash at once: whether all their changes are there, and none twice.

    python -m tests.bench.writers --changes 1000

Run on a catalogue in a file and, where PostgreSQL is installed or $STRIPEWRIGHT_POSTGRES names a server, on one there.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from stash.catalogue.door import open_stash
from stash.fabric import Fabric, Print
from tests.catalogue.studio import NoServer, running

#: What a writer does: every third change brings a document, the others a piece that gets the next free id.
WRITER = """
import sys
from stash.catalogue.door import open_stash
from stash.piece import Piece
where, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
stash = open_stash(where)
outline = ((0, 0), (9, 0), (9, 9))
for number in range(count):
    if number % 3:
        entry = stash.add(None, [Piece(id="", fabric="linen", outline_mm=outline)])
    else:
        row = {"id": f"{name}-{number}", "fabric": "linen", "outline_mm": [list(corner) for corner in outline]}
        entry = stash.import_document({"schema": "stash/1", "fabrics": [], "pieces": [row]})
    print(entry.pieces_in[0], entry.number, flush=True)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What two writers told and what the stash holds afterwards: ids of pieces, numbers of the journal's entries."""

    told: tuple[str, ...]
    told_numbers: tuple[int, ...]
    kept: tuple[str, ...]
    kept_numbers: tuple[int, ...]
    seconds: float

    @property
    def whole(self) -> bool:
        """All there, none twice, and in the journal just as in the stash."""
        pieces = sorted(self.told) == sorted(self.kept) and len(set(self.told)) == len(self.told)
        numbers = sorted(self.told_numbers) == sorted(self.kept_numbers)
        return pieces and numbers and len(set(self.told_numbers)) == len(self.told)


def written(where: str, changes: int, *, writers: Sequence[str] = ("left", "right")) -> Tally:
    """Lets writers make so many changes each, at once, to the empty stash at ``where``."""
    first = open_stash(where).add(Fabric(id="linen", name="Linen", print=Print(kind="plain")), [])
    begun = time.monotonic()
    programs = [
        subprocess.Popen([sys.executable, "-c", WRITER, where, name, str(changes)], stdout=subprocess.PIPE, text=True)
        for name in writers
    ]
    rows = [line.split() for program in programs for line in program.communicate()[0].splitlines()]
    seconds = time.monotonic() - begun
    stash = open_stash(where)
    return Tally(
        told=tuple(row[0] for row in rows),
        told_numbers=tuple(int(row[1]) for row in rows),
        kept=tuple(piece.id for piece in stash.pieces()),
        kept_numbers=tuple(entry.number for entry in stash.journal() if entry.number != first.number),
        seconds=seconds,
    )


def main() -> None:
    """Prints a line for each kind of catalogue."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=1000, help="changes of each writer")
    changes = parser.parse_args().changes
    with tempfile.TemporaryDirectory() as folder:
        _tell("file", written(str(Path(folder) / "stash"), changes), changes)
    try:
        with running() as studio:
            _tell("server", written(studio.fresh(), changes), changes)
    except NoServer as reason:
        print(f"server: not tried: {reason}")


def _tell(kind: str, tally: Tally, changes: int) -> None:
    verdict = "all there, none twice" if tally.whole and len(tally.told) == 2 * changes else "NOT WHOLE"
    print(f"{kind}: {len(tally.told)} changes told, {len(tally.kept)} kept, {tally.seconds:.0f} s: {verdict}")


if __name__ == "__main__":
    main()
