"""The ledger's ends from outside: what a cut left in truth, snippets, cloth given away, and cloth that a plan keeps."""

from __future__ import annotations

import io
import json
import shlex
from pathlib import Path

import pytest

from stash.cli import leftover
from stash.cli.main import status
from tests.cli import scene
from tests.cli.conftest import Call, Called, strips


@pytest.fixture
def planned(filled: Call, tmp_path: Path) -> Call:
    """A plan for a band of ticking, kept."""
    file = strips(tmp_path / "g.toml", 'id = "band"\nlength = "600 mm"\nwidth = "2 in"')
    assert filled("enough", file, "--out", "plan.json").code == 0
    return filled


def listed(call: Call) -> str:
    """The stash in words."""
    return call("stash", "list").out


def test_after_a_cut_it_says_how_to_tell_what_is_left(planned: Call) -> None:
    """Cutting names what is left as planned and the command by which the truth is told; that command, as it is
    printed but with sizes, works; what was planned comes back by undo."""
    done = planned("cut", "plan.json")
    assert "Left, as planned: t1-1" in done.out
    assert "stripewright stash remeasure t1-1 --width" in done.out
    before = listed(planned)
    told = planned("stash", "remeasure", "t1-1", "--width", "30 cm", "--length", "80 cm", "--edge", "left")
    assert told.code == 0
    assert "Measured again: t1-1, now 11 13/16 in (300 mm) × 31 1/2 in (800 mm)" in told.out
    assert "300 mm" in listed(planned)
    assert planned("undo").code == 0
    assert listed(planned) == before


def test_a_command_that_is_told_can_be_typed_whatever_the_piece_is_called(call: Call, tmp_path: Path) -> None:
    """A name with a blank and quotes in it stands in the command as the shell takes it for one word."""
    name = 'Anna\'s "best" length'
    piece = {"id": name, "fabric": "linen", "outline_mm": [[0, 0], [1000, 0], [1000, 900], [0, 900]]}
    fabric = {"id": "linen", "name": "Linen", "print": {"kind": "plain"}}
    (tmp_path / "s.json").write_text(json.dumps({"schema": "stash/1", "fabrics": [fabric], "pieces": [piece]}))
    (tmp_path / "g.toml").write_text('[[panel]]\nid = "p"\nfabric = "linen"\nwidth = "9 in"\nlength = "9 in"\n')
    assert call("stash", "import", "s.json").code == 0
    assert call("enough", "g.toml", "--out", "plan.json").code == 0
    said = " ".join(call("cut", "plan.json").out.split())
    typed = shlex.split(said[said.index("stripewright stash remeasure") : said.index(", or a photograph")])
    assert typed[1:4] == ["stash", "remeasure", f"{name}-1"]


