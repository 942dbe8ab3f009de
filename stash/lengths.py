"""What people type and read as a length, and millimetres: ``2 5/8 in`` is 66.675 mm, exactly.

Everything is done in fractions; a float is made once, at the end. Units: the inch is 25.4 mm and the yard 0.9144 m by
definition (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from typing import Final, Literal

from stash.errors import InputWrong

Unit = Literal["mm", "cm", "m", "in", "ft", "yd"]
Rounding = Literal["nearest", "up", "down"]

#: Millimetres in one unit, exact by definition.
MM_PER: Final[dict[Unit, Fraction]] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
    "yd": Fraction(9144, 10),
}

#: Longer than any roll of cloth (1 km, in mm): such a figure is a slip of the hand.
LONGEST_MM: Final = Fraction(1_000_000)

#: More characters than any length needs; what is longer is not a length.
LONGEST_TEXT: Final = 60

_REMEDY: Final = "write it like 2 5/8 in, 1 1/2 yd, 64 cm or 640 mm"

_SPELLINGS: Final[dict[str, Unit]] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("in", "ins", "inch", "inches", '"', "''"), "in"),
    **dict.fromkeys(("ft", "foot", "feet", "'"), "ft"),
    **dict.fromkeys(("yd", "yds", "yard", "yards"), "yd"),
}

_IMPERIAL: Final[frozenset[Unit]] = frozenset({"in", "ft", "yd"})

#: Marks people and phones put in place of the plain ones.
_PLAIN: Final = str.maketrans(
    {
        "″": '"', "“": '"', "”": '"', "„": '"', "＂": '"', "′": "'", "’": "'", "‘": "'",
        "\N{FRACTION SLASH}": "/", "\N{DIVISION SLASH}": "/", "−": "-", "–": "-", "‐": "-", "‑": "-",
        "\N{NO-BREAK SPACE}": " ", "\N{THIN SPACE}": " ", "\N{NARROW NO-BREAK SPACE}": " ",
    }
)  # fmt: skip

_NUMBER: Final = r"(?:\d+(?:[ ]+|-)\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d+[.,]\d+|[.,]\d+|\d+\.?)"
_TERM: Final = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[a-z]+\.?|\"|''|')?\s*", re.ASCII)
_METRE_AND_CM: Final = re.compile(r"(\d+)\s*m\s*(\d\d)", re.ASCII)


def parse_length(
    text: str | float, *, default_unit: Unit | None = None, allow_negative: bool = False, what: str = "the length"
) -> float:
    """A length in mm from what was typed.

    Fractions (``5/8``, ``2 5/8``, ``2-5/8``, ``2½``), a decimal point or comma, and sums of falling units
    (``5 ft 2 in``, ``1 m 20 cm``, ``1m20``) are understood. A bare number takes ``default_unit``; without one it is an
    error, and so is a comma before three digits, which may mean thousands.

    Raises InputWrong, which names ``what`` the length is of.
    """
    value = exact_length(text, default_unit=default_unit, what=what)
    if value < 0 and not allow_negative:
        raise InputWrong(f"{what} is {shown(text)}, which is less than nothing", "give a length of zero or more")
    return float(value)


def exact_length(text: str | float, *, default_unit: Unit | None = None, what: str = "the length") -> Fraction:
    """As ``parse_length``, exact and of either sign. Raises InputWrong."""
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise InputWrong(f"{what} is {shown(text)}, which is not a length", _REMEDY)
    value = _from_text(text, default_unit, what) if isinstance(text, str) else _from_number(text, default_unit, what)
    if abs(value) > LONGEST_MM:
        raise InputWrong(f"{what} is {shown(text)}, longer than a kilometre", "check the figure and its unit")
    return value


def _from_number(number: float, unit: Unit | None, what: str) -> Fraction:
    if not math.isfinite(number):
        raise InputWrong(f"{what} is {number}, which is not a length", _REMEDY)
    if unit is None:
        raise InputWrong(f"{what} is {number}, without a unit", _REMEDY)
    return Fraction(str(number)) * MM_PER[unit]


def _from_text(text: str, default_unit: Unit | None, what: str) -> Fraction:
    plain = plain_marks(text).strip().casefold()
    if not plain or len(text) > LONGEST_TEXT:
        raise InputWrong(f"{what} is {shown(text)}, which is not a length", _REMEDY)
    sign = -1 if plain.startswith("-") else 1
    plain = plain.removeprefix("-").removeprefix("+")
    if match := _METRE_AND_CM.fullmatch(plain):
        return sign * (int(match[1]) * MM_PER["m"] + int(match[2]) * MM_PER["cm"])
    total, last, position = Fraction(0), None, 0
    while position < len(plain):
        match = _TERM.match(plain, position)
        if not match or not (match["unit"] or match.end() == len(plain) or plain[match.end()].isdecimal()):
            raise InputWrong(f"{what} is {shown(text)}, which cannot be read as a length", _REMEDY)
        unit = _unit(match["unit"], last, default_unit, text, what)
        if last is not None and (MM_PER[unit] >= MM_PER[last] or (unit in _IMPERIAL) != (last in _IMPERIAL)):
            raise InputWrong(f"{what} is {shown(text)}, in which {last} and {unit} do not add up", _REMEDY)
        total += _number(match["number"], text, what) * MM_PER[unit]
        last, position = unit, match.end()
    return sign * total


def _unit(spelling: str | None, last: Unit | None, default: Unit | None, text: str, what: str) -> Unit:
    if spelling:
        if unit := _SPELLINGS.get(spelling.removesuffix(".")):
            return unit
        raise InputWrong(f'{what} is {shown(text)}, and "{spelling}" is not a unit known here', _REMEDY)
    if last == "ft":  # 5 ft 2: the small number is inches
        return "in"
    if last is None and default is not None:
        return default
    raise InputWrong(f"{what} is {shown(text)}, without a unit", _REMEDY)


def _number(digits: str, text: str, what: str) -> Fraction:
    if "/" in digits:
        *whole, fraction = re.split(r"[ -]+(?=\d+\s*/)", digits)
        above, below = (int(part) for part in fraction.split("/"))
        if below == 0:
            raise InputWrong(f"{what} is {shown(text)}, which divides by zero", _REMEDY)
        return int(whole[0] if whole else 0) + Fraction(above, below)
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
        raise InputWrong(
            f"{what} is {shown(text)}, where the comma may mean thousands or a decimal point",
            "write it without a comma, such as 1200 mm or 1.2 m",
        )
    return Fraction(digits.replace(",", ".").rstrip("."))


def plain_marks(text: str) -> str:
    """The text with curly quotes, primes, dashes and one-character fractions in plain spelling.

    ``2½`` becomes ``2 1/2``: the compatibility form of Unicode (NFKC) would make it ``21/2``.
    """
    return "".join(_plain_fraction(mark) for mark in text.translate(_PLAIN))


def _plain_fraction(mark: str) -> str:
    if not unicodedata.decomposition(mark).startswith("<fraction>"):
        return mark
    value = Fraction(unicodedata.numeric(mark)).limit_denominator(100)
    return f" {value.numerator}/{value.denominator}"


def shown(value: object) -> str:
    """What was typed, quoted and short enough for one sentence."""
    text = " ".join(str(value).split())
    return f'"{text}"' if len(text) <= LONGEST_TEXT else f'"{text[: LONGEST_TEXT - 1]}…"'


def _rounded(value: Fraction, toward: Rounding) -> int:
    if toward == "up":
        return math.ceil(value)
    if toward == "down":
        return math.floor(value)
    return math.floor(value + Fraction(1, 2))


def inches(mm: float, denominator: int = 16, *, toward: Rounding = "nearest") -> str:
    """``2 5/8 in``: to the nearest 1/16 in, or another fraction; ``toward`` says which way to round."""
    parts = _rounded(Fraction(mm) / MM_PER["in"] * denominator, toward)
    sign, parts = ("-" if parts < 0 else ""), abs(parts)
    whole, rest = divmod(parts, denominator)
    fraction = Fraction(rest, denominator)
    words = [str(whole)] if whole or not rest else []
    words += [f"{fraction.numerator}/{fraction.denominator}"] if rest else []
    return f"{sign}{' '.join(words)} in"


def millimetres(mm: float, *, toward: Rounding = "nearest") -> str:
    """``67 mm``: whole millimetres."""
    return f"{_rounded(Fraction(mm), toward)} mm"


def both(mm: float, denominator: int = 16, *, toward: Rounding = "nearest") -> str:
    """``2 5/8 in (67 mm)``."""
    return f"{inches(mm, denominator, toward=toward)} ({millimetres(mm, toward=toward)})"


def written(mm: float) -> str:
    """Text that ``parse_length`` reads back: inches by 1/64 where they are exact, else mm to a millionth."""
    candidate = inches(mm, 64)
    if parse_length(candidate, allow_negative=True) == mm:
        return candidate
    return f"{mm:.6f}".rstrip("0").rstrip(".") + " mm"
