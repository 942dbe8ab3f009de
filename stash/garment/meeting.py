"""Strips that belong together, checked as they are written: mirror sets, and corners where strips meet."""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Sequence
from typing import Final

from stash.errors import InputWrong
from stash.garment.part import End, Strip

#: How alike two names must be for one to be offered in place of the other (0 to 1, difflib's ratio).
ALIKE: Final = 0.55


def check_together(strips: Sequence[Strip]) -> None:
    """Whether what is said of strips together can be true. Raises InputWrong where it cannot."""
    _check_mirrors(strips)
    _check_corners(strips)


def corners_told(strips: Sequence[Strip]) -> tuple[str, ...]:
    """Which strip runs through at each corner, a sentence each."""
    met = dict.fromkeys(corner for strip in strips for corner in strip.corner)
    return tuple(
        f"Where the {end} of {one} meets the {far} of {two}, {one} runs through and {two} stops."
        for one, end, two, far in met
        if one != two
    )


def _check_mirrors(strips: Sequence[Strip]) -> None:
    sets: dict[str, list[Strip]] = defaultdict(list)
    for strip in strips:
        if strip.mirror is not None:
            sets[strip.mirror].append(strip)
    for name, members in sets.items():
        for other in members[1:]:
            if _shown(other) != _shown(members[0]):
                raise InputWrong(
                    f'"{members[0].id}" and "{other.id}" are to be mirror images ("{name}"), but one shows '
                    f"{_in_words(members[0])} and the other {_in_words(other)}",
                    "give both the same fabric and stripe, or take one out of the set",
                )


def _check_corners(strips: Sequence[Strip]) -> None:
    by_id = {strip.id: strip for strip in strips}
    through: dict[frozenset[tuple[str, End]], str] = {}
    for strip in strips:
        for one, one_end, two, two_end in strip.corner:
            where = f'at a corner of strip "{strip.id}"'
            for name in (one, two):
                if name not in by_id:
                    raise _unknown(where, name, list(by_id))
            if (one, one_end) == (two, two_end):
                raise InputWrong(f'{where}, the {one_end} of "{one}" meets itself', "name the strip that it meets")
            if _shown(by_id[one]) != _shown(by_id[two]):
                raise InputWrong(
                    f'{where}, "{one}" shows {_in_words(by_id[one])} and "{two}" {_in_words(by_id[two])}, but strips '
                    "that meet at a corner meet on the same stripe",
                    "give both the same fabric and stripe, or take the corner out",
                )
            runs = through.setdefault(frozenset(((one, one_end), (two, two_end))), one)
            if runs != one:
                raise InputWrong(
                    f'where the {one_end} of "{one}" meets the {two_end} of "{two}", both are said to run through',
                    "name first, wherever the corner is written, the strip that runs through",
                )


def _unknown(where: str, name: str, known: list[str]) -> InputWrong:
    near = difflib.get_close_matches(name, known, 1, ALIKE)
    if near:
        return InputWrong(f'{where} there is no strip "{name}"; the nearest is "{near[0]}"', f'write "{near[0]}"')
    return InputWrong(f'{where} there is no strip "{name}"', f"name one of {', '.join(known)}")


def _shown(strip: Strip) -> tuple[str, str]:
    return strip.fabric, strip.stripe


def _in_words(strip: Strip) -> str:
    return f"stripe {strip.stripe} of {strip.fabric}"
