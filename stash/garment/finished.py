"""What of a garment is cut or sewn already, and the garment that is left to plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.garment.part import Corner, Garment, Laid, Panel, Strip
from stash.lengths import both, inches
from stash.stripe_order import mirrors_on


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A part that is cut: all of it (``length_mm`` None), or so much of a strip, finished, in so many segments.

    ``from_start`` and ``to_end``: whether the strip's own start and end are among them. ``laid``: how it was cut, where
    that is known, so that what is cut later can match it.
    """

    part: str
    length_mm: float | None = None
    segments: int = 1
    from_start: bool = True
    to_end: bool = False
    laid: Laid | None = None


def together(one: Done, other: Done) -> Done:
    """What is cut of a part by two tellings."""
    if one.length_mm is None or other.length_mm is None:
        return Done(part=one.part, laid=one.laid or other.laid)
    return Done(
        part=one.part,
        length_mm=one.length_mm + other.length_mm,
        segments=one.segments + other.segments,
        from_start=one.from_start or other.from_start,
        to_end=one.to_end or other.to_end,
        laid=None if one.laid is None or other.laid is None else replace(one.laid, rest_mm=other.laid.rest_mm),
    )


def without_done(
    garments: Sequence[Garment], done: Sequence[Done], fabrics: Mapping[str, Fabric]
) -> tuple[tuple[Garment, ...], tuple[str, ...]]:
    """The garments without what is cut already, and what to see to by hand. Garments with nothing left drop out.

    Raises InputWrong for a part that no garment has, a strip of which more is cut than it is long, or where nothing is
    left to plan.
    """
    told: dict[str, Done] = {}
    for row in done:
        told[row.part] = together(told[row.part], row) if row.part in told else row
    known = {part.id: part for garment in garments for part in garment.parts}
    for row in told.values():
        _check(row, known)
    left = [_without(garment, told, fabrics) for garment in garments]
    going = tuple(garment for garment, _ in left if garment.parts)
    if not going:
        raise InputWrong("all parts are cut already, so there is nothing to plan", "leave out --have or --after")
    return going, tuple(remark for _, remarks in left for remark in remarks)


def _check(row: Done, known: Mapping[str, Strip | Panel]) -> None:
    part = known.get(row.part)
    if part is None:
        near = get_close_matches(row.part, list(known), n=1)
        remedy = f'did you mean "{near[0]}"?' if near else f"it has {', '.join(known)}"
        raise InputWrong(f'no garment has a part "{row.part}"', remedy)
    if row.length_mm is None:
        return
    if isinstance(part, Panel):
        raise InputWrong(f"{row.part} is no strip, so it is cut as a whole", f'say --have "{row.part}"')
    if row.length_mm >= part.length_mm:
        raise InputWrong(
            f"{row.part} is {both(part.length_mm)} long when finished, and {both(row.length_mm)} of it are said to be "
            "cut",
            f'say --have "{row.part}" where all of it is',
        )


def _without(garment: Garment, told: Mapping[str, Done], fabrics: Mapping[str, Fabric]) -> tuple[Garment, list[str]]:
    """The garment that is left, and what to see to, which is among its notes as well."""
    remarks: list[str] = []
    strips: list[Strip] = []
    before: list[Strip] = []
    for strip in garment.strips:
        row = told.get(strip.id)
        if row is None:
            strips.append(strip)
        elif row.length_mm is not None:
            strips.append(_rest_of(strip, row, fabrics.get(strip.fabric), remarks))
        elif _known(row.laid, strip, fabrics.get(strip.fabric), rest=False):
            before.append(replace(strip, laid=row.laid))
    here = {strip.id for strip in strips}
    remarks += _partners(garment, here, {strip.id for strip in before})
    met = here | {strip.id for strip in before}
    left = replace(
        garment,
        strips=tuple(_without_corners(strip, met) for strip in strips),
        panels=tuple(panel for panel in garment.panels if panel.id not in told),
        before=tuple(_without_corners(strip, met) for strip in before),
        notes=(*remarks, *garment.notes),
    )
    return left, remarks


