"""Tables of cloth that were kept as CSV."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Call

TABLE = (
    "Fabric;Width (in);Yards;Fiber content;Weight;Shelf;Comments;Bought\n"
    'Blue ticking;45;1 1/2;cotton;6 oz;3b;"said ""strong""\nand blue";May\n'
    "Blue ticking;45 in;0,5;;;4;;\n"
    'קנבס 👩‍🌾;60"";abc;;;;;\n'
    ";;;;;;;\n"
    "Linen;1.5 m;2;linen;185;;;\n"
)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A table with semicolons, units in the heads, quotes, a line break in a cell, and a row that cannot be read."""
    (tmp_path / "cloth.csv").write_text("\ufeff" + TABLE.replace('60""', "60"), encoding="utf-8")
    return tmp_path / "cloth.csv"


def test_a_dry_run_tells_every_row_and_changes_nothing(call: Call, table: Path) -> None:
    """Each row's line and fate are told, the lengths that cannot be read with why; no catalogue is made."""
    looked = call("stash", "import", table, "--dry-run", "--json")
    assert looked.code == 0
    fates = [(row["line"], row["fate"]) for row in looked.document["rows"]]
    assert fates == [(2, "new"), (4, "more"), (5, "left out"), (7, "new")]
    assert "abc" in looked.document["rows"][2]["told"]
    assert not (table.parent / "stash").exists()
    assert "line 5: left out" in call("stash", "import", table, "--dry-run").out


def test_rows_become_pieces(call: Call, table: Path) -> None:
    """45 in by 1 1/2 yd is 1143 by 1371.6 mm (the inch 25.4 mm, the yard 914.4 mm); rows of one name are one fabric;
    what is in an unknown column stands in the notes; brought in again, nothing is added; undo takes all of it back."""
    assert call("stash", "import", table, "--json").document["pieces_in"] == [
        "blue-ticking-1", "blue-ticking-2", "linen-1",
    ]  # fmt: skip
    first = call("stash", "show", "blue-ticking-1", "--json").document
    assert first["outline_mm"][2] == [1143, 1371.6]
    assert first["notes"] == 'said "strong"\nand blue\nBought: May'
    assert call("stash", "show", "blue-ticking-2", "--json").document["outline_mm"][2] == [1143, 457.2]
    assert call("stash", "show", "linen", "--json").document["weight_gsm"] == 185
    again = call("stash", "import", table, "--json").document
    assert again["pieces_in"] == []
    assert [row["fate"] for row in again["rows"]] == ["here", "here", "left out", "here"]
    call("undo")
    assert call("stash", "list", "--json").document["pieces"] == []


def test_any_text_comes_in_and_goes_out(call: Call, tmp_path: Path) -> None:
    """Names and notes with quotes, commas, emoji, right-to-left text and thousands of characters survive the table,
    the catalogue and the document."""
    name, notes = 'Aunt "Zoë", قماش 👩‍🌾', ('a "b", ש\n' * 1300)[:9999] + "!"
    quoted = [f'"{text.replace(chr(34), chr(34) * 2)}"' for text in (name, notes)]
    (tmp_path / "t.csv").write_text(f"name,width,length,notes\n{quoted[0]},1 m,2 m,{quoted[1]}\n", encoding="utf-8")
    assert call("stash", "import", "t.csv").code == 0
    call("stash", "export", "t.json")
    document = call("stash", "list", "--json", "--stash", "t.json").document
    assert document["fabrics"][0]["name"] == name
    assert document["pieces"][0]["notes"] == notes


@pytest.mark.parametrize("text", ["", "colour,size\nred,3\n", "name,width\nx,1 m\n", "name,width,length\n"])
def test_what_is_no_table_of_cloth(call: Call, tmp_path: Path, text: str) -> None:
    """Without a name, a width and a length there is nothing to take in, and the columns needed are said; a table with
    its heads alone adds nothing."""
    (tmp_path / "t.csv").write_text(text, encoding="utf-8")
    done = call("stash", "import", "t.csv", "--json")
    assert done.code == (0 if "length" in text else 2)
    assert call("stash", "list", "--json").document["pieces"] == []
