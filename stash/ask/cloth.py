"""Cloth as she says it: "58 × 54 in; from the left selvage red ¾, white ¼, blue 1, white ¼"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import Final

from stash.ask.colour import shade
from stash.ask.spoken import in_figures
from stash.errors import InputWrong
from stash.fabric import Fabric, Print, Stripe
from stash.lengths import both, exact_length, parse_length, shown
from stash.piece import Piece
from vision.estimate import Estimate

_EXAMPLE: Final = "say it like 58 × 54 in; from the left selvage red 3/4, white 1/4, blue 1, white 1/4"

SLUG_LETTERS: Final = 40
"""Letters of an id made from a name, at most: they are typed again and again."""

_UNIT: Final = r"(?:mm|cm|m|(?:milli|centi)?met(?:re|er)s?|inch(?:es)?|ins?|feet|foot|ft|yards?|yds?)\b\.?|\"|''|'"
_NUMBER: Final = r"(?:\d+[ -]\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?|\.\d+)"
_LENGTH: Final = rf"{_NUMBER}\s*(?:{_UNIT})?"
_SIZE: Final = re.compile(
    rf"(?:(?P<count>\d+)\s*(?:lengths?|pieces?|remnants?)?\s*(?:of|each|:)\s*)?"
    rf"(?P<width>{_LENGTH})\s*(?:wide\s*)?(?:×|x|\*|\bby\b)\s*(?P<length>{_LENGTH})(?:\s*long)?"
)
_FROM: Final = re.compile(
    rf"(?:(?:starting|beginning|the first (?:stripe )?(?:starts|begins))\s*(?:at\s*)?)?(?P<offset>{_LENGTH})?\s*"
    r"\bfrom (?:the )?(?P<edge>left|right|top|bottom)(?:[ -]hand)?(?:\s*(?:selvages?|edge|side|end))?\s*[:,]?"
)
_AND_SO_ON: Final = re.compile(
    r"(?:,|\band\b|;|\.)?\s*(?:\b(?:and )?(?:again|so on|over and over|etc|repeat(?:ed|ing|s)?(?: across)?)\b"
    r"|\.\.\.|…)[.,]?"
)
_BETWEEN: Final = re.compile(r",(?!\d)|;|\band then\b|\bthen\b|\band\b|\bnext\b|\+|\n")
_FILLER: Final = re.compile(r"\b(?:a|an|of|the|wide|stripes?|striped|in|is|are)\b|[:.()=-]")
_UNIT_WORD: Final = re.compile(rf"(?<=[\d\s/])(?:{_UNIT})", re.ASCII)

#: A size that says nothing of a unit cannot be taken: 58 by 54 may be inches or centimetres.
_NO_UNIT: Final = "name the unit once, such as 58 × 54 in or 147 × 137 cm"

#: Stripes in one repeat; more is a slip.
MOST_STRIPES: Final = 60


@dataclass(frozen=True, slots=True)
class _Said:
    """One stripe as said: colour words and its width in mm."""

    colour: str
    width_mm: Fraction


def parse_cloth(
    text: str, *, fabric_id: str | None = None, name: str | None = None
) -> tuple[Fabric, tuple[Piece, ...]]:
    """The cloth that a sentence describes: its print, and a piece for every size given.

    First the size, width by length ("58 × 54 in", "two lengths of 58 × 54 in and 20 by 30 in"), then the stripes of one
    repeat in order, each a colour and a width. A unit said once holds for what follows. Stripes are counted from the
    left edge unless "from the right", "top" or "bottom" is said; from the top or bottom they run crosswise. A list that
    says the repeat more than once is brought to one. No stripes: plain cloth, the words its name.

    Raises InputWrong, which says what was not understood.
    """
    words = in_figures(text)
    sizes, unit, rest = _sizes(words, text)
    edge, offset, rest = _origin(rest, unit)
    listed = _AND_SO_ON.sub(" ", rest)
    if not re.search(r"\d", listed):
        _surely_plain(listed)
        label = name or _FILLER.sub(" ", listed).strip(" ,;") or "plain cloth"
        label = " ".join(label.split())
        colour = shade(label)
        plain = {"hex": colour} if colour else {}
        fabric = Fabric(id=fabric_id or slug(label), name=label, print=Print(kind="plain"), extra=plain)
        return fabric, _pieces(fabric.id, sizes, 0.0, 0.0)
    stripes = one_repeat(_stripes(listed, unit))
    across = float(sum(stripe.width_mm for stripe in stripes))
    extent = max(length if edge in ("top", "bottom") else width for width, length in sizes)
    if across > extent:
        raise InputWrong(
            f"the stripes of one repeat add up to {both(across)}, more than the cloth's {both(extent)}",
            "check the widths and their unit",
        )
    label = name or f"{_listed(list(dict.fromkeys(stripe.colour for stripe in stripes)))} stripe"
    print_ = Print(kind="stripe", across=Estimate(across), stripes=_counted(stripes, back=edge in ("right", "top")))
    fabric = Fabric(id=fabric_id or slug(label), name=label, print=print_)
    direction = 90.0 if edge in ("top", "bottom") else 0.0
    pieces = tuple(
        piece
        for number, size in enumerate(sizes, 1)
        for piece in _pieces(
            fabric.id, [size], direction, _origin_mm(edge, offset, size), first=number, selvage=_selvage(words, edge)
        )
    )
    return fabric, pieces


def _surely_plain(words: str) -> None:
    """Raises InputWrong where stripes are spoken of and no width is given: such cloth must not pass for plain."""
    coloured = [item for item in _BETWEEN.split(words) if shade(item)]
    if "plain" not in words and ("stripe" in words or len(coloured) > 1):
        raise InputWrong(
            f"the stripes {shown(words.strip())} have no widths",
            "give every stripe a colour and a width, such as red 3/4, white 1/4; or say plain",
        )


def _sizes(words: str, text: str) -> tuple[list[tuple[float, float]], str, str]:
    """All sizes in mm, the last unit said, and what follows the last size."""
    found = list(_SIZE.finditer(words))
    if not found or any(words[: match.start()].endswith("-") for match in found):
        raise InputWrong(f"no size of the cloth was found in {shown(text)}", _EXAMPLE)
    unit = next((unit for match in found for unit in [_unit(match["length"]) or _unit(match["width"])] if unit), "")
    if not unit:
        raise InputWrong(f"the size {shown(found[0][0].strip())} has no unit", _NO_UNIT)
    sizes = []
    for match in found:
        here = _unit(match["length"]) or unit
        length = parse_length(_with(match["length"], here), what="the length of the cloth")
        width = parse_length(_with(match["width"], here), what="the width of the cloth")
        if not (width and length):
            raise InputWrong(f"the size {shown(match[0].strip())} has no cloth in it", _EXAMPLE)
        sizes += [(width, length)] * min(int(match["count"] or 1), 50)
        unit = here
    return sizes, unit, words[found[-1].end() :].strip(" ;:,.")


def _origin(rest: str, unit: str) -> tuple[str, float, str]:
    match = _FROM.search(rest)
    if not match:
        return "left", 0.0, rest
    offset = parse_length(_with(match["offset"], unit)) if match["offset"] else 0.0
    return match["edge"], offset, f"{rest[: match.start()]} {rest[match.end() :]}".strip(" ;:,.")


def _stripes(listed: str, unit: str) -> list[_Said]:
    items = [item.strip() for item in _BETWEEN.split(listed)]
    items = [item for item in items if _FILLER.sub("", item).strip()]
    if len(items) > MOST_STRIPES:
        raise InputWrong(f"{len(items)} stripes are more than a repeat has", "say one repeat only, then stop")
    if units := [found for item in items for found in [_unit(item)] if found]:
        unit = units[0]
    return [_stripe(item, unit) for item in items]


def _stripe(item: str, unit: str) -> _Said:
    found = re.findall(_LENGTH, item)
    if len(found) != 1:
        remedy = "give every stripe a colour and one width, such as red 3/4, white 1/4"
        raise InputWrong(f"{shown(item)} is not a colour and a width", remedy)
    colour = " ".join(_FILLER.sub(" ", item.replace(found[0], " ", 1)).split())
    if not colour or re.search(r"[^\w\s'-]", colour):
        raise InputWrong(f"the stripe {shown(item)} has no colour", "name its colour, such as red 3/4")
    width = exact_length(_with(found[0], unit), what=f"the {colour} stripe's width")
    if width <= 0:
        raise InputWrong(f"the {colour} stripe has no width", "leave it out, or give its width")
    return _Said(colour, width)


def one_repeat(stripes: list[_Said]) -> list[_Said]:
    """The stripes of one repeat, where the list says it several times over or begins it again at its end."""
    if len(stripes) > 2 and stripes[0] == stripes[-1]:
        stripes = stripes[:-1]
    if len(stripes) > 1 and stripes[0].colour == stripes[-1].colour:
        raise InputWrong(
            f"the stripes begin and end with {stripes[0].colour}, and would run together where the repeat begins again",
            "say one whole repeat and stop before the first stripe comes again",
        )
    for before, after in pairwise(stripes):
        if before.colour == after.colour:
            problem = f"two {before.colour} stripes lie side by side"
            raise InputWrong(problem, "say them as one stripe, or name both shades")
    for period in range(1, len(stripes)):
        if len(stripes) % period == 0 and stripes == stripes[:period] * (len(stripes) // period):
            return stripes[:period]
    return stripes


def _counted(stripes: list[_Said], *, back: bool) -> tuple[Stripe, ...]:
    """The stripes along n, labelled A, B, C as they were said; ``back``: they were said against n."""
    looks = list(dict.fromkeys(stripes))
    ends = list(accumulate(stripe.width_mm for stripe in stripes))
    counted = [
        Stripe(
            label=_letter(looks.index(said)),
            width_mm=float(said.width_mm),
            centre_mm=float(ends[-1] - end + said.width_mm / 2 if back else end - said.width_mm / 2),
            hex=shade(said.colour),
            colour=said.colour,
        )
        for said, end in zip(stripes, ends, strict=True)
    ]
    return tuple(sorted(counted, key=lambda stripe: stripe.centre_mm))


def _letter(index: int) -> str:
    return chr(ord("A") + index) if index < 26 else f"A{index - 25}"


def _origin_mm(edge: str, offset: float, size: tuple[float, float]) -> float:
    """Where the repeat starts along n: x from the left for lengthwise stripes, -y for crosswise ones."""
    width, length = size
    return {"left": offset, "right": width - offset, "top": -offset, "bottom": offset - length}[edge] + 0.0


def _selvage(words: str, edge: str) -> str | None:
    """The side that was said to be a selvage, or None."""
    return edge if re.search(rf"\b{edge}(?:[ -]hand)?\s+selvage", words) else None


def _pieces(
    fabric: str,
    sizes: list[tuple[float, float]],
    direction_deg: float,
    origin_mm: float,
    *,
    first: int = 1,
    selvage: str | None = None,
) -> tuple[Piece, ...]:
    return tuple(
        Piece(
            id=f"{fabric}-{number}",
            fabric=fabric,
            outline_mm=((0.0, 0.0), (width, 0.0), (width, length), (0.0, length)),
            stripe_direction_deg=direction_deg,
            stripe_origin_mm=origin_mm,
            extra={"edges": {selvage: "selvage"}} if selvage else {},
        )
        for number, (width, length) in enumerate(sizes, first)
    )


def _unit(words: str) -> str:
    found = _UNIT_WORD.search(words)
    return found[0].rstrip(".") if found else ""


def _with(words: str, unit: str) -> str:
    return words if _unit(words) else f"{words} {unit}"


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def slug(name: str) -> str:
    """A short id from a name, of whole words where there are several: "Red ticking" becomes "red-ticking"."""
    words = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")
    if len(words) > SLUG_LETTERS:
        words = words[: SLUG_LETTERS + 1].rpartition("-")[0] or words[:SLUG_LETTERS]
    return words.removesuffix("-and") or "cloth"
