"""A catalogue of every released schema, full of cloth, becomes one of this version: nothing is lost, and a copy is
taken first."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, create_engine, text
from sqlalchemy.engine import make_url

from stash.catalogue import migration, server
from stash.catalogue.connection import engine_for
from stash.catalogue.door import open_stash
from stash.catalogue.photo import file_of
from stash.catalogue.schema import HEAD, STEPS
from stash.catalogue.stash import Stash
from stash.catalogue.trait import fabric_row, piece_row, stripe_rows
from stash.errors import CatalogueBlocked
from stash.photograph import KeptPhoto
from stash.piece import Piece
from stash.seeking import Sought, find
from tests.catalogue.sample import stash_document

PHOTO = KeptPhoto(jpeg=b"a picture", taken="2025:06:01 10:00:00", focal35_mm=26.0)
PLAN = "f" * 64


def cloth() -> dict[str, Any]:
    """The sample's cloth with notes, a second piece, and a key of another program."""
    document = stash_document()
    document["fabrics"][0] |= {"fibre": "Linen", "notes": '"aunt\'s" 🧵 \u05d1\u05d3', "place": "attic"}
    document["pieces"].append({**document["pieces"][0], "id": "t2", "place": "shelf", "flaws_mm": []})
    return document


def fill(connection: Connection, step: str) -> None:
    """Lays into the tables of that step what the program of then did: cloth, remarks, and a journal of two entries
    with one more taken back."""

    def put(table: str, **row: Any) -> None:
        places = ", ".join(f":{key}" for key in row)
        connection.execute(text(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({places})"), row)

    document = cloth()
    (fabric,), pieces = document["fabrics"], document["pieces"]
    photo = {} if step < "0002" else {"photo": None}
    if photo:
        put("photo", sha256=PHOTO.sha256, taken=PHOTO.taken, focal35_mm=PHOTO.focal35_mm)
    rows = {"ticking": {"id": "ticking", "place": 1, "document": json.dumps(fabric)}}
    put("fabric", **rows["ticking"])
    for place, piece in enumerate(pieces, 1):
        row = {"id": piece["id"], "fabric": "ticking", "place": place, "document": json.dumps(piece), **photo}
        if photo and piece["id"] == "t2":
            row["photo"] = PHOTO.sha256
        rows[piece["id"]] = row
        put("piece", **row)
    put("remark", key="kept_by", value=json.dumps(document["kept_by"]))
    for number, names in ((1, ("ticking", "t1")), (2, ("t2",)), (3, ())):
        changes = [
            {"table": "fabric" if name == "ticking" else "piece", "key": name, "before": None, "after": rows[name]}
            for name in names
        ]
        put(
            "journal", number=number, at=f"2025-06-0{number}T10:00:00+00:00", verb="added", summary=f"step {number}",
            notes=json.dumps(["a note"]), changes=json.dumps(changes),
            undone_at=None if names else "2025-06-04T10:00:00+00:00",
        )  # fmt: skip
    if step >= "0003":
        put("cut_part", key=f"{PLAN}/1/hem", plan=PLAN, part="hem", segment=1, how="cut")
    if step >= "0004":
        put("fabric_trait", **fabric_row(fabric))
        for stripe in stripe_rows(fabric):
            put("stripe_trait", **stripe)
        later = {"turned_deg", "round_mm", "reach"}
        for piece in pieces:
            put("piece_trait", **{key: value for key, value in piece_row(piece).items() if key not in later})


def in_file(folder: Path, step: str) -> Path:
    """A catalogue of that step in a file."""
    file = folder / "stripewright.sqlite"
    sqlite3.connect(file).execute("PRAGMA journal_mode = WAL")
    migration.upgrade(file, step)
    engine = engine_for(file, write=True)
    with engine.begin() as connection:
        fill(connection, step)
    engine.dispose()
    kept = file_of(folder / "photos", PHOTO.sha256)
    kept.parent.mkdir(parents=True, exist_ok=True)
    kept.write_bytes(PHOTO.jpeg)
    return folder


def on_server(address: str, step: str) -> str:
    """A catalogue of that step on a server."""
    engine = create_engine(make_url(address).set(drivername="postgresql+psycopg"))
    with engine.begin() as connection:
        server.picture.create(connection, checkfirst=True)
        migration.upgrade_on(connection, step)
        fill(connection, step)
        connection.execute(server.picture.insert().values(sha256=PHOTO.sha256, jpeg=PHOTO.jpeg))
        connection.execute(text("SELECT setval(pg_get_serial_sequence('journal', 'number'), 3)"))
    engine.dispose()
    return address


def schemas(address: str) -> list[str]:
    """The copies that lie in the database."""
    engine = create_engine(make_url(address).set(drivername="postgresql+psycopg"))
    with engine.begin() as connection:
        names = connection.execute(text("SELECT nspname FROM pg_namespace")).scalars().all()
    engine.dispose()
    return [name for name in names if name.startswith("before")]


def another(stash: Stash) -> Piece:
    """One more piece like the first."""
    return replace(stash.piece("t1"), id="t3")


@pytest.mark.parametrize("kind", ["file", "server"])
@pytest.mark.parametrize("step", STEPS[:-1])
def test_of_every_released_schema(step: str, kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """All cloth, remarks, photographs, told cuts and the journal are there, what is found by is drawn, the journal
    goes on with the next number, and undo goes back through what the older program wrote; looking again makes no
    second copy."""
    where: Any = in_file(tmp_path, step) if kind == "file" else on_server(request.getfixturevalue("address"), step)
    stash = open_stash(where)
    assert stash.export_document() == cloth()
    assert [(entry.number, entry.summary, entry.notes) for entry in stash.journal()] == [
        (1, "step 1", ("a note",)), (2, "step 2", ("a note",)),
    ]  # fmt: skip
    if step >= "0002":
        photo = stash.photo_of("t2")
        assert photo is not None
        assert photo.read_bytes() == PHOTO.jpeg
    assert [stage.part for stage in stash.stages(PLAN)] == (["hem"] if step >= "0003" else [])
    sought = Sought(fits="30 x 9 in", near="#a01c24", texts={"fibre": "linen"}, words=("aunt",))
    assert {row.piece.id for row in find(stash, sought)} == {"t1", "t2"}
    assert [row.piece.id for row in find(stash, Sought(texts={"place": "shelf"}))] == ["t2"]
    assert stash.add(None, [another(stash)]).number == 4
    assert [stash.undo().number for _ in range(3)] == [4, 2, 1]
    assert stash.export_document()["fabrics"] == []
    copies = list(tmp_path.glob("*.before-*")) if kind == "file" else schemas(str(where))
    assert len(copies) == 1
    assert HEAD in str(copies[0])


@pytest.mark.parametrize("step", STEPS[:-1])
def test_the_copy_is_what_was_there(step: str, tmp_path: Path, address: str) -> None:
    """The copy of a file is of the old version to the row; the copy on a server, first on the search path, is a
    catalogue of the old version too, with all cloth and its journal, from which work can go on."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
        open_stash(in_file(tmp_path, step)).contents()
        (copy,) = tmp_path.glob("*.before-*")
        assert migration.version(copy) == step
        with sqlite3.connect(copy) as database:
            found = [json.loads(row[0]) for row in database.execute("SELECT document FROM piece ORDER BY place")]
        assert found == cloth()["pieces"]
        stash = open_stash(on_server(address, step))
        stash.contents()
        (name,) = schemas(address)
        stash.add(None, [another(stash)])
        older = open_stash(f"{address}&options=-csearch_path%3D{name}%2Cpublic")
        assert older.export_document() == cloth()
        assert older.add(None, [another(older)]).number == 4
        assert [entry.number for entry in older.journal()] == [1, 2, 4]
        assert len(schemas(address)) == 2  # the copy was brought up in its turn, and copied first


def test_without_room_for_a_copy_nothing_is_changed(address: str) -> None:
    """Somebody who may change rows and make no schema is told who can bring the catalogue up; it stays as it was."""
    on_server(address, "0003")
    engine = create_engine(make_url(address).set(drivername="postgresql+psycopg"))
    database = make_url(address).database
    user = f"guest_{database}"
    with engine.begin() as connection:
        connection.execute(text(f"CREATE ROLE {user} LOGIN"))
        connection.execute(text(f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {user}"))
    try:
        guest = make_url(address).set(username=user).render_as_string(hide_password=False)
        with pytest.raises(CatalogueBlocked, match="may not make the copy") as refused:
            open_stash(guest).pieces()
        assert "owner" in refused.value.remedy
        with engine.begin() as connection:
            assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == "0003"
    finally:
        with engine.begin() as connection:
            connection.execute(text(f"DROP OWNED BY {user}"))
            connection.execute(text(f"DROP ROLE {user}"))
        engine.dispose()
    assert schemas(address) == []
