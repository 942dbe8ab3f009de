"""Being stopped, by Ctrl-C or because the time is up: either interrupts whatever is being done, so that what was found
so far is given at once, however long the step would have taken.
"""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread, current_thread, main_thread
from typing import Any, Final, Literal

Ended = Literal["time", "stopped"]
"""Why no more was looked for: the time was up, or the user did not want to wait."""

SOON_S: Final = 0.001
"""When an alarm that is overdue rings again: at once, but not inside what is just being left."""

LISTEN_S: Final = 0.02
"""How long the solver may work before we listen for an interruption again."""


class TimeUp(KeyboardInterrupt):
    """The time that was allowed is over. It passes where Ctrl-C passes, and nothing takes it for a mistake."""


def how(interruption: KeyboardInterrupt) -> Ended:
    """Which of the two it was."""
    return "time" if isinstance(interruption, TimeUp) else "stopped"


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
    handler = signal.signal(signal.SIGALRM, _ring)
    before_s, every_s = signal.setitimer(signal.ITIMER_REAL, max(SOON_S, seconds))
    if 0 < before_s < seconds:
        signal.setitimer(signal.ITIMER_REAL, before_s)
    try:
        yield
    finally:
        try:
            signal.setitimer(signal.ITIMER_REAL, 0)
        finally:
            signal.signal(signal.SIGALRM, handler)
            if before_s > 0:
                signal.setitimer(signal.ITIMER_REAL, max(SOON_S, before_s - (time.monotonic() - began)), every_s)


def _ring(number: int, frame: Any) -> None:
    del number, frame
    raise TimeUp


def solved(solver: Any, model: Any) -> Any:
    """The status of a CP-SAT solver asked for a model, in a thread of its own so that an interruption is heard.

    Left to itself the solver keeps Ctrl-C from us, and afterwards the process dies of the next one without a word.
    """
    solver.parameters.catch_sigint_signal = False
    answers: list[Any] = []
    failures: list[BaseException] = []
    stopped, begun, done = Event(), Event(), Event()

    def ask() -> None:
        begun.set()
        try:
            if not stopped.is_set():
                answers.append(solver.solve(model))
        except BaseException as failure:
            failures.append(failure)
        finally:
            done.set()

    work = Thread(target=ask, daemon=True)
    try:
        work.start()
        while not done.wait(LISTEN_S):
            pass
    except KeyboardInterrupt:
        stopped.set()
        while begun.is_set() and not done.wait(LISTEN_S):
            solver.stop_search()  # again and again: a solver that has not begun to search does not hear it
        raise
    for failure in failures:
        raise failure
    return answers[0]
