"""Every way of failing as one sentence, its remedy and an exit status: the one place that knows them all."""

from __future__ import annotations

import sys
import tempfile
import traceback
from dataclasses import dataclass
from typing import Any, Final

import typer

from stash.errors import NotCertain, OurFault, StashError
from vision.errors import ScaleNotFound, VisionError

DONE, WRONG, UNCERTAIN, FAULT, INTERRUPTED = 0, 2, 3, 70, 130

#: What every mistake in a call derives from. Typer carries it inside and does not name it at its door.
_CALL_WRONG: Final = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")
_NO_COMMAND: Final = "NoArgsIsHelpError"


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """What is wrong, how to mend it, and the exit status. ``help`` is shown instead where no command was named."""

    status: int
    problem: str
    remedy: str
    help: str | None = None

    @property
    def document(self) -> dict[str, str]:
        """The document ``error/1``."""
        return {"schema": "error/1", "error": self.problem, "remedy": self.remedy}


def failure_of(error: Exception) -> Failure:
    """What to say of an error. One that nobody foresaw is our own fault, and a report of it is written."""
    if isinstance(error, _CALL_WRONG):
        return _wrong_call(error)
    if isinstance(error, OurFault):
        return _fault(error.problem, error.remedy)
    if isinstance(error, ScaleNotFound | NotCertain):
        return Failure(status=UNCERTAIN, problem=error.problem, remedy=error.remedy)
    if isinstance(error, StashError | VisionError):
        return Failure(status=WRONG, problem=error.problem, remedy=error.remedy)
    kind = " ".join(f"{type(error).__name__}: {error}".split())[:200]
    return _fault(f"something went wrong inside the program ({kind})", "nothing of yours was changed")


def _wrong_call(error: Any) -> Failure:
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "stripewright"
    if type(error).__name__ == _NO_COMMAND:
        problem, help_ = "no command was given", str(error.format_message())
    else:
        problem, help_ = " ".join(error.format_message().split()).rstrip("."), None
    return Failure(status=WRONG, problem=problem[:1].lower() + problem[1:], remedy=f"see {command} --help", help=help_)


def _fault(problem: str, remedy: str) -> Failure:
    report = _report()
    sending = f"please send us the report {report}" if report else "please tell us what you did"
    return Failure(status=FAULT, problem=problem, remedy=f"{remedy}; {sending}")


def _report() -> str | None:
    """Writes what we need to mend a fault to a file and names it; None where no file can be written.

    It holds no photographs and no catalogue.
    """
    import platform

    versions = "\n".join(
        f"{name} {_version(name)}"
        for name in ("stripewright", "numpy", "opencv-python", "ortools", "shapely", "SQLAlchemy", "typer")
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


def _version(name: str) -> str:
    from importlib import metadata

    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "is not installed"
