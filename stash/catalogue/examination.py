"""Whether a catalogue is sound: its database, every row, and every photograph; and what of it can be mended."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select

from stash.catalogue.connection import connect
from stash.catalogue.door import keeper_at
from stash.catalogue.journal import Draft, Entry
from stash.catalogue.keeper import FileKeeper, Keeper
from stash.catalogue.salvage import Salvaged, salvage
from stash.catalogue.schema import KEPT, fabric, journal, photo, piece
from stash.errors import CatalogueBlocked, StashError
from stash.interchange.reader import read_fabric, read_piece

_READERS: dict[str, Any] = {"fabric": read_fabric, "piece": read_piece}
#: As many lines of what SQLite says of a damaged file are told.
_MOST_TOLD = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something that is not as it must be. ``table`` and ``key`` name the row, None where it is the database itself."""

    problem: str
    remedy: str
    table: str | None = None
    key: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """What was done: what came out of a damaged file, the journal's entry of rows put right, what is left to do."""

    salvaged: Salvaged | None
    entry: Entry | None
    left: tuple[Fault, ...]


def examine(where: str | os.PathLike[str] | None) -> tuple[Fault, ...]:
    """All faults of the catalogue at the place; none of one that does not exist.

    Raises:
        InputWrong: the place is no catalogue. CatalogueBlocked: it is of a newer version or cannot be opened.
    """
    return _faults(keeper_at(where))


def mend(where: str | os.PathLike[str] | None) -> Mended:
    """Mends what can be: what a damaged file still holds goes into a new one, the old one is kept beside it; a row that
    cannot be read gets what the journal last knew of it; a piece whose photograph is gone does without.

    Raises as ``examine``, and CatalogueBlocked where nothing of a damaged file can be read.
    """
    keeper = keeper_at(where)
    salvaged = None
    if isinstance(keeper, FileKeeper) and keeper.exists and any(_damage(keeper.place.database)):
        salvaged = salvage(keeper.place)
    rows = [fault for fault in _faults(keeper) if fault.key is not None and fault.table != journal.name]
    entry = _put_right(keeper, rows) if rows else None
    return Mended(salvaged=salvaged, entry=entry, left=_faults(keeper))


def _faults(keeper: Keeper) -> tuple[Fault, ...]:
    if isinstance(keeper, FileKeeper):
        damage = tuple(_damage(keeper.place.database)) if keeper.exists else ()
        if damage:
            return damage
    if not keeper.exists:
        return ()
    with keeper.reading() as connection:
        found = (*_unreadable(connection), *_unsound_entries(connection))
        sha256s = list(connection.execute(select(photo.c.sha256).order_by(photo.c.sha256)).scalars())
    return (*found, *_missing_photographs(keeper, sha256s))


def _damage(database: Path) -> Iterator[Fault]:
    """What SQLite has to say against the file itself."""
    try:
        connection = connect(database, write=False)
        try:
            told = [row[0] for row in connection.execute("PRAGMA integrity_check")]
        finally:
            connection.close()
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):
            raise CatalogueBlocked(
                f"the catalogue {database} cannot be opened ({error})",
                "check that the disk is there and the folder may be read and written",
            ) from error
        told = [str(error)]
    if told != ["ok"]:
        said = "; ".join(" ".join(str(line).split()) for line in told[:_MOST_TOLD])
        yield Fault(
            problem=f"the file {database} is damaged ({said})",
            remedy="bring out what it still holds with: stash check --mend, or move it aside and bring back a backup "
            "with: stash restore FILE",
        )


def _unreadable(connection: Connection) -> Iterator[Fault]:
    fabrics = set(connection.execute(select(fabric.c.id)).scalars())
    for table in (fabric, piece):
        for row in connection.execute(select(table).order_by(table.c.place)).mappings():
            problem = trouble_of(table.name, row["document"])
            if problem is None and table is piece and row["fabric"] not in fabrics:
                problem = f"its fabric {row['fabric']!r} is not there"
            if problem is not None:
                yield Fault(
                    table=table.name,
                    key=row["id"],
                    problem=f"the {table.name} {row['id']!r} cannot be used ({problem})",
                    remedy="put back what the journal last knew of it with: stash check --mend",
                )


def trouble_of(table: str, document: str) -> str | None:
    """Why a row's document cannot be read, or None."""
    try:
        _READERS[table](json.loads(document), source=table)
    except StashError as error:
        return error.problem
    except ValueError as error:
        return str(error)
    return None


def _unsound_entries(connection: Connection) -> Iterator[Fault]:
    for number, changes in connection.execute(select(journal.c.number, journal.c.changes)):
        try:
            sound = all(change["table"] in KEPT for change in json.loads(changes))
        except (ValueError, TypeError, KeyError):
            sound = False
        if not sound:
            yield Fault(
                table=journal.name,
                key=str(number),
                problem=f"entry {number} of the journal cannot be read",
                remedy="the cloth is not touched by it, but undo ends there; a backup from before has it whole",
            )


def _missing_photographs(keeper: Keeper, sha256s: list[str]) -> Iterator[Fault]:
    for sha256 in sha256s:
        file = keeper.photo(sha256)
        if not file.exists():
            problem = f"the photograph {file} is missing"
        elif hashlib.sha256(file.read_bytes()).hexdigest() != sha256:
            problem = f"the photograph {file} is not the one that was kept"
        else:
            continue
        yield Fault(
            table=photo.name,
            key=sha256,
            problem=problem,
            remedy="put the file back from a backup, or let its pieces do without it with: stash check --mend",
        )


def _put_right(keeper: Keeper, faults: list[Fault]) -> Entry:
    with keeper.changing() as connection:
        draft = Draft(connection)
        for fault in faults:
            assert fault.key is not None
            if fault.table == photo.name:
                _without_photograph(draft, fault.key)
            else:
                _as_last_known(draft, str(fault.table), fault.key)
        return draft.record("mended", ", ".join(f"{fault.table} {str(fault.key)[:40]}" for fault in faults))


def _without_photograph(draft: Draft, sha256: str) -> None:
    for row in draft.connection.execute(select(piece).where(piece.c.photo == sha256)).mappings().all():
        draft.put(piece, {**row, "photo": None})
    draft.remove(photo, sha256)


def _as_last_known(draft: Draft, table: str, key: str) -> None:
    """The row as the journal's newest entry with a readable one has it; without one it goes, and undo has it back."""
    fabrics = draft.keys(fabric)
    for changes in draft.connection.execute(select(journal.c.changes).order_by(journal.c.number.desc())).scalars():
        for change in reversed(_changes(changes)):
            row = change.get("after")
            if change.get("table") != table or change.get("key") != key or not row:
                continue
            if trouble_of(table, row["document"]) is None and (table == "fabric" or row["fabric"] in fabrics):
                draft.put(KEPT[table], row)
                return
    draft.remove(KEPT[table], key)


def _changes(text: str) -> list[dict[str, Any]]:
    try:
        return [change for change in json.loads(text) if isinstance(change, dict)]
    except (ValueError, TypeError):
        return []
