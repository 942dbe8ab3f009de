"""Where a stash is kept: a folder, a database file, or an interchange document that is only read."""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path

from stash.errors import InputWrong

VARIABLE = "STRIPEWRIGHT_STASH"
DATABASE_NAME = "stripewright.sqlite"
_SERVER = re.compile(r"postgres(ql)?(\+\w+)?://")
_DATABASE_ENDINGS = frozenset({".sqlite", ".sqlite3", ".db"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A catalogue's database file and the folder of its photographs."""

    database: Path
    photos: Path

    @property
    def exists(self) -> bool:
        """Whether there is a catalogue yet."""
        return self.database.exists()

    @property
    def writable(self) -> bool:
        """Whether file and folder may be written.

        The permission bits count even for an administrator, who could write all the same: whoever took the right away
        meant it.
        """
        folder = _nearest(self.database.parent)
        return _may_write(folder) and (not self.exists or _may_write(self.database))


def named(where: str | os.PathLike[str] | None) -> Path:
    """The path meant: what was typed, else ``$STRIPEWRIGHT_STASH``, else the platform's folder for user data."""
    text = os.fspath(where) if where is not None else os.environ.get(VARIABLE, "")
    if text and not _SERVER.match(text):
        return Path(text).expanduser()
    from platformdirs import user_data_path

    return user_data_path("stripewright", appauthor=False)


def server_in(where: str | os.PathLike[str] | None) -> str | None:
    """The address of a database server where that is what is meant (see ``named``), else None."""
    text = os.fspath(where) if where is not None else os.environ.get(VARIABLE, "")
    return text if _SERVER.match(text) else None


def is_document(path: Path) -> bool:
    """Whether the path is an interchange document and not a catalogue."""
    return path.suffix.lower() == ".json"


def catalogue_at(path: Path) -> Place:
    """The catalogue that a folder or a database file stands for; it need not exist yet.

    Raises:
        InputWrong: the path is a file of another kind.
    """
    if path.suffix.lower() in _DATABASE_ENDINGS and not path.is_dir():
        photos = "photos" if path.name == DATABASE_NAME else f"{path.stem}-photos"
        return Place(database=path, photos=path.with_name(photos))
    if path.exists() and not path.is_dir():
        raise InputWrong(
            f"{path} is neither a folder, nor a .sqlite or .db file, nor a .json document",
            "name the folder in which the catalogue is kept",
        )
    return Place(database=path / DATABASE_NAME, photos=path / "photos")


def _nearest(folder: Path) -> Path:
    """The folder, or the nearest one above it that exists."""
    return next((place for place in (folder, *folder.absolute().parents) if place.exists()), folder)


def _may_write(path: Path) -> bool:
    any_write = stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH
    return bool(path.stat().st_mode & any_write) and os.access(path, os.W_OK)
