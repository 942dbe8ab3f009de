"""A copy of a catalogue on a server, taken in the same transaction that brings it up to a new version.

The copy lies in the same database, in a schema of its own that says for which version and when it was made. All tables
of the catalogue are in it but the photographs' bytes, which no migration touches and which may be large. Whoever wants
it back names it first on the search path: ``ALTER DATABASE studio SET search_path = before_0005_…, public``.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

from sqlalchemy import Connection, text

from stash.catalogue.schema import HEAD, metadata
from stash.errors import CatalogueBlocked

#: The table in which the migrations keep what step they have reached.
VERSION_TABLE: Final = "alembic_version"


def set_aside(connection: Connection, found: str, where: str) -> str:
    """Copies the catalogue of the version ``found`` and returns the name of the copy's schema; inside a change.

    Raises CatalogueBlocked where this user may make no schema; nothing is changed then.
    """
    if not connection.execute(text("SELECT has_database_privilege(current_database(), 'CREATE')")).scalar_one():
        raise CatalogueBlocked(
            f"the catalogue {where} is of version {found}, and this user may not make the copy that is taken before it "
            f"is brought up to {HEAD}",
            "let the owner of the database list the stash once with this version; nothing was changed",
        )
    name = f"before_{HEAD}_{datetime.now(UTC):%Y%m%d_%H%M%S_%f}"
    connection.execute(text(f"CREATE SCHEMA {name}"))
    here = connection.execute(text("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"))
    ours = {VERSION_TABLE, *metadata.tables}
    for table in sorted(ours.intersection(here.scalars())):
        connection.execute(text(f"CREATE TABLE {name}.{table} (LIKE {table} INCLUDING ALL)"))
        connection.execute(text(f"INSERT INTO {name}.{table} SELECT * FROM {table}"))
    numbers = f"pg_get_serial_sequence('{name}.journal', 'number')"
    last = f"(SELECT coalesce(max(number), 0) + 1 FROM {name}.journal)"
    connection.execute(text(f"SELECT setval({numbers}, {last}, false)"))
    return name
