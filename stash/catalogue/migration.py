"""Brings a catalogue into being, and an older one up to this version: whole, or not at all."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, event

from stash.catalogue.connection import connect, copy_database, engine_for, read_only, told
from stash.catalogue.place import Place
from stash.catalogue.schema import HEAD, STEPS
from stash.catalogue.spelling import in_postgresql
from stash.errors import CatalogueBlocked

_STEPS_FOLDER = Path(__file__).with_name("migrations")


def make(place: Place) -> None:
    """Makes an empty catalogue. Two programs may do so at once: one of the two results is kept.

    It is made aside and put in place complete, so that no half-made catalogue is ever seen.
    """
    if not place.writable:
        raise read_only(place.database)
    try:
        place.database.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=place.database.parent, prefix=".new-") as folder:
            fresh = Path(folder) / place.database.name
            _make_file(fresh)
            _put_in_place(fresh, place.database)
    except OSError as error:
        raise CatalogueBlocked(
            f"no catalogue can be made at {place.database} ({error.strerror or error})",
            "name another folder with --stash",
        ) from error


def prepare(place: Place) -> None:
    """Makes sure that the catalogue, which exists, is of this version. An older one is copied aside first.

    Raises:
        CatalogueBlocked: a newer version, no catalogue, damaged, or an older one that may not be written.
    """
    with told(place.database):
        found = version(place.database)
    if found == HEAD:
        return
    if found not in STEPS:
        raise CatalogueBlocked(
            f"the catalogue {place.database} is of version {found}, newer than {HEAD} which this program knows",
            "install the newest version; the catalogue was left as it is",
        )
    if not place.writable:
        raise read_only(place.database)
    with told(place.database):
        set_aside(place.database, f"before-{HEAD}")
        upgrade(place.database, HEAD)


def version(database: Path) -> str:
    """The step of the migrations that the file has reached. Raises CatalogueBlocked where it is no catalogue."""
    connection = connect(database, write=False)
    try:
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite3.OperationalError as error:
        if "no such table" not in str(error):
            raise
        row = None
    finally:
        connection.close()
    if row is None:
        raise CatalogueBlocked(
            f"{database} is empty or a database of another program, not a catalogue",
            "name another place with --stash; the file was left as it is",
        )
    return str(row[0])


def upgrade(database: Path, step: str) -> None:
    """Runs the migrations up to the step on a file, in one transaction."""
    engine = engine_for(database, write=True)
    with engine.begin() as connection:
        upgrade_on(connection, step)
    engine.dispose()


def upgrade_on(connection: Connection, step: str) -> None:
    """Runs the migrations up to the step inside the connection's transaction, in the words of its database."""
    from alembic.command import upgrade as run
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_STEPS_FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    if connection.dialect.name == "postgresql":
        event.listen(connection, "before_cursor_execute", _respelled, retval=True)
    run(config, step)
    if connection.dialect.name == "postgresql":
        event.remove(connection, "before_cursor_execute", _respelled)


def _respelled(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> tuple[str, Any]:
    return in_postgresql(statement), parameters


def set_aside(database: Path, why: str) -> Path:
    """Copies the database beside itself, under a name with the reason and the time."""
    target = _aside(database, why)
    copy_database(database, target)
    return target


def _make_file(database: Path) -> None:
    with told(database):
        first = sqlite3.connect(database, isolation_level=None)
        first.execute("PRAGMA journal_mode = WAL")
        first.close()
        upgrade(database, HEAD)


def _put_in_place(fresh: Path, database: Path) -> None:
    try:
        os.link(fresh, database)
    except FileExistsError:
        return
    except OSError:  # a file system without hard links
        if not database.exists():
            fresh.rename(database)


def _aside(database: Path, why: str) -> Path:
    stamp = datetime.now().strftime("%Y%m%d-%H%M%S-%f")
    return database.with_name(f"{database.name}.{why}-{stamp}")
