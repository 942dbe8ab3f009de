"""A catalogue on a PostgreSQL server, for a studio in which several people work at once."""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Final

from sqlalchemy import Column, Connection, Engine, LargeBinary, MetaData, Table, Text, create_engine, select, text
from sqlalchemy.dialects.postgresql import insert
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import NullPool

from stash.catalogue import backup as backups
from stash.catalogue import migration
from stash.catalogue.connection import BUSY_S
from stash.catalogue.photo import file_of, forget, keep
from stash.catalogue.place import DATABASE_NAME, Place
from stash.catalogue.schema import HEAD, STEPS
from stash.catalogue.server_copy import set_aside
from stash.catalogue.server_trouble import told
from stash.errors import CatalogueBlocked, InputWrong, NotFound
from stash.photograph import KeptPhoto

#: Seconds to wait for the server to answer at all.
CONNECT_S: Final = 10
#: The advisory lock that every change holds: "STRIPE" in ASCII, so that no other program takes it by chance.
_LOCK: Final = int.from_bytes(b"STRIPE", "big")

#: The photographs' bytes, which a server keeps beside its rows as its users share no folder.
picture = Table(
    "picture",
    MetaData(),
    Column("sha256", Text, primary_key=True),
    Column("jpeg", LargeBinary, nullable=False),
)


class ServerKeeper:
    """A database on a server, named by a URL; photographs are in it too."""

    def __init__(self, url: str) -> None:
        parsed = _url(url)
        self.where = parsed.render_as_string(hide_password=True)
        self._engine = _engine(parsed)
        self._seen = False  # a catalogue that was there once does not go while a command runs

    @property
    def exists(self) -> bool:
        """Whether there is a catalogue in the database yet."""
        if not self._seen:
            with told(self.where), self._engine.connect() as connection:
                self._seen = _version(connection) is not None
        return self._seen

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """See ``Keeper``."""
        with told(self.where):
            with self._moment() as connection:
                found = _version(connection)
                self._refuse_newer(found)
                if found == HEAD:
                    yield connection
                    return
            with self.changing():
                pass
            with self._moment() as connection:
                yield connection

    @contextmanager
    def changing(self) -> Iterator[Connection]:
        """See ``Keeper``. One change at a time: each sees all that was kept before it. An older catalogue is first
        copied aside and brought up to this version."""
        with told(self.where), self._engine.begin() as connection:
            connection.execute(text(f"SET LOCAL lock_timeout = '{BUSY_S:g}s'"))
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
            found = _version(connection)
            self._refuse_newer(found)
            if found != HEAD:
                if found is not None:
                    set_aside(connection, found, self.where)
                picture.create(connection, checkfirst=True)
                migration.upgrade_on(connection, HEAD)
            yield connection

    @contextmanager
    def _moment(self) -> Iterator[Connection]:
        with self._engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
            connection.execute(text("SET TRANSACTION READ ONLY"))
            yield connection

    def keep(self, connection: Connection, photo: KeptPhoto) -> None:
        """See ``Keeper``."""
        row = insert(picture).values(sha256=photo.sha256, jpeg=photo.jpeg)
        connection.execute(row.on_conflict_do_nothing())

    def photo(self, sha256: str) -> Path:
        """See ``Keeper``. The file is a copy in the user's cache, under the photograph's fingerprint."""
        folder = _copies()
        target = file_of(folder, sha256)
        if not target.exists():
            jpeg = self._bytes(sha256)
            if jpeg is not None:
                keep(folder, KeptPhoto(jpeg=jpeg))
        return target

    def forget(self, connection: Connection, unused: Collection[str]) -> None:
        """See ``Keeper``."""
        connection.execute(picture.delete().where(picture.c.sha256.in_(list(unused))))
        for sha256 in unused:
            forget(_copies(), sha256)

    def backup(self, file: Path) -> None:
        """See ``Keeper``. The file is like that of any other catalogue, and may be restored into one."""
        with tempfile.TemporaryDirectory() as folder:
            place = Place(database=Path(folder) / DATABASE_NAME, photos=Path(folder))
            migration.make(place)
            with self.reading() as source:
                backups.copy_rows(source, place.database)
            backups.pack(place.database, self._bytes, file)

    def set_aside(self) -> None:
        """See ``Keeper``. A backup in the user's data folder."""
        from platformdirs import user_data_path

        folder = user_data_path("stripewright", appauthor=False, ensure_exists=True)
        self.backup(folder / f"before-restore-{datetime.now():%Y%m%d-%H%M%S-%f}.zip")

    def _bytes(self, sha256: str) -> bytes | None:
        with told(self.where), self._engine.connect() as connection:
            found = connection.execute(select(picture.c.jpeg).where(picture.c.sha256 == sha256)).scalar_one_or_none()
            return None if found is None else bytes(found)

    def _refuse_newer(self, found: str | None) -> None:
        if found is not None and found not in STEPS:
            raise CatalogueBlocked(
                f"the catalogue {self.where} is of version {found}, not among those up to {HEAD} which this program "
                "knows",
                "install the newest version; the catalogue was left as it is",
            )


def _copies() -> Path:
    """The folder in which photographs are laid to be looked at."""
    from platformdirs import user_cache_path

    return user_cache_path("stripewright", appauthor=False) / "photos"


def _url(text_: str) -> URL:
    """The URL with the driver that we use. Raises InputWrong."""
    try:
        parsed = make_url(text_)
        _ = parsed.port
    except (ArgumentError, ValueError) as error:
        raise InputWrong(
            "the address of the server cannot be read", "write it like postgresql://NAME@HOST/DATABASE"
        ) from error
    if not parsed.database:
        raise InputWrong("the address names no database", "write it like postgresql://NAME@HOST/DATABASE")
    return parsed.set(drivername="postgresql+psycopg")


def _engine(parsed: URL) -> Engine:
    try:
        return create_engine(parsed, poolclass=NullPool, connect_args={"connect_timeout": CONNECT_S})
    except ImportError as error:
        raise NotFound(
            "a stash on a server needs the library psycopg, which is not installed",
            "install it with: pip install 'stripewright[server]'",
        ) from error


def _version(connection: Connection) -> str | None:
    """The step that the database has reached, or None where there is no catalogue in it."""
    there = connection.execute(text("SELECT to_regclass('alembic_version')")).scalar_one()
    if there is None:
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalars().first()
    return None if found is None else str(found)