def asked(call: Call, monkeypatch: pytest.MonkeyPatch, answers: str) -> Called:
    """A cut of the plan on a terminal with those answers."""
    monkeypatch.setattr(leftover, "watched", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    return call("cut", "plan.json")


@pytest.mark.parametrize(
    ("answers", "entries", "box"),
    [
        ("\n", 2, None),
        ("", 2, None),
        ("stop\n", 2, None),
        ("big\n10 x 10 m left right\n30 x 80 cm, left\n", 3, (300, 800)),
        ("30.5 cm x 80 cm right\n", 3, (305, 800)),
        ("gone\n", 3, (0, 0)),
    ],
)
def test_on_a_terminal_she_is_asked(
    planned: Call, monkeypatch: pytest.MonkeyPatch, answers: str, entries: int, box: tuple[float, float] | None
) -> None:
    """After a cut she says what is left: nothing typed keeps what was planned; a size, in one line with the edge that
    is as planned, or gone takes its place as a line of the journal; what cannot be read is asked again."""
    called = asked(planned, monkeypatch, answers)
    assert called.code == 0
    assert "t1-1: " in called.err
    assert "stash remeasure" not in called.out
    assert len(planned("stash", "journal", "--json").document["entries"]) == entries
    left = [row for row in planned("stash", "list", "--json").document["pieces"] if row["fabric"] == "ticking"]
    if box == (0, 0):
        assert left == []
    elif box is not None:
        xs, ys = zip(*left[0]["outline_mm"], strict=True)
        assert (max(xs) - min(xs), max(ys) - min(ys)) == pytest.approx(box)
        assert left[0]["stripe_direction_deg"] == 0


def test_while_parts_are_still_to_cut_nothing_is_asked(
    filled: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Part by part, what is left is still to be cut from: it is asked for with the last part only."""
    parts = (f'id = "band-{k}"\nlength = "600 mm"\nwidth = "2 in"' for k in (1, 2))
    assert filled("enough", strips(tmp_path / "g.toml", *parts), "--out", "plan.json").code == 0
    monkeypatch.setattr(leftover, "watched", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO("gone\n"))
    assert "as planned" not in filled("cut", "plan.json", "--part", "band-1").err
    assert "as planned" in filled("cut", "plan.json").err


def test_what_was_planned_in_it_is_planned_anew(filled: Call, tmp_path: Path) -> None:
    """A leftover that is measured again while parts are still to cut from it lies in a frame of its own: the rest of
    the plan is not booked or drawn where it no longer is, but refused with what to do; it still says what it is of."""
    parts = (f'id = "band-{k}"\nlength = "600 mm"\nwidth = "2 in"' for k in (1, 2))
    assert filled("enough", strips(tmp_path / "g.toml", *parts), "--out", "plan.json").code == 0
    filled("cut", "plan.json", "--part", "band-1")
    assert filled("stash", "remeasure", "t1-1", "--width", "1000 mm", "--length", "890 mm").code == 0
    for words in (("cut", "plan.json"), ("sheet", "plan.json", "--out", "rest.svg")):
        refused = filled(*words, "--json")
        assert refused.code == 2
        assert "plan again" in refused.document["remedy"]
    assert "left of  t1" in filled("stash", "show", "t1-1").out
    assert filled("undo").code == 0
    assert filled("cut", "plan.json").code == 0


def test_snippets_are_one_line(planned: Call) -> None:
    """A remnant told as 5 by 4 cm is a snippet, in one line of the list; the size can be set, and they are used up."""
    planned("cut", "plan.json")
    small = planned("stash", "remeasure", "t1-1", "--width", "5 cm", "--length", "4 cm", "--json").document
    assert small["pieces_out"] == ["t1-1"]
    document = planned("stash", "snippets", "--json").document
    row = next(row for row in document["snippets"] if row["fabric"] == "ticking")
    assert row["area_mm2"] >= 2000
    assert f"{row['count']} snippet" in listed(planned)
    assert f"{row['count']} snippet" in planned("stash", "show", "ticking").out
    assert planned("stash", "snippets", "--below", "2 x 4 in", "--json").document["below_mm"] == {
        "short_mm": 50.8, "long_mm": 101.6,
    }  # fmt: skip
    assert planned("stash", "snippets", "--used-up", "ticking").code == 0
    assert "snippet" not in listed(planned)
    assert planned("stash", "snippets", "--used-up", "ticking").code == 2
    assert planned("stash", "snippets", "--below", "small").code == 2


def test_a_photograph_of_what_is_left(call: Call, tmp_path: Path) -> None:
    """A photograph of the cloth by itself gives the piece its outline again, with its stripes in their place and the
    photograph kept; the first is there again after undo."""
    photo = scene.write(tmp_path / "photo.jpg", cloth=True, ruler=True)
    assert call("add", photo, "--name", "Deck", "--torn", "top").code == 0
    first = call("stash", "show", "deck-1", "--json").document
    assert call("stash", "remeasure", "deck-1", "--width", "2 cm", "--length", "20 cm", "--edge", "left").code == 0
    assert call("undo").code == 0
    assert call("stash", "remeasure", "deck-1", "--width", "25 cm", "--length", "20 cm", "--edge", "left").code == 0
    told = call("stash", "remeasure", "deck-1", photo, "--torn", "top")
    assert told.code == 0
    again = call("stash", "show", "deck-1", "--json").document
    assert again["outline_mm"] == first["outline_mm"]
    apart = (again["stripe_origin_mm"] - first["stripe_origin_mm"] + scene.REPEAT_MM / 2) % scene.REPEAT_MM
    assert apart == pytest.approx(scene.REPEAT_MM / 2, abs=0.5)
    assert call("undo").code == 0
    assert call("undo").code == 0
    assert call("stash", "show", "deck-1", "--json").document == first


def test_given_away_and_returned(filled: Call) -> None:
    """Given away a piece is in no list; returned it is there as it was; the journal tells both."""
    before = filled("stash", "list", "--json").document
    assert filled("stash", "give", "t1", "--to", "Aunt").code == 0
    assert [row["id"] for row in filled("stash", "list", "--json").document["pieces"]] == ["l1"]
    assert filled("stash", "return", "t1", "--json").document["pieces_in"] == ["t1"]
    assert filled("stash", "list", "--json").document == before
    assert "given away, t1, to Aunt" in filled("stash", "journal").out
    assert filled("stash", "return", "t1").code == 2
    assert filled("stash", "give", "t9").code == 2


def test_what_a_plan_keeps_is_marked(planned: Call, tmp_path: Path) -> None:
    """A reserved piece says so wherever it is named: found, fitting a part, asked for its uses, and listed; plans leave
    it out."""
    assert planned("reserve", "plan.json").code == 0
    words = ("stash", "find", "--fits", "9 x 6 in", "--near", "#a01c24")
    assert planned(*words, "--json").document["pieces"][0]["reserved_for"] == "Borders"
    assert "t1: " in planned(*words).out
    assert "reserved for Borders" in planned(*words).out
    assert planned("stash", "find", "linen", "--json").document["pieces"][0]["reserved_for"] is None
    fitting = planned("what-fits", tmp_path / "g.toml", "--json").document["parts"][0]
    assert (fitting["pieces"], fitting["reserved"]) == (["t1"], ["t1"])
    assert "t1 (reserved)" in planned("what-fits", tmp_path / "g.toml").out
    assert planned("uses", "t1", "--json").document["reserved_for"] == "Borders"
    assert planned("uses", "t1").out.startswith("It is reserved for Borders.")
    assert "reserved for Borders" in listed(planned)
    assert "kept     for Borders, as planned" in planned("stash", "show", "t1").out
    assert "reserved for Borders" in planned("stash", "show", "ticking").out
    other = strips(tmp_path / "other.toml", 'id = "belt"\nlength = "300 mm"\nwidth = "2 in"')
    assert planned("enough", other, "--json", "--limit", "10").document["answer"] == "no"


def test_nothing_of_it_on_a_document(filled: Call, tmp_path: Path) -> None:
    """A document is only read: each of these commands says so with status 2."""
    where = ("--stash", str(tmp_path / "filled.json"))
    for words in (("give", "t1"), ("return", "t1"), ("remeasure", "t1", "--gone"), ("snippets", "--below", "3 x 6 in")):
        assert status(["stash", *words, *where]) == 2
    assert json.loads((tmp_path / "filled.json").read_text(encoding="utf-8"))["pieces"]
    assert status(["stash", "snippets", *where]) == 0
