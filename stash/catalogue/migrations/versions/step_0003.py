"""What was told of single cuts of a plan."""

from __future__ import annotations

from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """One row for each cut that was told, by the fingerprint of its plan."""
    op.execute(
        """
        CREATE TABLE cut_part (
            key TEXT NOT NULL PRIMARY KEY,
            plan TEXT NOT NULL,
            part TEXT NOT NULL,
            segment INTEGER NOT NULL,
            how TEXT NOT NULL CHECK (how IN ('cut', 'spoiled', 'short'))
        ) STRICT
        """
    )
    op.execute("CREATE INDEX cut_part_by_plan ON cut_part (plan)")
