"""The command demo: the whole path, told in a screenful."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output

if TYPE_CHECKING:
    from stash.demo import Story


def demo(
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="The folder to write to.")] = Path(
        "stripewright-demo"
    ),
    json: option.AsJson = False,
) -> None:
    """Show it all: measure sample photographs, plan a jacket, write the cutting sheet."""
    from stash.demo import play

    if not sys.stderr.isatty():
        print("measuring four photographs and planning a jacket; this takes under a minute", file=sys.stderr)
    with output.progress("opening the photographs") as tell:
        story = play(out, tell)
    document = {
        "schema": "demo/1",
        "folder": str(story.folder),
        "answer": story.answered.plan.answer,
        "files": [name for name, _ in story.files],
    }
    output.done(document, _told(story), json=json)


def _told(story: Story) -> Iterator[str]:
    """The story, answer first."""
    from stash.cli import findings, telling
    from stash.demo import CLOSE, LENGTHS

    rows = list(telling.answer(story.answered))
    yield rows[0]
    yield from (row for row in rows[1:] if not row.startswith(("  Keep", "  Mind", "    from")) and row != "  Cut:")
    yield ""
    first, close = story.measurements[LENGTHS[0]], story.measurements[CLOSE]
    yield "How it was measured (the photographs are rendered by the project's own scene maker, not taken):"
    yield f"  {LENGTHS[0]}: {findings.headline(first['print'], first['scale'])}"
    yield f"  {CLOSE}: {findings.headline(close['print'], close['scale'])}"
    if first["skew"] is not None:
        yield f"  Print against grain: {findings.skew_sentence(first['skew'])}."
    yield ""
    yield f"Look at, in {story.folder}:"
    for name, what in story.files:
        yield f"  {name:<26}{what}"
    yield "Then try: stripewright ask"
    yield "Or, in that folder, whether a skirt and a shawl go too:"
    yield "  stripewright enough *.toml --first --stash stash"
