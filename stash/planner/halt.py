"""Being stopped, by Ctrl-C or because the time is up: either interrupts whatever is being done, so that what was found
so far is given at once, however long the step would have taken.
"""

from __future__ import annotations

import signal
import time
from _thread import allocate_lock, start_new_thread
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import current_thread, main_thread
from typing import Any, Final, Literal

Ended = Literal["time", "stopped"]
"""Why no more was looked for: the time was up, or the user did not want to wait."""

SOON_S: Final = 0.001
"""When an alarm that is overdue rings: at once, but not inside what is just being left."""

AGAIN_S: Final = 0.05
"""How long after an alarm that nobody heard it rings again. Python drops what is raised while it tidies memory up."""

LISTEN_S: Final = 0.02
"""How long the solver may work before we listen for an interruption again."""


class TimeUp(KeyboardInterrupt):
    """The time that was allowed is over. It passes where Ctrl-C passes, and nothing takes it for a mistake."""

    def __init__(self, bell: _Bell | None = None) -> None:
        super().__init__()
        self.bell = bell


@dataclass(slots=True, eq=False)
class _Bell:
    """One alarm. It rings until it is heard or its block is left."""

    heard: bool = False


_bells: list[_Bell] = []
"""The alarms that are set, each inside those before it; the last one rings."""


def how(interruption: KeyboardInterrupt) -> Ended:
    """Which of the two it was. An alarm is heard with this, and rings no more."""
    if not isinstance(interruption, TimeUp):
        return "stopped"
    if interruption.bell is not None:
        interruption.bell.heard = True
    return "time"


@contextmanager
def alarm(seconds: float) -> Iterator[None]:
    """Raises TimeUp in the main thread after so many seconds, unless the block is left before.

    Alarms may be set inside one another: each rings at its own level, the inner at the latest when the outer does.
    Where there is no such clock (other threads, other systems) only the deadlines inside count.
    """
    if current_thread() is not main_thread() or not hasattr(signal, "setitimer"):
        yield
        return
    began = time.monotonic()
    bell = _Bell()
    handler = signal.getsignal(signal.SIGALRM)
    before_s, every_s = signal.getitimer(signal.ITIMER_REAL)
    try:
        _bells.append(bell)
        signal.signal(signal.SIGALRM, _ring)
        due_s = min(seconds, before_s) if before_s > 0 else seconds
        signal.setitimer(signal.ITIMER_REAL, max(SOON_S, due_s), AGAIN_S)
        yield
    finally:
        bell.heard = True  # before all else: what follows is not to be interrupted
        signal.setitimer(signal.ITIMER_REAL, 0)
        _bells.remove(bell)
        signal.signal(signal.SIGALRM, handler)
        if before_s > 0:
            signal.setitimer(signal.ITIMER_REAL, max(SOON_S, before_s - (time.monotonic() - began)), every_s)


def _ring(number: int, frame: Any) -> None:
    del number
    if _bells and not _bells[-1].heard and not importing(frame):
        raise TimeUp(_bells[-1])


def importing(frame: Any) -> bool:
    """Whether a module is being read in there: some, written in C, take an interruption for a fault of their own and
    cannot be had any more afterwards."""
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back
    return False


def solved(solver: Any, model: Any) -> Any:
    """The status of a CP-SAT solver asked for a model, so that an interruption is heard.

    Left to itself the solver keeps Ctrl-C from us, and afterwards the process dies of the next one without a word.
    """
    solver.parameters.catch_sigint_signal = False
    return heard(lambda: solver.solve(model), solver.stop_search)


def heard(ask: Callable[[], Any], stop: Callable[[], Any]) -> Any:
    """What ``ask`` answers, in a thread of its own, so that an interruption is heard; ``stop`` makes it end."""
    work = _Work(ask)
    try:
        start_new_thread(work.run, ())
        while not work.done:
            work.wait()
    except KeyboardInterrupt as interruption:
        work.stopped = True
        how(interruption)
        while work.begun and not work.done:
            stop()  # again and again: a solver that has not begun to search does not hear it
            work.wait()
        raise
    for failure in work.failures:
        raise failure
    return work.answers[0]


@dataclass(slots=True, eq=False)
class _Work:
    """What a solver is asked, in a thread of its own.

    What the two threads tell each other are flags; the gate only wakes the one that waits. The events, conditions and
    threads of Python's ``threading`` are programs themselves: an interruption inside one of them leaves its lock shut
    for ever. One lock, opened by the one thread and tried by the other for a while, cannot be left so.
    """

    ask: Callable[[], Any]
    gate: Any = field(default_factory=allocate_lock)
    answers: list[Any] = field(default_factory=list)
    failures: list[BaseException] = field(default_factory=list)
    begun: bool = False
    stopped: bool = False
    done: bool = False

    def __post_init__(self) -> None:
        self.gate.acquire()

    def run(self) -> None:
        """Asks, unless it was stopped before it began."""
        self.begun = True
        try:
            if not self.stopped:
                self.answers.append(self.ask())
        except BaseException as failure:
            self.failures.append(failure)
        finally:
            self.done = True
            self.gate.release()

    def wait(self) -> None:
        """Until it is done, but no longer than we may be deaf."""
        self.gate.acquire(timeout=LISTEN_S)
