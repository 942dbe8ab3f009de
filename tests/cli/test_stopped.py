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


def test_ctrl_c_in_the_middle_of_an_import_is_heard_after_it(tmp_path: Path) -> None:
    """Modules in C that are interrupted while they are read say that they cannot be had (an ImportError, which is no
    Ctrl-C): so the import is let end, and the Ctrl-C heard then, be it typed or the time that is up."""
    (tmp_path / "in_c.py").write_text(
        "import os, signal, time\n"
        "try:\n"
        "    os.kill(os.getpid(), signal.SIGINT)\n"
        "    time.sleep(0.3)\n"
        "except KeyboardInterrupt:\n"
        "    raise ImportError('failed to import') from None\n"
    )
    program = (
        "import time\n"
        "from stash.cli import main\n"
        "from stash.planner.halt import TimeUp, alarm\n"
        "main.listen()\n"
        "try:\n"
        "    with alarm(0.1):\n"
        "        import in_c\n"
        "        print('whole')\n"
        "        time.sleep(9)\n"
        "except KeyboardInterrupt as heard:\n"
        "    print(type(heard).__name__)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", program], cwd=tmp_path, env={**os.environ, "PYTHONPATH": f"{ROOT}:{tmp_path}"},
        capture_output=True, preexec_fn=_hear_ctrl_c, check=False,
    )  # fmt: skip
    printed = run.stdout.decode().split()
    assert printed[:1] == ["whole"], run.stderr.decode()
    assert printed[1] in ("KeyboardInterrupt", "TimeUp")


@pytest.mark.parametrize("words", [("stash", "list"), ("stash", "list", "--json"), ("--help",)])
def test_what_a_terminal_has_no_letters_for_is_escaped(tmp_path: Path, words: tuple[str, ...]) -> None:
    """On a terminal that knows ASCII alone names are shown as JSON writes them, and a document stays one."""
    piece = {"id": "Stück", "fabric": "縞", "outline_mm": [[0, 0], [9, 0], [9, 9]]}
    fabric = {"id": "縞", "name": "Größe 🧵", "print": {"kind": "plain"}}
    document = {"schema": "stash/1", "fabrics": [fabric], "pieces": [piece]}
    (tmp_path / "s.json").write_text(json.dumps(document), encoding="utf-8")
    given = ("--stash", "s.json") if words[0] == "stash" else ()
    run = subprocess.run(
        [sys.executable, "-m", "stash", *words, *given], cwd=tmp_path, capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii"},
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    if "--json" in words:
        assert json.loads(run.stdout)["pieces"][0]["id"] == "Stück"
    elif "list" in words:
        assert "St\\u00fcck" in run.stdout.decode("ascii")
