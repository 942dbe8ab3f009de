"""The answer in words: first yes, no or too close to call, then the sum to check it by, then what to do."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from stash.actions import Answered
from stash.lengths import both
from stash.planner.plan import Placement, Plan
from stash.planner.tally import differs_sentence, sum_sentence

#: Shears follow chalk to 1/16-1/8 in (common practice): with less to spare, a yes says so in its first sentence.
HAND_MM = 25.4 / 8
#: Cuts told one by one on the screen; the cutting sheet has them all.
MOST_CUTS = 14


def answer(
    answered: Answered, *, kept: Path | None = None, stash: str | None = None, told: bool = False
) -> Iterator[str]:
    """The rows of the answer, for a terminal.

    ``kept`` is the file that holds the plan, ``stash`` the place of the cloth where it was named; ``told`` says that
    the cloth was told in words and is in no stash.
    """
    plan = answered.plan
    yield _first(answered)
    yield f"  {sum_sentence(answered.problem)}"
    differs = differs_sentence(answered.problem, plan)
    if differs:
        yield f"  {differs}"
    if plan.tightest is not None and plan.answer != "no":
        tight = plan.tightest
        spare = both(tight.spare_mm, toward="down")
        yield f"  Tightest at {tight.part}{_segment(tight.segment, plan)}: {spare} to spare."
    yield from (f"  Short: {_shortage(answered, index)}" for index in range(len(plan.short)))
    yield from _cuts(plan)
    yield from _ways_out(plan)
    for sentence in plan.settle:
        yield f"  To settle it: {sentence}"
    for remark in answered.remarks:
        yield f"  Mind: {remark}"
    if plan.answer == "yes":
        yield _next(kept, "" if stash is None else f" --stash {stash}", told=told)


def _first(answered: Answered) -> str:
    plan, names = answered.plan, " and ".join(garment.name for garment in answered.garments)
    if plan.answer == "yes":
        pieces = ", ".join(dict.fromkeys(placement.piece for placement in plan.placements))
        sentence = f"Yes: {names} can be cut from {pieces}."
        if plan.tightest is not None and plan.tightest.spare_mm < HAND_MM:
            sentence += (
                f" But only {both(plan.tightest.spare_mm, toward='down')} is spare where it is tightest: cut with care."
            )
        return sentence
    if plan.answer == "no":
        doubt = "" if plan.proven else " as far as could be found"
        return f"No: {names} cannot be cut from this cloth{doubt}."
    if plan.reason == "time":
        return f"Not known: the time ran out before it was certain whether {names} can be cut; allow more with --limit."
    return f"Too close to call: whether {names} can be cut depends on how exact the measurements are."


def _shortage(answered: Answered, index: int) -> str:
    row = answered.plan.short[index]
    fabric = answered.problem.fabrics[row.fabric]
    what = f"stripe {row.stripe}" if row.stripe is not None else "room for the panels"
    return f"{what} of {fabric.name} lacks {both(row.missing_mm, toward='up')}."


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


def _ways_out(plan: Plan) -> Iterator[str]:
    if plan.answer != "no":
        return
    if plan.ways_out:
        yield "  What would make it a yes, the least change first:"
        yield from (f"    {number}. {way.change}" for number, way in enumerate(plan.ways_out, 1))
    else:
        yield "  No single small change was found that makes it a yes."


def _next(kept: Path | None, at: str, *, told: bool) -> str:
    if told:
        return (
            "  Keep the cloth and the plan with --keep --out plan.json; then: stripewright sheet plan.json "
            "--out sheet.pdf"
        )
    if kept is None:
        return f"  Keep the plan with --out plan.json; then: stripewright sheet plan.json --out sheet.pdf{at}"
    return f"  Next: stripewright sheet {kept} --out sheet.pdf{at}, and once it is cut: stripewright cut {kept}{at}"
