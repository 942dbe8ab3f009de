"""A backup: the whole catalogue in one ZIP file, the database and the photographs, for another day or machine."""

from __future__ import annotations

import re
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, delete, insert, select, text

from stash.catalogue import migration
from stash.catalogue.connection import engine_for
from stash.catalogue.photo import write_whole
from stash.catalogue.place import DATABASE_NAME, Place
from stash.catalogue.schema import metadata
from stash.errors import CatalogueBlocked, Conflict, InputWrong, NotFound
from stash.photograph import KeptPhoto

_PHOTO = re.compile(r"photos/([0-9a-f]{64})\.jpg")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A backup unpacked: its database, of this version and sound, and its photographs by fingerprint."""

    database: Path
    photos: dict[str, Path]

    def photographs(self) -> Iterator[KeptPhoto]:
        """Those that are what their fingerprint says."""
        for sha256, path in self.photos.items():
            photo = KeptPhoto(jpeg=path.read_bytes())
            if photo.sha256 == sha256:
                yield photo


def pack(database: Path, photo: Callable[[str], bytes | None], file: Path) -> None:
    """Writes the backup, whole or not at all, from a copy of the database and the photographs' bytes by fingerprint.

    Raises:
        Conflict: the file is there and is no backup. CatalogueBlocked: it cannot be written.
    """
    if file.exists() and file.stat().st_size and not _is_backup(file):
        raise Conflict(f"{file} is there already and is no backup", "name another file")
    try:
        _make_single(database)
        packed = database.with_name("packed.zip")
        with zipfile.ZipFile(packed, "w", compression=zipfile.ZIP_DEFLATED) as archive:
            archive.write(database, DATABASE_NAME)
            for sha256 in _photographs(database):
                jpeg = photo(sha256)
                if jpeg is not None:
                    archive.writestr(f"photos/{sha256}.jpg", jpeg, compress_type=zipfile.ZIP_STORED)
        write_whole(file, packed.read_bytes())
    except OSError as error:
        raise CatalogueBlocked(
            f"the backup cannot be written to {file} ({error.strerror or error})", "name another file"
        ) from error


def copy_rows(source: Connection, database: Path) -> None:
    """All rows into the tables of a new database file."""
    engine = engine_for(database, write=True)
    with engine.begin() as target:
        _put_rows(source, target)
    engine.dispose()


@contextmanager
def opened(file: Path) -> Iterator[Kept]:
    """The backup unpacked into a folder that is gone afterwards.

    Raises:
        NotFound: there is no such file. InputWrong: it is no backup, or damaged. CatalogueBlocked: of a newer version.
    """
    if not file.exists():
        raise NotFound(f"there is no file {file}", "check the name")
    if not _is_backup(file):
        raise InputWrong(f"{file} is not a backup of a stash", "name a file written with: stash backup FILE")
    with tempfile.TemporaryDirectory() as folder:
        try:
            kept = _unpack(file, Path(folder))
        except (zipfile.BadZipFile, OSError, EOFError, sqlite3.Error) as error:
            raise _damaged(file) from error
        migration.prepare(Place(database=kept.database, photos=kept.database.parent))
        yield kept


def bring_back(kept: Kept, connection: Connection) -> None:
    """Puts what the backup holds in place of all that is there, inside the change that the connection holds."""
    for table in reversed(metadata.sorted_tables):
        connection.execute(delete(table))
    engine = engine_for(kept.database, write=False)
    with engine.connect() as source:
        _put_rows(source, connection)
    engine.dispose()


def _put_rows(source: Connection, target: Connection) -> None:
    for table in metadata.sorted_tables:
        rows = [dict(row) for row in source.execute(select(table)).mappings()]
        if rows:
            target.execute(insert(table), rows)
    if target.dialect.name == "postgresql":
        last = "SELECT setval(pg_get_serial_sequence('journal', 'number'), (SELECT max(number) FROM journal))"
        target.execute(text(last))


def _unpack(file: Path, folder: Path) -> Kept:
    photos: dict[str, Path] = {}
    with zipfile.ZipFile(file) as archive:
        if archive.testzip() is not None:
            raise _damaged(file)
        database = Path(archive.extract(DATABASE_NAME, folder))
        for name in archive.namelist():
            match = _PHOTO.fullmatch(name)
            if match is not None:
                photos[match.group(1)] = Path(archive.extract(name, folder))
    connection = sqlite3.connect(database)
    try:
        sound = connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        connection.execute("PRAGMA journal_mode = WAL")
    finally:
        connection.close()
    if not sound:
        raise _damaged(file)
    return Kept(database=database, photos=photos)


def _make_single(database: Path) -> None:
    """Takes the database out of write-ahead mode, so that it is one file."""
    connection = sqlite3.connect(database)
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()


def _photographs(database: Path) -> list[str]:
    connection = sqlite3.connect(database)
    try:
        return [row[0] for row in connection.execute("SELECT sha256 FROM photo ORDER BY sha256")]
    finally:
        connection.close()


def _is_backup(file: Path) -> bool:
    if not zipfile.is_zipfile(file):
        return False
    with zipfile.ZipFile(file) as archive:
        return DATABASE_NAME in archive.namelist()


def _damaged(file: Path) -> InputWrong:
    return InputWrong(f"the backup {file} is damaged", "use another one; nothing was changed")
