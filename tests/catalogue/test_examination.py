"""What is not sound is told in a sentence, the rest still works, and what can be mended is."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import text

from stash.catalogue import connection as connections
from stash.catalogue.door import open_stash
from stash.catalogue.examination import examine, mend
from stash.catalogue.keeper import FileKeeper
from stash.catalogue.store import Catalogue
from stash.catalogue.trait import Query
from stash.cli.main import status
from stash.errors import CatalogueBlocked
from stash.photograph import KeptPhoto
from stash.piece import Piece
from tests.catalogue.sample import stash_document

OUTLINE = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A catalogue with a photograph and so many pieces that their table takes many pages."""
    stash = open_stash(tmp_path / "s")
    stash.import_document(stash_document())
    stash.add(None, [Piece(id="p", fabric="ticking", outline_mm=OUTLINE)], photo=KeptPhoto(jpeg=b"j"))
    for number in range(4):
        pieces = [Piece(id=f"n{number}-{row}", fabric="ticking", outline_mm=OUTLINE) for row in range(40)]
        stash.add(None, pieces)
    return tmp_path / "s" / "stripewright.sqlite"


def spoil(place: Path, table: str) -> None:
    """Writes garbage over one page in the middle of a table, as a failing disk does."""
    with sqlite3.connect(place) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = database.execute("PRAGMA page_size").fetchone()[0]
        query = "SELECT pageno FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY pageno"
        try:
            pages = [row[0] for row in database.execute(query, [table])]
        except sqlite3.OperationalError:
            pages = []
    database.close()
    if not pages:
        pytest.skip("this SQLite does not tell which page is whose (dbstat)")
    page = pages[len(pages) // 2]
    with place.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xa5" * size)


def test_a_sound_catalogue_is_sound(place: Path) -> None:
    """Nothing is found where nothing is wrong, nor where there is no catalogue, and looking changes nothing."""
    before = open_stash(place).journal()
    assert examine(place) == ()
    assert examine(place.parent / "nowhere") == ()
    assert mend(place).entry is None
    assert open_stash(place).journal() == before


def test_what_a_damaged_file_holds_is_brought_out(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A page of the pieces is garbage: it is told; mending brings all cloth back (the journal knows what the page
    held), the journal too, and keeps the damaged file to the byte."""
    before = open_stash(place)
    document, journal = before.export_document(), before.journal()
    spoil(place, "piece")
    damaged = place.read_bytes()
    assert status(["stash", "check", "--stash", str(place), "--json"]) == 1
    assert "damaged" in json.loads(capsys.readouterr().out)["faults"][0]["problem"]
    assert status(["stash", "check", "--mend", "--stash", str(place), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert "162 pieces" in told["mended"][0]
    stash = open_stash(place)
    assert {row["id"]: row for row in stash.export_document()["pieces"]} == {
        row["id"]: row for row in document["pieces"]
    }
    assert stash.journal() == journal
    assert stash.photo_of("p") is not None
    (aside,) = [file for file in place.parent.glob("*.damaged-*") if not file.name.endswith(("-wal", "-shm"))]
    assert aside.read_bytes() == damaged
    found = [row.piece.id for row in stash.found(Query(area_mm2=900_000))]
    assert found == ["t1"]
    assert stash.undo().number == journal[-1].number


def test_a_damaged_journal_leaves_the_cloth(place: Path) -> None:
    """A page of the journal is garbage: after mending every piece is there, and what can be read of the journal."""
    document = open_stash(place).export_document()
    spoil(place, "journal")
    mended = mend(place)
    assert mended.left == ()
    assert mended.salvaged is not None
    assert open_stash(place).export_document() == document


def test_nothing_left_to_read(place: Path) -> None:
    """Where the whole file is garbage, mending says so, names the backup and leaves it as it is."""
    place.write_bytes(b"\xa5" * 40_000)
    with pytest.raises(CatalogueBlocked, match="backup"):
        mend(place)
    assert place.read_bytes() == b"\xa5" * 40_000


def test_a_photograph_that_is_gone(place: Path) -> None:
    """The piece is listed and shown all the same; mending lets go of the photograph, and undo has the row back."""
    stash = open_stash(place)
    photo = stash.photo_of("p")
    assert photo is not None
    photo.unlink()
    assert stash.piece("p").id == "p"
    (fault,) = examine(place)
    assert "missing" in fault.problem
    stash.backup(place.parent / "b.zip")
    assert mend(place).left == ()
    assert stash.photo_of("p") is None
    stash.undo()
    assert len(examine(place)) == 1


def test_a_photograph_that_is_another(place: Path) -> None:
    """A file with other bytes than its fingerprint says (SHA-256) is found."""
    photo = open_stash(place).photo_of("p")
    assert photo is not None
    photo.write_bytes(b"k")
    assert ["not the one" in fault.problem for fault in examine(place)] == [True]


@pytest.mark.parametrize("kind", ["file", "server"])
def test_a_row_that_cannot_be_read(kind: str, place: Path, request: pytest.FixtureRequest) -> None:
    """A row changed by another program so that it cannot be read: mending puts back what the journal knew of it."""
    where = str(place) if kind == "file" else request.getfixturevalue("address")
    stash = open_stash(where)
    if kind == "server":
        stash.import_document(stash_document())
    document = stash.export_document()
    broken = json.dumps({**document["pieces"][0], "outline_mm": "torn"})
    assert isinstance(stash, Catalogue)
    with stash.keeper.changing() as connection:
        connection.execute(text("UPDATE piece SET document = :broken WHERE id = 't1'"), {"broken": broken})
    (fault,) = examine(where)
    assert "'t1'" in fault.problem
    assert mend(where).left == ()
    assert stash.export_document() == document


def test_a_full_disk(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite finds no room for one more page (SQLITE_FULL): a sentence, nothing changed, reading goes on."""
    stash = open_stash(place)
    document = stash.export_document()
    plain = connections.connect

    def tight(database: Path, *, write: bool) -> sqlite3.Connection:
        connection = plain(database, write=write)
        connection.execute("PRAGMA max_page_count = 1")  # SQLite takes the number of pages there are as the least
        return connection

    monkeypatch.setattr(connections, "connect", tight)
    pieces = [Piece(id="", fabric="ticking", outline_mm=OUTLINE) for _ in range(500)]
    with pytest.raises(CatalogueBlocked, match="full"):
        stash.add(None, pieces)
    assert stash.export_document() == document
    monkeypatch.undo()
    assert len(stash.add(None, pieces).pieces_in) == 500


def test_reading_needs_no_room(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With nothing free, the stash is read without the index of the log, for which there would be no room."""
    document = open_stash(place).export_document()
    opened = []
    plain = sqlite3.connect

    def told(address: object, **options: object) -> sqlite3.Connection:
        opened.append(str(address))
        return plain(address, **options)

    monkeypatch.setattr(connections, "_free", lambda database: 0)
    monkeypatch.setattr("stash.catalogue.connection.sqlite3.connect", told)
    assert open_stash(place).export_document() == document
    assert opened
    assert all("immutable=1" in address for address in opened)


def test_an_export_that_finds_no_room_leaves_the_one_before(
    place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file that cannot be written whole (ENOSPC) stays what it was, and nothing lies beside it."""
    import errno
    import os

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "e.json").write_text("before")
    monkeypatch.setattr("stash.catalogue.photo.os.fsync", full)
    assert status(["stash", "export", str(folder / "e.json"), "--stash", str(place)]) == 2
    assert "No space left" in capsys.readouterr().err
    assert [file.read_text() for file in folder.iterdir()] == ["before"]


def test_half_a_pair_of_surrogates_is_exported(tmp_path: Path) -> None:
    """Text that UTF-8 cannot hold (RFC 3629, section 3) goes out as JSON's escape, and the document is the same."""
    document = stash_document()
    document["pieces"][0]["notes"] = "\ud800 \u05d1 🧵"
    open_stash(tmp_path / "s").import_document(document)
    assert status(["stash", "export", str(tmp_path / "e.json"), "--stash", str(tmp_path / "s")]) == 0
    assert json.loads((tmp_path / "e.json").read_text(encoding="utf-8")) == document


def test_no_room_for_a_photograph(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk takes the row but not the photograph (ENOSPC): neither is kept, and no piece of a file stays behind."""
    import errno
    import os

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    stash = open_stash(place)
    assert isinstance(stash, Catalogue)
    assert isinstance(stash.keeper, FileKeeper)
    document, files = stash.export_document(), sorted(stash.keeper.place.photos.iterdir())
    monkeypatch.setattr("stash.catalogue.photo.os.fsync", full)
    with pytest.raises(CatalogueBlocked, match="No space left"):
        stash.add(None, [Piece(id="x", fabric="ticking", outline_mm=OUTLINE)], photo=KeptPhoto(jpeg=b"new"))
    assert stash.export_document() == document
    assert sorted(stash.keeper.place.photos.iterdir()) == files


def test_undo_in_a_crowd_keeps_a_photograph_that_is_wanted_again(place: Path) -> None:
    """Undo lets go of a photograph; one that another piece has by then stays."""
    stash = open_stash(place)
    stash.add(None, [Piece(id="one", fabric="ticking", outline_mm=OUTLINE)], photo=KeptPhoto(jpeg=b"same"))
    assert isinstance(stash, Catalogue)
    sha256 = KeptPhoto(jpeg=b"same").sha256
    stash.undo()
    stash.add(None, [Piece(id="two", fabric="ticking", outline_mm=OUTLINE)], photo=KeptPhoto(jpeg=b"same"))
    stash._let_go({sha256})
    assert examine(place) == ()
