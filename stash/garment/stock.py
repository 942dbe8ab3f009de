"""A garment against the fabrics there are: does every part's fabric and stripe exist, and does the cloth suit it?"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Final

from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.garment.part import Garment, Panel, Strip
from stash.lengths import inches
from stash.stripe_order import is_even, mirrors_on

#: How alike two names must be for one to be offered in place of the other (0 to 1, difflib's ratio).
ALIKE: Final = 0.5

#: Lengths that differ by at most this are equal, mm (the contract, "Common to every command").
EQUAL_MM: Final = 0.01


def check_against(garment: Garment, fabrics: Mapping[str, Fabric]) -> tuple[str, ...]:
    """What the maker should know about these cloths in this garment.

    Raises InputWrong for the first part whose fabric is not in the stash, or whose stripe the fabric does not have.
    """
    for part in garment.parts:
        fabric = fabrics.get(part.fabric)
        if fabric is None:
            raise _no_fabric(part.id, part.fabric, fabrics)
        if isinstance(part, Strip):
            _check_stripe(part, fabric)
    return (*_suits(garment, fabrics), *_reads_one_way(garment, fabrics))


def _no_fabric(part_id: str, name: str, fabrics: Mapping[str, Fabric]) -> InputWrong:
    problem = f'the part "{part_id}" wants the fabric "{name}", which is not in the stash'
    if not fabrics:
        return InputWrong(problem, "the stash is empty; add the cloth with stripewright add or import")
    if near := difflib.get_close_matches(name, list(fabrics), 1, ALIKE):
        return InputWrong(problem, f'the nearest is "{near[0]}"; write that, or add the cloth')
    by_name = {fabric.name.casefold(): key for key, fabric in fabrics.items()}
    if key := by_name.get(name.casefold()):
        return InputWrong(problem, f'its name is taken for its id; write "{key}"')
    return InputWrong(problem, f"there are {_listed(fabrics)}; write one of these, or add the cloth")


def _check_stripe(strip: Strip, fabric: Fabric) -> None:
    labels = tuple(dict.fromkeys(stripe.label for stripe in fabric.print.stripes))
    if strip.stripe in labels:
        return
    problem = f'the strip "{strip.id}" wants the stripe "{strip.stripe}", which the fabric "{fabric.id}" does not have'
    if labels:
        raise InputWrong(problem, f"its stripes are {_listed(labels)}")
    if fabric.print.kind == "plain":
        raise InputWrong(problem, "it is plain; take a striped fabric, or make this part a panel")
    raise InputWrong(problem, "its stripes are not known yet; measure it or type them in")


def _suits(garment: Garment, fabrics: Mapping[str, Fabric]) -> tuple[str, ...]:
    """Cautions about the cloth of a coat's body: it has no shoulder seam, and its side folds meet at the join."""
    body = next((panel for panel in garment.panels if panel.id == "body"), None)
    if garment.shape != "coat" or body is None:
        return ()
    fabric, told = fabrics[body.fabric], []
    if fabric.one_way:
        told.append(
            f"{fabric.name} runs one way and the coat has no shoulder seam, so the cloth stands on its head behind or "
            "in front; a seam at the shoulder would mend that."
        )
    if fabric.print.kind != "plain":
        even = is_even(fabric.print.stripes)
        told.append(
            f"{fabric.name} has a print of its own, and at the join it meets itself turned round: "
            + (
                "it matches where each side fold lies on the middle of its sequence."
                if even
                else "its sequence reads one way only, so it will not match there."
            )
        )
        if even:
            told += _side_folds(garment, body, fabric)
        if body.turn:
            told.append("The body may be laid a quarter turn round; turn = false under [coat] forbids it.")
    return tuple(told)


def fold_spacing_mm(spacing_mm: float, repeat_mm: float) -> float:
    """How far apart the side folds lie when both lie on the middle of an even sequence: the nearest whole number of
    half repeats, for an even sequence mirrors on two places of each repeat, half a repeat apart."""
    half = repeat_mm / 2
    return max(1, round(spacing_mm / half)) * half


def _side_folds(garment: Garment, body: Panel, fabric: Fabric) -> tuple[str, ...]:
    """What to change so that lengthwise stripes of the body match at the join; nothing where they run the other way."""
    girth, cut = garment.figures_mm.get("girth"), garment.figures_mm.get("side_cut")
    if girth is None or cut is None or fabric.print.across is None or fabric.print.kind != "stripe":
        return ()
    spacing = girth / 2
    if abs(body.width_mm - spacing - 2 * cut) > EQUAL_MM:
        return ()
    wanted = fold_spacing_mm(spacing, fabric.print.across.value)
    if abs(wanted - spacing) < EQUAL_MM:
        return ("Its side folds may both lie on the middle of a sequence as they are: lay one of them there.",)
    wider = wanted > spacing
    return (
        f"Side folds {inches(wanted)} apart in place of {inches(spacing)} may both lie there: make each side cut "
        f"{inches(abs(wanted - spacing) / 2)} {'shorter' if wider else 'longer'}, and the girth "
        f"{'grows' if wider else 'shrinks'} by {inches(2 * abs(wanted - spacing))}.",
    )


def _reads_one_way(garment: Garment, fabrics: Mapping[str, Fabric]) -> tuple[str, ...]:
    """A note for each stripe whose neighbours differ to its left and right: left and right borders do not mirror."""
    left = [strip for strip in garment.strips if strip.mirror is None and strip.outward is None]
    shown = dict.fromkeys((strip.fabric, strip.stripe) for strip in left)
    return tuple(
        f"In {fabrics[fabric].name} the neighbours of stripe {stripe} differ to its left and right: "
        "borders on the two sides of the garment do not mirror each other unless mirror asks for it."
        for fabric, stripe in shown
        if not mirrors_on(fabrics[fabric].print, stripe)
    )


def _listed(names: Mapping[str, object] | tuple[str, ...]) -> str:
    words = [f'"{name}"' for name in names]
    return ", ".join(words[:12]) + (" and more" if len(words) > 12 else "")
