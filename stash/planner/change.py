"""Changes to a garment that need less cloth: what each is called, how the file says it, how much of it shows."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from stash.garment.binding import cut_width_mm, stripe_at_mm
from stash.garment.part import Panel, Strip
from stash.lengths import inches
from stash.planner.problem import Problem

IN_MM: Final = 25.4
EIGHTH_MM: Final = IN_MM / 8  # widths are offered in these steps: what a ruler on the table shows
LEAST_BAND_MM: Final = IN_MM / 2  # a narrower border is a binding, not a band (common practice)
JOIN_SHOWS_MM: Final = IN_MM  # length of border that a join draws the eye to (our judgement)
PLAIN_SHOWS: Final = 3.0  # leaving an edge plain is seen as this many times another stripe on it (our judgement)

SHOWS: Final[Mapping[str, int]] = {"front": 6, "sleeve": 5, "join": 4, "neck": 3, "hem": 2, "inside": 1}
"""How much each edge shows, most first: fronts, sleeve ends, chest join, neck, hem, inside (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change: in words, as an edit of the garment file, the problem after it, and how much of it shows.

    ``edit`` is {"part", "key", "value"}; where several strips change alike, "parts" names all of them and "part" the
    first. ``shows`` is the area of border that looks different (mm²), each edge weighted by how much it shows.
    """

    words: str
    edit: dict[str, Any]
    problem: Problem
    shows: float


def joined(problem: Problem, strips: Sequence[Strip]) -> Change | None:
    """One join more in each of the strips; None where a strip is too short for one more segment."""
    if any(strip.length_mm < (strip.joins + 2) * strip.shortest_mm for strip in strips):
        return None
    values = {strip.joins + 1 for strip in strips}
    if len(values) > 1:
        return None
    return Change(
        words=f"one more join in {_listed(strips)}",
        edit=_edit(strips, "joins", values.pop()),
        problem=_with(problem, [replace(strip, joins=strip.joins + 1) for strip in strips]),
        shows=sum(JOIN_SHOWS_MM * strip.width_mm * SHOWS[strip.edge] for strip in strips),
    )


def narrowed(problem: Problem, strips: Sequence[Strip], width_mm: float) -> Change:
    """The strips that much wide when finished, cut and centred as their make says."""
    lost = sum((strip.width_mm - width_mm) * strip.length_mm * SHOWS[strip.edge] for strip in strips)
    return Change(
        words=f"{_listed(strips)} {inches(width_mm, 8)} wide in place of {inches(strips[0].width_mm)}",
        edit=_edit(strips, "width", inches(width_mm, 8)),
        problem=_with(problem, [_of_width(strip, width_mm) for strip in strips]),
        shows=lost,
    )


def restriped(problem: Problem, strips: Sequence[Strip], label: str) -> Change:
    """Another stripe of the same fabric on the strips."""
    return Change(
        words=f"stripe {label} in place of {strips[0].stripe} on {_listed(strips)}",
        edit=_edit(strips, "stripe", label),
        problem=_with(problem, [replace(strip, stripe=label) for strip in strips]),
        shows=sum(_seen(strip) for strip in strips),
    )


def left_plain(problem: Problem, strips: Sequence[Strip]) -> Change:
    """No border on those edges."""
    for strip in strips:
        problem = problem.without_part(strip.id)
    return Change(
        words=f"no border on {_listed(strips)}",
        edit=_edit(strips, "leave_out", True),
        problem=problem,
        shows=PLAIN_SHOWS * sum(_seen(strip) for strip in strips),
    )


def smaller(problem: Problem, panel: Panel, key: str, size_mm: float) -> Change:
    """A panel less wide or less long (``key``: width or length)."""
    old_mm = panel.width_mm if key == "width" else panel.length_mm
    other_mm = panel.length_mm if key == "width" else panel.width_mm
    new = replace(panel, width_mm=size_mm) if key == "width" else replace(panel, length_mm=size_mm)
    return Change(
        words=f"{panel.id} {inches(size_mm, 8)} {'wide' if key == 'width' else 'long'} in place of {inches(old_mm)}",
        edit={"part": panel.id, "key": key, "value": inches(size_mm, 8)},
        problem=problem.with_part(new),
        shows=(old_mm - size_mm) * other_mm,
    )


def together(strips: Sequence[Strip]) -> list[list[Strip]]:
    """The strips one by one, those of a pair as one (they are meant to look alike); those that show least first."""
    sets: dict[str, list[Strip]] = defaultdict(list)
    for strip in strips:
        sets[f"pair {strip.pair}" if strip.pair is not None else f"strip {strip.id}"].append(strip)
    return sorted(sets.values(), key=lambda rows: (sum(_seen(strip) for strip in rows), rows[0].id))


def one_by_one(strips: Sequence[Strip]) -> list[list[Strip]]:
    """Each strip by itself, those that show least first, then each pair as one."""
    singles = [[strip] for strip in sorted(strips, key=lambda strip: (_seen(strip), strip.id))]
    return singles + [rows for rows in together(strips) if len(rows) > 1]


def least_first(strips: Sequence[Strip]) -> Iterator[list[Strip]]:
    """More and more edges, from the one that shows least; those of a pair come in together."""
    taken: list[Strip] = []
    for strip in sorted(strips, key=lambda strip: (SHOWS[strip.edge], strip.length_mm, strip.id)):
        if strip in taken:
            continue
        taken += [other for other in strips if other == strip or (strip.pair and other.pair == strip.pair)]
        if len(taken) > 1:
            yield list(taken)


def of_equal_width(strips: Sequence[Strip]) -> list[list[Strip]]:
    """The strips of a fabric that share their width: one border, which is narrowed as one."""
    groups: dict[float, list[Strip]] = defaultdict(list)
    for strip in strips:
        groups[round(strip.width_mm, 2)].append(strip)
    return list(groups.values())


def steps_below(size_mm: float, least_mm: float = LEAST_BAND_MM) -> list[float]:
    """The sizes in whole eighths of an inch below ``size_mm``, narrowest first."""
    first, last = math.ceil(least_mm / EIGHTH_MM), math.ceil(size_mm / EIGHTH_MM - 1e-6) - 1
    return [k * EIGHTH_MM for k in range(first, last + 1)]


def _of_width(strip: Strip, width_mm: float) -> Strip:
    """The strip as the garment file would resolve it with that width; a cut width written there by hand stays."""
    was_cut = cut_width_mm(strip.make, strip.width_mm, strip.seam_mm)
    was_at = stripe_at_mm(strip.make, strip.width_mm, strip.seam_mm, strip.cut_width_mm)
    by_hand = abs(was_cut - strip.cut_width_mm) > 0.01
    cut = strip.cut_width_mm if by_hand else cut_width_mm(strip.make, width_mm, strip.seam_mm)
    centred = abs(was_at - strip.stripe_at_mm) <= 0.01
    at = stripe_at_mm(strip.make, width_mm, strip.seam_mm, cut) if centred else strip.stripe_at_mm
    return replace(strip, width_mm=width_mm, cut_width_mm=cut, stripe_at_mm=min(at, cut))


def _seen(strip: Strip) -> float:
    return strip.width_mm * strip.length_mm * SHOWS[strip.edge]


def _with(problem: Problem, strips: Sequence[Strip]) -> Problem:
    for strip in strips:
        problem = problem.with_part(strip)
    return problem


def _edit(strips: Sequence[Strip], key: str, value: Any) -> dict[str, Any]:
    edit: dict[str, Any] = {"part": strips[0].id, "key": key, "value": value}
    return edit if len(strips) == 1 else {**edit, "parts": [strip.id for strip in strips]}


def _listed(strips: Sequence[Strip]) -> str:
    names = [strip.id for strip in strips]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
