"""The command which-cloth: what each cloth would do as body and as borders, side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import zip_longest
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output
from stash.cli.plan import STATUS

if TYPE_CHECKING:
    from stash.choice import Choice, Choices

#: Assignments beside one another, the columns of their names and of each, and how many are shown.
BESIDE, FIRST, EACH, MOST = 4, 9, 17, 8
#: Columns left free between two assignments, so that neither reads on into the other.
GAP = 2
#: Lengths that differ by at most this are equal, mm (the contract, "Common to every command").
EQUAL_MM = 0.01
SAID = {"yes": "yes", "no": "no", "unsure": "not certain"}


def which_cloth(
    garment: Annotated[Path, typer.Argument(metavar="GARMENT.toml", help="A garment file.")],
    cloth: Annotated[
        list[str] | None,
        typer.Option("--cloth", metavar="ID", help="A fabric to think of; may be repeated. Default: all there are."),
    ] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
    limit: option.Limit = 60.0,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="PLAN.json", help="Keep the plan of the best, or of --take.")
    ] = None,
    take: Annotated[int, typer.Option("--take", metavar="N", min=1, help="Which of them --out keeps.")] = 1,
) -> None:
    """Which cloth for the body and which for the borders? Plans each way and shows them side by side."""
    from stash import actions, choice
    from stash.errors import InputWrong

    actions.not_over(out, stash, garment)
    with output.progress("looking at the stash") as tell:
        found = choice.which_cloth(garment, stash, cloths=cloth or (), limit_s=limit, progress=tell)
    if out is not None:
        if take > len(found.rows):
            raise InputWrong(f"there is no number {take} among {len(found.rows)}", "name one of them with --take")
        actions.write_text(out, actions.as_json(found.rows[take - 1].answered.document) + "\n")
    if json:
        output.document(found.document)
    else:
        output.lines(told(found, out, stash))
    raise typer.Exit(STATUS[found.answer])


def told(found: Choices, kept: Path | None, stash: str | None) -> Iterator[str]:
    """The sentence first, then the assignments side by side."""
    yield found.why
    shown = found.rows[: _shown(found)]
    for first in range(0, len(shown), BESIDE):
        yield ""
        yield from _block(found, shown[first : first + BESIDE], first + 1)
    yield ""
    if len(found.rows) > len(shown):
        rest = found.rows[len(shown) :]
        going = sum(row.answer == "yes" for row in rest)
        yield f"And {len(rest)} more, of which {going or 'none'} {'goes' if going < 2 else 'go'}: see --json."
    yield from found.aside
    for remark in found.rows[0].answered.remarks:
        yield f"Mind, for 1: {remark}"
    if kept is not None:
        yield f"Next: stripewright sheet {quote(str(kept))} --out sheet.pdf{option.at(stash)}"
    elif found.answer == "yes":
        yield "Keep the plan of one with: --take N --out plan.json"


def _shown(found: Choices) -> int:
    """All that may go, up to so many, and others to fill the last row of columns."""
    going = sum(row.answer != "no" for row in found.rows)
    return min(MOST, max(1, -(-going // BESIDE)) * BESIDE)


def _block(found: Choices, rows: Sequence[Choice], first: int) -> Iterator[str]:
    columns = [_column(found, row, first + index) for index, row in enumerate(rows)]
    for name, cells in zip(_NAMES, zip(*columns, strict=True), strict=True):
        if not any(cells):
            continue
        wrapped = [output.folded(cell, EACH - GAP) for cell in cells]
        for index, line in enumerate(zip_longest(*wrapped, fillvalue="")):
            start = name if index == 0 else ""
            yield (start.ljust(FIRST) + "".join(cell.ljust(EACH) for cell in line)).rstrip()


_NAMES = ("", "goes", "body", "", "borders", "show", "costs", "joins", "leaves", "", "lacks")


def _column(found: Choices, row: Choice, number: int) -> tuple[str, ...]:
    from stash.lengths import inches

    one, plan = row.assignment, row.answered.plan
    names = found.fabrics
    lies = [f"width {one.lie}"] if one.lie else []
    lies += [f"on the {one.align}"] if one.align else []
    shown = ", ".join(
        f"{stripe.label} {stripe.colour or ''} {inches(stripe.width_mm)}".replace("  ", " ") for stripe in one.shown
    )
    lacks = ", ".join(
        f"{f'stripe {short.stripe}' if short.stripe else 'room for panels'} {inches(short.missing_mm, 1, toward='up')}"
        for short in plan.short
    )
    joins = ", ".join(f"{count} on {edge}" for edge, count in row.joins.items())
    return (
        f"{number}{' as written' if one.as_written else ''}",
        SAID[row.answer],
        names[one.body].name if one.body else "",
        ", ".join(lies),
        names[one.border].name if one.border else "",
        (f"{shown}, the widest" if one.chosen else shown) or ("plain" if one.border else ""),
        f"{row.pieces} {'piece' if row.pieces == 1 else 'pieces'} cut" if plan.placements else "",
        (joins or "none") if plan.placements and row.answered.problem.strips else "",
        *_left(found, row),
        lacks,
    )


def _left(found: Choices, row: Choice) -> tuple[str, str]:
    """What is left of the body's cloth and of the borders': the largest rectangle, and whole stripes end to end."""
    from stash.lengths import inches

    one = row.assignment
    told = {one.body: "", one.border: ""}
    for left in row.left:
        wide, long = (inches(side + EQUAL_MM, 2, toward="down").removesuffix(" in") for side in left.rectangle_mm)
        stripes = "".join(f", {key} {inches(mm, 1, toward='down')}" for key, mm in left.stripes_mm.items())
        told[left.fabric] = f"{found.fabrics[left.fabric].name}: {wide} × {long} in{stripes}"
    if one.border == one.body:
        return told[one.body], ""
    return (told[one.body], told[one.border]) if told[one.body] else (told[one.border], "")
