"""Many photographs: folders, all cores, a run that goes on where it was stopped."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Generator, Sequence
from multiprocessing import active_children
from pathlib import Path

import pytest
from PIL import Image

from stash.cli import batch
from stash.measuring import Asked, overlay_files, photographs
from tests.cli.conftest import Call


def _blank(file: Path, shade: int = 200) -> Path:
    """A picture of nothing, quickly measured: no scale, status 3."""
    file.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (160, 120), (shade, shade, shade - 8)).save(file)
    return file


def test_a_folder_stands_for_its_photographs(tmp_path: Path) -> None:
    """Photographs of a folder and those below it, by their names, but for those named before; other files are not."""
    names = ["b.JPG", "a.png", "notes.txt", "more/c.heic"]
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    found = photographs([tmp_path / "b.JPG", tmp_path])
    assert [file.relative_to(tmp_path).as_posix() for file in found] == ["b.JPG", "a.png", "more/c.heic"]


def test_a_folder_without_photographs_is_refused(call: Call, tmp_path: Path) -> None:
    """An empty folder is a wrong call, and the sentence says what was looked for."""
    (tmp_path / "empty").mkdir()
    done = call("measure", "empty", "--jsonl")
    assert done.code == 2
    assert "no photograph" in done.document["error"]
    assert "jpg" in done.document["remedy"]


def test_photographs_of_one_name_keep_their_own_overlays() -> None:
    """Two folders may hold a p.jpg each: neither overlay is written over the other."""
    files = overlay_files(Path("out/seen.png"), [Path("a/p.jpg"), Path("b/p.jpg"), Path("q.jpg")])
    assert [str(file) for file in files] == ["out/seen-p.png", "out/seen-p-2.png", "out/seen-q.png"]


def test_outcomes_come_in_order_from_several_cores(tmp_path: Path) -> None:
    """Two workers give what one gives, in the order in which the photographs were named, a bad file among them."""
    files = [_blank(tmp_path / f"{k}.png", 100 + 20 * k) for k in range(4)]
    files.insert(2, tmp_path / "missing.jpg")
    tasks = [batch.Task(photo=file, overlay=None) for file in files]
    shared = list(batch.outcomes(tasks, Asked(), cores=2))
    assert shared == list(batch.outcomes(tasks, Asked(), cores=1))
    assert [found.status for found in shared] == [3, 3, 2, 3, 3]
    assert "missing.jpg" in shared[2].document["error"]


def test_a_worker_that_dies_stops_only_its_own_photograph(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system kills a worker, every photograph still has its outcome; the one that does it, a fault."""
    files = [_blank(tmp_path / f"{name}.png") for name in ("one", "deadly", "two")]
    monkeypatch.setattr(batch, "outcome", _dies_of_deadly)
    found = list(batch.outcomes([batch.Task(photo=file, overlay=None) for file in files], Asked(), cores=2))
    assert [one.status for one in found] == [0, 70, 0]
    assert "memory" in found[1].document["error"]


def _dies_of_deadly(task: batch.Task, asked: Asked) -> batch.Outcome:
    """Stands in for measuring; runs in the worker."""
    if task.photo.stem == "deadly":
        os.kill(os.getpid(), signal.SIGKILL)
    return batch.Outcome(document={"schema": "measurement/1"}, status=0)


def _rows(file: Path) -> list[dict[str, object]]:
    return [json.loads(row) for row in file.read_text().splitlines()]


