"""Changes to a garment that need less cloth: what each is called, how the file says it, how much of it shows."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from stash.fabric import Fabric
from stash.garment.binding import cut_width_mm, stripe_at_mm
from stash.garment.part import Panel, Part, Strip
from stash.lengths import inches
from stash.piece import Piece
from stash.planner.problem import Problem

IN_MM: Final = 25.4
EIGHTH_MM: Final = IN_MM / 8  # widths are offered in these steps: what a ruler on the table shows
LEAST_BAND_MM: Final = IN_MM / 2  # a narrower border is a binding, not a band (common practice)
BOUND_MM: Final = (IN_MM / 4, 3 * EIGHTH_MM, IN_MM / 2)  # finished widths of single binding, narrowest first (practice)
JOIN_SHOWS_MM: Final = IN_MM  # length of border that a join draws the eye to (our judgement)
PLAIN_SHOWS: Final = 3.0  # leaving an edge plain is seen as this many times another stripe on it (our judgement)
BOUND_SHOWS: Final = 1.5  # as many times another stripe: the edge is still finished, but no border (our judgement)
SAME_MM: Final = 0.01  # the contract: lengths that differ by at most this are equal

SHOWS: Final[Mapping[str, int]] = {"front": 6, "sleeve": 5, "join": 4, "neck": 3, "hem": 2, "inside": 1}
"""How much each edge shows, most first: fronts, sleeve ends, chest join, neck, hem, inside (common practice)."""

MORE: Final = {1: "one more join", 2: "two more joins", 3: "three more joins"}

Edit = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change: in words, as edits of the garment file, the parts after it by id (None: left out), and how it shows.

    ``shows`` is the area of border that looks different (mm²), each edge weighted by how much it shows. ``fabrics`` and
    ``pieces`` are cloth that the change brings in. ``joins`` names strips of which, once planned, it is told where
    their joins lie.
    """

    words: str
    edits: tuple[Edit, ...]
    parts: Mapping[str, Part | None]
    shows: float
    fabrics: Mapping[str, Fabric] = field(default_factory=dict)
    pieces: tuple[Piece, ...] = ()
    joins: tuple[str, ...] = ()

    @property
    def edit(self) -> Edit:
        """All edits as one: the first, with the others under "also"."""
        first, *others = self.edits
        return {**first, "also": others} if others else dict(first)

    def after(self, problem: Problem) -> Problem:
        """The problem once the change is made."""
        parts = (self.parts.get(part.id, part) for part in problem.parts)
        there = {piece.id for piece in problem.pieces}
        return Problem(
            parts=tuple(part for part in parts if part is not None),
            fabrics={**problem.fabrics, **self.fabrics},
            pieces=(*problem.pieces, *(piece for piece in self.pieces if piece.id not in there)),
        )

    def with_(self, other: Change) -> Change:
        """Both changes as one; what the second says of a part holds."""
        return Change(
            words=f"{self.words}, and {other.words}",
            edits=(*self.edits, *other.edits),
            parts={**self.parts, **other.parts},
            shows=self.shows + other.shows,
            fabrics={**self.fabrics, **other.fabrics},
            pieces=tuple({piece.id: piece for piece in (*self.pieces, *other.pieces)}.values()),
            joins=(*self.joins, *other.joins),
        )


def joined(strips: Sequence[Strip], more: int = 1) -> Change | None:
    """So many joins more in each of the strips, as far as their lengths allow; None where none can be joined more."""
    after: list[Strip] = []
    by_value: dict[int, list[Strip]] = defaultdict(list)
    for strip in strips:
        room = (strip.length_mm + SAME_MM) // max(strip.shortest_mm, SAME_MM)
        joins = min(strip.joins + more, int(room) - 1)
        if joins > strip.joins:
            after.append(replace(strip, joins=joins))
            by_value[joins].append(strip)
    if not after:
        return None
    ids = [strip.id for strip in after]
    return Change(
        words=f"{MORE[more]} in {listed(ids)}",
        edits=tuple(_edit(rows, "joins", value) for value, rows in by_value.items()),
        parts=_by_id(after),
        shows=sum(more * JOIN_SHOWS_MM * strip.width_mm * SHOWS[strip.edge] for strip in after),
        joins=tuple(ids),
    )


