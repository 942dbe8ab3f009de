"""The catalogue's tables as queries see them. The migrations make them; a test holds the two together."""

from __future__ import annotations

from sqlalchemy import Column, Float, ForeignKey, Integer, MetaData, Table, Text

#: The newest step of the migrations. Reading it here spares every start the import of the migration tool.
HEAD = "0005"
#: All steps, oldest first: a version that is not among them is a newer one.
STEPS = ("0001", "0002", "0003", "0004", HEAD)

metadata = MetaData()

#: ``document`` is the entry of the interchange document; ``place`` is the order in which things came in.
fabric = Table(
    "fabric",
    metadata,
    Column("id", Text, primary_key=True),
    Column("place", Integer, nullable=False),
    Column("document", Text, nullable=False),
)

piece = Table(
    "piece",
    metadata,
    Column("id", Text, primary_key=True),
    Column("fabric", Text, ForeignKey("fabric.id"), nullable=False),
    Column("place", Integer, nullable=False),
    Column("document", Text, nullable=False),
    Column("photo", Text, ForeignKey("photo.sha256")),
)

#: Keys of the interchange document itself that we do not know.
remark = Table(
    "remark",
    metadata,
    Column("key", Text, primary_key=True),
    Column("value", Text, nullable=False),
)

#: The photographs kept, by the SHA-256 of the file as kept.
photo = Table(
    "photo",
    metadata,
    Column("sha256", Text, primary_key=True),
    Column("taken", Text),
    Column("focal35_mm", Float),
)

#: What was told of single cuts of a plan, by the plan's fingerprint: ``how`` is cut, spoiled or short.
cut_part = Table(
    "cut_part",
    metadata,
    Column("key", Text, primary_key=True),
    Column("plan", Text, nullable=False),
    Column("part", Text, nullable=False),
    Column("segment", Integer, nullable=False),
    Column("how", Text, nullable=False),
)

#: What cloth is found by (see ``trait``). It follows the fabrics and pieces and is no part of the journal.
fabric_trait = Table(
    "fabric_trait",
    metadata,
    Column("fabric", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("fibre", Text, nullable=False),
    Column("weave", Text, nullable=False),
    Column("care", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("weight_gsm", Float),
    Column("words", Text, nullable=False),
)
stripe_trait = Table(
    "stripe_trait",
    metadata,
    Column("key", Text, primary_key=True),
    Column("fabric", Text, nullable=False),
    Column("label", Text, nullable=False),
    Column("width_mm", Float),
    Column("lightness", Float),
    Column("a", Float),
    Column("b", Float),
)
piece_trait = Table(
    "piece_trait",
    metadata,
    Column("piece", Text, primary_key=True),
    Column("fabric", Text, nullable=False),
    Column("area_mm2", Float, nullable=False),
    Column("turned_deg", Float, nullable=False),
    Column("along_mm", Float, nullable=False),
    Column("across_mm", Float, nullable=False),
    Column("narrow_mm", Float, nullable=False),
    Column("wide_mm", Float, nullable=False),
    Column("round_mm", Float, nullable=False),
    Column("reach", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("words", Text, nullable=False),
)

#: One row for every change. ``changes`` holds each row touched, before and after.
journal = Table(
    "journal",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("verb", Text, nullable=False),
    Column("summary", Text, nullable=False),
    Column("notes", Text, nullable=False),
    Column("changes", Text, nullable=False),
    Column("undone_at", Text),
)

#: The tables whose rows the journal can take back, by name.
KEPT = {table.name: table for table in (fabric, piece, remark, photo, cut_part)}
