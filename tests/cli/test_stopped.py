"""Ctrl-C at a terminal: the best that is known is shown, at once, with what was left out."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import IO

import pytest

from tests.makers.border_case import GARMENT, border_case
from tests.makers.border_file import write

ROOT = Path(__file__).parents[2]

#: Seconds in which an answer must be there on a machine that has other things to do.
PATIENCE_S = 60.0

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and terminals of another kind")


def _hear_ctrl_c() -> None:
    """A program started behind a shell's back is born deaf to Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _stopped(folder: Path, name: str, words: str, *arguments: str) -> tuple[int, str, str]:
    """Runs ``enough`` on a border at a terminal and presses Ctrl-C once the progress line says ``words``.

    Gives the exit status, what it printed, and what the terminal showed meanwhile.
    """
    import pty

    shown, terminal = pty.openpty()
    command = [sys.executable, "-m", "stash", "enough", f"{name}.toml", "--stash", f"{name}.json", *arguments]
    run = subprocess.Popen(
        command, cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE, stderr=terminal,
        preexec_fn=_hear_ctrl_c,
    )  # fmt: skip
    os.close(terminal)
    with os.fdopen(shown, "rb", buffering=0) as screen:
        seen = _until(screen, words)
        run.send_signal(signal.SIGINT)
        printed = run.communicate(timeout=PATIENCE_S)[0].decode()
    return run.returncode, printed, seen


def _until(screen: IO[bytes], words: str) -> str:
    """What is shown up to and with the words."""
    seen, began = "", time.monotonic()
    while words not in seen and time.monotonic() < began + PATIENCE_S:
        try:
            seen += os.read(screen.fileno(), 4096).decode(errors="replace")
        except OSError:
            break
    return seen


def test_a_yes_is_given_with_the_best_plan_so_far(tmp_path: Path) -> None:
    """While a cheaper plan is sought Ctrl-C gives the one that is known, whole, and says what was not looked for."""
    write(border_case(507, along=True, size=GARMENT), "border", tmp_path)
    code, printed, seen = _stopped(tmp_path, "border", "looking for a better plan", "--json")
    document = json.loads(printed)
    assert "Traceback" not in seen
    assert (code, document["answer"], document["ended"]) == (0, "yes", "stopped")
    assert document["proven"]
    assert document["placements"]
    assert "a cheaper plan" in document["untold"]


def test_a_no_is_given_without_waiting_for_the_ways_out(tmp_path: Path) -> None:
    """The no is certain before its ways out are sought; stopped then, it is said, and that they were not looked for."""
    write(border_case(500, along=False, size=GARMENT), "border", tmp_path)
    code, printed, _ = _stopped(tmp_path, "border", "looking for what is in the way")
    told = " ".join(printed.split())
    assert code == 1
    assert told.startswith("No: border cannot be cut from this cloth.")
    assert "Not looked for to the end, for you stopped it" in told
    assert "what would make it a yes" in told
    assert "No single small change" not in told
