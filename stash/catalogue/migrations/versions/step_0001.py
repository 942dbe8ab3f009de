"""Fabrics, pieces and the journal."""

from __future__ import annotations

from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """The first tables. STRICT: a column takes its own type only."""
    op.execute(
        """
        CREATE TABLE fabric (
            id TEXT NOT NULL PRIMARY KEY,
            place INTEGER NOT NULL,
            document TEXT NOT NULL CHECK (json_extract(document, '$.id') = id)
        ) STRICT
        """
    )
    op.execute(
        """
        CREATE TABLE piece (
            id TEXT NOT NULL PRIMARY KEY,
            fabric TEXT NOT NULL REFERENCES fabric (id),
            place INTEGER NOT NULL,
            document TEXT NOT NULL CHECK (
                json_extract(document, '$.id') = id AND json_extract(document, '$.fabric') = fabric
            )
        ) STRICT
        """
    )
    op.execute("CREATE INDEX piece_by_fabric ON piece (fabric)")
    op.execute("CREATE TABLE remark (key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL) STRICT")
    op.execute(
        """
        CREATE TABLE journal (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            at TEXT NOT NULL,
            verb TEXT NOT NULL,
            summary TEXT NOT NULL,
            notes TEXT NOT NULL CHECK (json_valid(notes)),
            changes TEXT NOT NULL CHECK (json_valid(changes)),
            undone_at TEXT
        ) STRICT
        """
    )
