"""The commands stash note and stash wash: what is known of a cloth, and what washing does to it."""

from __future__ import annotations

from typing import Annotated

import typer

from stash.cli import option, output


def _said(flag: str, metavar: str, help_: str) -> typer.models.OptionInfo:
    option_: typer.models.OptionInfo = typer.Option(flag, metavar=metavar, help=help_)
    return option_


Said = str | None


def note(
    name: Annotated[str, typer.Argument(metavar="ID", help="A piece's or a fabric's id.")],
    fibre: Annotated[Said, _said("--fibre", "WORDS", "Such as linen, or 55% linen 45% cotton.")] = None,
    weave: Annotated[Said, _said("--weave", "WORDS", "Plain, twill, satin, knit, as you call it.")] = None,
    weight: Annotated[Said, _said("--weight", "W", "210 gsm, or 6 oz a square yard.")] = None,
    width: Annotated[Said, _said("--width", "L", "Of the cloth from selvage to selvage.")] = None,
    care: Annotated[Said, _said("--care", "WORDS", "How it is washed and ironed.")] = None,
    colourfast: Annotated[Said, _said("--colourfast", "WORDS", "Whether its colours run or fade.")] = None,
    turns: Annotated[Said, _said("--turns", "WORDS", "Which it allows: end, quarter, over.")] = None,
    ravels: Annotated[Said, _said("--ravels", "yes|no", "Whether cut edges ravel.")] = None,
    stretch: Annotated[Said, _said("--stretch", "WORDS", "Which way and how much it stretches.")] = None,
    sheer: Annotated[Said, _said("--sheer", "yes|no", "Whether it shows what lies beneath.")] = None,
    layers: Annotated[Said, _said("--quilted-layers", "N", "Of how many layers it is quilted.")] = None,
    lot: Annotated[Said, _said("--lot", "WORDS", "The dye lot.")] = None,
    place: Annotated[Said, _said("--place", "WORDS", "Where it lies.")] = None,
    source: Annotated[Said, _said("--source", "WORDS", "Where it came from.")] = None,
    cost: Annotated[Said, _said("--cost", "WORDS", "What it cost.")] = None,
    notes: Annotated[Said, _said("--notes", "WORDS", "Anything else.")] = None,
    washed: Annotated[Said, _said("--washed", "yes|no|unknown", "Of a piece: whether it has been washed.")] = None,
    left_from: Annotated[Said, _said("--left-from", "WORDS", "Of a piece: what it was left from.")] = None,
    reserved_for: Annotated[Said, _said("--reserved-for", "WORDS", "Of a piece: what it is meant for.")] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Keep what is known of a fabric or of one piece; an empty text takes a note away."""
    from stash import actions, keeping

    said = {
        "fibre": fibre, "weave": weave, "weight_gsm": weight, "width_mm": width, "care": care,
        "colourfast": colourfast, "turns": turns, "ravels": ravels, "stretch": stretch, "sheer": sheer,
        "quilted_layers": layers, "lot": lot, "place": place, "source": source, "cost": cost, "notes": notes,
        "washed": washed, "left_from": left_from, "reserved_for": reserved_for,
    }  # fmt: skip
    held = actions.stash_at(stash, write=True)
    entry = keeping.note(held, name, {key: text for key, text in said.items() if text is not None})
    told = f"Noted: {entry.summary}." if entry is not None else "That was known already; nothing was changed."
    output.done(output.entry(entry), [told], json=json)


def wash(
    fabric: Annotated[str, typer.Argument(metavar="FABRIC", help="A fabric's id.")],
    length: Annotated[
        str | None,
        typer.Option("--length", metavar='"50 cm -> 48.2 cm"', help="A marked length along the grain, or per cent."),
    ] = None,
    width: Annotated[
        str | None, typer.Option("--width", metavar='"50 cm -> 49.5 cm"', help="The same across the grain.")
    ] = None,
    piece: Annotated[
        list[str] | None, typer.Option("--piece", metavar="ID", help="Only this piece; may be repeated.")
    ] = None,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Tell that cloth was washed: its sizes, its repeat and its skew become what they are now."""
    from stash import actions, keeping
    from stash.cli import inventory

    held = actions.stash_at(stash, write=True)
    done = keeping.wash(held, fabric, length=length, width=width, pieces=piece or [])
    along, across = done.shrinkage.change_percent
    change = f"{along:+.1f} % along the grain, {across:+.1f} % across"
    rows = [f"Washed: {len(done.pieces)} of {done.fabric.name}, {change}."]
    rows += [f"  {row.id}: now {inventory.size(row)}" for row in done.pieces[:8]]
    rows += [f"  Mind: {text}." for text in done.notes]
    document = {
        **output.entry(done.entry),
        "fabric": done.fabric.id,
        "pieces": [row.id for row in done.pieces],
        "change_length_percent": round(along, 3),
        "change_width_percent": round(across, 3),
        "warnings": list(done.notes),
    }
    output.done(document, rows, json=json)
