"""The one rule that uneven borders of a coat follow all round: mirrored sides, one neighbour outward, or one way round.

Each border starts somewhere and runs one way. Seen with the start on top, one of its sides lies outward on the coat:
towards centre front on the fronts, down on the hem and the joins, to the hand on the sleeves, up on the neck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from stash.garment.coat import Rule
from stash.garment.part import Side
from stash.garment.spec import StripSpec

#: Which side of each border lies outward, seen with its start on top.
OUTER: Final[dict[str, Side]] = {
    "front-left": "right",
    "front-right": "left",
    "join-left": "left",
    "join-right": "right",
    "sleeve-left": "left",
    "sleeve-right": "right",
    "hem": "right",
    "neck": "right",
}

RUNS: Final = (
    "Borders are told from their start: the fronts run up from the hem, the joins from centre front to the sleeve, the "
    "sleeves' from the underarm up the front, the hem from the right front round the back to the left, the neck from "
    "the left front round the back to the right."
)


def ruled(strips: Sequence[StripSpec], rule: Rule | None) -> list[StripSpec]:
    """The coat's borders under the rule; without one as they are. Where sides mirror, that takes the place of pairs."""
    if rule is None:
        return list(strips)
    if rule == "round":
        return [replace(strip, outward="left") for strip in strips]
    out = []
    for strip in strips:
        both = strip.id.removesuffix("-left").removesuffix("-right")
        if both != strip.id:
            strip = replace(strip, mirror=f"{both}s", pair=None)
        out.append(replace(strip, outward=OUTER.get(strip.id)) if rule == "outward" else strip)
    return out
