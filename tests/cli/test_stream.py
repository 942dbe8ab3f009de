"""Streams that nobody reads or that are closed, files that would be written over, Ctrl-C while it starts."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from stash import measuring
from tests.cli.conftest import Call, strips

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes and signals of another kind")


def _called(words: str, folder: Path, how: str) -> subprocess.CompletedProcess[str]:
    """The program called by a shell that goes on as ``how`` says."""
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "PYTHONUNBUFFERED": "1",
        "STRIPEWRIGHT_STASH": str(folder / "s"),
    }
    command = f"{sys.executable} -m stash {words} {how}"
    return subprocess.run(["bash", "-c", command], cwd=folder, env=environment, capture_output=True, text=True)


@pytest.mark.parametrize(("length", "code"), [("300 mm", 0), ("9 m", 1)])
def test_the_status_is_the_answer_though_nobody_reads(filled: Call, tmp_path: Path, length: str, code: int) -> None:
    """A yes is 0 and a no is 1 where the reader of the answer has gone before it is there."""
    strips(tmp_path / "g.toml", f'id = "band"\nlength = "{length}"\nwidth = "2 in"')
    done = _called("enough g.toml --stash filled.json --limit 20", tmp_path, "| true; exit ${PIPESTATUS[0]}")
    assert (done.returncode, done.stdout, done.stderr) == (code, "", "")


def test_a_help_that_nobody_reads_is_done(tmp_path: Path) -> None:
    """The reader of a help text has gone: status 0, and no word."""
    done = _called("measure --help", tmp_path, "| true; exit ${PIPESTATUS[0]}")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_a_closed_stream_is_no_fault(tmp_path: Path, closed: str) -> None:
    """Standard input, output or error closed by whoever calls: what is asked is done."""
    assert _called("stash list", tmp_path, closed).returncode == 0
    assert _called("ask", tmp_path, "<&-").returncode == 2


def test_interrupted_while_it_starts(tmp_path: Path) -> None:
    """Ctrl-C while the commands are being read in: status 130 and a quiet word."""
    script = (
        "import sys\n"
        "class Stops:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'typer':\n"
        "            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Stops())\n"
        "from stash.cli.main import run\n"
        "run()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True,
        text=True,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr.strip() == "stripewright: stopped; what was not finished was not kept"


def test_nothing_that_is_read_is_written_over(filled: Call, tmp_path: Path) -> None:
    """--out that names the garment file or the stash's document, and --overlay that names a photograph, are refused."""
    garment = strips(tmp_path / "g.toml", 'id = "band"\nlength = "300 mm"\nwidth = "2 in"')
    photo = tmp_path / "p-a.png"
    photo.write_bytes(b"a photograph")
    (tmp_path / "a.png").write_bytes(b"another")
    before = {file: file.read_bytes() for file in (garment, tmp_path / "filled.json", photo)}
    calls = (
        ("enough", garment, "--out", "./g.toml"),
        ("enough", garment, "--stash", "filled.json", "--out", "filled.json"),
        ("which-cloth", garment, "--out", "g.toml"),
        ("measure", "p-a.png", "--overlay", "p-a.png"),
        ("measure", "a.png", "p-a.png", "--overlay", "p.png"),
    )
    for words in calls:
        done = filled(*words)
        assert done.code == 2
        assert "over" in done.err
        assert {file: file.read_bytes() for file in before} == before


def test_an_overlay_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped while an overlay is being written, the file that was there is as it was."""

    def stopped(self: object, target: Any, **_: object) -> None:
        if isinstance(target, Path):
            target.write_bytes(b"half a picture")
        raise KeyboardInterrupt

    monkeypatch.setattr("vision.overlay.draw", lambda *_: np.zeros((60, 80, 3), np.uint8))
    monkeypatch.setattr(Image.Image, "save", stopped)
    file = tmp_path / "seen.png"
    file.write_bytes(b"a picture")
    with pytest.raises(KeyboardInterrupt):
        measuring.draw_overlay(None, None, file)
    assert file.read_bytes() == b"a picture"
