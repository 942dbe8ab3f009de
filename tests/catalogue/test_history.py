"""The journal: the stash at any moment, and taking back in order."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from stash.catalogue import journal
from stash.catalogue.door import open_stash
from stash.catalogue.moment import read_moment
from stash.catalogue.stash import Stash
from stash.cli.main import status
from stash.errors import Conflict, InputWrong
from stash.fabric import Fabric, Print
from stash.piece import Piece
from tests.bench.kill import away, survey
from tests.catalogue.sample import stash_document

START = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)


class Clock:
    """A clock that goes on by an hour whenever it is looked at."""

    def __init__(self) -> None:
        self.hours = 0

    def __call__(self) -> str:
        self.hours += 1
        return (START + timedelta(hours=self.hours)).isoformat(timespec="seconds")


@pytest.fixture(params=["file", "server"])
def stash(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Stash:
    """A stash changed once an hour, in a file and on a server."""
    monkeypatch.setattr(journal, "_now", Clock())
    return open_stash(tmp_path / "s" if request.param == "file" else request.getfixturevalue("address"))


def linen(name: str) -> Fabric:
    """Plain cloth."""
    return Fabric(id=name, name=name, print=Print(kind="plain"))


def test_the_state_at_any_hour(stash: Stash) -> None:
    """Looked at half an hour after each change, the stash is what it was then, also where that was taken back since."""
    seen = [stash.contents()]
    changed = stash_document()
    changed["pieces"][0]["stripe_origin_mm"] = 9
    steps = (
        lambda: stash.import_document(stash_document()),
        lambda: stash.add(linen("one"), []),
        lambda: stash.undo(),
        lambda: stash.add(linen("two"), [Piece(id="", fabric="", outline_mm=((0, 0), (9, 0), (9, 9)))]),
        lambda: stash.import_document(changed, replace=True),
        lambda: stash.exchange(["t1"], [], title="cut"),
        lambda: stash.undo(),
        lambda: stash.undo(),
        lambda: stash.add(linen("three"), []),
    )
    for step in steps:
        step()
        seen.append(stash.contents())
    for hours, contents in enumerate(seen):
        assert stash.contents_on(START + timedelta(hours=hours + 0.5)) == contents


def test_taking_back_several_in_order(stash: Stash) -> None:
    """Back to entry 2 takes back the last one first and leaves entry 1; a number not there changes nothing."""
    stash.import_document(stash_document())
    for name in ("one", "two", "three"):
        stash.add(linen(name), [])
    with pytest.raises(InputWrong, match="no entry 9"):
        stash.undo_back_to(9)
    assert [entry.number for entry in stash.undo_back_to(2)] == [4, 3, 2]
    assert stash.export_document() == stash_document()
    with pytest.raises(InputWrong, match="no entry 2"):
        stash.undo_back_to(2)


def test_nobody_takes_back_what_another_did(stash: Stash) -> None:
    """Where the last entry is not the one that was meant, nothing is taken back."""
    mine = stash.add(linen("mine"), [])
    stash.add(linen("hers"), [])
    with pytest.raises(Conflict, match="no longer"):
        stash.undo(only=mine.number)
    assert len(stash.fabrics()) == 2


def test_a_date_is_the_end_of_its_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """A day counts to its last moment in her own time zone; a time is taken as it is; anything else is a mistake."""
    assert read_moment("2026-05-01") == datetime(2026, 5, 1, 23, 59, 59, 999999).astimezone()
    assert read_moment("2026-05-01 14:30") == datetime(2026, 5, 1, 14, 30).astimezone()
    for wrong in ("yesterday", "2026-13-01", "", "9" * 10):
        with pytest.raises(InputWrong, match="date"):
            read_moment(wrong)


def test_by_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The journal numbers what stands; list --on shows another day; undo --back-to takes back in order."""
    where = ("--stash", str(tmp_path / "s"))
    for name in ("Linen", "Voile"):
        assert status(["add", "--width", "1 m", "--length", "1 m", "--name", name, *where]) == 0
    capsys.readouterr()
    assert status(["stash", "list", "--on", "2020-01-01", "--json", *where]) == 0
    assert json.loads(capsys.readouterr().out)["pieces"] == []
    assert status(["stash", "list", "--on", "2999-01-01", "--json", *where]) == 0
    assert len(json.loads(capsys.readouterr().out)["pieces"]) == 2
    assert status(["stash", "journal", "--json", *where]) == 0
    assert [entry["number"] for entry in json.loads(capsys.readouterr().out)["entries"]] == [1, 2]
    assert status(["undo", "--back-to", "1", "--json", *where]) == 0
    assert [entry["pieces_in"] for entry in json.loads(capsys.readouterr().out)["taken_back"]] == [
        ["voile-1"], ["linen-1"],
    ]  # fmt: skip
    assert status(["stash", "list", "--on", "soon", *where]) == 2


@pytest.mark.parametrize("kind", ["file", "server"])
def test_killed_at_any_moment(kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """Killed without warning while it imports, adds, cuts, undoes and restores: the stash is as after the last change
    told or the one under way, all of it sound, and goes on from there."""
    numbers = iter(range(100))
    fresh = (lambda: str(tmp_path / f"s{next(numbers)}")) if kind == "file" else request.getfixturevalue("studio").fresh
    with away(tmp_path):
        outcomes = list(survey(fresh, tmp_path, kills=6, seed=5, changes=20))
    assert [one.wrong for one in outcomes] == [""] * 6
