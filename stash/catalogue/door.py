"""Opens a stash, whichever way it is kept."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from stash.catalogue.place import catalogue_at, is_document, named, server_in
from stash.catalogue.stash import Stash
from stash.errors import InputWrong

if TYPE_CHECKING:
    from stash.catalogue.keeper import Keeper


def open_stash(where: str | os.PathLike[str] | None = None, *, write: bool = False) -> Stash:
    """The stash at ``where``, else at ``$STRIPEWRIGHT_STASH``, else in the platform's folder for user data.

    A place with no catalogue yet is an empty stash; the first change makes the catalogue, reading does not. An address
    ``postgresql://…`` is a catalogue on a server that several may change at once.

    Raises:
        InputWrong: the path is of another kind; ``write`` is asked of a ``.json`` document; the document is wrong.
        NotFound: there is no such document.
        CatalogueBlocked: the catalogue cannot be read, or with ``write`` may not be written.
    """
    if server_in(where) is None and is_document(path := named(where)):
        from stash.catalogue.document import open_document

        if write:
            raise _only_read(path)
        return open_document(path)
    from stash.catalogue.connection import read_only
    from stash.catalogue.keeper import FileKeeper
    from stash.catalogue.migration import prepare
    from stash.catalogue.store import Catalogue

    keeper = keeper_at(where)
    if isinstance(keeper, FileKeeper):
        if keeper.exists:
            prepare(keeper.place)
        if write and not keeper.place.writable:
            raise read_only(keeper.place.database)
    return Catalogue(keeper)


def keeper_at(where: str | os.PathLike[str] | None) -> Keeper:
    """Where the catalogue meant is kept, looked at no further. Raises InputWrong where it is no catalogue."""
    server = server_in(where)
    if server is not None:
        from stash.catalogue.server import ServerKeeper

        return ServerKeeper(server)
    from stash.catalogue.keeper import FileKeeper

    path = named(where)
    if is_document(path):
        raise _only_read(path)
    return FileKeeper(catalogue_at(path))


def _only_read(path: Path) -> InputWrong:
    return InputWrong(
        f"{path} is a document that is only read",
        "bring it into a catalogue with: stash import FILE, and name that catalogue with --stash",
    )
