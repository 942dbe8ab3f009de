"""The catalogue: changes are whole, are told in the journal, and can be taken back exactly."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from stash.catalogue.booking import book_cut
from stash.catalogue.door import open_stash
from stash.catalogue.stash import Stash
from stash.errors import Conflict, InputWrong, NotFound
from stash.fabric import Fabric, Print
from stash.photograph import KeptPhoto
from stash.piece import Piece
from tests.catalogue.sample import plan_document, stash_document

SQUARE = ((0.0, 0.0), (500.0, 0.0), (500.0, 400.0), (0.0, 400.0))
LINEN = Fabric(id="", name="Indigo linen", print=Print(kind="plain"))


def piece(piece_id: str = "", fabric: str = "") -> Piece:
    """A rectangle of 500 x 400 mm."""
    return Piece(id=piece_id, fabric=fabric, outline_mm=SQUARE)


@pytest.fixture(params=["file", "server"])
def stash(request: pytest.FixtureRequest, tmp_path: Path) -> Stash:
    """A catalogue that does not exist yet, in a file and on a server."""
    return open_stash(tmp_path / "stash" if request.param == "file" else request.getfixturevalue("address"))


def test_looking_makes_nothing(stash: Stash, tmp_path: Path) -> None:
    """A place with no catalogue reads as an empty stash, and reading leaves no file behind."""
    assert stash.pieces() == ()
    assert stash.journal() == ()
    with pytest.raises(InputWrong, match="nothing to undo"):
        stash.undo()
    assert list(tmp_path.iterdir()) == []


def test_export_import_export_is_the_same(stash: Stash, tmp_path: Path) -> None:
    """A document goes in and comes out unchanged, through two catalogues, with keys that we do not know."""
    stash.import_document(stash_document())
    first = stash.export_document()
    assert first == stash_document()
    other = open_stash(tmp_path / "other.sqlite")
    other.import_document(json.loads(json.dumps(first)))
    assert other.export_document() == first
    assert other.digest() == stash.digest()


def test_importing_the_same_again_is_no_change(stash: Stash) -> None:
    """Nothing differs, so nothing is written and undo does not see it."""
    assert stash.import_document(stash_document()) is not None
    assert stash.import_document(stash_document()) is None
    assert len(stash.journal()) == 1


def test_other_content_under_an_id_needs_replace(stash: Stash) -> None:
    """An id with other content is refused with nothing changed; with replace it is taken, and undo brings it back."""
    stash.import_document(stash_document())
    changed = stash_document()
    changed["pieces"][0]["stripe_origin_mm"] = 9
    changed["pieces"].append({**changed["pieces"][0], "id": "t2"})
    with pytest.raises(Conflict, match="'t1'"):
        stash.import_document(changed)
    assert stash.export_document() == stash_document()
    stash.import_document(changed, replace=True)
    assert stash.export_document() == changed
    stash.undo()
    assert stash.export_document() == stash_document()


def test_a_wrong_document_changes_nothing(stash: Stash, tmp_path: Path) -> None:
    """A mistake in the last piece leaves the stash as it was, and makes no catalogue where there was none."""
    wrong = stash_document()
    wrong["pieces"].append({**wrong["pieces"][0], "id": "t2", "outline_mm": [[0, 0], [1, 1]]})
    with pytest.raises(InputWrong, match=r"pieces\[1\]\.outline_mm"):
        stash.import_document(wrong)
    assert list(tmp_path.iterdir()) == []


def test_ids_are_given_where_none_is(stash: Stash) -> None:
    """A fabric takes its id from its name; pieces take the next free number of their fabric. None takes another's."""
    entry = stash.add(LINEN, [piece(), piece()])
    assert entry.fabrics_in == ("indigo-linen",)
    assert entry.pieces_in == ("indigo-linen-1", "indigo-linen-2")
    assert stash.add(LINEN, []).fabrics_in == ("indigo-linen-3",)
    assert stash.add(None, [piece(fabric="indigo-linen")]).pieces_in == ("indigo-linen-4",)


def test_an_add_that_fails_half_way_adds_nothing(stash: Stash) -> None:
    """The second piece's id is taken: neither the fabric nor the first piece stays."""
    stash.add(LINEN, [piece("p")])
    before = stash.export_document()
    with pytest.raises(Conflict):
        stash.add(Fabric(id="new", name="New", print=Print(kind="plain")), [piece("q"), piece("p")])
    with pytest.raises(InputWrong, match="no fabric"):
        stash.add(None, [piece("r", "nowhere")])
    assert stash.export_document() == before


def test_what_is_not_there_is_named_with_what_is_near(stash: Stash) -> None:
    """A misspelt id gets the nearest one offered."""
    stash.import_document(stash_document())
    with pytest.raises(NotFound, match="ticking"):
        stash.fabric("tickling")
    with pytest.raises(NotFound):
        stash.piece("zzz")


def test_undo_goes_back_step_by_step_and_says_which(stash: Stash) -> None:
    """Each undo takes back the last entry that stands, back to the empty stash, and then says that there is none."""
    stash.import_document(stash_document())
    stash.add(LINEN, [piece()])
    assert stash.undo().verb == "added"
    assert stash.export_document() == stash_document()
    assert stash.undo().verb == "imported"
    assert stash.export_document() == {"schema": "stash/1", "fabrics": [], "pieces": []}
    with pytest.raises(InputWrong, match="nothing to undo"):
        stash.undo()


def test_a_photograph_stays_with_its_piece_and_goes_with_it(stash: Stash, tmp_path: Path) -> None:
    """It is kept under the SHA-256 of its bytes (FIPS 180-4), and undoing the adding removes it."""
    stash.import_document(stash_document())
    stash.add(None, [piece("p", "ticking")], photo=KeptPhoto(jpeg=b"abc"))
    kept = stash.photo_of("p")
    assert kept is not None
    assert kept.stem == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # FIPS 180-4's example
    assert kept.read_bytes() == b"abc"
    assert stash.photo_of("t1") is None
    stash.undo()
    assert not kept.exists()


