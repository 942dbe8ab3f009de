"""Why strips cannot match as they should, whatever room there is: in words, and for which fabrics of a problem."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from stash.fabric import Fabric
from stash.garment.part import Strip
from stash.planner.finding import join_lines
from stash.planner.matching import matchings, tied, ties
from stash.planner.problem import Problem
from stash.planner.task import turned_alike
from stash.stripe_order import is_even

MOST_NAMED: Final = 4
"""Strips named one by one in a sentence; more are told by their number."""


def parted(strips: Sequence[Strip]) -> tuple[str, ...]:
    """Strips that must match and show different stripes, a sentence for each two. Empty where all agree."""
    return join_lines(
        [
            f"{one.id} shows stripe {one.stripe} of {one.fabric} and {other.id} stripe {other.stripe} of "
            f"{other.fabric}: they cannot match"
            for tie in ties(strips)
            for one, other in [(strips[tie.one], strips[tie.other])]
            if (one.fabric, one.stripe) != (other.fabric, other.stripe)
        ]
    )


def unmatched(problem: Problem) -> tuple[str, ...]:
    """Why strips cannot match on any length of the cloth that they are cut from, however much of it there were."""
    if apart := parted(problem.strips):
        return apart
    lines = []
    for name in dict.fromkeys(strip.fabric for strip in problem.strips):
        fabric, strips = problem.fabrics[name], [strip for strip in problem.strips if strip.fabric == name]
        if tied(strips) and fabric.print.across is not None and fabric.print.stripes:
            lines += [why_unmatched(fabric, row) for row in _impossible(fabric, strips)]
    return join_lines(lines)


def why_unmatched(fabric: Fabric, strips: Sequence[Strip]) -> str:
    """Why no choice of looks is there, laid to the mirror sets, what lies outward, or the corners: the first without
    which there would be one."""
    stripe, names = strips[0].stripe, _names(strips)
    cloth = f"{fabric.name} is {_how(fabric, strips)}"
    if not _impossible(fabric, [replace(strip, mirror=None) for strip in strips]):
        return f"{cloth}: no strip of it that shows stripe {stripe} can be the mirror of another ({names})"
    if not _impossible(fabric, [replace(strip, outward=None) for strip in strips]):
        return f"{cloth}: {names} cannot all show the same neighbour of stripe {stripe} outward"
    if not _impossible(fabric, [replace(strip, corner=()) for strip in strips]):
        return f"{cloth}: {names} cannot show stripe {stripe} with the same neighbours round their corners"
    return f"{cloth}: {names} cannot match about stripe {stripe} as they should"


def _names(strips: Sequence[Strip]) -> str:
    """``left and right``; of many only how many there are."""
    ids = [strip.id for strip in strips]
    if len(ids) > MOST_NAMED:
        return f"its {len(ids)} borders"
    return f"{', '.join(ids[:-1])} and {ids[-1]}"


def _impossible(fabric: Fabric, strips: Sequence[Strip]) -> tuple[tuple[Strip, ...], ...]:
    return matchings(fabric, strips, turned_alike(strips, motif=fabric.print.along is not None)).impossible


def _how(fabric: Fabric, strips: Sequence[Strip]) -> str:
    order = "even" if is_even(fabric.print.stripes) else "uneven"
    if fabric.one_way:
        return f"{order} and one-way"
    if fabric.print.along is not None:
        return f"{order} and repeats along its stripes, so that a turned strip does not match"
    return f"{order} and strips of a pair are turned alike" if any(strip.pair for strip in strips) else order
