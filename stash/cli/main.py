"""The program: hands the words to a command, and turns every way of failing into one sentence and a status.

Status: 0 done or yes, 1 no, 2 the input or the call is wrong, 3 not certain, 70 our own fault, 130 interrupted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import NoReturn

DONE, INTERRUPTED = 0, 130


def run() -> NoReturn:
    """The console script. A stream that whoever calls us has closed is as good as one that nobody reads."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_RDWR), mode, encoding="utf-8"))
    sys.exit(status(sys.argv[1:]))


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