def test_booking_a_cut_and_taking_it_back(stash: Stash) -> None:
    """The piece leaves, its leftover enters with its frame and flaws, the scrap is told; undo restores it exactly."""
    stash.import_document(stash_document())
    entry = book_cut(stash, plan_document(stash))
    assert entry.pieces_out == ("t1",)
    assert entry.pieces_in == ("t1-1",)
    assert "60 x 40 mm" in entry.notes[0] or "too small" in entry.notes[0]
    old, new = stash_document()["pieces"][0], stash.export_document()["pieces"][0]
    for key in ("stripe_direction_deg", "stripe_origin_mm", "along_origin_mm", "outline_mm_u95", "flaws_mm", "shelf"):
        assert new[key] == old[key]
    assert "Ticking jacket" in stash.undo().summary
    assert stash.export_document() == stash_document()


def test_a_plan_is_booked_once(stash: Stash) -> None:
    """The second booking finds its piece gone."""
    stash.import_document(stash_document())
    plan = plan_document(stash)
    book_cut(stash, plan)
    with pytest.raises(Conflict, match="'t1'"):
        book_cut(stash, plan)


@pytest.mark.parametrize("kind", ["pieces", "fabrics"])
def test_changed_cloth_is_not_cut(stash: Stash, kind: str) -> None:
    """A piece or its fabric changed after the plan was made: refused, nothing changed."""
    stash.import_document(stash_document())
    plan = plan_document(stash)
    changed = stash_document()
    changed[kind][0]["note"] = "washed"
    stash.import_document(changed, replace=True)
    with pytest.raises(Conflict, match="changed since"):
        book_cut(stash, plan)
    assert stash.export_document() == changed


def test_other_cloth_may_change_meanwhile(stash: Stash) -> None:
    """Only the cloth that the plan uses must be as it was; without fingerprints by piece the whole stash must."""
    stash.import_document(stash_document())
    plan = plan_document(stash)
    stash.add(LINEN, [piece()])
    with pytest.raises(Conflict, match="stash has changed"):
        book_cut(stash, {key: value for key, value in plan.items() if key != "piece_digests"})
    assert book_cut(stash, plan).pieces_out == ("t1",)


@pytest.mark.parametrize(
    "changes",
    [
        {"answer": "no"},
        {"answer": "unsure"},
        {"schema": "plan/2"},
        {"placements": []},
        {"stash_digest": None, "piece_digests": None},
        {"leftovers": [{"piece": "t1", "outline_mm": [[0, 0], [2000, 0], [2000, 900], [0, 900]]}]},
        {"leftovers": [{"piece": "t1", "outline_mm": [[0, 0], [1100, 0], [1100, 900], [0, 900]]}]},
        {"leftovers": 3},
    ],
)
def test_what_is_no_plan_for_this_cloth_is_refused(stash: Stash, changes: dict[str, object]) -> None:
    """Not a yes, nothing to cut, no fingerprint, or leftovers larger than what is left: refused, nothing changed."""
    stash.import_document(stash_document())
    with pytest.raises(InputWrong):
        book_cut(stash, plan_document(stash, **changes))
    assert stash.export_document() == stash_document()


def test_a_document_is_only_read(tmp_path: Path) -> None:
    """A .json stash answers like a catalogue and refuses every change, its bytes untouched."""
    file = tmp_path / "x.json"
    file.write_text(json.dumps(stash_document()))
    before = file.read_bytes()
    stash = open_stash(file)
    assert stash.export_document() == stash_document()
    for change in (
        stash.undo,
        lambda: stash.add(LINEN, []),
        lambda: stash.import_document(stash_document()),
        lambda: book_cut(stash, plan_document(stash)),
        lambda: open_stash(file, write=True),
        lambda: stash.backup(tmp_path / "b.zip"),
    ):
        with pytest.raises(InputWrong, match="only read"):
            change()
    assert file.read_bytes() == before
    with pytest.raises(NotFound):
        open_stash(tmp_path / "missing.json")


def test_another_kind_of_file_is_no_stash(tmp_path: Path) -> None:
    """A text file is neither a folder, a database nor a document."""
    (tmp_path / "notes.txt").write_text("x")
    with pytest.raises(InputWrong, match=r"notes\.txt"):
        open_stash(tmp_path / "notes.txt")


def test_a_folder_and_its_database_are_one_stash(tmp_path: Path) -> None:
    """Naming the folder or the file in it means the same catalogue."""
    stash = open_stash(tmp_path / "stash")
    stash.import_document(stash_document())
    assert open_stash(tmp_path / "stash" / "stripewright.sqlite").digest() == stash.digest()


def test_where_nothing_is_typed_the_environment_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """$STRIPEWRIGHT_STASH names the stash."""
    monkeypatch.setenv("STRIPEWRIGHT_STASH", str(tmp_path / "there"))
    assert str(tmp_path / "there") in open_stash().where


def test_a_document_is_read_without_heavy_libraries(tmp_path: Path) -> None:
    """Reading a .json stash loads neither the database nor the image, geometry or solver libraries."""
    file = tmp_path / "x.json"
    file.write_text(json.dumps(stash_document()))
    program = (
        "import sys, stash.intake; from stash.catalogue.door import open_stash; open_stash(sys.argv[1]).pieces();"
        "heavy = {'sqlalchemy', 'alembic', 'cv2', 'numpy', 'scipy', 'skimage', 'shapely', 'ortools', 'PIL'};"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program, str(file)], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
