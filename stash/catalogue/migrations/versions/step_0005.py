"""How much of a rectangle a piece can hold at most, so that finding passes over most of those that hold it not."""

from __future__ import annotations

import json

from alembic import op
from sqlalchemy import text

from stash.catalogue.trait import piece_row

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """The traits of pieces are drawn anew, as all of them can be."""
    op.execute("DROP TABLE piece_trait")
    op.execute(
        """
        CREATE TABLE piece_trait (
            piece TEXT NOT NULL PRIMARY KEY,
            fabric TEXT NOT NULL,
            area_mm2 REAL NOT NULL,
            turned_deg REAL NOT NULL,
            along_mm REAL NOT NULL,
            across_mm REAL NOT NULL,
            narrow_mm REAL NOT NULL,
            wide_mm REAL NOT NULL,
            round_mm REAL NOT NULL,
            reach TEXT NOT NULL,
            place TEXT NOT NULL,
            words TEXT NOT NULL
        ) STRICT
        """
    )
    op.execute("CREATE INDEX piece_trait_by_fabric ON piece_trait (fabric)")
    op.execute("CREATE INDEX piece_trait_by_area ON piece_trait (area_mm2)")
    bound = op.get_bind()
    rows = [piece_row(json.loads(row[0])) for row in bound.execute(text("SELECT document FROM piece"))]
    if rows:
        columns = list(rows[0])
        places = ", ".join(f":{column}" for column in columns)
        bound.execute(text(f"INSERT INTO piece_trait ({', '.join(columns)}) VALUES ({places})"), rows)
