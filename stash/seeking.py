"""Finding cloth in the stash: by size, colour, stripe and whatever was noted, all at once. Nothing here prints."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

from stash.catalogue.reservation import reserved_in
from stash.colour import lab_of
from stash.errors import InputWrong
from stash.fact import weight_gsm
from stash.lengths import parse_length, shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stash.catalogue.finder import Candidate
    from stash.catalogue.stash import Stash
    from stash.catalogue.trait import Query
    from stash.fitting import Room, Way
    from stash.garment.part import Garment
    from stash.piece import Piece

#: How far off a colour may be where nothing is said, CIEDE2000: plainly alike beside each other (our judgement).
WITHIN: Final = 6.0
#: A width or weight that is told without bounds may be off by this share.
ABOUT: Final = 0.1
#: Pieces told where nothing is said: a screen of them.
MOST: Final = 20

_NUMBERS: Final = "one two three four five six seven eight nine ten eleven twelve"
_COUNTS: Final = {word: number for number, word in enumerate(_NUMBERS.split(), 1)}
_MOST_COUNT: Final = len(_COUNTS)
_SIZE: Final = re.compile(r"(?:(?P<count>\w+)\s+of\s+)?(?P<first>.+?)\s*[x×*]\s*(?P<second>.+)", re.IGNORECASE)
_RANGE: Final = re.compile(r"(.+?)\s*(?:\bto\b|–|\.\.)\s*(.+)")
#: Letters of a stripe's label, as against a width.
_LABEL: Final = re.compile(r"[A-Z]{1,2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """What is sought, as typed; all that is given must hold.

    ``near`` is ``#rrggbb`` or a fabric's id. ``stripe`` is a label or a width, ``weight`` a weight or ``150 to 220``.
    ``texts`` are parts of what was noted, by the fact's key.
    """

    fits: str | None = None
    way: Way = "square"
    near: str | None = None
    within: float = WITHIN
    stripe: str | None = None
    weight: str | None = None
    texts: Mapping[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    most: int = MOST


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A piece that was found; ``left_mm2`` is what is over once the sizes sought are cut from it, ``reserved_for`` what
    a plan that keeps it is for."""

    piece: Piece
    fabric_name: str
    area_mm2: float
    left_mm2: float | None
    off: float | None
    reserved_for: str | None = None

    @property
    def document(self) -> dict[str, Any]:
        """Its row of the document ``found/1``."""
        return {
            "piece": self.piece.id,
            "fabric": self.piece.fabric,
            "name": self.fabric_name,
            "area_mm2": round(self.area_mm2, 1),
            "left_mm2": None if self.left_mm2 is None else round(self.left_mm2, 1),
            "colour_difference": None if self.off is None else round(self.off, 2),
            "reserved_for": self.reserved_for,
        }


def find(held: Stash, sought: Sought) -> tuple[Found, ...]:
    """The pieces that are all that is sought, those with the least left over first; without a size, the nearest in
    colour first, then the smallest.

    Raises:
        InputWrong: something cannot be read. NotFound: ``near`` is neither a colour nor a fabric of the stash.
    """
    room = None if sought.fits is None else read_room(sought.fits, sought.way)
    found = tuple(islice(fitting(held.found(query_of(held, sought, room)), room), sought.most))
    reserved = reserved_in(held) if found else {}
    return tuple(replace(row, reserved_for=reserved.get(row.piece.id)) for row in found)


def fitting(candidates: Iterator[Candidate], room: Room | None, *, grain: bool = False) -> Iterator[Found]:
    """Those of the candidates in which there is the room, by the stripes or by the grain."""
    if room is not None:
        from stash.fitting import fits
    for row in candidates:
        piece = replace(row.piece, stripe_direction_deg=0.0) if row.plain or grain else row.piece
        if room is None or fits(piece, room):
            left = None if room is None else row.area_mm2 - room.area_mm2
            yield Found(piece=row.piece, fabric_name=row.fabric_name, area_mm2=row.area_mm2, left_mm2=left, off=row.off)


@dataclass(frozen=True, slots=True, kw_only=True)
class Possible:
    """A part of a garment and the pieces that could be it whole: of its own fabric, and for panels of others too;
    ``reserved`` are those of them that a plan keeps."""

    part: str
    fabric: str
    stripe: str | None
    own: tuple[str, ...]
    others: tuple[str, ...]
    reserved: tuple[str, ...] = ()

    @property
    def document(self) -> dict[str, Any]:
        """Its row of the document ``possible/1``."""
        return {
            "part": self.part, "fabric": self.fabric, "stripe": self.stripe,
            "pieces": list(self.own), "other_cloth": list(self.others), "reserved": list(self.reserved),
        }  # fmt: skip


