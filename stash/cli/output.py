"""How things are shown: one document on standard output, all else on standard error; progress on a terminal only."""

from __future__ import annotations

import os
import re
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final, TextIO

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry

#: Columns that text is wrapped to: the width of a plain terminal, less a margin.
WIDTH = 78


#: Between a figure and its fraction or unit, where no line may end, and what keeps them together meanwhile.
_FIGURE: Final = re.compile(r"(?<=\d) (?=\d+/\d|(?:in|mm|cm|yd|mm2)\b|of \d)")
_TOGETHER: Final = "\u00a0"


def complain(problem: str, remedy: str) -> None:
    """One sentence on standard error: what is wrong and how to mend it."""
    _put(f"stripewright: {problem}: {remedy}" if remedy else f"stripewright: {problem}", sys.stderr)


def say(text: str) -> None:
    """Text on standard output. Where its reader has gone, as with "| head", the rest goes nowhere: what is done and the
    exit status stay what they are."""
    _put(text, sys.stdout)


def flush() -> bool:
    """Hands over what was said; False where its reader has gone."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _unread(sys.stdout)
        return False
    return True


def _put(text: str, stream: TextIO) -> None:
    try:
        print(text, file=stream)
    except BrokenPipeError:
        _unread(stream)


def _unread(stream: TextIO) -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def document(value: Any) -> None:
    """A JSON document on standard output."""
    from stash.actions import as_json

    say(as_json(value))


def line(value: Any) -> bool:
    """A JSON document in one line on standard output, at once; False where its reader has gone."""
    import json

    say(json.dumps(value, ensure_ascii=False, allow_nan=False))
    return flush()


def done(value: Any, rows: Iterable[str], *, json: bool) -> None:
    """What a command did: as a document, or in words."""
    if json:
        document(value)
    else:
        lines(rows)


def entry(made: Entry | None) -> dict[str, Any]:
    """The document of one line of the journal; with no change made, all its lists are empty."""
    return {
        "schema": "entry/1",
        "verb": made.verb if made is not None else None,
        "summary": made.summary if made is not None else "nothing was changed",
        "notes": list(made.notes) if made is not None else [],
        "fabrics_in": list(made.fabrics_in) if made is not None else [],
        "pieces_in": list(made.pieces_in) if made is not None else [],
        "pieces_out": list(made.pieces_out) if made is not None else [],
    }


def lines(rows: Iterable[str]) -> None:
    """Text on standard output, each row wrapped with its own indent kept."""
    for row in rows:
        say(wrapped(row))


def wrapped(row: str) -> str:
    """A row of text folded to the terminal's width, its continuation indented two columns deeper."""
    indent = " " * (len(row) - len(row.lstrip()))
    return "\n".join(folded(row.strip(), WIDTH, initial_indent=indent, subsequent_indent=indent + "  "))


def folded(text: str, width: int, *, initial_indent: str = "", subsequent_indent: str = "") -> list[str]:
    """Text folded to a width, in lines. A figure stays with its fraction and its unit: half of it is another figure."""
    lines = textwrap.wrap(
        _FIGURE.sub(_TOGETHER, text), width, initial_indent=initial_indent, subsequent_indent=subsequent_indent,
        break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace(_TOGETHER, " ") for line in lines]


@contextmanager
def progress(first: str) -> Iterator[Any]:
    """A teller of what is being done, in one line that is overwritten; silent where nobody watches."""
    watched = sys.stderr.isatty()

    def tell(what: str) -> None:
        if watched:
            print(f"\r\033[K… {what[: WIDTH - 4]}", end="", file=sys.stderr, flush=True)

    tell(first)
    try:
        yield tell
    finally:
        if watched:
            print("\r\033[K", end="", file=sys.stderr, flush=True)


@contextmanager
def steps(what: str, total: int) -> Iterator[Callable[[str], None]]:
    """A bar that grows by one with each call and names what was done last; silent where nobody watches."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(24), MofNCompleteColumn(), TimeRemainingColumn(compact=True))
    bar = Progress(
        *columns,
        console=Console(file=sys.stderr),
        transient=True,
        disable=not sys.stderr.isatty(),
        redirect_stdout=sys.stdout.isatty(),  # a pipe or a file must get its lines, bar or no bar
    )
    with bar:
        task = bar.add_task(what, total=total)
        yield lambda name: bar.update(task, advance=1, description=f"{what}, {name[: WIDTH - 54]}")
