"""Cloth into the stash and out again by commands."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.conftest import Call


def test_what_is_typed_is_kept_exactly(call: Call) -> None:
    """A length typed in inches and yards is kept in millimetres exactly: 58 in is 1473.2 mm, 2 yd is 1828.8 mm."""
    assert call("add", "--width", "58 in", "--length", "2 yd", "--name", "Linen").code == 0
    listed = call("stash", "list", "--json").document
    assert [fabric["name"] for fabric in listed["fabrics"]] == ["Linen"]
    (piece,) = listed["pieces"]
    assert max(x for x, _ in piece["outline_mm"]) == 1473.2
    assert max(y for _, y in piece["outline_mm"]) == 1828.8
    assert piece.get("outline_mm_u95", 0) == 0


def test_stripes_that_are_told_are_kept(call: Call) -> None:
    """Red 3/4, white 1/4, blue 1, white 1/4 in make a repeat of 2 1/4 in = 57.15 mm, lettered A B C B."""
    told = "from the left selvage red 3/4 in, white 1/4, blue 1, white 1/4"
    added = call("add", "--width", "40 in", "--length", "60 in", "--name", "Awning", "--stripes", told, "--json")
    assert added.code == 0
    fabric_id, piece_id = added.document["added"][0]["fabrics"][0], added.document["added"][0]["pieces"][0]
    fabric = call("stash", "show", fabric_id, "--json").document
    assert fabric["print"]["across_mm"] == 57.15
    assert [stripe["label"] for stripe in fabric["print"]["stripes"]] == ["A", "B", "C", "B"]
    assert call("stash", "show", piece_id, "--json").document["stripe_direction_deg"] == 0


def test_second_length_of_striped_cloth_says_what_is_missing(filled: Call) -> None:
    """Where the stripe lies on a typed length is not known: it is kept so, and she is told what to measure."""
    added = filled("add", "--width", "50 cm", "--length", "1 m", "--fabric", "ticking", "--json")
    assert added.code == 0
    (row,) = added.document["added"]
    assert "measure from the left edge" in row["warnings"][0]
    assert filled("stash", "show", row["pieces"][0], "--json").document["stripe_direction_deg"] is None


def test_second_length_with_its_start_is_placed(filled: Call) -> None:
    """With the start of the repeat told, 12 mm from the left edge, the stripes of a typed length are placed there."""
    added = filled(
        "add", "--width", "50 cm", "--length", "1 m", "--fabric", "ticking", "--start", "12 mm", "--json"
    ).document["added"][0]
    piece = filled("stash", "show", added["pieces"][0], "--json").document
    assert (piece["stripe_direction_deg"], piece["stripe_origin_mm"]) == (0, 12)


def test_export_import_export_gives_the_same_document(filled: Call, tmp_path: Path) -> None:
    """Export, import into an empty stash, export again: the same document to the byte."""
    assert filled("stash", "export", "one.json").code == 0
    assert filled("stash", "import", "one.json", "--stash", tmp_path / "other").code == 0
    assert filled("stash", "export", "two.json", "--stash", tmp_path / "other").code == 0
    assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()


def test_import_of_the_same_again_changes_nothing(filled: Call) -> None:
    """What is there already is not put in twice, and makes no line in the journal."""
    assert "nothing was changed" in filled("stash", "import", "filled.json").out
    assert filled("undo").code == 0
    assert filled("undo").code == 2


def test_import_of_other_content_needs_replace(filled: Call, tmp_path: Path) -> None:
    """An id that is there with other content is a mistake unless --replace is said; then the new content counts."""
    document = json.loads((tmp_path / "filled.json").read_text(encoding="utf-8"))
    document["pieces"][1]["outline_mm"][1][0] = document["pieces"][1]["outline_mm"][2][0] = 1500
    (tmp_path / "other.json").write_text(json.dumps(document), encoding="utf-8")
    refused = filled("stash", "import", "other.json", "--json")
    assert refused.code == 2
    assert "--replace" in refused.document["remedy"]
    assert filled("stash", "show", "l1", "--json").document["outline_mm"][1] == [1524, 0]
    assert filled("stash", "import", "other.json", "--replace").code == 0
    assert filled("stash", "show", "l1", "--json").document["outline_mm"][1] == [1500, 0]


def test_undo_takes_back_one_entry_and_says_which(filled: Call) -> None:
    """Undo takes back the last entry only, and names what it was."""
    filled("add", "--width", "1 m", "--length", "1 m", "--name", "Voile")
    taken = filled("undo")
    assert taken.code == 0
    assert "voile" in taken.out
    assert [fabric["id"] for fabric in filled("stash", "list", "--json").document["fabrics"]] == ["ticking", "linen"]


def test_backup_and_restore_bring_all_back(filled: Call, tmp_path: Path) -> None:
    """A backup restored into another place gives the same stash, journal included."""
    assert filled("stash", "backup", "all.backup").code == 0
    assert filled("stash", "restore", "all.backup", "--stash", tmp_path / "other").code == 0
    here, there = filled("stash", "list", "--json"), filled("stash", "list", "--json", "--stash", tmp_path / "other")
    assert here.document == there.document
    assert filled("undo", "--stash", tmp_path / "other").code == 0


def test_document_as_stash_is_read_and_not_changed(filled: Call, tmp_path: Path) -> None:
    """A .json stash lists like a catalogue; add, cut and undo on it are status 2 and leave its bytes alone."""
    file = tmp_path / "filled.json"
    before = file.read_bytes()
    assert [row["id"] for row in filled("stash", "list", "--json", "--stash", file).document["pieces"]] == ["t1", "l1"]
    size = ("--width", "1 m", "--length", "1 m", "--name", "Voile")
    for words in (("undo",), ("cut", "plan.json"), ("add", *size), ("stash", "import", file)):
        refused = filled(*words, "--stash", file, "--json")
        assert refused.code == 2
        assert refused.document["schema"] == "error/1"
    assert file.read_bytes() == before


def test_where_it_is_kept(call: Call, tmp_path: Path) -> None:
    """--stash goes before $STRIPEWRIGHT_STASH; a place with nothing yet is an empty stash, and reading makes none."""
    assert call("stash", "list", "--json").document == {"schema": "stash/1", "fabrics": [], "pieces": []}
    assert not (tmp_path / "stash").exists()
    call("add", "--width", "1 m", "--length", "1 m", "--name", "Voile", "--stash", tmp_path / "named")
    assert not (tmp_path / "stash").exists()
    assert len(call("stash", "list", "--json", "--stash", tmp_path / "named").document["pieces"]) == 1


def test_a_fabric_and_a_piece_never_share_an_id(call: Call, tmp_path: Path) -> None:
    """Fabrics of one name, or of a piece's id: what shows or notes by an id knows which is meant."""
    for name in ("Deck", "Deck", "Deck 1"):
        assert call("add", "--name", name, "--width", "1 yd", "--length", "1 yd").code == 0
    (tmp_path / "t.csv").write_text("name,width,length\nDeck 1 1,1 yd,1 yd\nOther,1 yd,1 yd\n", encoding="utf-8")
    assert call("stash", "import", "t.csv").code == 0
    assert call("add", "--fabric", "deck", "--width", "1 yd", "--length", "1 yd").code == 0
    held = call("stash", "list", "--json").document
    ids = [row["id"] for row in (*held["fabrics"], *held["pieces"])]
    assert len(ids) == 11
    assert len(set(ids)) == len(ids)
