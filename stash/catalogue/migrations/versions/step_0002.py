"""The photographs that pieces were measured from."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Photographs by the fingerprint of the file as kept, and which piece came from which."""
    op.execute("CREATE TABLE photo (sha256 TEXT NOT NULL PRIMARY KEY, taken TEXT, focal35_mm REAL) STRICT")
    op.execute("ALTER TABLE piece ADD COLUMN photo TEXT REFERENCES photo (sha256)")
    op.execute("CREATE INDEX piece_by_photo ON piece (photo)")