def narrowed(strips: Sequence[Strip], width_mm: float) -> Change:
    """The strips that much wide when finished, cut and centred as their make says."""
    was = inches(strips[0].width_mm)
    return Change(
        words=f"{listed([strip.id for strip in strips])} {inches(width_mm, 8)} wide in place of {was}",
        edits=(_edit(strips, "width", inches(width_mm, 8)),),
        parts=_by_id([of_width(strip, width_mm) for strip in strips]),
        shows=sum((strip.width_mm - width_mm) * strip.length_mm * SHOWS[strip.edge] for strip in strips),
    )


def bound(strips: Sequence[Strip], width_mm: float) -> Change | None:
    """A bound edge of that finished width in place of the border; None where that takes no less cloth."""
    made = [_bound(strip, width_mm) for strip in strips]
    if any(_by_hand(strip) or strip.make == "bound" for strip in strips):
        return None
    if any(new.cut_width_mm >= old.cut_width_mm for old, new in zip(strips, made, strict=True)):
        return None
    return Change(
        words=f"{listed([strip.id for strip in strips])} bound, {inches(width_mm, 8)} wide, in place of a border",
        edits=(_edit(strips, "make", "bound"), _edit(strips, "width", inches(width_mm, 8))),
        parts=_by_id(made),
        shows=BOUND_SHOWS * sum(seen(strip) for strip in strips),
    )


def restriped(strips: Sequence[Strip], label: str) -> Change:
    """Another stripe of the same fabric on the strips."""
    return Change(
        words=f"stripe {label} in place of {strips[0].stripe} on {listed([strip.id for strip in strips])}",
        edits=(_edit(strips, "stripe", label),),
        parts=_by_id([replace(strip, stripe=label) for strip in strips]),
        shows=sum(seen(strip) for strip in strips),
    )


def recut(strips: Sequence[Strip], fabric: Fabric, label: str, pieces: Sequence[Piece], *, unlike: float) -> Change:
    """The strips from another fabric, of its stripe ``label``; ``unlike`` (0 to 1) says how far it is from the old."""
    return Change(
        words=f"stripe {label} of {fabric.name}, near in colour, on {listed([strip.id for strip in strips])}",
        edits=(_edit(strips, "fabric", fabric.id), _edit(strips, "stripe", label)),
        parts=_by_id([replace(strip, fabric=fabric.id, stripe=label) for strip in strips]),
        shows=(1 + unlike) / 2 * sum(seen(strip) for strip in strips),
        fabrics={fabric.id: fabric},
        pieces=tuple(pieces),
    )


def left_plain(strips: Sequence[Strip]) -> Change:
    """No border on those edges."""
    return Change(
        words=f"no border on {listed([strip.id for strip in strips])}",
        edits=(_edit(strips, "leave_out", True),),
        parts={strip.id: None for strip in strips},
        shows=PLAIN_SHOWS * sum(seen(strip) for strip in strips),
    )


def smaller(panel: Panel, key: str, size_mm: float) -> Change:
    """A panel less wide or less long (``key``: width or length)."""
    old_mm = panel.width_mm if key == "width" else panel.length_mm
    other_mm = panel.length_mm if key == "width" else panel.width_mm
    new = replace(panel, width_mm=size_mm) if key == "width" else replace(panel, length_mm=size_mm)
    return Change(
        words=f"{panel.id} {inches(size_mm, 8)} {'wide' if key == 'width' else 'long'} in place of {inches(old_mm)}",
        edits=({"part": panel.id, "key": key, "value": inches(size_mm, 8)},),
        parts={panel.id: new},
        shows=(old_mm - size_mm) * other_mm,
    )


