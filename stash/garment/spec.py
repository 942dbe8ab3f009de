"""A garment as it is written down: measures and wishes, with what was not said left open; and how that is settled."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Final, TypeVar

from stash.errors import InputWrong
from stash.garment.binding import cut_width_mm, stripe_at_mm
from stash.garment.coat import Coat
from stash.garment.part import Align, Corner, Edge, Make, Panel, Side, Span, Strip
from stash.lengths import inches

#: What a garment is called of which nobody says its name.
UNNAMED: Final = "garment"

#: The seam where the file names none, mm (1/4 in, common practice for bindings and narrow bands).
SEAM_MM: Final = 6.35

#: The least finished length of a segment where the file names none, mm (1 in).
SHORTEST_MM: Final = 25.4

#: Joins beyond this are a slip of the hand: no strip of border is pieced from a hundred bits.
MOST_JOINS: Final = 99


@dataclass(frozen=True, slots=True, kw_only=True)
class StripSpec:
    """A strip as written. None: not said; a part of the coat with the same id, else the default, fills it."""

    id: str
    fabric: str | None = None
    stripe: str | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    seam_mm: float | None = None
    make: Make | None = None
    cut_width_mm: float | None = None
    stripe_at_mm: float | None = None
    extra_mm: tuple[float, float] | None = None
    joins: int | None = None
    shortest_mm: float | None = None
    pair: str | None = None
    edge: Edge | None = None
    mirror: str | None = None
    outward: Side | None = None
    hide_mm: tuple[Span, ...] | None = None
    corner: tuple[Corner, ...] | None = None
    leave_out: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelSpec:
    """A panel as written. None: not said."""

    id: str
    fabric: str | None = None
    width_mm: float | None = None
    length_mm: float | None = None
    seam_mm: float | None = None
    align: Align | None = None
    turn: bool | None = None
    leave_out: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """What a garment file says: a coat or none, and parts that add to it or change it."""

    name: str = UNNAMED
    seam_mm: float = SEAM_MM
    coat: Coat | None = None
    strips: tuple[StripSpec, ...] = ()
    panels: tuple[PanelSpec, ...] = ()


Spec = TypeVar("Spec", StripSpec, PanelSpec)


def laid_over(below: Spec, above: Spec) -> Spec:
    """The spec below with everything that the one above says.

    Strips of a pair are turned alike, and mirror images often cannot be: ``mirror`` takes the place of a pair. Spans
    where joins hide go with the length that they were counted on.
    """
    said = {item.name: getattr(above, item.name) for item in fields(above) if getattr(above, item.name) is not None}
    if isinstance(above, StripSpec):
        if above.mirror is not None and above.pair is None:
            said["pair"] = None
        if above.length_mm is not None and above.hide_mm is None:
            said["hide_mm"] = None
    return replace(below, **said)


def resolve_strip(spec: StripSpec, seam_mm: float, missing: list[str]) -> Strip | None:
    """The strip with nothing left open. Keys that must be there and are not are added to ``missing``; then None."""
    if spec.fabric is None or spec.stripe is None or spec.length_mm is None or spec.width_mm is None:
        missing += [f'strip "{spec.id}" lacks {key}' for key in _lacking(spec, ("fabric", "stripe", "length", "width"))]
        return None
    make, seam = spec.make or "flat", seam_mm if spec.seam_mm is None else spec.seam_mm
    cut = cut_width_mm(make, spec.width_mm, seam) if spec.cut_width_mm is None else spec.cut_width_mm
    centre = stripe_at_mm(make, spec.width_mm, seam, cut) if spec.stripe_at_mm is None else spec.stripe_at_mm
    if centre > cut:
        raise InputWrong(
            f'in strip "{spec.id}" the stripe lies {inches(centre)} from the first cut edge, but the strip is cut only '
            f"{inches(cut)} wide",
            "make stripe_at smaller or cut_width larger",
        )
    return Strip(
        id=spec.id,
        fabric=spec.fabric,
        stripe=spec.stripe,
        length_mm=spec.length_mm,
        width_mm=spec.width_mm,
        seam_mm=seam,
        cut_width_mm=cut,
        stripe_at_mm=centre,
        make=make,
        extra_mm=spec.extra_mm or (0.0, 0.0),
        joins=spec.joins or 0,
        shortest_mm=SHORTEST_MM if spec.shortest_mm is None else spec.shortest_mm,
        pair=spec.pair,
        edge=spec.edge or "inside",
        mirror=spec.mirror,
        outward=spec.outward,
        hide_mm=_within(spec, spec.length_mm),
        corner=spec.corner or (),
    )


def _within(spec: StripSpec, length_mm: float) -> tuple[Span, ...]:
    """The spans in which joins may lie, in order. Raises InputWrong where one runs backwards or past the strip."""
    spans = sorted(spec.hide_mm or ())
    for start, end in spans:
        if start > end:
            raise InputWrong(
                f'in strip "{spec.id}" a span of hide runs from {inches(start)} back to {inches(end)}',
                "write the nearer end first, both counted from the start of the strip",
            )
        if start >= length_mm:
            raise InputWrong(
                f'in strip "{spec.id}" a span of hide begins at {inches(start)}, but the strip is only '
                f"{inches(length_mm)} long",
                "count from the start of the finished strip",
            )
    return tuple(spans)


def resolve_panel(spec: PanelSpec, seam_mm: float, missing: list[str]) -> Panel | None:
    """The panel with nothing left open; as ``resolve_strip``."""
    if spec.fabric is None or spec.width_mm is None or spec.length_mm is None:
        missing += [f'panel "{spec.id}" lacks {key}' for key in _lacking(spec, ("fabric", "width", "length"))]
        return None
    return Panel(
        id=spec.id,
        fabric=spec.fabric,
        width_mm=spec.width_mm,
        length_mm=spec.length_mm,
        seam_mm=seam_mm if spec.seam_mm is None else spec.seam_mm,
        align=spec.align or "print",
        turn=bool(spec.turn),
    )


def _lacking(spec: StripSpec | PanelSpec, keys: tuple[str, ...]) -> list[str]:
    return [key for key in keys if getattr(spec, key if key in ("fabric", "stripe") else f"{key}_mm") is None]
