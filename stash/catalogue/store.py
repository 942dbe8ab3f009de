"""The catalogue: a stash in a database, where every change is one transaction and one line of the journal."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from dataclasses import replace as with_fields
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Table, select

from stash.catalogue import backup as backups
from stash.catalogue import row, snippet
from stash.catalogue.finder import Candidate, candidates
from stash.catalogue.history import rows_on
from stash.catalogue.journal import Draft, Entry, last_gone, standing, take_back, take_back_to
from stash.catalogue.keeper import Keeper
from stash.catalogue.reservation import KEY as RESERVED
from stash.catalogue.reservation import after_cut, refuse_reserved
from stash.catalogue.schema import cut_part as stage_table
from stash.catalogue.schema import fabric as fabric_table
from stash.catalogue.schema import photo as photo_table
from stash.catalogue.schema import piece as piece_table
from stash.catalogue.schema import remark as remark_table
from stash.catalogue.stage import Stage
from stash.catalogue.stash import descent, fabric_in, first_of, piece_in
from stash.catalogue.trait import Query
from stash.errors import Conflict, InputWrong
from stash.fabric import Fabric
from stash.interchange.contents import Contents
from stash.interchange.digest import stash_digest
from stash.interchange.reader import read, read_fabric, read_piece
from stash.interchange.writer import stash_document
from stash.photograph import KeptPhoto
from stash.piece import Piece

#: Noted where a photograph brings cloth for the second time.
_SEEN_BEFORE: Final = "The photograph was in the stash already: make sure that no cloth in it is kept twice."


class Catalogue:
    """The stash kept at a place. Where there is none yet, reading finds it empty and the first change makes it."""

    def __init__(self, keeper: Keeper) -> None:
        self.keeper = keeper
        self.where = keeper.where

    # Reading

    def contents(self) -> Contents:
        """Everything, as of one moment."""
        if not self.keeper.exists:
            return Contents()
        with self.keeper.reading() as connection:
            return row.contents(connection, self.where)

    def fabrics(self) -> tuple[Fabric, ...]:
        """All fabrics, in the order in which they came."""
        return self.contents().fabrics

    def pieces(self) -> tuple[Piece, ...]:
        """All pieces, in the order in which they came."""
        return self.contents().pieces

    def fabric(self, fabric_id: str) -> Fabric:
        """The fabric with that id. Raises NotFound."""
        document = self._document(fabric_table, fabric_id)
        if document is None:
            return fabric_in(self.contents(), fabric_id, self.where)
        return read_fabric(document, source=self.where)

    def piece(self, piece_id: str) -> Piece:
        """The piece with that id. Raises NotFound."""
        document = self._document(piece_table, piece_id)
        if document is None:
            return piece_in(self.contents(), piece_id, self.where)
        return read_piece(document, source=self.where)

    def photo_of(self, piece_id: str) -> Path | None:
        """The photograph that the piece was measured from, or None. Raises NotFound where there is no such piece."""
        self.piece(piece_id)
        with self.keeper.reading() as connection:
            sha256 = connection.execute(select(piece_table.c.photo).where(piece_table.c.id == piece_id)).scalar_one()
        return None if sha256 is None else self.keeper.photo(sha256)

    def digest(self) -> str:
        """The fingerprint of everything it holds."""
        return stash_digest(self.contents())

    def export_document(self) -> dict[str, Any]:
        """The ``stash/1`` document."""
        return stash_document(self.contents())

    def remark_of(self, key: str) -> Any:
        """What stands under that key of the stash's document, or None; soon told, however large the stash."""
        if not self.keeper.exists:
            return None
        with self.keeper.reading() as connection:
            text = connection.execute(select(remark_table.c.value).where(remark_table.c.key == key)).scalar()
        return None if text is None else json.loads(text)

    def journal(self) -> tuple[Entry, ...]:
        """What was done and stands, oldest first."""
        if not self.keeper.exists:
            return ()
        with self.keeper.reading() as connection:
            return standing(connection)

    def contents_on(self, moment: datetime) -> Contents:
        """Everything as it was then: what was done and taken back since is left aside."""
        if not self.keeper.exists:
            return Contents()
        with self.keeper.reading() as connection:
            return row.read_rows(rows_on(connection, moment), self.where)

    def stages(self, plan: str) -> tuple[Stage, ...]:
        """What was told of the cuts of the plan with that fingerprint."""
        if not self.keeper.exists:
            return ()
        with self.keeper.reading() as connection:
            names = (stage_table.c.plan, stage_table.c.part, stage_table.c.segment, stage_table.c.how)
            rows = connection.execute(select(*names).where(stage_table.c.plan == plan).order_by(stage_table.c.key))
            return tuple(Stage(**found) for found in rows.mappings())

    def found(self, query: Query) -> Iterator[Candidate]:
        """The pieces that a query leaves; see ``finder.candidates``."""
        if not self.keeper.exists:
            return
        with self.keeper.reading() as connection:
            yield from candidates(connection, query)

    # Changing

    def add(
        self,
        fabric: Fabric | None,
        pieces: Sequence[Piece],
        *,
        photo: KeptPhoto | None = None,
        besides: Sequence[Fabric] = (),
    ) -> Entry:
        """Adds a new fabric, or None, with pieces, and new fabrics ``besides``; see ``Stash`` for how ids are given.

        Raises:
            Conflict: an id is taken. InputWrong: a piece of no fabric that is kept. CatalogueBlocked.
        """
        with self.keeper.changing() as connection:
            draft = Draft(connection)
            again = photo is not None and draft.row(photo_table, photo.sha256) is not None
            sha256 = None if photo is None else self._keep(draft, photo)
            for other in besides:
                row.put_fabric(draft, row.named_fabric(other, draft.keys(fabric_table), draft.keys(piece_table)))
            if fabric is not None:
                fabric = row.named_fabric(fabric, draft.keys(fabric_table), draft.keys(piece_table))
                row.put_fabric(draft, fabric)
            taken, there = draft.keys(piece_table), draft.keys(fabric_table)
            for piece in pieces:
                named = row.named_piece(piece, fabric, taken, there)
                taken.add(named.id)
                row.put_piece(draft, named, sha256)
            return draft.record("added", row.what_came(draft), (_SEEN_BEFORE,) if again else ())

    def import_document(self, document: Any, *, replace: bool = False, source: str = "the stash") -> Entry | None:
        """Takes in a ``stash/1`` document; None where everything in it is here already.

        Raises:
            InputWrong: the document is wrong; with the path to the mistake.
            Conflict: an id is here with other content, and ``replace`` is not given. Nothing is changed.
        """
        read(document, source=source, known_fabrics=[fabric.id for fabric in self.fabrics()])
        with self.keeper.changing() as connection:
            draft = Draft(connection)
            here = row.contents(connection, self.where)
            coming = read(document, source=source, known_fabrics=[fabric.id for fabric in here.fabrics])
            if not replace:
                row.refuse_contradictions(here, coming, source)
            row.take_in(draft, here, coming)
            return draft.record("imported", row.what_came(draft)) if draft.changes else None

    def exchange(
        self,
        used: Sequence[str],
        leftovers: Sequence[Piece],
        *,
        title: str,
        notes: Sequence[str] = (),
        digests: Mapping[str, Any] | None = None,
        stages: Sequence[Stage] = (),
        going_on: bool = False,
        snippets: Sequence[Piece] = (),
        verb: str = "cut",
    ) -> Entry:
        """Takes the used pieces out and puts the leftovers in. A leftover's id is that of the piece it is of; what of
        them is too small to be a piece comes as ``snippets``.

        ``stages`` is what is told of the cuts by it; while the plan is ``going_on``, its leftovers stay reserved
        for it. ``digests`` are those of a plan document (see ``plan_digests``): where they are given, the cloth must be
        as it was then.

        Raises:
            Conflict: a used piece is gone, has changed since or is reserved for another plan. Nothing is changed.
        """
        with self.keeper.changing() as connection:
            draft = Draft(connection)
            here = row.contents(connection, self.where)
            row.refuse_changed(here, used, digests)
            refuse_reserved(here, used, stages[0].plan if stages else None)
            photo_by_piece = {piece_id: (draft.row(piece_table, piece_id) or {})["photo"] for piece_id in used}
            # A ticket with the id of a piece that is gone may still be pinned to what is left of it.
            gone = {name for leftover in leftovers for name in descent(leftover)}
            taken = draft.keys(piece_table) | draft.keys(fabric_table) | gone
            of_piece: dict[str, str] = {}
            for piece_id in used:
                draft.remove(piece_table, piece_id)
            for leftover in leftovers:
                piece = with_fields(leftover, id=row.next_id(first_of(leftover), taken))
                taken.add(piece.id)
                of_piece[piece.id] = leftover.id
                row.put_piece(draft, piece, photo_by_piece[leftover.id])
            row.put_remark(draft, RESERVED, after_cut(here, used, of_piece, going_on=going_on))
            row.put_remark(draft, snippet.KEY, snippet.with_more(here, snippets))
            for stage in stages:
                draft.put(stage_table, {"key": stage.key, **asdict(stage)})
            return draft.record(verb, title, tuple(notes))

    def bring_back(self, verb: str, gone: str, piece_ids: Sequence[str]) -> Entry:
        """Puts pieces that left by an entry of the verb ``gone``, as they were then, in again.

        Raises:
            NotFound: one has not left so. Conflict: one is there, or its fabric is not. Nothing is changed.
        """
        with self.keeper.changing() as connection:
            draft = Draft(connection)
            for piece_id in dict.fromkeys(piece_ids):
                row.put_again(draft, piece_id, last_gone(connection, piece_table, piece_id, gone), gone)
            return draft.record(verb, ", ".join(dict.fromkeys(piece_ids)))

    def amend(
        self, verb: str, summary: str, change: Callable[[Contents], Contents], *, photo: KeptPhoto | None = None
    ) -> Entry | None:
        """Puts what ``change`` makes of what is here in place of it, as one entry; None where it makes nothing new.
        Pieces that change so are of the ``photo``, where one is given.

        Raises what ``change`` raises; nothing is changed then.
        """
        with self.keeper.changing() as connection:
            draft = Draft(connection)
            here = row.contents(connection, self.where)
            coming = change(here)
            row.take_in(draft, here, coming, None if photo is None else self._keep(draft, photo))
            return draft.record(verb, summary) if draft.changes else None

    def remark(self, verb: str, summary: str, key: str, change: Callable[[Contents], Any]) -> Entry | None:
        """Puts what ``change`` makes of what is here under that key of the stash's document, None takes it away; no
        entry where it is so already. Raises what ``change`` raises; nothing is changed then."""
        with self.keeper.changing() as connection:
            draft = Draft(connection)
            row.put_remark(draft, key, change(row.contents(connection, self.where)))
            return draft.record(verb, summary) if draft.changes else None

    def undo(self, *, only: int | None = None) -> Entry:
        """Takes back the last entry of the journal and returns it.

        Raises InputWrong where there is none, and Conflict where it is not ``only``, the number that was meant.
        """
        return self._undo(lambda connection: (take_back(connection, only=only),))[0]

    def undo_back_to(self, number: int) -> tuple[Entry, ...]:
        """Takes back all entries from the last to that number, the last one first. Raises InputWrong."""
        return self._undo(lambda connection: take_back_to(connection, number))

    def _undo(self, taking: Callable[[Connection], tuple[Entry, ...]]) -> tuple[Entry, ...]:
        if not self.keeper.exists:
            raise InputWrong(f"there is nothing to undo: there is no stash at {self.where} yet", "nothing needs doing")
        with self.keeper.changing() as connection:
            before = set(connection.execute(select(photo_table.c.sha256)).scalars())
            taken = taking(connection)
            unused = before - set(connection.execute(select(photo_table.c.sha256)).scalars())
        self._let_go(unused)
        return taken

    def backup(self, file: Path) -> None:
        """Writes everything, photographs and journal included, into one file."""
        if not self.keeper.exists:
            raise InputWrong(f"there is no stash at {self.where} yet", "name the stash to back up with --stash")
        self.keeper.backup(file)

    def restore(self, file: Path, *, replace: bool = False) -> None:
        """Makes the catalogue what it was when the backup was written; what was there is copied aside first.

        Raises:
            Conflict: the catalogue is in use, and ``replace`` is not given. InputWrong: the file is no backup.
        """
        with backups.opened(file) as kept, self.keeper.changing() as connection:
            held = row.contents(connection, self.where)
            in_use = bool(held.fabrics or held.pieces or held.extra or standing(connection))
            if in_use and not replace:
                raise Conflict(
                    f"the stash at {self.where} is not empty",
                    "give --replace, or name another place with --stash",
                )
            if in_use:
                self.keeper.set_aside()
            for photo in kept.photographs():
                self.keeper.keep(connection, photo)
            backups.bring_back(kept, connection)

    # Within

    def _document(self, table: Table, key: str) -> Any:
        """The document of one row, or None."""
        if not self.keeper.exists:
            return None
        with self.keeper.reading() as connection:
            text = connection.execute(select(table.c.document).where(table.c.id == key)).scalar()
        return None if text is None else json.loads(text)

    def _keep(self, draft: Draft, photo: KeptPhoto) -> str:
        self.keeper.keep(draft.connection, photo)
        if draft.row(photo_table, photo.sha256) is None:
            draft.put(photo_table, {"sha256": photo.sha256, "taken": photo.taken, "focal35_mm": photo.focal35_mm})
        return photo.sha256

    def _let_go(self, sha256s: set[str]) -> None:
        """Photographs that no row names any longer, looked at anew: somebody may just have brought one again."""
        if sha256s:
            with self.keeper.changing() as connection:
                named = set(connection.execute(select(photo_table.c.sha256)).scalars())
                self.keeper.forget(connection, sha256s - named)
