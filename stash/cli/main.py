"""The program: hands the words to a command, and turns every way of failing into one sentence and a status.

Status: 0 done or yes, 1 no, 2 the input or the call is wrong, 3 not certain, 70 our own fault, 130 interrupted.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import typer

from stash.cli import app
from stash.cli.failure import DONE, INTERRUPTED, failure_of
from stash.cli.output import complain


def run() -> NoReturn:
    """The console script."""
    sys.exit(status(sys.argv[1:]))


def status(arguments: Sequence[str]) -> int:
    """Runs one command and returns its exit status. Never raises, never shows a traceback."""
    as_json = any(word in ("--json", "--jsonl") for word in arguments)
    try:
        result = app.build()(args=list(arguments), prog_name="stripewright", standalone_mode=False)
        sys.stdout.flush()
        return result if isinstance(result, int) else DONE
    except (typer.Abort, KeyboardInterrupt):
        print("\nstripewright: stopped; what was not finished was not kept", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:  # the reader of our output has gone, as with "| head"
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as error:  # the last door: whatever it was, the person gets a sentence
        return _failed(error, as_json=as_json)


def _failed(error: Exception, *, as_json: bool) -> int:
    failure = failure_of(error)
    if as_json:
        print(json.dumps(failure.document, ensure_ascii=False))
    if failure.help is not None and not as_json:
        print(failure.help, file=sys.stderr)
    else:
        complain(failure.problem, failure.remedy)
    return failure.status
