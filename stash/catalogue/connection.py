"""Connections to the catalogue's file, and the sentences for what SQLite has to say against them."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from stash.catalogue.place import Place
from stash.errors import CatalogueBlocked

#: How long a change waits for another program's change to end, in seconds. A change takes milliseconds, so whoever
#: holds the file for longer is stuck, or works on a slow network folder.
BUSY_S = 10.0

#: Bytes that SQLite needs free to open a catalogue for changes, or while one is open: the index of the log comes in
#: steps of 32 KiB (SQLite, "WAL-mode File Format"); twice that, so that reading is not stopped at the brink.
_INDEX_BYTES = 65_536


def engine_for(database: Path, *, write: bool) -> Engine:
    """An engine on the file, which must exist.

    pysqlite opens transactions late and not around DDL; so it is told to open none, and BEGIN is sent by hand:
    IMMEDIATE for changes, so that two programs wait for one another at the start and not half-way. References are
    looked at when the change is whole.
    """
    engine = create_engine("sqlite://", creator=lambda: connect(database, write=write), poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
        if write:
            connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")

    return engine


def connect(database: Path, *, write: bool) -> sqlite3.Connection:
    """A plain connection: foreign keys on, every commit on the disk before it is reported.

    One that only reads still opens the file for writing where it may, so that closing it tidies the log away.
    """
    shared = Place(database=database, photos=database).writable
    address = f"{database.absolute().as_uri()}?mode={'rw' if write or shared else 'ro'}"
    if not write and not _has_log(database):
        alone = f"{database.absolute().as_uri()}?mode=ro&immutable=1"  # needs no index of the log, and so no room
        if not shared or _free(database) < _INDEX_BYTES:
            return _opened(alone, write=False)
    return _opened(address, write=write)


def _opened(address: str, *, write: bool) -> sqlite3.Connection:
    connection = sqlite3.connect(address, uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")
    if not write:
        connection.execute("PRAGMA query_only = ON")
    return connection


def _free(database: Path) -> int:
    """Bytes that are free on the disk of the file."""
    return shutil.disk_usage(database.parent).free


def _has_log(database: Path) -> bool:
    """Whether changes wait in the write-ahead log beside the file."""
    log = database.with_name(database.name + "-wal")
    return log.exists() and log.stat().st_size > 0


@contextmanager
def told(database: Path) -> Iterator[None]:
    """Turns SQLite's errors into CatalogueBlocked with a remedy; others pass."""
    try:
        yield
    except DBAPIError as error:
        raise _blocked(database, error.orig) from error
    except sqlite3.Error as error:
        raise _blocked(database, error) from error


def _blocked(database: Path, error: Any) -> CatalogueBlocked:
    name = str(getattr(error, "sqlite_errorname", "") or "")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return CatalogueBlocked(
            f"the catalogue {database} is locked: another program has been changing it for {BUSY_S:g} s",
            "let it finish or close it, then do this again; nothing was changed",
        )
    if name.startswith("SQLITE_READONLY"):
        return read_only(database)
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return CatalogueBlocked(
            f"the catalogue {database} is damaged or is no catalogue",
            "bring out what it still holds with: stash check --mend, or move it aside and bring back a backup with: "
            "stash restore FILE; it was left as it is",
        )
    full = name.startswith(("SQLITE_IOERR", "SQLITE_CANTOPEN")) and _free(database) < _INDEX_BYTES
    if full or name.startswith("SQLITE_FULL"):
        return CatalogueBlocked(
            f"the disk of the catalogue {database} is full", "make room, then do this again; nothing was changed"
        )
    return CatalogueBlocked(
        f"the catalogue {database} cannot be used ({error})",
        "check that the disk is there and the folder may be read and written; nothing was changed",
    )


def read_only(database: Path) -> CatalogueBlocked:
    """The error for a change to a catalogue that may only be read."""
    return CatalogueBlocked(
        f"the catalogue {database} may only be read",
        "allow writing to the file and its folder, or name another place with --stash; nothing was changed",
    )


def copy_database(source: Path, target: Path) -> None:
    """A whole copy of a database, log included, made while others may go on using it. Replaces the target's content."""
    origin, copy = connect(source, write=False), sqlite3.connect(target, timeout=BUSY_S)
    try:
        origin.backup(copy)
    finally:
        copy.close()
        origin.close()
