"""Lengths and numbers as the sheet prints them: ``7 ³⁄₁₆ in (182 mm)``, ``third``."""

from __future__ import annotations

from typing import Final

from stash.lengths import Rounding, inches, millimetres

_VULGAR: Final = {
    "1/2": "½", "1/4": "¼", "3/4": "¾", "1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞",
}  # fmt: skip
_RAISED: Final = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_LOWERED: Final = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_HAIR_SPACE: Final = "\N{HAIR SPACE}"
_FRACTION_SLASH: Final = "\N{FRACTION SLASH}"

_ORDINALS: Final = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
)  # fmt: skip
_COUNTS: Final = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
)  # fmt: skip


def inch(mm: float, *, toward: Rounding = "nearest") -> str:
    """``2⅝ in``: to the nearest 1/16 in, or the next down or up, with the fraction set as one."""
    *whole, fraction, _unit = ["", *inches(mm, toward=toward).split(" ")]
    whole = [word for word in whole if word]
    if "/" not in fraction:
        return f"{fraction} in"
    sign, fraction = ("-", fraction[1:]) if fraction.startswith("-") else ("", fraction)
    above, below = fraction.split("/")
    if fraction in _VULGAR:
        return f"{sign}{''.join(whole)}{_VULGAR[fraction]} in"
    mark = above.translate(_RAISED) + _FRACTION_SLASH + below.translate(_LOWERED)
    return f"{sign}{_HAIR_SPACE.join([*whole, mark])} in"


def both(mm: float, *, toward: Rounding = "nearest") -> str:
    """``2⅝ in (67 mm)``."""
    return f"{inch(mm, toward=toward)} ({millimetres(mm, toward=toward)})"


def size(width_mm: float, length_mm: float) -> str:
    """``2½ × 52 in (64 × 1321 mm)``."""
    across, along = inch(width_mm).removesuffix(" in"), inch(length_mm)
    return f"{across} × {along} ({millimetres(width_mm).removesuffix(' mm')} × {millimetres(length_mm)})"


def ordinal(number: int) -> str:
    """``third``, ``21st``."""
    if 1 <= number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    ending = "th" if 10 < number % 100 < 14 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def count(number: int) -> str:
    """``three``, ``14``."""
    return _COUNTS[number] if 0 <= number < len(_COUNTS) else str(number)


def listed(words: list[str]) -> str:
    """``a, b and c``."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
