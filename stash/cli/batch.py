"""Many photographs on all cores: one outcome each, in the order they were named; a bad one never stops the rest."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack
from dataclasses import dataclass, replace
from multiprocessing import active_children, get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stash.cli.failure import DONE, FAULT, UNCERTAIN, WRONG, failure_of

if TYPE_CHECKING:
    from stash.measuring import Asked

#: Exit statuses, the worst first: a batch ends with the worst of its photographs'.
WORST_FIRST = (FAULT, WRONG, UNCERTAIN, DONE)
#: Photographs waiting for a free core, for each core: enough to keep it busy, few to lose when stopped.
_AHEAD = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One photograph to measure, and where its overlay goes (None: nowhere)."""

    photo: Path
    overlay: Path | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a photograph: ``measurement/1`` or ``error/1``, and the exit status it would have alone."""

    document: dict[str, Any]
    status: int


def outcomes(tasks: Sequence[Task], asked: Asked, *, cores: int | None = None) -> Iterator[Outcome]:
    """The outcome of each task, in order. Photographs in which a worker dies are measured again alone, once."""
    workers = min(cores or _cores(), len(tasks))
    if workers <= 1:
        yield from (outcome(task, asked) for task in tasks)
        return
    at = 0
    try:
        for found in _shared(tasks, asked, workers):
            at += 1
            yield found
    except BrokenProcessPool:
        for task in tasks[at:]:
            yield _alone(task, asked)


def outcome(task: Task, asked: Asked) -> Outcome:
    """One photograph measured; whatever is wrong with it is its outcome."""
    from stash.measuring import measured

    try:
        document = measured(task.photo, asked, task.overlay)
    except Exception as error:
        failure = failure_of(error)
        if task.photo.name not in failure.problem:
            failure = replace(failure, problem=f"{task.photo}: {failure.problem}")
        return Outcome(document=failure.document, status=failure.status)
    return Outcome(document=document, status=UNCERTAIN if document["scale"] is None else DONE)


def _shared(tasks: Sequence[Task], asked: Asked, workers: int) -> Iterator[Outcome]:
    """The outcomes from a pool of workers that never holds more than it can soon begin.

    Where no more is wanted, as after Ctrl-C, the workers leave what they are at: nobody is kept waiting for it.
    """
    with ExitStack() as stack:
        pool = _pool(workers)
        stack.callback(pool.shutdown, wait=False, cancel_futures=True)
        stack.push(_leave)
        waiting: list[Future[Outcome]] = []
        for task in tasks:
            waiting.append(pool.submit(outcome, task, asked))
            if len(waiting) >= workers * _AHEAD:
                yield waiting.pop(0).result()
        for future in waiting:
            yield future.result()


def _leave(kind: type[BaseException] | None, *_: object) -> None:
    """Ends this process's workers where a run ends before its photographs do."""
    if kind is not None:
        for worker in active_children():
            worker.terminate()


def _alone(task: Task, asked: Asked) -> Outcome:
    """The outcome of a photograph that may kill its worker, as one too large for the memory does."""
    with _pool(1) as pool:
        try:
            return pool.submit(outcome, task, asked).result()
        except BrokenProcessPool:
            problem = f"measuring {task.photo} was stopped by the system, most likely for want of memory"
            remedy = "give a smaller copy of it, or close other programs"
            return Outcome(document={"schema": "error/1", "error": problem, "remedy": remedy}, status=FAULT)


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(max_workers=workers, mp_context=get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """A worker keeps to one core and leaves Ctrl-C to the process that started it."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    from stash.measuring import on_one_core

    on_one_core()


def _cores() -> int:
    """The cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
