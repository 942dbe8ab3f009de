"""Changes that ask less of how strips look beside each other: the nearest look there is, and joins where they show."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from functools import reduce
from typing import Final

from stash.garment.part import Strip
from stash.lengths import inches
from stash.planner.change import JOIN_SHOWS_MM, SHOWS, Change, Edit, listed, seen
from stash.planner.problem import Problem
from stash.planner.redraw import Redraw, differing

SIDES_SHOW: Final = 0.25  # neighbours that change sides are seen as this much of another stripe (our judgement)
RULES: Final = (
    ("mirror", "left and right borders mirroring each other, without the same neighbour outward", SIDES_SHOW / 2),
    ("round", "all borders reading one way round the body", SIDES_SHOW),
    (None, "borders with any neighbours beside their stripe", 2 * SIDES_SHOW),
)
"""The coat's own rules, the nearest to mirroring first: its word, what it means, and how much of it shows."""

OPEN_SHOWS: Final = 1.5  # a join where it shows is seen as this many of those that hide (our judgement)


def looser(strips: Sequence[Strip]) -> list[Change]:
    """What may be given up of the looks of one fabric's strips: each mirror set, the neighbours outward, the corners;
    then all of it."""
    changes = [_one_way_round(rows) for rows in _mirror_sets(strips)]
    outward = [strip for strip in strips if strip.outward is not None]
    if len({strip.outward for strip in outward}) > 1:
        changes.append(_one_way_round(outward))
    met = [strip for strip in strips if strip.corner]
    if met:
        changes.append(_round_no_corner(met))
    if len(changes) > 1:
        changes.append(reduce(both, changes))
    return changes


def by_the_coat(problem: Problem, redraw: Redraw | None) -> list[Change]:
    """What may be given up of a coat's own rule for neighbours, least first."""
    tied = [strip for strip in problem.strips if strip.mirror is not None or strip.outward is not None]
    changes = []
    for rule, words, share in RULES if redraw is not None and redraw.sizes_mm and tied else ():
        edits: tuple[Edit, ...] = ({"part": "coat", "key": "neighbours", "value": rule},)
        changed = (differing(problem, redraw, edits) if redraw is not None else None) or {}
        stay = [part for part in changed.values() if isinstance(part, Strip) and part.mirror is not None]
        if changed and (rule == "mirror" or not stay):
            shows = share * sum(seen(strip) for strip in tied)
            changes.append(Change(words=words, edits=edits, parts=changed, shows=shows))
    return changes


def joined_anywhere(strips: Sequence[Strip]) -> Change | None:
    """Joins that may show; None where the strips hide none."""
    if not strips or not all(strip.joins and strip.hide_mm for strip in strips):
        return None
    edits: list[Edit] = [
        {"part": strip.id, "key": "hide", "value": [["0 in", inches(strip.length_mm, 16, toward="up")]]}
        for strip in strips
    ]
    joins = "a join" if len(strips) == 1 and strips[0].joins == 1 else "joins"
    return Change(
        words=f"{joins} anywhere in {listed([strip.id for strip in strips])}",
        edits=tuple(edits),
        parts={strip.id: replace(strip, hide_mm=()) for strip in strips},
        shows=OPEN_SHOWS * sum(JOIN_SHOWS_MM * strip.width_mm * SHOWS[strip.edge] * strip.joins for strip in strips),
        joins=tuple(strip.id for strip in strips),
    )


def _mirror_sets(strips: Sequence[Strip]) -> list[list[Strip]]:
    sets: dict[str, list[Strip]] = defaultdict(list)
    for strip in strips:
        if strip.mirror is not None:
            sets[strip.mirror].append(strip)
    return [rows for rows in sets.values() if len(rows) > 1]


def _one_way_round(strips: Sequence[Strip]) -> Change:
    """All of them showing the same neighbour to their left, in place of what mirrors or lies outward."""
    ids = [strip.id for strip in strips]
    mirrored = any(strip.mirror is not None for strip in strips)
    instead = "mirroring each other" if mirrored else "the same neighbour outward"
    edits: list[Edit] = [{"part": ids[0], "parts": ids, "key": "mirror", "value": None}] if mirrored else []
    edits.append({"part": ids[0], "parts": ids, "key": "outward", "value": "left"})
    return Change(
        words=f"{listed(ids)} read one way round in place of {instead}",
        edits=tuple(edits),
        parts={strip.id: replace(strip, mirror=None, outward="left") for strip in strips},
        shows=SIDES_SHOW * sum(seen(strip) for strip in strips),
    )


def _round_no_corner(strips: Sequence[Strip]) -> Change:
    """Corners at which the neighbours of the stripe need not agree."""
    ids = [strip.id for strip in strips]
    met = sorted({name for strip in strips for corner in strip.corner for name in (corner[0], corner[2])})
    return Change(
        words=f"{listed(met)} meeting at their corners without matching neighbours",
        edits=({"part": ids[0], "parts": ids, "key": "corner", "value": None},),
        parts={strip.id: replace(strip, corner=()) for strip in strips},
        shows=SIDES_SHOW * sum(seen(strip) for strip in strips),
    )


def both(one: Change, other: Change) -> Change:
    """Both changes, where all that each gives up of a strip is given up."""
    parts = dict(one.parts)
    for name, part in other.parts.items():
        before = parts.get(name)
        if isinstance(before, Strip) and isinstance(part, Strip):
            part = replace(
                part, mirror=before.mirror and part.mirror, outward=before.outward,
                corner=before.corner if len(before.corner) < len(part.corner) else part.corner,
            )  # fmt: skip
        parts[name] = part
    return replace(one.with_(other), parts=parts)
