"""The commands about a plan: enough, sheet, cut, schema."""

from __future__ import annotations

from pathlib import Path
from shlex import quote
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
    have: Annotated[
        list[str] | None,
        typer.Option(
            "--have", metavar="PART", help='A part that is cut already, or "PART = LENGTH" of it; may be repeated.'
        ),
    ] = None,
    after: Annotated[
        Path | None,
        typer.Option("--after", metavar="PLAN.json", help="Leave out what was booked as cut by this plan."),
    ] = None,
    room: Annotated[
        str | None,
        typer.Option("--room", metavar="LENGTH", help="As much to spare as your shears need (default 1/8 in)."),
    ] = None,
) -> None:
    """Is there enough of the right stripe, and where do I cut?"""
    from stash import actions, inquiry
    from stash.cli import left_out, telling

    actions.not_over(out, stash, *garments)
    asked = inquiry.Inquiry(files=tuple(garments), first=first, have=tuple(have or ()), after=after, room=room)
    with output.progress("looking at the stash") as tell:
        answered = inquiry.ask(asked, stash, limit_s=limit, progress=tell)
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
    part: Annotated[
        list[str] | None,
        typer.Option("--part", metavar="PART", help="Only this part; may be repeated. Default: all still to cut."),
    ] = None,
    segment: Annotated[
        int | None, typer.Option("--segment", metavar="N", min=1, help="Only this segment of the part.")
    ] = None,
    spoiled: Annotated[bool, typer.Option("--spoiled", help="It went wrong: its cloth is of no use.")] = False,
    short: Annotated[
        str | None, typer.Option("--short", metavar="L", help="It was cut so much too short: keep it as a remnant.")
    ] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Book a plan as cut, all of it or part by part: used cloth leaves the stash, what is left over enters it."""
    from stash import actions, inquiry
    from stash.catalogue.stage_booking import Telling
    from stash.cli import leftover
    from stash.errors import InputWrong
    from stash.lengths import parse_length

    if spoiled and short is not None:
        raise InputWrong("--spoiled and --short do not go together", "give the one that it is")
    short_mm = None if short is None else parse_length(short, what="--short")
    telling = Telling(parts=tuple(part or ()), segment=segment, spoiled=spoiled, short_mm=short_mm)
    done = inquiry.tell(plan, stash, telling)
    entry, still = done.entry, done.still
    at = option.at(stash)
    told = [f"Booked: {entry.summary}.", *(f"  {note}" for note in entry.notes)]
    if still:
        told.append(f"Still to cut by this plan: {', '.join(still)}.")
    if telling.how != "cut":
        told.append(f"Plan what is not cut yet anew: stripewright enough GARMENT.toml --after {quote(str(plan))}{at}")
    ask = not json and not still and leftover.watched()
    told += [] if ask else leftover.how(entry, at)
    told.append(f"Take it back with: stripewright undo{at}")
    output.done({**output.entry(entry), "still_to_cut": list(still)}, told, json=json)
    if ask:
        leftover.ask(actions.stash_at(stash, write=True), entry)


def schema(
    document: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            help="measurement, stash, garment, plan or error; which, found, possible, uses, entry, journal, snippets, "
            "table, check or added.",
        ),
    ],
    json: option.AsJson = False,
) -> None:
    """Print the JSON Schema of a document; with or without --json, for it is one."""
    from stash import actions

    output.say(actions.schema(document).rstrip())
