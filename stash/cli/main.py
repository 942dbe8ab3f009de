"""The program: hands the words to a command, and turns every way of failing into one sentence and a status.

Status: 0 done or yes, 1 no, 2 the input or the call is wrong, 3 not certain, 70 our own fault, 130 interrupted.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from typing import NoReturn

import click

from stash.cli import app
from stash.cli.output import complain
from stash.errors import OurFault, StashError
from vision.errors import ScaleNotFound, VisionError

DONE, NO, WRONG, UNCERTAIN, FAULT, INTERRUPTED = 0, 1, 2, 3, 70, 130


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
    except click.exceptions.Abort:
        return _interrupted()
    except KeyboardInterrupt:
        return _interrupted()
    except click.ClickException as error:
        return _usage(error, as_json=as_json)
    except OurFault as error:
        return _fault(error.problem, error.remedy, as_json=as_json)
    except ScaleNotFound as error:
        _say(error.problem, error.remedy, as_json=as_json)
        return UNCERTAIN
    except (StashError, VisionError) as error:
        _say(error.problem, error.remedy, as_json=as_json)
        return WRONG
    except BrokenPipeError:  # the reader of our output has gone, as with "| head"
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as error:  # the last door: whatever it was, the person gets a sentence and a file to send
        kind = f"{type(error).__name__}: {error}".splitlines()[0][:200]
        return _fault(f"something went wrong inside the program ({kind})", "", as_json=as_json)


def _usage(error: click.ClickException, *, as_json: bool) -> int:
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "stripewright"
    problem = error.format_message().strip().rstrip(".") or "no command was given"
    _say(problem[:1].lower() + problem[1:], f"see {command} --help", as_json=as_json)
    return WRONG


def _interrupted() -> int:
    print("\nstopped; nothing was changed", file=sys.stderr)
    return INTERRUPTED


def _fault(problem: str, remedy: str, *, as_json: bool) -> int:
    report = _report()
    remedy = remedy or "nothing of yours was changed"
    _say(problem, f"{remedy}; please send us the report {report}", as_json=as_json)
    return FAULT


def _report() -> str:
    """Writes what we need to mend a fault to a file and names it. It holds no photographs and no catalogue."""
    import platform
    from importlib import metadata

    versions = "\n".join(
        f"{name} {metadata.version(name)}"
        for name in ("stripewright", "numpy", "opencv-python", "ortools", "shapely", "SQLAlchemy")
        if _installed(name)
    )
    with tempfile.NamedTemporaryFile(
        "w", prefix="stripewright-report-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        file.write(f"{' '.join(sys.argv)}\n{platform.platform()} Python {platform.python_version()}\n{versions}\n\n")
        file.write(traceback.format_exc())
        return file.name


def _installed(name: str) -> bool:
    from importlib import metadata

    try:
        metadata.version(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def _say(problem: str, remedy: str, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"schema": "error/1", "error": problem, "remedy": remedy}, ensure_ascii=False))
    complain(problem, remedy)
