"""Ask through the command: all answers as options, or one at a time on standard input."""

from __future__ import annotations

import io
import json
import tomllib
from pathlib import Path

import pytest

from tests.cli.conftest import Call

BORDER = "58 × 54 in; from the left selvage red ¾, white ¼, blue 1, white ¼"
ALL = ("--border", BORDER, "--stripe", "red", "--bust", "38 in", "--height", "5 ft 5 in", "--fit", "easy")


def test_options_answer_at_once(call: Call) -> None:
    """58 in hold 25 whole repeats of 2 1/4 in, more than a coat's borders need: yes, status 0, and the sum in words."""
    done = call("ask", *ALL, "--defaults")
    assert done.code == 0
    assert done.out.startswith("Yes: ")
    assert " of 54 in = " in done.out


def test_too_little_cloth_is_no(call: Call) -> None:
    """One red stripe of 54 in cannot border a coat all round: no, status 1, and what is short."""
    done = call("ask", "--border", "2 1/4 × 54 in; red 3/4, white 1/4, blue 1, white 1/4", "--main", "60 × 72 in plain",
                "--defaults", "--json", "--limit", "20")  # fmt: skip
    assert done.code == 1
    assert done.document["answer"] == "no"
    assert done.document["short"]


def test_what_was_told_is_kept(call: Call, tmp_path: Path) -> None:
    """With --keep and --save the stash holds the cloth and the garment file the coat: enough gives the same answer."""
    done = call("ask", *ALL, "--defaults", "--keep", "--save", "coat.toml", "--out", "plan.json")
    assert done.code == 0
    assert tomllib.loads((tmp_path / "coat.toml").read_text(encoding="utf-8"))["coat"]["stripe"] == "A"
    again = call("enough", "coat.toml", "--json")
    assert (again.code, again.document["answer"]) == (0, "yes")
    assert call("sheet", "plan.json", "--out", "sheet.svg").code == 0
    assert call("cut", "plan.json").code == 0


def test_without_keep_nothing_is_kept(call: Call, tmp_path: Path) -> None:
    """An answer alone leaves no stash behind, and says how to keep the cloth."""
    done = call("ask", *ALL, "--defaults")
    assert "--keep" in done.out
    assert not (tmp_path / "stash").exists()


def test_questions_one_at_a_time(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """On standard input: a blank line takes the default, a bad one is explained and asked again; the answer comes."""
    answers = [BORDER, "green", "red", "", "", "38 in", "5 ft 5 in", "hip", "easy", "2 in", "1"]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(answers) + "\n"))
    done = call("ask")
    assert done.code == 0
    assert "green" in done.err
    assert "What is the striped cloth like?" in done.err
    assert done.out.startswith("Yes: ")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--defaults",), "border"),
        (("--border", "58 × 54; red 3/4, white 1/4", "--defaults"), "unit"),
        (("--border", "lots of it", "--defaults"), "size"),
        (("--border", BORDER, "--stripe", "green", "--defaults"), "green"),
        (("--border", BORDER, "--bust", "-38 in", "--defaults"), "-38 in"),
        (("--border", BORDER, "--bust", "thirty eightish", "--defaults"), "bust"),
        (("--border", BORDER, "--joins", "many", "--defaults"), "many"),
        (("--border", BORDER, "--colour", "red", "--defaults"), "--colour"),
        (("--border", BORDER, "--defaults", "--out", "no/such/folder/plan.json"), "plan.json"),
        (("--border", BORDER, "--defaults", "--limit", "soon"), "soon"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_answers_that_cannot_be_used(call: Call, tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    """An answer that cannot be used is status 2 and one sentence that names it; nothing is kept."""
    done = call("ask", *words, "--json")
    assert (done.code, done.document["schema"]) == (2, "error/1")
    assert told in json.dumps(done.document, ensure_ascii=False)
    assert done.document["remedy"]
    assert not (tmp_path / "stash").exists()


def test_answers_that_end_early(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where standard input ends before the last question, that is said, with the way out."""
    monkeypatch.setattr("sys.stdin", io.StringIO(BORDER + "\n"))
    done = call("ask")
    assert done.code == 2
    assert "options" in done.err


def test_asking_again_is_offered_with_the_cloth(call: Call) -> None:
    """The coat that is kept is asked for again with its cloth, which is kept too only where that was said."""
    alone = " ".join(call("ask", *ALL, "--defaults", "--save", "coat.toml").out.split())
    assert "with --keep its cloth is kept too, to ask again with: stripewright enough coat.toml" in alone
    kept = " ".join(call("ask", *ALL, "--defaults", "--save", "coat.toml", "--stash", "s").out.split())
    assert kept.endswith("The coat is kept in coat.toml; ask again with: stripewright enough coat.toml --stash s")


def test_a_question_fits_the_screen(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """No row of a question is longer than a plain terminal is wide."""
    monkeypatch.setattr("sys.stdin", io.StringIO("?\n"))
    done = call("ask")
    assert "left selvage" in done.err
    assert max(len(row) for row in done.err.splitlines() if not row.startswith("> stripewright")) <= 80
