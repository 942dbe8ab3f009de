"""A PostgreSQL server to test with: the one that $STRIPEWRIGHT_POSTGRES names, else one of our own for a while."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.util import find_spec
from itertools import count
from pathlib import Path

from sqlalchemy import create_engine
from sqlalchemy.engine import make_url
from sqlalchemy.pool import NullPool

VARIABLE = "STRIPEWRIGHT_POSTGRES"
#: PostgreSQL refuses to run for an administrator: then it runs for this user, whom its packages make.
SERVANT = "postgres"
_numbers = count(1)


class NoServer(Exception):
    """There is no server and none can be started; the text says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Studio:
    """A running server, by the address of a database on it from which others may be made."""

    address: str
    made: list[str] = field(default_factory=list)

    def fresh(self) -> str:
        """The address of a new, empty database."""
        name = f"stripewright_{os.getpid()}_{next(_numbers)}"
        self._tell(f"CREATE DATABASE {name}")
        self.made.append(name)
        return make_url(self.address).set(database=name).render_as_string(hide_password=False)

    def clear(self) -> None:
        """Drops the databases that were made."""
        for name in self.made:
            self._tell(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def _tell(self, statement: str) -> None:
        address = make_url(self.address).set(drivername="postgresql+psycopg")
        engine = create_engine(address, poolclass=NullPool, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.exec_driver_sql(statement)


@contextmanager
def running() -> Iterator[Studio]:
    """A studio. Raises NoServer."""
    if find_spec("psycopg") is None:
        raise NoServer("psycopg is not installed")
    named = os.environ.get(VARIABLE)
    if named:
        yield from _lent(named)
        return
    with tempfile.TemporaryDirectory(prefix="studio-", ignore_cleanup_errors=True) as folder:
        yield from _own(Path(folder))


def _lent(address: str) -> Iterator[Studio]:
    studio = Studio(address=address)
    try:
        yield studio
    finally:
        studio.clear()


def _own(folder: Path) -> Iterator[Studio]:
    programs = _programs()
    user = SERVANT if os.geteuid() == 0 else None
    if user is not None:
        try:
            pwd.getpwnam(user)
        except KeyError as error:
            raise NoServer(f"an administrator runs the tests and there is no user {user}") from error
        shutil.chown(folder, user)
    data = folder / "data"
    _run(user, folder, programs / "initdb", "-A", "trust", "-U", "maker", "-E", "UTF8", "-D", data)
    options = f"-c listen_addresses='' -c fsync=off -k {folder}"
    _run(user, folder, programs / "pg_ctl", "start", "-w", "-D", data, "-l", folder / "log", "-o", options)
    try:
        yield Studio(address=f"postgresql://maker@/postgres?host={folder}")
    finally:
        _run(user, folder, programs / "pg_ctl", "stop", "-w", "-m", "immediate", "-D", data)


def _programs() -> Path:
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    for folder in folders:
        if (folder / "initdb").exists() and (folder / "pg_ctl").exists():
            return folder
    raise NoServer("PostgreSQL is not installed")


def _run(user: str | None, folder: Path, *command: object) -> None:
    words = [str(word) for word in command]
    try:
        done = subprocess.run(
            words, user=user, cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    except (OSError, subprocess.SubprocessError) as error:
        raise NoServer(f"{Path(words[0]).name} does not run ({error})") from error
    if done.returncode:
        raise NoServer(f"{Path(words[0]).name} failed: {' '.join(done.stderr.split())[-200:]}")
