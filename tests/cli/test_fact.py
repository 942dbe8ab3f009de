"""What is noted of cloth, and what was washed, by commands."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Call, strips

STORY = 'He said "blue", \'indigo\' \\ 👩‍🌾🧵 שלום — مرحبا \u202eabc\u202c; <b>&amp;</b>, {"a": 1}\n'


def test_notes_are_kept_shown_and_taken_away(filled: Call) -> None:
    """What is noted of a fabric is shown and stands in its document; 6 oz a square yard are 203.43 g/m² (one oz/yd² is
    33.90575 g/m²); an empty text takes it away; undo brings it back."""
    assert filled("stash", "note", "linen", "--fibre", "linen", "--weight", "6 oz", "--place", "blue box").code == 0
    kept = filled("stash", "show", "linen", "--json").document
    assert (kept["fibre"], kept["place"]) == ("linen", "blue box")
    assert kept["weight_gsm"] == pytest.approx(6 * 33.90575, abs=1e-3)
    shown = filled("stash", "show", "l1").out
    assert "blue box" in shown
    assert "203 g/m²" in shown
    assert filled("stash", "note", "linen", "--place", "").code == 0
    assert "place" not in filled("stash", "show", "linen", "--json").document
    filled("undo")
    assert filled("stash", "show", "linen", "--json").document["place"] == "blue box"


def test_turns_are_what_the_planner_goes_by(filled: Call) -> None:
    """Cloth that allows only the turn over is one-way and shows both faces."""
    filled("stash", "note", "ticking", "--turns", "over")
    kept = filled("stash", "show", "ticking", "--json").document
    assert (kept["one_way"], kept["both_faces"]) == (True, True)


def test_a_fact_of_a_piece_is_none_of_a_fabric(filled: Call) -> None:
    """Fibre belongs to the fabric and washed to the piece; the other way round is a mistake."""
    refused = filled("stash", "note", "l1", "--fibre", "linen", "--json")
    assert refused.code == 2
    assert "--washed" in refused.document["remedy"]
    assert filled("stash", "note", "linen", "--washed", "yes").code == 2
    assert filled("stash", "note", "linen", "--ravels", "perhaps").code == 2
    assert filled("stash", "note", "nothing", "--notes", "x").code == 2


def test_ten_thousand_characters_survive_every_way(filled: Call, tmp_path: Path) -> None:
    """A note with quotes, emoji, right-to-left text and 10,000 characters comes back to the character from note, show,
    export, import, backup and restore, and one more character is refused."""
    story = (STORY * 200)[:9999] + "!"
    assert filled("stash", "note", "linen", "--notes", story).code == 0
    assert filled("stash", "note", "linen", "--notes", story + "!").code == 2
    filled("stash", "export", "all.json")
    filled("stash", "import", "all.json", "--stash", tmp_path / "other")
    filled("stash", "backup", "all.zip")
    filled("stash", "restore", "all.zip", "--stash", tmp_path / "third")
    for place in (tmp_path / "stash", tmp_path / "other", tmp_path / "third"):
        assert filled("stash", "show", "linen", "--json", "--stash", place).document["notes"] == story
        assert filled("stash", "show", "linen", "--stash", place).code == 0


def test_a_name_may_be_a_story(call: Call) -> None:
    """A name of emoji joined into one, letters right to left and 10,000 characters is kept as it was typed."""
    name = ('👩‍🌾 "שלום" \u200fمرحبا\' ' * 900)[:9999] + "."
    added = call("add", "--width", "1 m", "--length", "2 m", "--name", name, "--json")
    assert added.code == 0
    call("stash", "export", "a.json")
    assert call("stash", "list", "--json", "--stash", "a.json").document["fabrics"][0]["name"] == name
    assert call("stash", "list").code == 0


def test_washing_changes_size_and_repeat(filled: Call) -> None:
    """A piece of 1100 by 900 mm with a repeat of 60 mm is 1067 by 864 mm with 58.2 mm after 3 % across and 4 % along;
    it is one step back to what it was."""
    before = filled("stash", "list", "--json").document
    washed = filled("stash", "wash", "ticking", "--length", "4 %", "--width", "50 cm -> 48.5 cm", "--json")
    assert (washed.code, washed.document["fabric"]) == (0, "ticking")
    assert washed.document["change_width_percent"] == -3
    assert filled("stash", "show", "ticking", "--json").document["print"]["across_mm"] == pytest.approx(58.2)
    piece = filled("stash", "show", "t1", "--json").document
    assert piece["outline_mm"][2] == [1067, 864]
    assert piece["washed"] == "yes"
    assert filled("stash", "wash", "ticking", "--length", "4 %").code == 2
    filled("undo")
    assert filled("stash", "list", "--json").document == before


def test_washing_one_of_two_parts_them(filled: Call) -> None:
    """Where one piece of a striped fabric is washed and another not, their repeats differ, so they are two fabrics."""
    filled("add", "--fabric", "ticking", "--width", "50 cm", "--length", "1 m", "--start", "0 mm")
    washed = filled("stash", "wash", "ticking", "--width", "3 %", "--piece", "t1", "--json").document
    assert washed["fabric"] == "ticking-washed"
    assert filled("stash", "show", "ticking", "--json").document["print"]["across_mm"] == 60
    assert filled("stash", "show", "ticking-washed", "--json").document["print"]["across_mm"] == pytest.approx(58.2)
    assert filled("stash", "show", "t1", "--json").document["fabric"] == "ticking-washed"


def test_washed_and_unwashed_cloth_in_one_garment_is_told(filled: Call, tmp_path: Path) -> None:
    """A plan that takes a washed and an unwashed piece says so; with both washed it does not."""
    strips(tmp_path / "a.toml", 'id = "hem"\nlength = "50 cm"\nwidth = "2 cm"')
    panel = '[[panel]]\nid = "body"\nfabric = "linen"\nwidth = "50 cm"\nlength = "50 cm"\n'
    text = (tmp_path / "a.toml").read_text(encoding="utf-8")
    (tmp_path / "a.toml").write_text(text + panel, encoding="utf-8")
    filled("stash", "note", "l1", "--washed", "yes")
    assert "t1 is not" in " ".join(filled("enough", "a.toml").out.split())
    filled("stash", "note", "t1", "--washed", "yes")
    assert "wash all of it" not in " ".join(filled("enough", "a.toml").out.split())
