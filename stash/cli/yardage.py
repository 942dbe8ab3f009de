"""What is asked of a length that is typed in at a terminal, one question at a time; each may be passed over."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from stash.cli import output
from stash.errors import InputWrong
from stash.yardage import read_count, read_margins

if TYPE_CHECKING:
    from stash.adding import Cloth

_NOTHING = frozenset({"", "none", "no", "nothing", "skip"})


def asked_for(cloth: Cloth, *, folded: bool | None, striped: bool) -> Cloth:
    """The cloth with what she answered; what was given as an option is not asked. Raises InputWrong where the answers
    end."""
    if folded is None:
        folded = _agreed("Was the width measured on cloth folded in half, selvage to selvage?", usual=False)
        crease = folded and _agreed("Shall parts keep clear of the old fold?", usual=True)
        cloth = replace(cloth, folded=folded, crease=crease)
    if cloth.margins is None:
        cloth = replace(
            cloth,
            margins=_told(
                "Which selvages or bare margins shall be kept out of use? Such as: sides 1/2 in, top 1 in.",
                read_margins,
            ),
        )
    if striped and cloth.counted is None and cloth.start is None:
        cloth = replace(
            cloth,
            counted=_told(
                "Which stripe can you count across the whole width, how many of it are there, and how far from the "
                "left and the right selvage do the first and the last begin? Such as: red 12, 3 1/2 in, 2 in.",
                read_count,
            ),
        )
    return cloth


def _agreed(question: str, *, usual: bool) -> bool:
    print(output.wrapped(question), file=sys.stderr)
    while True:
        said = _typed("yes" if usual else "no").casefold()
        if said in ("", "y", "yes", "n", "no"):
            return usual if not said else said.startswith("y")
        print("  Say yes or no.", file=sys.stderr)


def _told(question: str, read: Callable[[str], object]) -> str | None:
    """What she said, once it can be read; None where she passes over it."""
    print(output.wrapped(question), file=sys.stderr)
    while True:
        said = _typed("none")
        if said.casefold() in _NOTHING:
            return None
        try:
            read(said)
        except InputWrong as wrong:
            print(output.wrapped(f"  {wrong.problem[:1].upper()}{wrong.problem[1:]}: {wrong.remedy}."), file=sys.stderr)
            continue
        return said


def _typed(usual: str) -> str:
    print(f"  [{usual}] > ", end="", file=sys.stderr, flush=True)
    typed = sys.stdin.readline()
    if not typed:
        raise InputWrong("the answers ended before the cloth was told", "answer here, or give --yes and the options")
    return typed.strip()