def together(strips: Sequence[Strip]) -> list[list[Strip]]:
    """The strips one by one, those of a pair or mirror set as one (they are meant to look alike); least seen first."""
    sets: list[list[Strip]] = []
    for strip in strips:
        alike = [rows for rows in sets if any(_of_one_set(strip, other) for other in rows)]
        joined_rows = [other for rows in alike for other in rows]
        sets = [rows for rows in sets if rows not in alike] + [[*joined_rows, strip]]
    return sorted(sets, key=lambda rows: (sum(seen(strip) for strip in rows), rows[0].id))


def _of_one_set(strip: Strip, other: Strip) -> bool:
    paired = strip.pair is not None and strip.pair == other.pair
    return paired or (strip.mirror is not None and strip.mirror == other.mirror)


def one_by_one(strips: Sequence[Strip]) -> list[list[Strip]]:
    """Each strip by itself, those that show least first, then each pair as one."""
    singles = [[strip] for strip in sorted(strips, key=lambda strip: (seen(strip), strip.id))]
    return singles + [rows for rows in together(strips) if len(rows) > 1]


def of_equal_width(strips: Sequence[Strip]) -> list[list[Strip]]:
    """The strips of a fabric that share their width: one border, which is narrowed as one."""
    groups: dict[float, list[Strip]] = defaultdict(list)
    for strip in strips:
        groups[round(strip.width_mm, 2)].append(strip)
    return list(groups.values())


def steps_below(size_mm: float, least_mm: float = LEAST_BAND_MM, step_mm: float = EIGHTH_MM) -> list[float]:
    """The sizes in whole steps (an eighth of an inch) below ``size_mm``, narrowest first."""
    first, last = math.ceil(least_mm / step_mm), math.ceil(size_mm / step_mm - 1e-6) - 1
    return [k * step_mm for k in range(first, last + 1)]


def of_width(strip: Strip, width_mm: float) -> Strip:
    """The strip as the garment file would resolve it with that width; a cut width written there by hand stays."""
    was_at = stripe_at_mm(strip.make, strip.width_mm, strip.seam_mm, strip.cut_width_mm)
    cut = strip.cut_width_mm if _by_hand(strip) else cut_width_mm(strip.make, width_mm, strip.seam_mm)
    centred = abs(was_at - strip.stripe_at_mm) <= SAME_MM
    at = stripe_at_mm(strip.make, width_mm, strip.seam_mm, cut) if centred else strip.stripe_at_mm
    return replace(strip, width_mm=width_mm, cut_width_mm=cut, stripe_at_mm=min(at, cut))


def _bound(strip: Strip, width_mm: float) -> Strip:
    cut = cut_width_mm("bound", width_mm, strip.seam_mm)
    return replace(strip, make="bound", width_mm=width_mm, cut_width_mm=cut, stripe_at_mm=cut / 2)


def _by_hand(strip: Strip) -> bool:
    """Whether the file itself says how wide it is cut."""
    return abs(cut_width_mm(strip.make, strip.width_mm, strip.seam_mm) - strip.cut_width_mm) > SAME_MM


def seen(strip: Strip) -> float:
    """The area of a border, weighted by how much its edge shows (mm²)."""
    return strip.width_mm * strip.length_mm * SHOWS[strip.edge]


def listed(names: Sequence[str]) -> str:
    """``hem``, ``hem and neck``, ``hem, neck and join``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _by_id(strips: Sequence[Strip]) -> dict[str, Part | None]:
    return {strip.id: strip for strip in strips}


def _edit(strips: Sequence[Strip], key: str, value: Any) -> Edit:
    edit: Edit = {"part": strips[0].id, "key": key, "value": value}
    return edit if len(strips) == 1 else {**edit, "parts": [strip.id for strip in strips]}
