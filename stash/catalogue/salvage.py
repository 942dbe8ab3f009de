"""What a damaged database file still holds, brought into a new one; the damaged one is kept beside it."""

from __future__ import annotations

import json
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Table, insert

from stash.catalogue import migration
from stash.catalogue.connection import engine_for, read_only
from stash.catalogue.finder import follow
from stash.catalogue.place import Place
from stash.catalogue.schema import KEPT, fabric, journal, metadata, photo, piece
from stash.errors import CatalogueBlocked

Row = dict[str, Any]
#: Files that SQLite keeps beside a database: they belong to the damaged one and go with it.
_BESIDE: Final = ("", "-wal", "-shm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Salvaged:
    """The rows brought out by table, those of them that only the journal still had, and where the damaged file is."""

    rows: dict[str, int]
    from_journal: tuple[str, ...]
    aside: Path


def salvage(place: Place) -> Salvaged:
    """Makes a new catalogue of what can be read, and puts it in the damaged one's place in one step.

    Each table is read from both ends up to where the damage is. Rows of a table with damage that are only in the
    journal come from there: they may have been cut since, so they are named.

    Raises CatalogueBlocked where nothing can be read.
    """
    if not place.writable:
        raise read_only(place.database)
    with closing(_opened(place.database)) as source:
        read = {table.name: _read(source, table) for table in _tables()}
    rows = {name: found for name, (found, _) in read.items()}
    if not any(rows.values()):
        raise CatalogueBlocked(
            f"nothing of the catalogue {place.database} can be read any longer",
            "move it aside and bring back a backup with: stash restore FILE; it was left as it is",
        )
    damaged = {name for name, (_, whole) in read.items() if not whole}
    known = _known_to_journal(rows[journal.name].values())
    from_journal = [
        key for name in (fabric.name, piece.name) if name in damaged for key in known[name] if key not in rows[name]
    ]
    for name in damaged & {fabric.name, piece.name}:
        rows[name] = {**known[name], **rows[name]}
    _make_fit(rows, place.photos)
    return Salvaged(
        rows={name: len(found) for name, found in rows.items()},
        from_journal=tuple(from_journal),
        aside=_put_in_place(rows, place),
    )


def _tables() -> list[Table]:
    """Those that the journal keeps, and the journal; all else is made from them."""
    return [table for table in metadata.sorted_tables if table.name in KEPT or table is journal]


def _opened(database: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro", uri=True)
    connection.row_factory = sqlite3.Row
    connection.text_factory = lambda raw: raw.decode("utf-8", "replace")
    return connection


def _read(source: sqlite3.Connection, table: Table) -> tuple[dict[str, Row], bool]:
    """The rows by key, and whether the table could be read to its end."""
    names = ", ".join(column.name for column in table.columns)
    key = next(iter(table.primary_key.columns)).name
    found: dict[str, Row] = {}
    for way in ("ASC", "DESC"):
        try:
            for row in source.execute(f"SELECT {names} FROM {table.name} NOT INDEXED ORDER BY rowid {way}"):
                if _sound(table, dict(row)):
                    found[str(row[key])] = dict(row)
        except sqlite3.DatabaseError:
            continue
        return found, True
    return found, False


def _sound(table: Table, row: Row) -> bool:
    """Whether its JSON is JSON; what it says is looked at afterwards."""
    try:
        for name in ("document", "value", "notes", "changes"):
            if name in row:
                json.loads(row[name])
    except (TypeError, ValueError):
        return False
    return all(row[column.name] is not None for column in table.columns if not column.nullable)


def _known_to_journal(entries: Any) -> dict[str, dict[str, Row]]:
    """Fabrics and pieces as the entries that stand left them."""
    known: dict[str, dict[str, Row]] = {fabric.name: {}, piece.name: {}}
    for entry in sorted(entries, key=lambda entry: int(entry["number"])):
        if entry["undone_at"] is not None:
            continue
        for change in json.loads(entry["changes"]):
            rows = known.get(change["table"])
            if rows is None:
                continue
            if change["after"] is None:
                rows.pop(change["key"], None)
            else:
                rows[change["key"]] = change["after"]
    return known


def _make_fit(rows: dict[str, dict[str, Row]], photos: Path) -> None:
    """What rows refer to is there: photographs by their files; a fabric that is lost, by a name that says so."""
    for row in rows[piece.name].values():
        sha256 = row.get("photo")
        if sha256 is not None and sha256 not in rows[photo.name]:
            if (photos / f"{sha256}.jpg").exists():
                rows[photo.name][sha256] = {"sha256": sha256, "taken": None, "focal35_mm": None}
            else:
                row["photo"] = None
        if row["fabric"] not in rows[fabric.name]:
            document = {"id": row["fabric"], "name": f"{row['fabric']} (lost: describe it again)",
                        "print": {"kind": "plain"}}  # fmt: skip
            place = len(rows[fabric.name]) + 1
            rows[fabric.name][row["fabric"]] = {"id": row["fabric"], "place": place, "document": json.dumps(document)}


def _put_in_place(rows: dict[str, dict[str, Row]], place: Place) -> Path:
    aside = place.database.with_name(f"{place.database.name}.damaged-{datetime.now():%Y%m%d-%H%M%S-%f}")
    try:
        with tempfile.TemporaryDirectory(dir=place.database.parent, prefix=".new-") as folder:
            fresh = Place(database=Path(folder) / place.database.name, photos=Path(folder))
            migration.make(fresh)
            engine = engine_for(fresh.database, write=True)
            with engine.begin() as connection:
                for table, values in _filled(rows):
                    connection.execute(insert(table), values)
                _make_findable(connection, rows)
            engine.dispose()
            for ending in _BESIDE:
                old = place.database.with_name(place.database.name + ending)
                if old.exists():
                    old.rename(aside.with_name(aside.name + ending))
            fresh.database.rename(place.database)
    except OSError as error:
        raise CatalogueBlocked(
            f"what the catalogue {place.database} still holds cannot be written beside it ({error.strerror or error})",
            "make room there, then do this again; the damaged file is kept",
        ) from error
    return aside


def _make_findable(connection: Connection, rows: dict[str, dict[str, Row]]) -> None:
    for table in (fabric, piece):
        for key, row in rows[table.name].items():
            with suppress(KeyError, TypeError, ValueError, IndexError):  # a document to be put right after this
                follow(connection, table, key, row)


def _filled(rows: dict[str, dict[str, Row]]) -> Iterator[tuple[Table, list[Row]]]:
    for table in _tables():
        names = {column.name for column in table.columns}
        values = [{name: row.get(name) for name in names} for row in rows[table.name].values()]
        if values:
            yield table, values
