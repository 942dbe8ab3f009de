"""Whatever is wrong with the input: one clear sentence, a remedy, the status, nothing changed, never a traceback."""

from __future__ import annotations

import json
import os
import sqlite3
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from stash.catalogue import connection
from stash.cli import app
from tests.cli.conftest import Call, Called, strips


def refused(done: Called, *told: str) -> None:
    """Status 2, ``error/1`` alone on standard output, one sentence with a remedy on standard error."""
    assert done.code == 2, done.out + done.err
    document = done.document
    assert set(document) == {"schema", "error", "remedy"}
    assert document["schema"] == "error/1"
    assert document["error"]
    assert document["remedy"]
    assert len(done.err.strip().splitlines()) == 1, done.err
    for word in told:
        assert word in document["error"] + " " + document["remedy"], document


def chunk(kind: bytes, data: bytes) -> bytes:
    """One chunk of a PNG (ISO/IEC 15948, clause 5.3)."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def photographs(folder: Path) -> dict[str, Path]:
    """Files that are no photographs, or not whole ones."""
    picture = Image.new("RGB", (800, 600), (120, 90, 60))
    picture.save(folder / "whole.jpg")
    data = (folder / "whole.jpg").read_bytes()
    (folder / "short.jpg").write_bytes(data[: len(data) // 2])
    (folder / "head.jpg").write_bytes(data[:30])
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "words.jpg").write_text("this is not a picture\n" * 40, encoding="utf-8")
    huge = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    (folder / "huge.png").write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", huge) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )
    Image.new("RGB", (20, 20)).save(folder / "tiny.png")
    (folder / "folder.jpg").mkdir()
    return {path.stem: path for path in folder.iterdir()} | {"missing": folder / "missing.jpg"}


@pytest.mark.parametrize("name", ["missing", "empty", "short", "head", "words", "huge", "tiny", "folder"])
def test_photographs(call: Call, tmp_path: Path, name: str) -> None:
    """A missing, empty, truncated, huge, tiny or non-image file is refused by measure and add; nothing is added."""
    file = photographs(tmp_path)[name]
    refused(call("measure", file, "--json"), file.name)
    refused(call("add", file, "--name", "Cloth", "--json"), file.name)
    assert not (tmp_path / "stash").exists()


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ('id = "hem"\nlenght = "1 m"\nwidth = "5 cm"', "length"),
        ('id = "hem"\nlength = "1 m"\nwidth = "5 cm"\njoin = 2', "joins"),
        ('id = "hem"\nlength = "-1 m"\nwidth = "5 cm"', "-1 m"),
        ('id = "hem"\nlength = "1 m"\nwidth = "0"', "width"),
        ('id = "hem"\nlength = "long"\nwidth = "5 cm"', "long"),
        ('id = "hem"\nwidth = "5 cm"', "length"),
        ('id = "hem"\nlength = "1 m"\nwidth = "5 cm"\njoins = -1', "joins"),
        ('id = "hem"\nlength = "1 m"\nwidth = "5 cm"\nmake = "glued"', "folded"),
        ('id = "hem"\nlength = "1 m"\nwidth = "5 cm"\noutward = "up"', "outward"),
        ('id = "hem"\nlength = "1 m"\nwidth = "5 cm"\nhide = ["1 in", "2 in"]', "hide"),
        ('id = "hem"\nlength = "1 m"\nwidth = "5 cm"\n\n[[strip]]\nid = "hem"', "hem"),
    ],
)
def test_garment_files(filled: Call, tmp_path: Path, row: str, told: str) -> None:
    """A misspelt key names the nearest known one; a negative, empty or missing length and an unknown word are named."""
    refused(filled("enough", strips(tmp_path / "g.toml", row), "--json"), told, "g.toml")


@pytest.mark.parametrize(
    ("key", "wrong", "told"),
    [("fabric", "tickling", "ticking"), ("stripe", "Z", "A"), ("fabric", "velvet", "velvet")],
)
def test_garment_of_cloth_that_is_not_there(filled: Call, tmp_path: Path, key: str, wrong: str, told: str) -> None:
    """An unknown fabric or stripe is refused with what there is."""
    right = {"fabric": "ticking", "stripe": "A"} | {key: wrong}
    rows = "\n".join(f'{name} = "{value}"' for name, value in right.items())
    file = tmp_path / "g.toml"
    file.write_text(f'[[strip]]\nid = "hem"\nlength = "50 cm"\nwidth = "5 cm"\n{rows}\n', encoding="utf-8")
    refused(filled("enough", file, "--json"), wrong, told)


@pytest.mark.parametrize("content", [None, b"", b"name = \n", b"\xff\xfe\x00", b"[coat]\nwidth = 58\n", b"[[strip]]\n"])
def test_files_that_are_no_garment(filled: Call, tmp_path: Path, content: bytes | None) -> None:
    """A garment file that is missing, empty, no TOML, no text, or with bare numbers or nothing in it is refused."""
    file = tmp_path / "g.toml"
    if content is not None:
        file.write_bytes(content)
    refused(filled("enough", file, "--json"), "g.toml")


@pytest.mark.parametrize("seconds", ["nan", "inf", "1e300", "-1", "0", "soon"])
def test_limits_that_are_no_time(filled: Call, tmp_path: Path, seconds: str) -> None:
    """What is no number, or longer than a clock can be set for, is refused before anything is planned."""
    file = strips(tmp_path / "g.toml", 'id = "hem"\nlength = "50 cm"\nwidth = "5 cm"')
    refused(filled("enough", file, "--limit", seconds, "--json"), "limit")
    refused(filled("stash", "find", "--within", "nan", "--json"), "within")


def test_enough_of_an_empty_stash(call: Call, tmp_path: Path) -> None:
    """With no cloth at all, the fabric that the garment names is not there, and adding it is the remedy."""
    file = strips(tmp_path / "g.toml", 'id = "hem"\nlength = "50 cm"\nwidth = "5 cm"')
    refused(call("enough", file, "--json"), "ticking")


def broken(document: dict[str, Any], how: str) -> Any:
    """The stash document with one thing wrong."""
    piece = document["pieces"][0]
    match how:
        case "version":
            document["schema"] = "stash/2"
        case "number":
            piece["outline_mm"][0][0] = "zero"
        case "crossing":
            piece["outline_mm"] = [[0, 0], [100, 100], [100, 0], [0, 100]]
        case "fabric":
            piece["fabric"] = "tickling"
        case "twice":
            document["pieces"].append(piece)
        case "list":
            return [document]
    return document


@pytest.mark.parametrize("how", ["version", "number", "crossing", "fabric", "twice", "list", "text", "empty", "nan"])
def test_stash_documents(filled: Call, tmp_path: Path, how: str) -> None:
    """A stash file of another version, or with one thing wrong, is neither imported nor read; the stash stays."""
    before = filled("stash", "list", "--json").document
    text = json.dumps(broken(json.loads((tmp_path / "filled.json").read_text(encoding="utf-8")), how))
    text = {"text": "not JSON", "empty": "", "nan": text.replace("1100", "NaN")}.get(how, text)
    (tmp_path / "wrong.json").write_text(text, encoding="utf-8")
    refused(filled("stash", "import", "wrong.json", "--json"), "wrong.json")
    refused(filled("stash", "list", "--stash", "wrong.json", "--json"), "wrong.json")
    assert filled("stash", "list", "--json").document == before


@pytest.mark.parametrize("content", ["", "{}", "[]", "null", '{"schema": "plan/2"}', '{"schema": "plan/1"}'])
def test_plan_files(filled: Call, tmp_path: Path, content: str) -> None:
    """What is no plan is neither cut nor drawn, and the stash stays as it is."""
    before = filled("stash", "list", "--json").document
    (tmp_path / "plan.json").write_text(content, encoding="utf-8")
    refused(filled("cut", "plan.json", "--json"))
    refused(filled("sheet", "plan.json", "--out", "sheet.pdf", "--json"))
    refused(filled("cut", "missing.json", "--json"), "missing.json")
    assert filled("stash", "list", "--json").document == before
    assert not (tmp_path / "sheet.pdf").exists()


def test_plan_of_a_no(filled: Call, tmp_path: Path) -> None:
    """There is nothing to cut in a no."""
    garment = strips(tmp_path / "g.toml", 'id = "hem"\nlength = "9 m"\nwidth = "5 cm"')
    assert filled("enough", garment, "--out", "plan.json", "--limit", "10").code == 1
    refused(filled("cut", "plan.json", "--json"))
    refused(filled("sheet", "plan.json", "--out", "sheet.pdf", "--json"))


@contextmanager
def locked(database: Path) -> Iterator[None]:
    """Another program in the middle of a change."""
    other = sqlite3.connect(database, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


def test_locked_catalogue(filled: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While another program changes the catalogue, a change is refused after waiting, and can be done afterwards."""
    monkeypatch.setattr(connection, "BUSY_S", 0.2)
    size = ("--width", "1 m", "--length", "1 m", "--name", "Voile", "--json")
    before = filled("stash", "list", "--json").document
    with locked(tmp_path / "stash" / "stripewright.sqlite"):
        refused(filled("add", *size), "locked")
        refused(filled("undo", "--json"), "locked")
    assert filled("stash", "list", "--json").document == before
    assert filled("add", *size).code == 0


