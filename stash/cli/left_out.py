"""The garments that were left out of a plan for several, in words."""

from __future__ import annotations

from collections.abc import Iterator

from stash.actions import Answered, LeftOut
from stash.lengths import both


def status(answered: Answered) -> int:
    """1 where a garment certainly does not go beside the more important ones, 3 where that is not certain, else 0."""
    if not answered.left_out:
        return 0
    return 1 if any(row.plan.answer == "no" for row in answered.left_out) else 3


def first(answered: Answered) -> Iterator[str]:
    """One row before the answer for those that go."""
    names = [row.garment for row in answered.left_out]
    if names and answered.plan.answer == "yes":
        yield f"Not all of them go: {_listed(names)} {'is' if len(names) == 1 else 'are'} left out."


def rows(answered: Answered) -> Iterator[str]:
    """What each garment left out lacks, and whether it would go alone."""
    if answered.plan.answer == "yes":
        for row in answered.left_out:
            yield f"  Left out: {row.garment}. {_why(row, answered)}{_alone(row)}"
            yield from (f"    To settle it: {sentence}" for sentence in row.plan.settle)
    elif len(answered.left_out) > 1:
        others = [row.garment for row in answered.left_out[1:]]
        yield f"  Nor can {_listed(others, 'or')} be cut from it with certainty, each alone."


def _why(row: LeftOut, answered: Answered) -> str:
    beside = f"Beside {_listed(row.beside)}, " if row.beside else ""
    if row.plan.answer == "unsure":
        doubt = "the time ran out" if row.plan.reason == "time" else "it is too close to call"
        doubt = "it was not tried, for you stopped it" if row.plan.ended == "stopped" else doubt
        return _sentence(f"{beside}{doubt}.")
    lacks = [
        f"{'room for the panels' if short.stripe is None else f'stripe {short.stripe}'} of "
        f"{answered.fabric_name(short.fabric)} lacks {both(short.missing_mm, toward='up')}"
        for short in row.plan.short
    ]
    return _sentence(f"{beside}{'; '.join(lacks) or 'there is not enough cloth'}.")


def _alone(row: LeftOut) -> str:
    if not row.beside:
        return ""
    said = {"yes": " Alone it could be cut.", "no": " Nor could it be cut alone.", "unsure": ""}
    return said[row.alone]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _listed(names: list[str] | tuple[str, ...], word: str = "and") -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"
