"""From answers to a coat and the cloth for it: what the planner is asked, and what can be saved."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from stash.ask.question import Cloth
from stash.ask.talk import read_all
from stash.fabric import Fabric
from stash.garment.body import (
    CHILD_NECK_SHARE,
    CHILD_SLEEVE_DEPTH_MM,
    EASE_MM,
    HEM_SHARE,
    SLEEVE_DEPTH_MM,
    Hem,
)
from stash.garment.coat import NECK_BACK_MM, NECK_FRONT_MM, NECK_HALF_MM, Coat
from stash.garment.file import resolve
from stash.garment.part import Garment
from stash.garment.spec import PanelSpec, Pattern
from stash.lengths import both
from stash.piece import Piece

#: Folded back on each front, and extra length at an adult's centre front, mm (1 in each, common practice).
FACING_MM: Final = 25.4
BUST_ROOM_MM: Final = 25.4

#: Sizes are drawn up to the next half inch, so that they can be marked without a calculator.
_STEP_MM: Final = 12.7

#: What the main cloth is called while it is still to be bought.
_TO_BUY: Final = "main-cloth"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of the answers. ``doubts`` are about strange answers, ``notes`` tell what was taken for granted."""

    pattern: Pattern
    garment: Garment
    fabrics: Mapping[str, Fabric]
    pieces: tuple[Piece, ...]
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def build(answers: Mapping[str, str]) -> Outcome:
    """The garment, and the fabrics and pieces it is to be cut from. Raises InputWrong where an answer does not fit."""
    said, doubts = read_all(answers)
    border: Cloth = said["border"]
    main: Cloth | None = _told_apart(said["main"], border[0].id)
    coat = coat_for(said, border[0].id, main[0].id if main else _TO_BUY)
    bare = () if main else (PanelSpec(id="body", leave_out=True),)
    pattern = Pattern(name=f"coat with {border[0].name}", coat=coat, panels=bare)
    garment = resolve(pattern, where="the coat")
    cloths = [border, main] if main else [border]
    return Outcome(
        pattern=pattern,
        garment=garment,
        fabrics={fabric.id: fabric for fabric, _ in cloths},
        pieces=tuple(piece for _, pieces in cloths for piece in pieces),
        notes=_notes(coat, main),
        doubts=doubts,
    )


def coat_for(said: Mapping[str, Any], border: str, main: str) -> Coat:
    """The measures of a coat for a body: the chest with its ease gives the width, the height the length."""
    child = bool(said["child"])
    depth = CHILD_SLEEVE_DEPTH_MM if child else SLEEVE_DEPTH_MM
    room = 0.0 if child else BUST_ROOM_MM
    hem: Hem | float = said["hem"]
    back: float = HEM_SHARE[hem] * said["height"] if isinstance(hem, str) else hem
    neck = CHILD_NECK_SHARE if child else 1.0
    return Coat(
        width_mm=_up(said["bust"] + EASE_MM[said["fit"]] + 2 * FACING_MM),
        length_mm=_up(back + depth + room),
        sleeve_depth_mm=depth,
        facing_mm=FACING_MM,
        bust_mm=room,
        bust_by="wedge",
        neck_half_mm=round(NECK_HALF_MM * neck, 2),
        neck_front_mm=round(NECK_FRONT_MM * neck, 2),
        neck_back_mm=round(NECK_BACK_MM * neck, 2),
        main=main,
        border=border,
        stripe=said["stripe"],
        border_width_mm=said["border_width"],
        joins=said["joins"],
        child=child,
    )


def _up(mm: float) -> float:
    return math.ceil(round(mm / _STEP_MM, 6)) * 127 / 10


def _told_apart(cloth: Cloth | None, taken: str) -> Cloth | None:
    """The cloth under another id where the border's has the same."""
    if cloth is None or cloth[0].id != taken:
        return cloth
    fabric = replace(cloth[0], id=f"{taken}-body")
    pieces = tuple(
        replace(piece, id=f"{fabric.id}-{number}", fabric=fabric.id) for number, piece in enumerate(cloth[1], 1)
    )
    return fabric, pieces


def _notes(coat: Coat, main: Cloth | None) -> tuple[str, ...]:
    notes = ["Sizes of cloth are taken as usable: without selvages, washed and pressed."]
    if main is None:
        notes.append(
            f"For the coat itself buy cloth at least {both(coat.width_mm)} by {both(coat.length_mm)} after washing; "
            "only the borders are planned."
        )
    return tuple(notes)
