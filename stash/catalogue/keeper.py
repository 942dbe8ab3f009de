"""Where a catalogue's rows and photographs are kept: in files of one's own, or with a server that several share."""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection

from stash.catalogue import backup as backups
from stash.catalogue import migration
from stash.catalogue import photo as photos
from stash.catalogue.connection import copy_database, engine_for, read_only, told
from stash.catalogue.place import DATABASE_NAME, Place
from stash.photograph import KeptPhoto


class Keeper(Protocol):
    """What the catalogue asks of the place that it is kept in."""

    @property
    def where(self) -> str: ...

    @property
    def exists(self) -> bool: ...

    def reading(self) -> AbstractContextManager[Connection]:
        """A connection that sees one moment. The catalogue must exist."""

    def changing(self) -> AbstractContextManager[Connection]:
        """A connection whose changes are all kept at its end, or none; nobody else changes anything meanwhile.

        The catalogue is made where there is none yet. Raises CatalogueBlocked.
        """

    def keep(self, connection: Connection, photo: KeptPhoto) -> None:
        """Keeps a photograph's bytes; inside a change."""

    def photo(self, sha256: str) -> Path:
        """A file with that photograph; it is missing where the photograph is."""

    def forget(self, connection: Connection, unused: Collection[str]) -> None:
        """Lets go of photographs that no row names; inside a change of its own."""

    def backup(self, file: Path) -> None:
        """Writes everything into one file."""

    def set_aside(self) -> None:
        """Copies everything aside before it is replaced; inside a change."""


class FileKeeper:
    """A database file and a folder of photographs."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.where = str(place.database)

    @property
    def exists(self) -> bool:
        """Whether there is a catalogue yet."""
        return self.place.exists

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """See ``Keeper``."""
        migration.prepare(self.place)
        with told(self.place.database):
            engine = engine_for(self.place.database, write=False)
            with engine.connect() as connection:
                yield connection

    @contextmanager
    def changing(self) -> Iterator[Connection]:
        """See ``Keeper``."""
        if not self.place.exists:
            migration.make(self.place)
        if not self.place.writable:
            raise read_only(self.place.database)
        migration.prepare(self.place)
        with told(self.place.database):
            engine = engine_for(self.place.database, write=True)
            with engine.begin() as connection:
                yield connection

    def keep(self, connection: Connection, photo: KeptPhoto) -> None:
        """See ``Keeper``. A file that no row comes to name does no harm."""
        photos.keep(self.place.photos, photo)

    def photo(self, sha256: str) -> Path:
        """See ``Keeper``."""
        return photos.file_of(self.place.photos, sha256)

    def forget(self, connection: Connection, unused: Collection[str]) -> None:
        """See ``Keeper``."""
        for sha256 in unused:
            photos.forget(self.place.photos, sha256)

    def backup(self, file: Path) -> None:
        """See ``Keeper``."""
        migration.prepare(self.place)
        with told(self.place.database), tempfile.TemporaryDirectory() as folder:
            database = Path(folder) / DATABASE_NAME
            copy_database(self.place.database, database)
            backups.pack(database, self._bytes, file)

    def set_aside(self) -> None:
        """See ``Keeper``."""
        migration.set_aside(self.place.database, "before-restore")

    def _bytes(self, sha256: str) -> bytes | None:
        file = self.photo(sha256)
        return file.read_bytes() if file.exists() else None
