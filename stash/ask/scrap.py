"""Which fabric a scrap is of, as she answers it: one of the shortlist, another that is kept, a new one, or left out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from stash.errors import InputWrong
from stash.lengths import shown

#: Said of a scrap that is not to be kept now.
LEAVE: Final = frozenset({"leave", "leave it", "leave out", "leave it out", "none", "skip", "no"})
_NEW: Final = "new"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What she said: ``fabric`` the id of one that is kept, else ``name`` of a new one, else neither: left out."""

    fabric: str | None = None
    name: str | None = None


def told(said: str, shortlist: Sequence[str], kept: Collection[str], proposed: str) -> Told:
    """The answer in words made one of the choices; ``proposed`` is what a new fabric is called where no name is said.

    Raises InputWrong for what is none of them.
    """
    words = " ".join(said.split())
    folded = words.casefold().strip(" .!")
    if folded in LEAVE:
        return Told()
    if folded.isdecimal():
        if 1 <= int(folded) <= len(shortlist):
            return Told(fabric=shortlist[int(folded) - 1])
        raise InputWrong(f"there is no {shown(words)} on the list", _choices(shortlist))
    if folded == _NEW:
        return Told(name=proposed)
    if folded.startswith(f"{_NEW} ") and folded not in kept:
        return Told(name=words[len(_NEW) :].strip(" :"))
    if folded in kept or words in kept:
        return Told(fabric=words if words in kept else folded)
    if not shortlist and words:
        return Told(name=words)
    raise InputWrong(f"{shown(words)} is no fabric that is kept", _choices(shortlist))


def _choices(shortlist: Sequence[str]) -> str:
    numbers = {0: "", 1: "1, "}.get(len(shortlist), f"a number from 1 to {len(shortlist)}, ")
    return f"say {numbers}a fabric's id, new and a name, or leave"
