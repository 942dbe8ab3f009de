"""What cloth is found by: its sizes, colours, stripes and words, drawn from the documents."""

from __future__ import annotations

import json

from alembic import op
from sqlalchemy import text

from stash.catalogue.trait import fabric_row, piece_row, stripe_rows

revision = "0004"
down_revision = "0003"
#: What is drawn for columns that later steps add.
_LATER = frozenset({"turned_deg", "round_mm", "reach"})


def upgrade() -> None:
    """Traits of every fabric, stripe and piece, and those of what is kept already."""
    op.execute(
        """
        CREATE TABLE fabric_trait (
            fabric TEXT NOT NULL PRIMARY KEY,
            name TEXT NOT NULL,
            kind TEXT NOT NULL,
            fibre TEXT NOT NULL,
            weave TEXT NOT NULL,
            care TEXT NOT NULL,
            place TEXT NOT NULL,
            weight_gsm REAL,
            words TEXT NOT NULL
        ) STRICT
        """
    )
    op.execute(
        """
        CREATE TABLE stripe_trait (
            key TEXT NOT NULL PRIMARY KEY,
            fabric TEXT NOT NULL,
            label TEXT NOT NULL,
            width_mm REAL,
            lightness REAL,
            a REAL,
            b REAL
        ) STRICT
        """
    )
    op.execute(
        """
        CREATE TABLE piece_trait (
            piece TEXT NOT NULL PRIMARY KEY,
            fabric TEXT NOT NULL,
            area_mm2 REAL NOT NULL,
            along_mm REAL,
            across_mm REAL,
            narrow_mm REAL NOT NULL,
            wide_mm REAL NOT NULL,
            place TEXT NOT NULL,
            words TEXT NOT NULL
        ) STRICT
        """
    )
    op.execute("CREATE INDEX stripe_trait_by_fabric ON stripe_trait (fabric)")
    op.execute("CREATE INDEX stripe_trait_by_lightness ON stripe_trait (lightness)")
    op.execute("CREATE INDEX piece_trait_by_fabric ON piece_trait (fabric)")
    op.execute("CREATE INDEX piece_trait_by_area ON piece_trait (area_mm2)")
    _draw()


def _draw() -> None:
    bound = op.get_bind()
    fabrics = [json.loads(row[0]) for row in bound.execute(text("SELECT document FROM fabric"))]
    pieces = [json.loads(row[0]) for row in bound.execute(text("SELECT document FROM piece"))]
    rows = {
        "fabric_trait": [fabric_row(fabric) for fabric in fabrics],
        "stripe_trait": [row for fabric in fabrics for row in stripe_rows(fabric)],
        "piece_trait": [piece_row(piece) for piece in pieces],
    }
    for table, values in rows.items():
        if values:
            columns = [column for column in values[0] if column not in _LATER]
            places = ", ".join(f":{column}" for column in columns)
            bound.execute(text(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})"), values)