def test_a_second_run_measures_only_what_is_new(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With --into, photographs that were measured are not measured again; changed ones and new ones are."""
    first, second = _blank(tmp_path / "p" / "1.png"), _blank(tmp_path / "p" / "2.png", 90)
    assert call("measure", "p", "--into", "all.jsonl").code == 3
    assert [row["photo"] for row in _rows(tmp_path / "all.jsonl")] == ["1.png", "2.png"]
    measured: list[str] = []

    def watched(tasks: Sequence[batch.Task], asked: Asked, *, cores: int | None = None) -> object:
        measured.extend(task.photo.name for task in tasks)
        return iter([batch.outcome(task, asked) for task in tasks])

    monkeypatch.setattr(batch, "outcomes", watched)
    again = call("measure", "p", "--into", "all.jsonl", "--jsonl")
    assert (again.code, measured) == (3, [])
    assert [json.loads(row)["photo"] for row in again.out.splitlines()] == ["1.png", "2.png"]
    _blank(second, 30)
    _blank(first.with_name("3.png"))
    call("measure", "p", "--into", "all.jsonl")
    assert measured == ["2.png", "3.png"]
    measured.clear()
    call("measure", "p", "--into", "all.jsonl", "--ruler", "inch")
    assert measured == ["1.png", "2.png", "3.png"]


def test_a_line_that_was_cut_off_is_measured_again(call: Call, tmp_path: Path) -> None:
    """A run killed while it wrote leaves half a line: it is dropped, the whole lines are kept."""
    for name in ("1.png", "2.png"):
        _blank(tmp_path / "p" / name)
    call("measure", "p", "--into", "all.jsonl")
    kept = (tmp_path / "all.jsonl").read_text()
    (tmp_path / "all.jsonl").write_text(kept[:-40])
    assert call("measure", "p", "--into", "all.jsonl").code == 3
    assert (tmp_path / "all.jsonl").read_text() == kept


@pytest.mark.parametrize("text", ["my list of cloths\n", '{"schema": "stash/1"}', '{"schema": "measurement/1"}\n'])
def test_a_file_of_something_else_is_left_alone(call: Call, tmp_path: Path, text: str) -> None:
    """A file that --into did not write is never written to."""
    _blank(tmp_path / "1.png")
    (tmp_path / "mine.txt").write_text(text)
    done = call("measure", "1.png", "--into", "mine.txt")
    assert done.code == 2
    assert "--into" in done.err
    assert (tmp_path / "mine.txt").read_text() == text


@pytest.mark.skipif(sys.platform == "win32", reason="terminals of another kind")
def test_lines_reach_a_pipe_though_a_terminal_shows_the_bar(tmp_path: Path) -> None:
    """With standard error a terminal, the bar is drawn there; standard output still holds one whole line a photo."""
    import pty

    for k in range(2):
        _blank(tmp_path / f"{k}.png")
    shown, terminal = pty.openpty()
    try:
        command = [sys.executable, "-m", "stash", "measure", "0.png", "1.png", "--jsonl"]
        environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
        done = subprocess.run(command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=terminal)
    finally:
        os.close(terminal)
        os.close(shown)
    assert [json.loads(row)["photo"] for row in done.stdout.splitlines()] == ["0.png", "1.png"]


def test_nobody_is_kept_waiting_for_what_is_no_longer_wanted(tmp_path: Path) -> None:
    """A run that is left after its first photograph leaves the others too, however long they would take."""
    tasks = []
    for k in range(6):
        Image.new("RGB", (4000, 3000), (200, 200, 190 + k)).save(tmp_path / f"{k}.png")
        tasks.append(batch.Task(photo=tmp_path / f"{k}.png", overlay=None))
    others = active_children()
    found = batch.outcomes(tasks, Asked(), cores=2)
    assert isinstance(found, Generator)
    next(found)
    workers = [worker for worker in active_children() if worker not in others]
    assert workers
    found.close()
    left = time.monotonic() + 60
    while any(worker.exitcode is None for worker in workers) and time.monotonic() < left:
        time.sleep(0.02)  # the pool waits for them too, and only one of us is told
    stopped = -signal.SIGTERM  # who had gone on to the end would have left with 0
    assert [worker.exitcode for worker in workers] == [stopped] * len(workers)


def _hear_ctrl_c() -> None:
    """A program started behind a shell's back is born deaf to Ctrl-C, and so are the tests' own programs."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of another kind")
def test_a_run_that_is_stopped_keeps_what_it_had(tmp_path: Path) -> None:
    """Ctrl-C ends with status 130 and no traceback; the lines that were written are whole, and the next run ends it."""
    for k in range(40):
        _blank(tmp_path / "p" / f"{k:02}.png", 60 + k)
    command = [sys.executable, "-m", "stash", "measure", "p", "--into", "all.jsonl"]
    kept = tmp_path / "all.jsonl"
    root = str(Path(__file__).parents[2])
    run = subprocess.Popen(
        command, cwd=tmp_path, env={**os.environ, "PYTHONPATH": root}, stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL, preexec_fn=_hear_ctrl_c,
    )  # fmt: skip
    started = time.monotonic()
    while (not kept.exists() or not kept.read_text()) and time.monotonic() < started + 60:
        time.sleep(0.02)
    run.send_signal(signal.SIGINT)
    told = run.communicate(timeout=60)[1].decode()
    assert run.returncode == 130
    assert told.strip() == "stripewright: stopped; what was not finished was not kept"
    before = _rows(kept)
    assert 0 < len(before) < 40
    again = subprocess.run(command, cwd=tmp_path, env={**os.environ, "PYTHONPATH": root}, capture_output=True)
    assert again.returncode == 3
    assert sorted(str(row["photo"]) for row in _rows(kept)) == [f"{k:02}.png" for k in range(40)]