def possible(held: Stash, garments: Sequence[Garment], *, most: int = MOST) -> tuple[Possible, ...]:
    """For each part the pieces from which it can be cut whole, each by itself, those with the least over first.

    Raises InputWrong where a part's fabric or stripe is not there.
    """
    from stash.catalogue.trait import Query
    from stash.garment.part import Panel
    from stash.garment.stock import check_against
    from stash.use import panel_room, whole_in

    contents = held.contents()
    fabrics = {fabric.id: fabric for fabric in contents.fabrics}
    kept, rows = reserved_in(held), []
    for garment in garments:
        check_against(garment, fabrics)
        for part in garment.parts:
            if isinstance(part, Panel):
                room = panel_room(part)
                query = with_room(Query(), replace(room, way="any") if part.align == "grain" else room)
                found = list(fitting(held.found(query), room, grain=part.align == "grain"))
                own = [row.piece.id for row in found if row.piece.fabric == part.fabric]
                others = [row.piece.id for row in found if row.piece.fabric != part.fabric]
            else:
                lying = [piece for piece in contents.pieces if piece.fabric == part.fabric]
                own = [piece.id for piece, _ in whole_in(lying, part, fabrics[part.fabric])]
                others = []
            rows.append(
                Possible(
                    part=part.id, fabric=part.fabric, stripe=None if isinstance(part, Panel) else part.stripe,
                    own=tuple(own[:most]), others=tuple(others[:most]),
                    reserved=tuple(name for name in (*own[:most], *others[:most]) if name in kept),
                )
            )  # fmt: skip
    return tuple(rows)


def read_room(text: str, way: Way, what: str = "--fits") -> Room:
    """``two of 9 x 6 in``: the first length lies along the stripes. Raises InputWrong."""
    from stash.fitting import Room

    match = _SIZE.fullmatch(text.strip())
    if match is None:
        raise InputWrong(f"{what} is {shown(text)}, which is no size", 'write it like "9 x 6 in" or "two of 9 x 6 in"')
    word = (match["count"] or "one").casefold()
    count = _COUNTS.get(word) or (int(word) if word.isdecimal() else 0)
    if not 1 <= count <= _MOST_COUNT:
        raise InputWrong(f"{what} is {shown(text)}, for how many cannot be read", f"say a number up to {_MOST_COUNT}")
    across = parse_length(match["second"], what=what)
    first = match["first"] if re.search(r"[a-z\"'″′]", match["first"], re.IGNORECASE) else _with_unit(match)
    along = parse_length(first, what=what)
    if not along or not across:
        raise InputWrong(f"{what} is {shown(text)}, which is nothing", "give a size")
    return Room(along_mm=along, across_mm=across, count=count, way=way)


def _with_unit(match: re.Match[str]) -> str:
    unit = re.search(r"[^\d\s./,¼½¾⅛⅜⅝⅞-].*$", match["second"])
    return f"{match['first']} {unit[0] if unit else ''}"


def query_of(held: Stash, sought: Sought, room: Room | None) -> Query:
    """What the catalogue narrows by. Raises InputWrong, NotFound."""
    from stash.catalogue.trait import Query

    label, stripe_mm = _stripe(sought.stripe)
    query = Query(
        near=() if sought.near is None else _colours(held, sought.near),
        within=sought.within,
        label=label,
        stripe_mm=stripe_mm,
        weight_gsm=None if sought.weight is None else _weights(sought.weight),
        texts={key: text.casefold() for key, text in sought.texts.items()},
        words=tuple(word.casefold() for phrase in sought.words for word in phrase.split()),
    )
    return query if room is None else with_room(query, room)


def with_room(query: Query, room: Room) -> Query:
    """The query for pieces that are not too small for the room."""
    sides = sorted((room.along_mm, room.across_mm))
    lies = room.way != "any"
    return replace(
        query,
        area_mm2=room.area_mm2,
        along_mm=room.along_mm if lies else 0.0,
        across_mm=room.across_mm if lies else 0.0,
        turned=room.way == "square",
        count=room.count,
        narrow_mm=sides[0],
        wide_mm=math.hypot(*sides),
    )


def _colours(held: Stash, near: str) -> tuple[tuple[tuple[float, float, float], float], ...]:
    if near.startswith("#"):
        return ((lab_of(near), 1.0),)
    fabric = held.fabric(near)
    shades = [(stripe.hex, stripe.width_mm) for stripe in fabric.print.stripes if stripe.hex]
    whole = fabric.extra.get("hex")
    if not shades and isinstance(whole, str):
        shades = [(whole, 1.0)]
    if not shades:
        raise InputWrong(f"no colour of {near} is known", "measure it from a photograph, or give a colour like #a01c24")
    by_shade: dict[str, float] = {}
    for shade, width in shades:
        by_shade[shade] = by_shade.get(shade, 0.0) + width
    return tuple((lab_of(shade), width) for shade, width in by_shade.items())


def _stripe(text: str | None) -> tuple[str | None, tuple[float, float] | None]:
    if text is None:
        return None, None
    if _LABEL.fullmatch(text.strip()):
        return text.strip(), None
    low, high = _bounds(text)
    spread = ABOUT if low == high else 0.0
    least, most = parse_length(low, what="--stripe"), parse_length(high, what="--stripe")
    return None, (least * (1 - spread), most * (1 + spread))


def _weights(text: str) -> tuple[float, float]:
    low, high = _bounds(text)
    spread = ABOUT if low == high else 0.0
    if not re.search(r"[a-z]", low, re.IGNORECASE):
        low += " " + re.sub(r"^[\d\s.,]+", "", high)
    return weight_gsm(low.strip(), "--weight") * (1 - spread), weight_gsm(high, "--weight") * (1 + spread)


def _bounds(text: str) -> tuple[str, str]:
    match = _RANGE.fullmatch(text.strip())
    return (match[1], match[2]) if match else (text.strip(), text.strip())
