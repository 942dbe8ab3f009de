"""Lengths that are typed in: counted, folded, with margins; asked about at a terminal."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from tests.cli import scene
from tests.cli.conftest import Call


def typed(monkeypatch: pytest.MonkeyPatch, *rows: str) -> None:
    """A terminal at which these are typed."""
    lines = io.StringIO("".join(f"{row}\n" for row in rows))
    monkeypatch.setattr(lines, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdin", lines)


def the_piece(call: Call, added: object) -> dict[str, object]:
    """The one piece of an added document."""
    assert isinstance(added, dict)
    shown = call("stash", "show", added["added"][0]["pieces"][0], "--json").document
    assert isinstance(shown, dict)
    return shown


def test_folded_width_counts_twice_and_the_fold_is_a_flaw(call: Call) -> None:
    """28 in folded is 56 in = 1422.4 mm wide; the fold lies at 711.2 mm, and half an inch at each side is kept out."""
    size = ("--width", "28 in", "--length", "3 yd", "--folded", "--crease", "--margins", "sides 1/2 in")
    piece = the_piece(call, call("add", *size, "--name", "Linen", "--json").document)
    xs = [x for x, _ in piece["outline_mm"]]
    assert (min(xs), max(xs)) == (12.7, 1409.7)
    (fold,) = piece["flaws_mm"]
    assert (min(x for x, _ in fold) + max(x for x, _ in fold)) / 2 == pytest.approx(711.2)


def test_a_count_over_the_whole_width(call: Call, tmp_path: Path) -> None:
    """The photograph shows a repeat of 42 mm on a hand's breadth; counted over 1311 mm, 31 red stripes of 14 mm that
    begin 20 and 17 mm from the selvages make (1311 - 20 - 17 - 14) / 30 = 42 mm, known to a tenth of a millimetre."""
    scene.write(tmp_path / "part.jpg", cloth=True, ruler=True)
    size = ("--width", "1311 mm", "--length", "3 m", "--counted", "red 31, 20 mm, 17 mm")
    piece = the_piece(call, call("add", "part.jpg", *size, "--name", "Awning", "--json", "--torn", "top").document)
    print_ = call("stash", "show", "awning", "--json").document["print"]
    assert print_["across_mm"] == pytest.approx(42.0, abs=0.02)
    assert print_["across_mm_u95"] < 0.1
    red = min(print_["stripes"], key=lambda row: row["width_mm"])
    place = (piece["stripe_origin_mm"] + red["centre_mm"]) % print_["across_mm"]
    assert place == pytest.approx(27.0, abs=0.3)


def test_a_count_that_contradicts_the_photograph(call: Call, tmp_path: Path) -> None:
    """30 red stripes there would make 43.4 mm: refused with status 2, nothing kept, and the count that goes is told."""
    scene.write(tmp_path / "part.jpg", cloth=True, ruler=True)
    size = ("--width", "1311 mm", "--length", "3 m", "--counted", "red 30, 20 mm, 17 mm")
    done = call("add", "part.jpg", *size, "--name", "Awning", "--json")
    assert done.code == 2
    assert "31 would give" in done.document["remedy"]
    assert call("stash", "list", "--json").document["pieces"] == []


def test_stripes_that_are_told_can_be_counted_too(call: Call) -> None:
    """Red 1 in, white 1 1/2 in said; 20 reds over 51 in from selvage to selvage make 50/19 in = 66.8 mm, not 63.5."""
    told = ("--stripes", "from the left red 1 in, white 1 5/8 in", "--counted", "red 20, 0 in, 0 in")
    done = call("add", "--width", "51 in", "--length", "3 yd", *told, "--name", "Awning", "--json")
    assert done.code == 0
    print_ = call("stash", "show", "awning", "--json").document["print"]
    assert print_["across_mm"] == pytest.approx(50 / 19 * 25.4, abs=0.001)


def test_one_question_at_a_time(filled: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal: folded? the fold? margins? a count? An answer that cannot be read is asked again."""
    typed(monkeypatch, "yes", "", "half an inch", "sides 1/2 in", "A 13, 0 mm, 20 mm")
    done = filled("add", "--width", "380 mm", "--length", "2 m", "--fabric", "ticking")
    assert done.code == 0, done.err
    assert done.err.count(" > ") == 5
    piece = filled("stash", "show", "ticking-1", "--json").document
    assert len(piece["flaws_mm"]) == 1
    assert piece["margins_mm"] == {"left": 12.7, "right": 12.7}
    assert (piece["stripe_direction_deg"], piece["stripe_origin_mm"]) == (0, 0)


def test_nothing_is_asked_where_nobody_is(filled: Call) -> None:
    """Not at a terminal, a typed size is taken as it stands: 50 cm by 1 m, no flaw, nothing kept out."""
    piece = the_piece(
        filled, filled("add", "--width", "50 cm", "--length", "1 m", "--name", "Voile", "--json").document
    )
    assert piece["outline_mm"] == [[0, 0], [500, 0], [500, 1000], [0, 1000]]
    assert piece["flaws_mm"] == []


def test_what_does_not_go_together(call: Call) -> None:
    """A fold without folded cloth, a count without a size, a count and a start: each is status 2 with a remedy."""
    size = ("--width", "1 m", "--length", "1 m", "--name", "Voile")
    stripes = ("--stripes", "red 2 cm, white 3 cm", "--counted", "red 20, 0 cm, 1 cm")
    for words in (
        (*size, "--crease"),
        (*size, *stripes, "--start", "1 cm"),
        (*size, "--counted", "red 20, 0 cm, 1 cm"),
    ):
        done = call("add", *words, "--json")
        assert done.code == 2
        assert done.document["remedy"]
