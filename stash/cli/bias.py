"""The command bias: binding cut at 45° to the grain."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from stash.cli import option, output
from stash.cli.plan import STATUS

if TYPE_CHECKING:
    from stash.bias import Bound


def bias(
    width: Annotated[
        str, typer.Option("--width", metavar="L", help="How wide to cut it; with --make, how wide when finished.")
    ],
    length: Annotated[str, typer.Option("--length", metavar="L", help="How long it must be once joined.")],
    piece: Annotated[
        list[str] | None, typer.Option("--piece", metavar="ID", help="A piece to cut it from; may be repeated.")
    ] = None,
    fabric: Annotated[
        str | None, typer.Option("--fabric", metavar="ID", help="A fabric: any of its pieces will do.")
    ] = None,
    make: Annotated[
        Literal["single", "double"] | None,
        typer.Option("--make", help="single: cut four times as wide; double: six times and 1/4 in."),
    ] = None,
    shortest: Annotated[
        str | None, typer.Option("--shortest", metavar="L", help="The shortest strip worth joining. Default 6 in.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="PLAN.json", help="Keep the plan in a file.")] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
    limit: option.Limit = 60.0,
) -> None:
    """Is there enough for a bias binding, and where do I cut its strips?"""
    from stash import actions
    from stash.bias import Asked, bind

    asked = Asked(width=width, length=length, pieces=piece or (), fabric=fabric, layers=make, shortest=shortest)
    with output.progress("laying strips at 45°"):
        found = bind(asked, stash, limit_s=limit)
    if out is not None:
        actions.write_text(out, actions.as_json(found.document) + "\n")
    if json:
        output.document(found.document)
    else:
        output.lines(told(found, out, stash))
    raise typer.Exit(STATUS[found.binding.answer])


def told(found: Bound, kept: Path | None = None, stash: str | None = None) -> Iterator[str]:
    """The answer first, then the strips, then what to do."""
    from stash.bias import repeat_along_mm
    from stash.lengths import both, inches
    from stash.planner.bias import middle_mm

    binding, wanted = found.binding, found.binding.wanted
    what = f"{inches(wanted.length_mm)} of bias binding cut {inches(wanted.width_mm)} wide"
    pieces = ", ".join(dict.fromkeys(row.piece for row in binding.placements))
    count = len(binding.placements)
    if binding.answer == "yes":
        strips = "one strip" if count == 1 else f"{count} strips that join to"
        yield f"Yes: {what} can be cut from {pieces}: {strips} {both(binding.joined_mm, toward='down')}."
    elif binding.answer == "no":
        lack = both(wanted.length_mm - binding.most_mm, toward="up")
        yield f"No: {what} cannot be cut from this cloth: {lack} are lacking."
    elif binding.reason == "measurement":
        yield f"Too close to call: whether {what} can be cut depends on how exact the measurements are."
    elif binding.ended is not None:
        yield f"Not known: the time ran out before it was certain whether {what} can be cut; allow more with --limit."
    else:
        yield f"Not known: {what} would need all but every scrap of this cloth."
    if binding.answer != "yes":
        so_far = " found so far" if binding.ended is not None else ""
        yield f"  All its strips{so_far} join to {both(max(0.0, binding.most_mm), toward='down')}."
    by_area = inches(_by_area(found), 1, toward="down")
    yield f"  By area alone the cloth would give {by_area}; slanted ends and joins take their share."
    if found.layers is not None and found.finished_mm is not None:
        yield f"  Cut {inches(wanted.width_mm)} wide, it is {inches(found.finished_mm)} when finished, {found.layers}."
    if binding.placements:
        way = "lower left to upper right" if binding.direction_deg < 0 else "upper left to lower right"
        yield f"  Strips run from {way}, at 45° to the grain. Along their middle they are:"
        for piece in dict.fromkeys(row.piece for row in binding.placements):
            sizes = [inches(middle_mm(row), 8) for row in binding.placements if row.piece == piece]
            yield f"    from {piece}: {', '.join(sizes)}"
    repeat = repeat_along_mm(found)
    if repeat is not None:
        yield f"  The stripes run aslant across it; their repeat shows every {both(repeat)}, but for the joins."
    for sentence in found.document["settle"]:
        yield f"  To settle it: {sentence}"
    if binding.answer == "yes":
        at, name = option.at(stash), quote(str(kept or "plan.json"))
        yield (
            f"  {'Next' if kept else 'Keep the plan with --out plan.json; then'}: stripewright sheet {name} "
            f"--out sheet.pdf{at}{option.then_cut(name, stash)}"
        )


def _by_area(found: Bound) -> float:
    """The pieces' area over the strips' width, as the rule for squares has it."""
    from stash.interchange.ring import signed_area_mm2

    area = sum(
        abs(signed_area_mm2(piece.outline_mm)) - sum(abs(signed_area_mm2(hole)) for hole in piece.holes_mm)
        for piece in found.pieces
    )
    return area / found.binding.wanted.width_mm
