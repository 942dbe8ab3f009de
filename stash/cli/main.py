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
from typing import Any, Final, NoReturn

import typer

from stash.cli import app
from stash.cli.output import complain
from stash.errors import NotCertain, OurFault, StashError
from vision.errors import ScaleNotFound, VisionError

DONE, WRONG, UNCERTAIN, FAULT, INTERRUPTED = 0, 2, 3, 70, 130

#: What every mistake in a call derives from. Typer carries it inside and does not name it at its door.
_CALL_WRONG: Final = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")
_NO_COMMAND: Final = "NoArgsIsHelpError"


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
        return _interrupted()
    except OurFault as error:
        return _fault(error.problem, error.remedy, as_json=as_json)
    except (ScaleNotFound, NotCertain) as error:
        _say(error.problem, error.remedy, as_json=as_json)
        return UNCERTAIN
    except (StashError, VisionError) as error:
        _say(error.problem, error.remedy, as_json=as_json)
        return WRONG
    except BrokenPipeError:  # the reader of our output has gone, as with "| head"
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as error:  # the last door: whatever it was, the person gets a sentence and a file to send
        if isinstance(error, _CALL_WRONG):
            return _usage(error, as_json=as_json)
        kind = f"{type(error).__name__}: {error}".splitlines()[0][:200]
        return _fault(f"something went wrong inside the program ({kind})", "", as_json=as_json)


def _usage(error: Any, *, as_json: bool) -> int:
    """A mistake in the call; where only the program or a group is named, its help instead of a complaint."""
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "stripewright"
    if type(error).__name__ == _NO_COMMAND and not as_json:
        print(error.format_message(), file=sys.stderr)
        return WRONG
    problem = " ".join(error.format_message().split()).rstrip(".") or "no command was given"
    _say(problem[:1].lower() + problem[1:], f"see {command} --help", as_json=as_json)
    return WRONG


def _interrupted() -> int:
    print("\nstripewright: stopped; what was not finished was not kept", file=sys.stderr)
    return INTERRUPTED


def _fault(problem: str, remedy: str, *, as_json: bool) -> int:
    report = _report()
    remedy = remedy or "nothing of yours was changed"
    sending = f"please send us the report {report}" if report else "please tell us what you did"
    _say(problem, f"{remedy}; {sending}", as_json=as_json)
    return FAULT


def _report() -> str | None:
    """Writes what we need to mend a fault to a file and names it; None where no file can be written.

    It holds no photographs and no catalogue.
    """
    import platform
    from importlib import metadata

    versions = "\n".join(
        f"{name} {metadata.version(name)}"
        for name in ("stripewright", "numpy", "opencv-python", "ortools", "shapely", "SQLAlchemy")
        if _installed(name)
    )
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="stripewright-report-", suffix=".txt", delete=False, encoding="utf-8", errors="replace"
        ) as file:
            called = " ".join(sys.argv)
            file.write(f"{called}\n{platform.platform()} Python {platform.python_version()}\n{versions}\n\n")
            file.write(traceback.format_exc())
            return file.name
    except OSError:
        return None


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
