"""Lengths too long for a photograph: a stripe counted from selvage to selvage, folded yardage, margins kept out.

A repeat measured on a part of the cloth is off by a little, and at the far selvage by that many times over. One stripe
counted across the whole width, with its distance from each selvage, gives the repeat and the stripes' place at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from stash.errors import InputWrong
from stash.fabric import Print, Stripe
from stash.lengths import both, parse_length, shown
from stash.piece import Piece, Polygon
from vision.estimate import Estimate

#: How far off a width and a distance are that a person reads from a tape on cloth, mm (95 %): the tape's own class II
#: tolerance is 0.7 mm on 2 m (Directive 2014/32/EU, annex MI-008), the rest is cloth lying slack or drawn, and reading
#: to a sixteenth of an inch (common practice).
WIDTH_U95_MM: Final = 2.0
DISTANCE_U95_MM: Final = 1.0
#: Cloth is woven so much wider or narrower from place to place (repeats wander by 1/2 to 1 %, common practice); as u95
#: of what a part of it tells of the whole.
WANDER_U95: Final = 0.005
#: A stripe's width that was said is right to a sixteenth of an inch, mm (95 %).
SAID_U95_MM: Final = 0.8
#: Fewer stripes than this are not counted but measured.
FEWEST: Final = 2
MOST: Final = 2000
#: An old fold shows so far to each side, mm (our judgement: the crease and the line worn or faded along it).
FOLD_REACH_MM: Final = 3.0
#: Stripes that lie farther than this from lengthwise are not met one after the other across the width, degrees.
_LENGTHWISE_DEG: Final = 45.0

_EXAMPLE: Final = 'say it like "red 12, 3 1/2 in, 2 in": the stripe, how many, and how far the first and the last begin'
_STRIPE: Final = re.compile(r"(?:(?P<after>.+?)\s+(?P<last>\d+)|(?P<first>\d+)\s+(?P<before>.+))")
_SPLIT: Final = re.compile(r"[,;](?!\d)")
_MARGIN: Final = re.compile(r"(?P<side>left|right|top|bottom|both sides|sides)\s*:?\s*(?P<length>.+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """How often one stripe stands across the width, and how far it is from each selvage to the nearest edge of it."""

    stripe: str
    count: int
    left_mm: float
    right_mm: float


def read_count(text: str) -> Counted:
    """What she counted, as typed: "red 12, 3 1/2 in, 2 in". Raises InputWrong."""
    parts = [part.strip() for part in _SPLIT.split(text) if part.strip()]
    match = _STRIPE.fullmatch(parts[0]) if len(parts) == 3 else None
    if match is None:
        raise InputWrong(f"{shown(text)} is no count of a stripe", _EXAMPLE)
    count = int(match["last"] or match["first"])
    if not FEWEST <= count <= MOST:
        raise InputWrong(
            f"the stripe is counted {count} times", f"count one that stands {FEWEST} to {MOST} times across"
        )
    return Counted(
        stripe=(match["after"] or match["before"]).strip(),
        count=count,
        left_mm=_distance(parts[1], "left"),
        right_mm=_distance(parts[2], "right"),
    )


def _distance(text: str, side: str) -> float:
    return parse_length(text, what=f"the distance from the {side} selvage")


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """The print with the repeat that the count gives, and where the repeat starts along n."""

    print: Print
    origin_mm: float


def laid_by_count(
    print_: Print, counted: Counted, width_mm: float, *, direction_deg: float = 0.0, known: bool = False
) -> Laid:
    """The repeat and its place from a stripe counted along the upper edge of cloth that is ``width_mm`` wide.

    repeat = (width - left - right - the stripe's own width) / (count - 1), between the same edge of the first and of
    the last; where the stripes lie askew of the selvage it is that times the cosine of their angle. ``known``: the
    print is of a fabric that is kept, and stays as it is.

    Raises InputWrong where the stripe is not one of the print, and where the count and the print disagree by more than
    both their u95 (JCGM 100:2008: sums in quadrature).
    """
    if print_.across is None or not print_.stripes:
        raise InputWrong("the repeat of the stripes is not known", "photograph two repeats, or say them with --stripes")
    if abs(direction_deg) > _LENGTHWISE_DEG:
        raise InputWrong(
            "the stripes run across the cloth, and a count from selvage to selvage meets only one",
            "leave out --counted, and give --start",
        )
    stripe = _stripe(print_, counted.stripe)
    slant = math.cos(math.radians(direction_deg))
    between = (width_mm - counted.left_mm - counted.right_mm) * slant - stripe.width_mm
    if between <= 0:
        raise InputWrong(
            f"the distances from the selvages leave {both(max(0.0, between))} of the width",
            "measure from each selvage to the nearest edge of the stripe next to it",
        )
    across = Estimate(
        between / (counted.count - 1),
        math.hypot(WIDTH_U95_MM, DISTANCE_U95_MM, DISTANCE_U95_MM, _width_u95(stripe)) / (counted.count - 1),
    )
    _refuse_contradiction(print_, counted, across, between)
    factor = 1.0 if known else across.value / print_.across.value
    scaled = print_ if known else _scaled(print_, across, factor)
    start = (counted.left_mm * slant + stripe.width_mm / 2) - stripe.centre_mm * factor
    return Laid(print=scaled, origin_mm=start)


def _refuse_contradiction(print_: Print, counted: Counted, across: Estimate, between: float) -> None:
    assert print_.across is not None
    said = all(stripe.width_u95_mm == 0 for stripe in print_.stripes) and print_.across.u95 == 0
    own = SAID_U95_MM * math.sqrt(len(print_.stripes)) if said else print_.across.u95
    room = math.hypot(across.u95, own, WANDER_U95 * print_.across.value)
    apart = across.value - print_.across.value
    if abs(apart) <= room:
        return
    fits = round(between / print_.across.value) + 1
    again = f"count again ({fits} would give {both(between / (fits - 1))})" if fits >= FEWEST else "count again"
    same = fits == counted.count or fits < FEWEST
    raise InputWrong(
        f"{counted.count} {counted.stripe} stripes make a repeat of {across.value:.1f} mm, and it is "
        f"{print_.across.value:.1f} mm by the stripes themselves, {abs(apart):.1f} mm apart where {room:.1f} mm may be",
        "measure the width and both distances again" if same else f"{again}, or measure both distances again",
    )


def _stripe(print_: Print, said: str) -> Stripe:
    """The stripe of that label or colour. Raises InputWrong where there is none, or where it stands more than once."""
    words = said.casefold().removesuffix(" stripes").removesuffix(" stripe").removeprefix("the ").strip()
    found = [
        stripe for stripe in print_.stripes if words in (stripe.label.casefold(), (stripe.colour or "").casefold())
    ] or [stripe for stripe in print_.stripes if words and words in (stripe.colour or "").casefold().split()]
    if len(found) == 1:
        return found[0]
    once = [stripe for stripe in print_.stripes if len(print_.occurrences(stripe.label)) == 1]
    listed = ", ".join(f"{stripe.label} ({stripe.colour})" if stripe.colour else stripe.label for stripe in once)
    if not found:
        raise InputWrong(f"the cloth has no stripe {shown(said)}", f"count one of {listed or 'its stripes'}")
    raise InputWrong(
        f"the stripe {shown(said)} stands {len(found)} times in one repeat",
        f"count one that stands once: {listed}" if listed else "give --start instead",
    )


def _width_u95(stripe: Stripe) -> float:
    return stripe.width_u95_mm or SAID_U95_MM


def _scaled(print_: Print, across: Estimate, factor: float) -> Print:
    """The print with another repeat, its stripes tiling it as before."""
    stripes = tuple(
        replace(stripe, width_mm=stripe.width_mm * factor, centre_mm=stripe.centre_mm * factor)
        for stripe in print_.stripes
    )
    return replace(print_, across=across, stripes=stripes)


def creased(piece: Piece, at_mm: float) -> Piece:
    """The piece with its old fold, lengthwise at that x, as a flaw that parts keep clear of."""
    ys = [y for _, y in piece.outline_mm]
    left, right, top, bottom = at_mm - FOLD_REACH_MM, at_mm + FOLD_REACH_MM, min(ys), max(ys)
    fold: Polygon = ((left, top), (right, top), (right, bottom), (left, bottom))
    return replace(piece, flaws_mm=(*piece.flaws_mm, fold))


def read_margins(text: str) -> dict[str, float]:
    """How wide a rim is kept out at each side, mm: "sides 1/2 in, top 1 in". Raises InputWrong."""
    margins: dict[str, float] = {}
    for part in (one.strip() for one in _SPLIT.split(text) if one.strip()):
        match = _MARGIN.fullmatch(part.casefold())
        if match is None:
            raise InputWrong(
                f"{shown(part)} is no margin", 'say each side and how much, like "sides 1/2 in, top 1 in, bottom 2 cm"'
            )
        width = parse_length(match["length"], what=f"the margin at {match['side']}")
        for side in ("left", "right") if "sides" in match["side"] else (match["side"],):
            margins[side] = width
    return margins


def without_margins(piece: Piece, margins: Mapping[str, float]) -> Piece:
    """The piece without a rim at its sides, as it lies with its grain up and down; frame and stripes stay where they
    are. Raises InputWrong where nothing is left."""
    if not margins:
        return piece
    from shapely.geometry import Polygon as Shape
    from shapely.geometry import box

    whole = Shape(piece.outline_mm)
    left, top, right, bottom = whole.bounds
    low = (left + margins.get("left", 0.0), top + margins.get("top", 0.0))
    high = (right - margins.get("right", 0.0), bottom - margins.get("bottom", 0.0))
    inside = whole.intersection(box(*low, *high)) if low[0] < high[0] and low[1] < high[1] else Shape()
    parts = [part for part in getattr(inside, "geoms", (inside,)) if isinstance(part, Shape) and not part.is_empty]
    if not parts:
        raise InputWrong(
            f"the margins leave nothing of {both(right - left)} × {both(bottom - top)}", "give narrower ones"
        )
    largest = max(parts, key=lambda part: part.area)
    ring = tuple((float(x), float(y)) for x, y in list(largest.exterior.coords)[:-1])
    return replace(piece, outline_mm=_as_before(piece, ring), extra={**piece.extra, "margins_mm": dict(margins)})


def _as_before(piece: Piece, ring: Polygon) -> Polygon:
    """The ring turned about as the piece's outline is, and begun at its upper left corner."""
    if _area(ring) * _area(piece.outline_mm) < 0:
        ring = ring[::-1]
    first = min(range(len(ring)), key=lambda k: ring[k][0] + ring[k][1])
    return (*ring[first:], *ring[:first])


def _area(ring: Polygon) -> float:
    nexts = (*ring[1:], ring[0])
    return sum(x * v - u * y for (x, y), (u, v) in zip(ring, nexts, strict=True)) / 2
