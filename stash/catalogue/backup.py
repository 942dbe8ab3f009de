"""A backup: the whole catalogue in one ZIP file, the database and the photographs, for another day or machine."""

from __future__ import annotations

import re
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from stash.catalogue import migration
from stash.catalogue.connection import connect, copy_database
from stash.catalogue.photo import file_of, keep, write_whole
from stash.catalogue.place import DATABASE_NAME, Place
from stash.errors import CatalogueBlocked, Conflict, InputWrong, NotFound
from stash.photograph import KeptPhoto

_PHOTO = re.compile(r"photos/([0-9a-f]{64})\.jpg")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A backup unpacked: its database, of this version and sound, and its photographs by fingerprint."""

    database: Path
    photos: dict[str, Path]


def write(place: Place, file: Path) -> None:
    """Writes the backup, whole or not at all.

    Raises:
        Conflict: the file is there and is no backup. CatalogueBlocked: it cannot be written.
    """
    if file.exists() and file.stat().st_size and not _is_backup(file):
        raise Conflict(f"{file} is there already and is no backup", "name another file")
    try:
        with tempfile.TemporaryDirectory() as folder:
            database, packed = Path(folder) / DATABASE_NAME, Path(folder) / "packed.zip"
            copy_database(place.database, database)
            _make_single(database)
            with zipfile.ZipFile(packed, "w", compression=zipfile.ZIP_DEFLATED) as archive:
                archive.write(database, DATABASE_NAME)
                for sha256 in _photographs(database):
                    photo = file_of(place.photos, sha256)
                    if photo.exists():
                        archive.write(photo, f"photos/{sha256}.jpg", compress_type=zipfile.ZIP_STORED)
            write_whole(file, packed.read_bytes())
    except OSError as error:
        raise CatalogueBlocked(
            f"the backup cannot be written to {file} ({error.strerror or error})", "name another file"
        ) from error


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


def bring_back(kept: Kept, place: Place) -> None:
    """Makes the catalogue at the place what the backup holds. Photographs come first, then all else in one step."""
    for sha256, path in kept.photos.items():
        photo = KeptPhoto(jpeg=path.read_bytes())
        if photo.sha256 == sha256:
            keep(place.photos, photo)
    source, target = connect(kept.database, write=False), connect(place.database, write=True)
    try:
        source.backup(target)
    finally:
        target.close()
        source.close()


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