def _known(laid: Laid | None, strip: Strip, fabric: Fabric | None, *, rest: bool) -> bool:
    """Whether it is known how a strip was cut as far as the others, or its own rest, must match it."""
    if laid is None or fabric is None or laid.stripe >= len(fabric.print.stripes):
        return False
    at = laid.rest_mm if rest else laid.start_mm
    return fabric.print.stripes[laid.stripe].label == strip.stripe and (fabric.print.along is None or at is not None)


def _rest_of(strip: Strip, row: Done, fabric: Fabric | None, remarks: list[str]) -> Strip:
    """What is still to cut of a strip, to go on as it was begun. Where that is not known and the rest must match in
    more than the stripe, it is planned anew as a whole."""
    known = _known(row.laid, strip, fabric, rest=True)
    if not known and fabric is not None and not _matches_anywhere(strip, fabric):
        remarks.append(
            f"{strip.id} is planned anew as a whole: the rest would have to match what is cut in its neighbours or its "
            "place in the print."
        )
        return strip
    length = strip.length_mm - (row.length_mm or 0.0)
    remarks.append(f"Of {strip.id}, {inches(length)} are still to be cut, and joined to what there is.")
    cut_ends = {end for end, cut in (("start", row.from_start), ("end", row.to_end)) if cut}
    gone = strip.length_mm - length if row.from_start else 0.0
    spans = ((max(0.0, low - gone), min(length, high - gone)) for low, high in strip.hide_mm)
    hidden = tuple((low, high) for low, high in spans if low <= high)
    return replace(
        strip,
        length_mm=length,
        joins=max(0, strip.joins - row.segments) if hidden or not strip.hide_mm else 0,
        extra_mm=(0.0 if row.from_start else strip.extra_mm[0], 0.0 if row.to_end else strip.extra_mm[1]),
        hide_mm=hidden,
        corner=tuple(corner for corner in strip.corner if known or not _meets(strip.id, corner, cut_ends)),
        laid=row.laid if known else None,
    )


def _meets(name: str, corner: Corner, ends: set[str]) -> bool:
    """Whether the strip comes to the corner with one of these ends."""
    return (corner[0] == name and corner[1] in ends) or (corner[2] == name and corner[3] in ends)


def _matches_anywhere(strip: Strip, fabric: Fabric) -> bool:
    """Whether any run of the stripe is as good as any other, whichever way round it is laid."""
    turned = bool(strip.mirror or strip.outward or strip.corner) and not mirrors_on(fabric.print, strip.stripe)
    return fabric.print.along is None and len(fabric.print.occurrences(strip.stripe)) <= 1 and not turned


def _partners(garment: Garment, here: set[str], known: set[str]) -> list[str]:
    """What the planned strips of a pair or a set are laid to match because it is cut, or must be matched to by hand
    where it is not ``known`` how it was cut."""
    remarks = []
    for key in ("pair", "mirror"):
        sets: dict[str, list[str]] = {}
        for strip in garment.strips:
            name = strip.pair if key == "pair" else strip.mirror
            if name is not None:
                sets.setdefault(name, []).append(strip.id)
        for ids in sets.values():
            cut, planned = [one for one in ids if one not in here], [one for one in ids if one in here]
            if not (cut and planned):
                continue
            one, cut_before = len(planned) == 1, f"{' and '.join(cut)}, cut before."
            if known.issuperset(cut):
                remarks.append(f"{' and '.join(planned)} {'is' if one else 'are'} laid to match {cut_before}")
            else:
                verb = "matches" if one else "match"
                remarks.append(f"See by hand that {' and '.join(planned)} {verb} {cut_before}")
    return list(dict.fromkeys(remarks))


def _without_corners(strip: Strip, here: set[str]) -> Strip:
    """The strip without corners at which it meets what is cut."""
    return replace(strip, corner=tuple(corner for corner in strip.corner if {corner[0], corner[2]} <= here))
