"""Options that several commands share, so that they are called and explained alike everywhere."""

from __future__ import annotations

import math
from pathlib import Path
from shlex import quote
from typing import Annotated, Final, Literal

import typer

Side = Literal["top", "right", "bottom", "left"]

#: The longest search that can be asked for, seconds: a day; clocks cannot be set for ever (our judgement).
LONGEST_S: Final = 86400.0


def a_number(given: float | None) -> float | None:
    """What was typed, if it is a number: "nan" is neither less nor more than any bound, and would slip through."""
    if given is not None and math.isnan(given):
        raise typer.BadParameter("nan is not a number")
    return given


Where = Annotated[
    str | None,
    typer.Option(
        "--stash",
        metavar="WHERE",
        help="The stash: a folder, postgresql://NAME@HOST/DATABASE, or a .json file that is only read.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
ScaleFrom = Annotated[
    Literal["auto", "ruler", "target", "card", "points"],
    typer.Option("--scale", help="What sets the scale. A card needs a focal length."),
]
Ruler = Annotated[Literal["auto", "inch", "mm"], typer.Option("--ruler", help="What the ruler counts.")]
Points = Annotated[
    list[str] | None,
    typer.Option(
        "--points", metavar='"x1,y1 x2,y2 = 12 in"', help="Two places in the upright photo and their distance."
    ),
]
Focal = Annotated[
    float | None,
    typer.Option("--focal", metavar="MM35", help="35 mm equivalent focal length, where the photo is silent."),
]
Thickness = Annotated[
    str | None,
    typer.Option("--thickness", metavar="LENGTH", help="How much higher the ruler lies than the cloth's face."),
]
Torn = Annotated[
    Side | None, typer.Option("--torn", help="The cloth's edge on this side was torn: it follows the weft.")
]
Selvage = Annotated[Side | None, typer.Option("--selvage", help="The cloth's edge on this side is the selvage.")]
Thread = Annotated[
    str | None,
    typer.Option(
        "--thread", metavar='"x1,y1 x2,y2"', help="Two places in the upright photo on one crosswise thread drawn out."
    ),
]
Weave = Annotated[
    bool, typer.Option("--weave", help="Take the grain from the weave itself, in a close-up that shows single threads.")
]
Tape = Annotated[
    bool, typer.Option("--tape", help="The tape in the photo is the one that was checked (see stripewright tape).")
]
Limit = Annotated[
    float,
    typer.Option(
        "--limit",
        metavar="SECONDS",
        min=0.1,
        max=LONGEST_S,
        callback=a_number,
        help="How long to search at most.",
    ),
]
OutFile = Annotated[Path, typer.Option("--out", metavar="FILE", help="The file to write.")]
Paper = Annotated[Literal["a4", "letter"], typer.Option("--paper", help="The paper to print on.")]


def at(stash: str | None) -> str:
    """What a command that is told to type next ends with: the stash where one was named."""
    return "" if stash is None else f" --stash {quote(stash)}"


def then_cut(plan: str, stash: str | None) -> str:
    """How a row goes on that says what to do with a plan, once it is cut; nothing where the stash is only read."""
    from stash.catalogue import place

    if place.server_in(stash) is None and place.is_document(place.named(stash)):
        return ""
    return f", and once it is cut: stripewright cut {plan}{at(stash)}"
