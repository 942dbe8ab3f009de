"""The program: hands the words to a command, and turns every way of failing into one sentence and a status.

Status: 0 done or yes, 1 no, 2 the input or the call is wrong, 3 not certain, 70 our own fault, 130 interrupted.
"""

from __future__ import annotations

import codecs
import os
import signal
import sys
import time
from _thread import interrupt_main, start_new_thread
from collections.abc import Sequence
from typing import Any, Final, NoReturn

from stash.planner.halt import importing

DONE, INTERRUPTED = 0, 130

AGAIN_S: Final = 0.05
"""How long after a Ctrl-C that came in the middle of an import we listen to it again."""


def run() -> NoReturn:
    """The console script. A stream that whoever calls us has closed is as good as one that nobody reads."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_RDWR), mode, encoding="utf-8"))
    codecs.register_error("escaped", escaped)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="escaped")
    listen()
    sys.exit(status(sys.argv[1:]))


def escaped(fault: UnicodeError) -> tuple[str, int]:
    r"""What a terminal or file has no letter for, as JSON writes it: \u00fc. For ``codecs.register_error``."""
    import json

    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    return json.dumps(fault.object[fault.start : fault.end])[1:-1], fault.end


def listen() -> None:
    """From now on a Ctrl-C in the middle of an import is heard when that is over, unless nobody is to hear any."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _stop)


def _stop(number: int, frame: Any) -> None:
    del number
    if not importing(frame):
        raise KeyboardInterrupt
    start_new_thread(_again, ())


def _again() -> None:
    time.sleep(AGAIN_S)
    interrupt_main()


def status(arguments: Sequence[str]) -> int:
    """Runs one command and returns its exit status. Never raises, never shows a traceback."""
    try:
        code = _called(arguments)
    except KeyboardInterrupt:  # also while the commands are being read in
        code = INTERRUPTED
    if code == INTERRUPTED:
        print("\nstripewright: stopped; what was not finished was not kept", file=sys.stderr)
    return code


def _called(arguments: Sequence[str]) -> int:
    import typer

    from stash.cli import app, output

    try:
        result = app.build()(args=list(arguments), prog_name="stripewright", standalone_mode=False)
        output.flush()
        return result if isinstance(result, int) else DONE
    except typer.Abort:
        return INTERRUPTED
    except SystemExit:  # typer's word for a reader who has gone, as with "--help | head"
        return DONE
    except Exception as error:  # the last door: whatever it was, the person gets a sentence
        return _failed(error, as_json=any(word in ("--json", "--jsonl") for word in arguments))


def _failed(error: Exception, *, as_json: bool) -> int:
    import json

    from stash.cli.failure import failure_of
    from stash.cli.output import complain, flush, say

    failure = failure_of(error)
    if as_json:
        say(json.dumps(failure.document, ensure_ascii=False))
        flush()
    if failure.help is not None and not as_json:
        print(failure.help, file=sys.stderr)
    else:
        complain(failure.problem, failure.remedy)
    return failure.status
