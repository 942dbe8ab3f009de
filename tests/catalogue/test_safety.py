"""Nothing is lost: locked, read-only, newer, damaged or killed in the middle."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory

from stash.catalogue import connection, migration, schema
from stash.catalogue.door import open_stash
from stash.errors import CatalogueBlocked, Conflict, InputWrong, NotFound, StashError
from stash.fabric import Fabric, Print
from stash.photograph import KeptPhoto
from stash.piece import Piece
from tests.catalogue.sample import stash_document

ADDER = """
import sys
from stash.catalogue.door import open_stash
from stash.piece import Piece
stash = open_stash(sys.argv[1])
for i in range(int(sys.argv[2])):
    entry = stash.add(None, [Piece(id="", fabric="ticking", outline_mm=((0, 0), (9, 0), (9, 9)))])
    print(entry.pieces_in[0], flush=True)
"""


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """The database of a catalogue that holds the sample document."""
    open_stash(tmp_path / "s").import_document(stash_document())
    return tmp_path / "s" / "stripewright.sqlite"


def adder(place: Path, count: int) -> subprocess.Popen[str]:
    """Another program that adds pieces one by one and tells each once it is kept."""
    command = [sys.executable, "-c", ADDER, str(place), str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def test_two_programs_add_at_once(place: Path) -> None:
    """Two programs add 50 pieces each: all 100 are there, each under its own id, each with its line in the journal."""
    told = [line for one in [adder(place, 50), adder(place, 50)] for line in one.communicate(timeout=120)[0].split()]
    stash = open_stash(place)
    assert len(told) == len(set(told)) == 100
    assert {piece.id for piece in stash.pieces()} == {"t1", *told}
    assert len(stash.journal()) == 101


def test_two_programs_make_the_catalogue_at_once(tmp_path: Path) -> None:
    """Both begin with nothing there; neither loses what the other brought."""
    program = (
        "import sys; from stash.catalogue.door import open_stash; from stash.fabric import Fabric, Print;"
        "open_stash(sys.argv[1]).add(Fabric(id=sys.argv[2], name='x', print=Print(kind='plain')), [])"
    )
    both = [
        subprocess.Popen([sys.executable, "-c", program, str(tmp_path / "s"), name]) for name in ("first", "second")
    ]
    assert [one.wait(timeout=60) for one in both] == [0, 0]
    assert {fabric.id for fabric in open_stash(tmp_path / "s").fabrics()} == {"first", "second"}


def test_a_killed_program_loses_nothing_that_it_told(place: Path) -> None:
    """Killed without warning (SIGKILL) five times: every piece it told is there, at most one more, and all is sound."""
    for _ in range(5):
        before = {piece.id for piece in open_stash(place).pieces()}
        program = adder(place, 1000)
        assert program.stdout is not None
        told = [program.stdout.readline().strip() for _ in range(5)]
        time.sleep(0.013)
        program.send_signal(signal.SIGKILL)
        told += program.communicate(timeout=30)[0].split("\n")[:-1]
        after = {piece.id for piece in open_stash(place).pieces()} - before
        assert set(told) <= after
        assert len(after) - len(told) <= 1
    with sqlite3.connect(place) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_locked_catalogue_is_read_but_not_changed(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While another program holds the write lock, reading works and a change says so and what to do."""
    monkeypatch.setattr(connection, "BUSY_S", 0.2)
    holder = sqlite3.connect(place, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    stash = open_stash(place)
    assert len(stash.pieces()) == 1
    with pytest.raises(CatalogueBlocked, match="locked"):
        stash.undo()
    holder.close()
    assert stash.export_document() == stash_document()


@pytest.mark.parametrize("what", ["file", "folder"])
def test_a_read_only_catalogue_is_read_but_not_changed(place: Path, what: str) -> None:
    """With the right to write taken from file or folder, reading works and every change is refused."""
    target = place if what == "file" else place.parent
    mode = target.stat().st_mode
    target.chmod(0o444 if what == "file" else 0o555)
    try:
        stash = open_stash(place)
        assert stash.export_document() == stash_document()
        with pytest.raises(CatalogueBlocked, match="only be read"):
            stash.undo()
        with pytest.raises(CatalogueBlocked, match="only be read"):
            open_stash(place, write=True)
    finally:
        target.chmod(mode)
    assert open_stash(place).export_document() == stash_document()


@pytest.mark.parametrize("content", [b"", b"hello", b"SQLite format 3\x00" + b"\x55" * 5000])
def test_what_is_no_catalogue_is_left_alone(tmp_path: Path, content: bytes) -> None:
    """An empty, foreign or damaged file is refused with a remedy, reading or changing, and not a byte is changed."""
    file = tmp_path / "x.sqlite"
    file.write_bytes(content)
    with pytest.raises(CatalogueBlocked) as caught:
        open_stash(file)
    assert caught.value.remedy
    assert file.read_bytes() == content


def test_a_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    """A sound database without our tables is refused."""
    with sqlite3.connect(tmp_path / "x.db") as database:
        database.execute("CREATE TABLE recipe (name)")
    with pytest.raises(CatalogueBlocked, match="another program"):
        open_stash(tmp_path / "x.db", write=True)


def test_a_damaged_page_is_told(place: Path) -> None:
    """Garbage written over the middle of the file is told as damage, not as a traceback."""
    content = bytearray(place.read_bytes())
    content[4096:] = b"\xa5" * (len(content) - 4096)
    place.write_bytes(content)
    with pytest.raises(CatalogueBlocked, match="damaged"):
        open_stash(place).pieces()


def test_a_newer_catalogue_is_left_alone(place: Path) -> None:
    """A version that we do not know is refused, and stays."""
    with sqlite3.connect(place) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(CatalogueBlocked, match="newer"):
        open_stash(place)


def test_an_older_catalogue_is_copied_and_brought_up(tmp_path: Path) -> None:
    """A catalogue of the first version becomes one of this version with all its cloth; a copy of it stays beside it."""
    file = tmp_path / "stripewright.sqlite"
    sqlite3.connect(file).execute("PRAGMA journal_mode = WAL")
    migration.upgrade(file, "0001")
    document = stash_document()
    with sqlite3.connect(file) as database:
        database.execute("INSERT INTO fabric VALUES ('ticking', 1, ?)", [json.dumps(document["fabrics"][0])])
        database.execute("INSERT INTO piece VALUES ('t1', 'ticking', 1, ?)", [json.dumps(document["pieces"][0])])
    stash = open_stash(tmp_path)
    assert stash.export_document()["pieces"] == document["pieces"]
    assert migration.version(file) == schema.HEAD
    (copy,) = tmp_path.glob("stripewright.sqlite.before-*")
    assert migration.version(copy) == "0001"


def test_the_steps_named_are_the_steps_there_are() -> None:
    """The version known without the migration tool is the one that the migration tool finds."""
    config = Config()
    config.set_main_option("script_location", str(Path(migration.__file__).with_name("migrations")))
    script = ScriptDirectory.from_config(config)
    assert tuple(step.revision for step in reversed(list(script.walk_revisions()))) == schema.STEPS


def test_the_tables_are_those_that_queries_see(place: Path) -> None:
    """Every table is STRICT and has the columns that the queries name (SQLite: PRAGMA table_list, table_info)."""
    with sqlite3.connect(place) as database:
        strict = {row[1]: row[5] for row in database.execute("PRAGMA table_list")}
        assert database.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        for table in schema.metadata.sorted_tables:
            columns = {row[1] for row in database.execute(f"PRAGMA table_info({table.name})")}
            assert columns == {column.name for column in table.columns}
            assert strict[table.name] == 1


def test_a_backup_restores_everything(place: Path, tmp_path: Path) -> None:
    """Another folder gets the same document, photographs and journal, so that undo goes on there."""
    stash = open_stash(place)
    stash.add(None, [Piece(id="p", fabric="ticking", outline_mm=((0, 0), (9, 0), (9, 9)))], photo=KeptPhoto(jpeg=b"j"))
    stash.backup(tmp_path / "b.zip")
    other = open_stash(tmp_path / "other")
    other.restore(tmp_path / "b.zip")
    assert other.export_document() == stash.export_document()
    photo = other.photo_of("p")
    assert photo is not None
    assert photo.read_bytes() == b"j"
    assert other.undo().summary == stash.journal()[-1].summary


def test_restoring_over_cloth_needs_replace_and_keeps_a_copy(place: Path, tmp_path: Path) -> None:
    """Refused over what is there; with replace it is done, and what was there lies beside it."""
    stash = open_stash(place)
    stash.backup(tmp_path / "b.zip")
    stash.add(Fabric(id="new", name="New", print=Print(kind="plain")), [])
    with pytest.raises(Conflict):
        stash.restore(tmp_path / "b.zip")
    assert len(stash.fabrics()) == 2
    stash.restore(tmp_path / "b.zip", replace=True)
    assert stash.export_document() == stash_document()
    (aside,) = place.parent.glob("*.before-restore-*")
    os.rename(aside, tmp_path / "aside.sqlite")
    assert len(open_stash(tmp_path / "aside.sqlite").fabrics()) == 2


def test_a_wrong_backup_changes_nothing(place: Path, tmp_path: Path) -> None:
    """A missing, foreign or cut-short file is refused, and no other file is written over by a backup."""
    stash = open_stash(place)
    stash.backup(tmp_path / "b.zip")
    whole = (tmp_path / "b.zip").read_bytes()
    (tmp_path / "b.zip").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "letter.txt").write_text("dear aunt")
    for name in ("b.zip", "letter.txt", "missing.zip"):
        with pytest.raises((InputWrong, NotFound)):
            stash.restore(tmp_path / name, replace=True)
    with pytest.raises(StashError):
        stash.backup(tmp_path / "letter.txt")
    assert (tmp_path / "letter.txt").read_text() == "dear aunt"
    assert stash.export_document() == stash_document()
