"""The commands that look for cloth: stash find, what-fits, uses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from stash.cli import option, output

if TYPE_CHECKING:
    from stash.seeking import Found, Possible
    from stash.use import Uses


def find(
    words: Annotated[list[str] | None, typer.Argument(metavar="WORD…", help="Words of names and notes.")] = None,
    fits: Annotated[
        str | None,
        typer.Option("--fits", metavar='"two of 9 x 6 in"', help="What must lie in it, the first length along."),
    ] = None,
    way: Annotated[
        Literal["along", "square", "any"],
        typer.Option("--way", help="How that may lie: as said, also a quarter turned, or in any direction."),
    ] = "square",
    near: Annotated[
        str | None, typer.Option("--near", metavar="#RRGGBB|FABRIC", help="A colour, or a fabric it must look like.")
    ] = None,
    within: Annotated[
        float,
        typer.Option(
            "--within",
            metavar="DE",
            min=0.1,
            max=50.0,
            callback=option.a_number,
            help="How far off in colour (CIEDE2000).",
        ),
    ] = 6.0,
    stripe: Annotated[
        str | None, typer.Option("--stripe", metavar="LABEL|WIDTH", help='Such as A, "3/4 in" or "1/2 in to 1 in".')
    ] = None,
    fibre: Annotated[str | None, typer.Option("--fibre", metavar="WORD", help="Part of its fibre.")] = None,
    weave: Annotated[str | None, typer.Option("--weave", metavar="WORD", help="Part of its weave.")] = None,
    care: Annotated[str | None, typer.Option("--care", metavar="WORD", help="Part of its care.")] = None,
    place: Annotated[str | None, typer.Option("--place", metavar="WORD", help="Part of where it lies.")] = None,
    weight: Annotated[
        str | None, typer.Option("--weight", metavar="W", help='"210 gsm" (within a tenth) or "150 to 220 gsm".')
    ] = None,
    most: Annotated[int, typer.Option("--most", min=1, help="How many to list at most.")] = 20,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Find pieces by size, colour, stripe and what was noted; the best fit first."""
    from stash import actions, seeking

    noted = {"fibre": fibre, "weave": weave, "care": care, "place": place}
    sought = seeking.Sought(
        fits=fits, way=way, near=near, within=within, stripe=stripe, weight=weight, words=tuple(words or ()),
        texts={key: text for key, text in noted.items() if text is not None}, most=most,
    )  # fmt: skip
    found = seeking.find(actions.stash_at(stash), sought)
    document = {"schema": "found/1", "pieces": [row.document for row in found]}
    output.done(document, _rows(found, most), json=json)
    raise typer.Exit(0 if found else 1)


def _rows(found: Sequence[Found], most: int) -> Iterator[str]:
    from stash.cli.inventory import size

    if not found:
        yield "Nothing in the stash is all that; leave something out, or allow more with --within or --way any."
    for row in found:
        left = "" if row.left_mm2 is None else f", {max(0.0, row.left_mm2) / 100:.0f} cm² left over"
        off = "" if row.off is None else f", colour off by {row.off:.1f}"
        kept = "" if row.reserved_for is None else f", reserved for {row.reserved_for}"
        yield f"{row.piece.id}: {size(row.piece)} of {row.fabric_name[:60]}{left}{off}{kept}"
    if len(found) == most:
        yield f"  There may be more; list more with --most {2 * most}."


def what_fits(
    garments: Annotated[list[Path], typer.Argument(metavar="GARMENT.toml…", help="One garment file or several.")],
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """List what in the stash could be each part of a garment, cut whole and by itself."""
    from stash import actions, seeking

    rows = seeking.possible(actions.stash_at(stash), actions.read_garments(garments))
    told = [row for part in rows for row in _part(part)]
    told.append("Whether all of them can be cut together: stripewright enough.")
    output.done({"schema": "possible/1", "parts": [row.document for row in rows]}, told, json=json)
    raise typer.Exit(0 if all(row.own for row in rows) else 1)


def _part(row: Possible) -> Iterator[str]:
    stripe = "" if row.stripe is None else f", stripe {row.stripe}"
    none = "no piece whole" if row.stripe is not None else "no piece"
    yield f"{row.part} ({row.fabric}{stripe}): {_marked(row.own, row.reserved) or none}"
    if row.others:
        yield f"  of other cloth: {_marked(row.others, row.reserved)}"


def _marked(names: Sequence[str], reserved: Sequence[str]) -> str:
    return ", ".join(f"{name} (reserved)" if name in reserved else name for name in names)


def uses(
    piece: Annotated[str, typer.Argument(metavar="PIECE", help="A piece's id.")],
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Say what a piece still yields: lengths of each stripe, bias binding, pad covers, ties; each by itself."""
    from stash import actions
    from stash.catalogue.reservation import reserved_in
    from stash.use import BIAS_MM
    from stash.use import uses as used

    held = actions.stash_at(stash)
    found = held.piece(piece)
    yields, reserved = used(found, held.fabric(found.fabric)), reserved_in(held).get(piece)
    document = {
        "schema": "uses/1",
        "piece": piece,
        "reserved_for": reserved,
        "stripes": [
            {"label": label, "width_mm": width, "lengths_mm": [round(mm, 1) for mm in lengths]}
            for label, width, lengths in yields.stripes
        ],
        "bias": {"width_mm": BIAS_MM, "length_mm": round(yields.bias_mm, 1)},
        "makings": [
            {"name": name, "along_mm": along, "across_mm": across, "count": count}
            for name, along, across, count in yields.makings
        ],
    }
    output.done(document, _uses(yields, BIAS_MM, reserved), json=json)


def _uses(yields: Uses, bias_mm: float, reserved: str | None) -> Iterator[str]:
    from stash.lengths import inches

    if reserved is not None:
        yield f"It is reserved for {reserved}."
    for label, width, lengths in yields.stripes:
        longest = f"{len(lengths)} of at most {inches(lengths[0], 8)}" if lengths else "none of 6 in"
        total = f", {inches(sum(lengths), 1, toward='down')} in all" if lengths else ""
        yield f"stripe {label}, {inches(width)} wide: {longest}{total}"
    yield f"bias binding cut {inches(bias_mm)} wide: {inches(yields.bias_mm, 1, toward='down')} once joined"
    for name, along, across, count in yields.makings:
        yield f"{name} of {inches(along)} by {inches(across)}: {count}"
    yield "Each row by itself: what is cut for one is not there for another."
