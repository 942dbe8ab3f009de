"""The answer in words: first yes, no or too close to call, then the sum to check it by, then what to do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from shlex import quote

from stash.actions import Answered
from stash.cli import option
from stash.lengths import both, inches
from stash.planner.change import EIGHTH_MM, listed
from stash.planner.explaining import WAYS
from stash.planner.mismatch import unmatched
from stash.planner.over import MOST_WIDER
from stash.planner.plan import Placement, Plan, Purchase, Shortage
from stash.planner.tally import differs_sentence, sum_sentence
from stash.planner.trial import share_of

#: Lengths that differ by at most this, mm, are equal (the contract).
EQUAL_MM = 0.01
#: Cuts told one by one on the screen; the cutting sheet has them all.
MOST_CUTS = 14
#: Parts in each other's way told by name, where they are all there are.
MOST_NAMES = 4
#: Different lengths of one stripe told as left over.
MOST_OVER = 4
ALL_WIDE = "  All borders together could not be 1/8 in wider."
#: Two bounds nearer than this, mm, are told as one (1/16 in).
SAME_MM = 1.6
#: The least that can be spare and be told in sixteenths of an inch, rounded down.
LEAST_TOLD_MM = 25.4 / 16


def answer(
    answered: Answered, *, kept: Path | None = None, stash: str | None = None, told: bool = False
) -> Iterator[str]:
    """The rows of the answer, for a terminal.

    ``kept`` is the file that holds the plan, ``stash`` the place of the cloth where it was named; ``told`` says that
    the cloth was told in words and is in no stash.
    """
    plan = answered.plan
    yield _first(answered)
    sentences = (sum_sentence(answered.problem), differs_sentence(answered.problem, plan))
    yield from (f"  {sentence}" for sentence in sentences if sentence)
    if plan.tightest is not None and plan.answer != "no":
        tight = plan.tightest
        spare = both(tight.spare_mm, toward="down")
        yield f"  Tightest at {tight.part}{_segment(tight.segment, plan)}: {spare} to spare."
    yield from (f"  Short: {sentence}" for row in plan.short for sentence in _shortage(answered, row))
    yield from _in_the_way(answered)
    if plan.answer == "unsure" and plan.placements:
        yield "  If all measurements are exactly right, it is cut like this (checked):"
    yield from _cuts(plan)
    yield from _over(answered)
    yield from _ways_out(answered)
    for sentence in plan.settle:
        yield f"  To settle it: {sentence}"
    yield from _untold(plan)
    for remark in answered.remarks:
        yield f"  Mind: {remark}"
    if plan.answer == "yes":
        yield _next(kept, stash, told=told)


def _first(answered: Answered) -> str:
    plan, names = answered.plan, " and ".join(garment.name for garment in answered.garments)
    if plan.answer == "yes":
        pieces = ", ".join(dict.fromkeys(placement.piece for placement in plan.placements))
        sentence = f"Yes: {names} can be cut from {pieces}."
        if plan.tightest is not None and plan.tightest.spare_mm < (plan.room_mm or 0.0) - EQUAL_MM:
            sentence += f" But {_spare(plan.tightest.spare_mm)} is spare where it is tightest: cut with care."
        return sentence
    if plan.answer == "no":
        doubt = "" if plan.proven else " as far as could be found"
        return f"No: {names} cannot be cut from this cloth{doubt}."
    if plan.reason == "time":
        return f"Not known: the time ran out before it was certain whether {names} can be cut; allow more with --limit."
    return f"Too close to call: whether {names} can be cut depends on how exact the measurements are."


def _spare(mm: float) -> str:
    """What there is to spare, rounded down as far as hands can tell: often nothing."""
    return f"only {both(mm, toward='down')}" if mm >= LEAST_TOLD_MM else "nothing"


def _shortage(answered: Answered, row: Shortage) -> Iterator[str]:
    """By how much a stripe is short, in length and in repeats."""
    fabric = answered.problem.fabrics[row.fabric]
    missing = both(row.missing_mm, toward="up")
    if row.stripe is None and all(piece.fabric != row.fabric for piece in answered.problem.pieces):
        yield f"there is no piece of {fabric.name} to cut from."
        return
    if row.stripe is None:
        groups = (group.parts for group in answered.plan.crowds if group.fabric == row.fabric)
        alone = [parts[0] for parts in groups if len(parts) == 1]
        if alone and any(panel.id == alone[0] for panel in answered.problem.panels):
            yield f"{alone[0]} is {missing} larger than there is room for on any piece of {fabric.name}."
        else:
            yield f"room for the panels of {fabric.name} lacks {missing}."
        return
    if row.missing_mm <= SAME_MM and unmatched(share_of(answered.problem, row.fabric)):
        yield f"more of {fabric.name} would not help; strips of it cannot match so, however much there is."
        return
    what = f"stripe {row.stripe} of {fabric.name}"
    if row.enough_mm is None and row.missing_mm <= SAME_MM:
        yield f"{what} has the length that is needed, but not where it is needed: its ends are too short."
    elif row.enough_mm is not None and row.enough_mm - row.missing_mm > SAME_MM:
        least = f"at least {missing}, " if row.missing_mm > SAME_MM else ""
        yield f"{what} lacks {least}at most {both(row.enough_mm, toward='up')} of cut length."
    else:
        yield f"{what} lacks {'' if row.enough_mm else 'at least '}{missing} of cut length."
    if row.more_repeats is not None:
        repeats = "one more repeat" if row.more_repeats == 1 else f"{row.more_repeats} more repeats"
        yield f"{repeats} across, as long as the longest piece, would do for {fabric.name}."


def _in_the_way(answered: Answered) -> Iterator[str]:
    for group in answered.plan.crowds:
        if len(group.parts) == 1:
            yield f"  In the way: {group.parts[0]} cannot be cut even by itself."
            continue
        rest = sum(part.fabric == group.fabric for part in answered.problem.parts) - len(group.parts)
        many = len(group.parts) > MOST_NAMES and not rest
        names = f"all {len(group.parts)} parts" if many else listed(group.parts)
        beside = ", even with nothing else" if rest else ""
        fewer = "either by itself can" if len(group.parts) == 2 else "without any one of them the others of these can"
        leave = f"; {fewer}" if group.least else ""
        yield f"  In the way: {names} together cannot be cut{beside}{leave}."


def _over(answered: Answered) -> Iterator[str]:
    """What a yes leaves of each stripe, and whether the borders could be wider."""
    for row in answered.plan.over:
        fabric = answered.problem.fabrics[row.fabric].name
        if not row.lengths_mm:
            yield f"  Over of stripe {row.stripe} of {fabric}: no length of 6 in."
            continue
        counts = Counter(inches(mm, 1, toward="down") for mm in row.lengths_mm)
        told = [f"{count} of {length}" for length, count in list(counts.items())[:MOST_OVER]]
        shorter = sum(list(counts.values())[MOST_OVER:])
        more = f" and {shorter} shorter" if shorter else ""
        total = both(sum(row.lengths_mm), 1, toward="down")
        yield (
            f"  Over of stripe {row.stripe} of {fabric}, {inches(row.cut_width_mm)} wide: {', '.join(told)}{more}: "
            f"{total} in all."
        )
    wider = answered.plan.wider_mm
    if wider is not None:
        more = " or more" if wider >= MOST_WIDER * EIGHTH_MM else ""
        yield f"  All borders together could be {both(wider)} wider{more}." if wider else ALL_WIDE


def _cuts(plan: Plan) -> Iterator[str]:
    if plan.answer == "no" or not plan.placements:
        return
    by_piece: dict[str, list[Placement]] = {}
    for placement in plan.placements:
        by_piece.setdefault(placement.piece, []).append(placement)
    yield "  Cut:"
    told = 0
    for piece, placements in by_piece.items():
        names = []
        for placement in placements[: max(0, MOST_CUTS - told)]:
            size = f" {both(placement.finished_mm)}" if placement.finished_mm is not None else ""
            names.append(f"{placement.part}{_segment(placement.segment, plan, placement.part)}{size}{_laid(placement)}")
        told += len(names)
        more = "" if len(names) == len(placements) else f" and {len(placements) - len(names)} more"
        if names:
            yield f"    from {piece}: {', '.join(names)}{more}"


def _laid(placement: Placement) -> str:
    how = [word for word, so in (("turned", placement.turned), ("turned over", placement.over)) if so]
    return f" ({', '.join(how)})" if how else ""


def _segment(number: int, plan: Plan, part: str | None = None) -> str:
    part = part or (plan.tightest.part if plan.tightest else "")
    many = sum(placement.part == part for placement in plan.placements) > 1
    return f" ({number})" if many else ""


def _ways_out(answered: Answered) -> Iterator[str]:
    plan = answered.plan
    if plan.answer != "no":
        return
    if plan.ways_out:
        yield "  What would make it a yes, the least change first:"
        yield from (f"    {number}. {way.change}" for number, way in enumerate(plan.ways_out, 1))
    elif WAYS not in plan.untold:
        yield "  No single small change was found that makes it a yes."
    if plan.buy:
        yield f"  Or {listed([_purchase(answered, row) for row in plan.buy])}, if it is to be had."


def _untold(plan: Plan) -> Iterator[str]:
    """What was not looked for to the end, and why."""
    if not plan.untold:
        return
    what = listed(["more that would make it a yes" if one == WAYS and plan.ways_out else one for one in plan.untold])
    if plan.ended == "stopped":
        yield f"  Not looked for to the end, for you stopped it: {what}."
    else:
        yield f"  Not looked for to the end, for the time was up: {what}; allow more with --limit."


def _purchase(answered: Answered, row: Purchase) -> str:
    eighths = Fraction(round(row.length_mm / (914.4 / 8)), 8)
    whole, rest = divmod(eighths, 1)
    yards = " ".join(str(part) for part in (whole, rest) if part)
    length = f"{yards} yd ({row.length_mm / 10:.0f} cm)"
    return f"{length} more of {answered.problem.fabrics[row.fabric].name}, {both(row.width_mm, 1)} wide"


def _next(kept: Path | None, stash: str | None, *, told: bool) -> str:
    at = option.at(stash)
    if told:
        return (
            "  Keep the cloth and the plan with --keep --out plan.json; then: stripewright sheet plan.json "
            "--out sheet.pdf"
        )
    if kept is None:
        return f"  Keep the plan with --out plan.json; then: stripewright sheet plan.json --out sheet.pdf{at}"
    name = quote(str(kept))
    return f"  Next: stripewright sheet {name} --out sheet.pdf{at}{option.then_cut(name, stash)}"
