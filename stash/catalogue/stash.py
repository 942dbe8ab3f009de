"""What every stash can be asked, whichever way it is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from stash.errors import NotFound
from stash.fabric import Fabric
from stash.interchange.contents import Contents
from stash.piece import Piece

if TYPE_CHECKING:
    from stash.catalogue.finder import Candidate
    from stash.catalogue.journal import Entry
    from stash.catalogue.stage import Stage
    from stash.catalogue.trait import Query
    from stash.photograph import KeptPhoto


class Stash(Protocol):
    """A stash to read and to change. One that is only read raises InputWrong from everything that changes it.

    ``add``: a new fabric (None where the pieces are of one that is kept already) and pieces of it. A fabric with the
    id "" gets one made from its name; a piece with the id "" or the fabric "" gets the next free id, and that fabric.
    ``besides`` are further new fabrics, whose pieces name them by their ids.
    """

    @property
    def where(self) -> str: ...

    def contents(self) -> Contents: ...
    def fabrics(self) -> tuple[Fabric, ...]: ...
    def pieces(self) -> tuple[Piece, ...]: ...
    def fabric(self, fabric_id: str) -> Fabric: ...
    def piece(self, piece_id: str) -> Piece: ...
    def photo_of(self, piece_id: str) -> Path | None: ...
    def digest(self) -> str: ...
    def export_document(self) -> dict[str, Any]: ...
    def remark_of(self, key: str) -> Any: ...
    def journal(self) -> tuple[Entry, ...]: ...
    def contents_on(self, moment: datetime) -> Contents: ...
    def stages(self, plan: str) -> tuple[Stage, ...]: ...
    def found(self, query: Query) -> Iterator[Candidate]: ...

    def add(
        self,
        fabric: Fabric | None,
        pieces: Sequence[Piece],
        *,
        photo: KeptPhoto | None = None,
        besides: Sequence[Fabric] = (),
    ) -> Entry: ...
    def import_document(self, document: Any, *, replace: bool = False, source: str = "the stash") -> Entry | None: ...
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
    ) -> Entry: ...
    def bring_back(self, verb: str, gone: str, piece_ids: Sequence[str]) -> Entry: ...
    def amend(
        self, verb: str, summary: str, change: Callable[[Contents], Contents], *, photo: KeptPhoto | None = None
    ) -> Entry | None: ...
    def remark(self, verb: str, summary: str, key: str, change: Callable[[Contents], Any]) -> Entry | None: ...
    def undo(self, *, only: int | None = None) -> Entry: ...
    def undo_back_to(self, number: int) -> tuple[Entry, ...]: ...
    def backup(self, file: Path) -> None: ...
    def restore(self, file: Path, *, replace: bool = False) -> None: ...


def descent(piece: Piece) -> tuple[str, ...]:
    """The pieces that a leftover was cut from and whose frame it has kept, the first one first; none where it came in
    whole or was measured again."""
    return _names(piece.extra.get("descent"))


def origin(piece: Piece) -> tuple[str, ...]:
    """All the pieces that it was left of, the first one first."""
    return (*_names(piece.extra.get("once_of")), *descent(piece))


def measured_again(piece: Piece) -> Piece:
    """The piece in a frame of its own: what was planned in that of the pieces it was left of is not found in it."""
    if not descent(piece):
        return piece
    kept = {key: value for key, value in piece.extra.items() if key != "descent"}
    return replace(piece, extra={**kept, "once_of": list(origin(piece))})


def _names(told: Any) -> tuple[str, ...]:
    return tuple(name for name in told if isinstance(name, str)) if isinstance(told, list) else ()


def first_of(leftover: Piece) -> str:
    """The id that leftovers are numbered by: that of the piece the first cut was made in."""
    return (*descent(leftover), leftover.id)[0]


def fabric_in(contents: Contents, fabric_id: str, where: str) -> Fabric:
    """The fabric with that id. Raises NotFound, naming a near one."""
    for fabric in contents.fabrics:
        if fabric.id == fabric_id:
            return fabric
    raise _missing("fabric", fabric_id, [fabric.id for fabric in contents.fabrics], where)


def piece_in(contents: Contents, piece_id: str, where: str) -> Piece:
    """The piece with that id. Raises NotFound, naming a near one."""
    for piece in contents.pieces:
        if piece.id == piece_id:
            return piece
    raise _missing("piece", piece_id, [piece.id for piece in contents.pieces], where)


def _missing(kind: str, wanted: str, there: Sequence[str], where: str) -> NotFound:
    from difflib import get_close_matches

    near = get_close_matches(wanted, there, n=1)
    if near:
        remedy = f"did you mean {near[0]!r}?"
    elif there:
        remedy = "see what there is with: stash list"
    else:
        remedy = "the stash is empty, add cloth first with: add"
    return NotFound(f"there is no {kind} {wanted!r} in {where}", remedy)