def test_read_only_catalogue(filled: Call, tmp_path: Path) -> None:
    """A catalogue that may only be read is listed, and every change is refused."""
    folder = tmp_path / "stash"
    database = folder / "stripewright.sqlite"
    database.chmod(0o444)
    folder.chmod(0o555)
    try:
        refused(filled("add", "--width", "1 m", "--length", "1 m", "--name", "Voile", "--json"), "read")
        refused(filled("undo", "--json"), "read")
        refused(filled("stash", "import", "filled.json", "--replace", "--json"), "read")
        assert len(filled("stash", "list", "--json").document["pieces"]) == 2
    finally:
        folder.chmod(0o755)
        database.chmod(0o644)


@pytest.mark.parametrize("content", [b"", b"SQLite format 3\0" + b"\xff" * 4000, b"not a database at all"])
def test_damaged_catalogue(call: Call, tmp_path: Path, content: bytes) -> None:
    """A catalogue file that is damaged is refused and left as it is; an empty file is a catalogue not begun."""
    database = tmp_path / "stash" / "stripewright.sqlite"
    database.parent.mkdir()
    database.write_bytes(content)
    done = call("stash", "list", "--json")
    if content or done.code:
        refused(done, "stripewright.sqlite")
        assert database.read_bytes() == content


@pytest.mark.parametrize(
    "words",
    [
        ("frobnicate",), ("enough", "g.toml", "--depth", "3"), ("enough",), ("stash",), ("stash", "lisp"), ("cut",),
        ("sheet", "plan.json"), ("target",), ("schema",), ("schema", "garnet"), ("undo", "twice"),
        ("enough", "g.toml", "--limit", "0"), ("enough", "g.toml", "--limit", "-1"), ("add", "--width", "1 m"),
        ("add",), ("add", "--width", "0 m", "--length", "1 m", "--name", "Voile"),
        ("add", "--width", "1 m", "--length", "1 m"), ("add", "--width", "1 m", "--length", "1 m", "--name", " "),
        ("add", "--width", "1 m", "--length", "1 m", "--name", "Voile", "--fabric", "voile"),
        ("add", "--width", "58", "--length", "54", "--name", "Voile"),
        ("stash", "show", "nothing"), ("stash", "restore", "nothing"), ("stash", "list", "--stash", "note.txt"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_calls(call: Call, tmp_path: Path, words: tuple[str, ...]) -> None:
    """An unknown command or option, a missing argument, a value out of range: status 2, and nothing is made."""
    (tmp_path / "note.txt").write_text("a shopping list", encoding="utf-8")
    refused(call(*words, "--json"))
    assert not (tmp_path / "stash").exists()


def test_paths_that_cannot_be_written(filled: Call, tmp_path: Path) -> None:
    """Where a file cannot be written, that is said with its name."""
    garment = strips(tmp_path / "g.toml", 'id = "hem"\nlength = "50 cm"\nwidth = "5 cm"')
    assert filled("enough", garment, "--out", "plan.json").code == 0
    nowhere = "no/such/folder/file"
    refused(filled("stash", "export", f"{nowhere}.json", "--json"), "file.json")
    refused(filled("stash", "backup", f"{nowhere}.zip", "--json"), "file.zip")
    refused(filled("enough", garment, "--out", f"{nowhere}.json", "--json"), "file.json")
    refused(filled("sheet", "plan.json", "--out", f"{nowhere}.pdf", "--json"), "file.pdf")


def test_a_fault_of_our_own(call: Call, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """An error that nobody foresaw is status 70, one sentence, and a report file that holds what we need to mend it."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

    def fails() -> Any:
        raise ZeroDivisionError("a thing that cannot be")

    monkeypatch.setattr(app, "build", fails)
    done = call("undo", "--json")
    assert (done.code, done.document["schema"]) == (70, "error/1")
    (report,) = tmp_path.glob("stripewright-report-*.txt")
    assert report.name in done.document["remedy"]
    assert "ZeroDivisionError" in report.read_text(encoding="utf-8")
    os.unlink(report)


def test_interrupted(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """Interrupted by the person: status 130 and a quiet word."""

    def stops() -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(app, "build", stops)
    done = call("undo")
    assert (done.code, done.out) == (130, "")
    assert "stopped" in done.err
