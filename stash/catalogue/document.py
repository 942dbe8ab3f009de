"""A stash that is only read: an interchange document, or a place where there is no catalogue yet."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from stash.catalogue.stash import fabric_in, piece_in
from stash.errors import InputWrong, NotFound
from stash.fabric import Fabric
from stash.interchange.contents import Contents
from stash.interchange.digest import stash_digest
from stash.interchange.reader import parse, read
from stash.interchange.writer import stash_document
from stash.piece import Piece

if TYPE_CHECKING:
    from stash.catalogue.finder import Candidate
    from stash.catalogue.journal import Entry
    from stash.catalogue.stage import Stage
    from stash.catalogue.trait import Query
    from stash.photograph import KeptPhoto

#: A stash of a thousand outlines of a hundred corners takes 3 MB; ten times that and more is another file.
_LARGEST_BYTES = 50_000_000


class DocumentStash:
    """The reading half of a stash; everything that would change it raises InputWrong."""

    def __init__(self, contents: Contents, where: str) -> None:
        self.where = where
        self._contents = contents

    def contents(self) -> Contents:
        """Everything at once."""
        return self._contents

    def fabrics(self) -> tuple[Fabric, ...]:
        """All fabrics, in the document's order."""
        return self._contents.fabrics

    def pieces(self) -> tuple[Piece, ...]:
        """All pieces, in the document's order."""
        return self._contents.pieces

    def fabric(self, fabric_id: str) -> Fabric:
        """The fabric with that id. Raises NotFound."""
        return fabric_in(self._contents, fabric_id, self.where)

    def piece(self, piece_id: str) -> Piece:
        """The piece with that id. Raises NotFound."""
        return piece_in(self._contents, piece_id, self.where)

    def photo_of(self, piece_id: str) -> Path | None:
        """None: a document carries no photographs. Raises NotFound."""
        self.piece(piece_id)
        return None

    def digest(self) -> str:
        """The fingerprint of everything it holds."""
        return stash_digest(self._contents)

    def export_document(self) -> dict[str, Any]:
        """The ``stash/1`` document."""
        return stash_document(self._contents)

    def remark_of(self, key: str) -> Any:
        """What stands under that key of the document, or None."""
        return self._contents.extra.get(key)

    def journal(self) -> tuple[Entry, ...]:
        """Empty: a document has no journal."""
        return ()

    def stages(self, plan: str) -> tuple[Stage, ...]:
        """None: nothing is cut from a document."""
        return ()

    def found(self, query: Query) -> Iterator[Candidate]:
        """The pieces that a query leaves: the document is laid out as a catalogue in memory and asked there."""
        from stash.catalogue.passing import asked_in_memory

        return asked_in_memory(self._contents, query)

    def add(
        self,
        fabric: Fabric | None,
        pieces: Sequence[Piece],
        *,
        photo: KeptPhoto | None = None,
        besides: Sequence[Fabric] = (),
    ) -> Entry:
        """Raises InputWrong."""
        self._refuse()

    def import_document(self, document: Any, *, replace: bool = False, source: str = "the stash") -> Entry | None:
        """Raises InputWrong."""
        self._refuse()

    def exchange(
        self,
        used: Sequence[str],
        leftovers: Sequence[Piece],
        *,
        title: str,
        notes: Sequence[str] = (),
        digests: Any = None,
        stages: Sequence[Stage] = (),
        going_on: bool = False,
        snippets: Sequence[Piece] = (),
        verb: str = "cut",
    ) -> Entry:
        """Raises InputWrong."""
        self._refuse()

    def bring_back(self, verb: str, gone: str, piece_ids: Sequence[str]) -> Entry:
        """Raises InputWrong."""
        self._refuse()

    def amend(
        self, verb: str, summary: str, change: Callable[[Contents], Contents], *, photo: KeptPhoto | None = None
    ) -> Entry | None:
        """Raises InputWrong."""
        self._refuse()

    def contents_on(self, moment: datetime) -> Contents:
        """Raises InputWrong: a document knows one moment only."""
        raise InputWrong(f"{self.where} is a document, which has no journal", "name a catalogue with --stash")

    def remark(self, verb: str, summary: str, key: str, change: Callable[[Contents], Any]) -> Entry | None:
        """Raises InputWrong."""
        self._refuse()

    def undo(self, *, only: int | None = None) -> Entry:
        """Raises InputWrong."""
        self._refuse()

    def undo_back_to(self, number: int) -> tuple[Entry, ...]:
        """Raises InputWrong."""
        self._refuse()

    def backup(self, file: Path) -> None:
        """Raises InputWrong."""
        self._refuse()

    def restore(self, file: Path, *, replace: bool = False) -> None:
        """Raises InputWrong."""
        self._refuse()

    def _refuse(self) -> NoReturn:
        raise InputWrong(
            f"{self.where} is a document that is only read",
            "bring it into a catalogue with: stash import FILE, and name that catalogue with --stash",
        )


def read_file(path: Path) -> Any:
    """The JSON in a file.

    Raises:
        NotFound: there is no such file.
        InputWrong: it cannot be read, or is not JSON.
    """
    try:
        size = path.stat().st_size
        if size > _LARGEST_BYTES:
            raise InputWrong(f"{path} has {size / 1e6:.0f} MB, more than any stash", "name a stash/1 document")
        return parse(path.read_bytes(), source=str(path))
    except FileNotFoundError as error:
        raise NotFound(f"there is no file {path}", "check the name") from error
    except OSError as error:
        raise InputWrong(f"{path} cannot be read ({error.strerror or error})", "name a stash/1 document") from error


def open_document(path: Path) -> DocumentStash:
    """The stash in an interchange file. Raises NotFound, or InputWrong with the path to the mistake."""
    return DocumentStash(read(read_file(path), source=str(path)), str(path))
