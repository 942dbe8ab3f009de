"""The commands about a plan: enough, sheet, cut, undo, schema."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stash.cli import option, output

#: Exit status by answer.
STATUS = {"yes": 0, "no": 1, "unsure": 3}


def enough(
    garments: Annotated[list[Path], typer.Argument(metavar="GARMENT.toml…", help="One garment file or several.")],
    stash: option.Where = None,
    json: option.AsJson = False,
    limit: option.Limit = 60.0,
    out: Annotated[Path | None, typer.Option("--out", metavar="PLAN.json", help="Keep the plan in a file.")] = None,
    first: Annotated[
        bool,
        typer.Option("--first", help="The files stand in order of importance: leave out what does not go."),
    ] = False,
) -> None:
    """Is there enough of the right stripe, and where do I cut?"""
    from stash import actions, priority
    from stash.cli import left_out, telling

    ask = priority.most_of if first else actions.enough_of
    with output.progress("looking at the stash") as tell:
        answered = ask(garments, stash, limit_s=limit, progress=tell)
    if out is not None:
        actions.write_text(out, actions.as_json(answered.document) + "\n")
    if json:
        output.document(answered.document)
    else:
        output.lines(left_out.first(answered))
        output.lines(telling.answer(answered, kept=out, stash=stash))
        output.lines(left_out.rows(answered))
    raise typer.Exit(STATUS[answered.plan.answer] or left_out.status(answered))


def sheet(
    plan: Annotated[Path, typer.Argument(metavar="PLAN.json", help="A plan kept from enough.")],
    out: option.OutFile,
    stash: option.Where = None,
    paper: option.Paper = "a4",
    json: option.AsJson = False,
) -> None:
    """Write the cutting sheet of a plan, as .pdf, .svg or .html."""
    from stash import actions

    with output.progress("drawing the cutting sheet"):
        actions.write_sheet(plan, out, stash, paper=paper)
    told = f"The cutting sheet is in {out}. Print it at 100 % or read it on a screen beside the cloth."
    output.done({"schema": "written/1", "file": str(out)}, [told], json=json)


def cut(
    plan: Annotated[Path, typer.Argument(metavar="PLAN.json", help="A plan kept from enough.")],
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Book a plan as cut: used pieces leave the stash, what is left over enters it."""
    from stash import actions

    entry = actions.book(plan, stash)
    told = [f"Booked: {entry.summary}.", *(f"  {note}" for note in entry.notes), "Take it back with: stripewright undo"]
    output.done(output.entry(entry), told, json=json)


def undo(stash: option.Where = None, json: option.AsJson = False) -> None:
    """Take back the last change of the stash."""
    from stash import actions

    entry = actions.stash_at(stash, write=True).undo()
    output.done(output.entry(entry), [f"Taken back: {entry.verb}, {entry.summary}."], json=json)


def schema(
    document: Annotated[str, typer.Argument(metavar="measurement|stash|garment|plan|error")],
    json: option.AsJson = False,
) -> None:
    """Print the JSON Schema of a document; with or without --json, for it is one."""
    from stash import actions

    print(actions.schema(document).rstrip())
