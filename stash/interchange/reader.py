"""Reads a ``stash/1`` document. Every mistake is told with its path; unknown keys are kept, at every level."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable
from typing import Any

from stash.errors import InputWrong
from stash.fabric import Fabric, Print, Stripe
from stash.interchange.contents import Contents
from stash.interchange.ring import fault, without_repeats
from stash.interchange.spot import Spot
from stash.piece import Piece, Point, Polygon
from vision.estimate import Estimate

SCHEMA = "stash/1"
#: The longest name that is kept, in characters: whoever writes a whole story there loses nothing.
LONGEST_NAME = 10_000
KINDS = ("stripe", "check", "motif", "plain")

_DOCUMENT_KEYS = frozenset({"schema", "fabrics", "pieces"})
_FABRIC_KEYS = frozenset({"id", "name", "one_way", "both_faces", "print"})
_PRINT_KEYS = frozenset({"kind", "across_mm", "across_mm_u95", "along_mm", "along_mm_u95", "stripes"})
_STRIPE_KEYS = frozenset({"label", "width_mm", "width_mm_u95", "centre_mm", "hex", "colour"})
_PIECE_KEYS = frozenset(
    {
        "id",
        "fabric",
        "outline_mm",
        "outline_mm_u95",
        "holes_mm",
        "flaws_mm",
        "stripe_direction_deg",
        "stripe_origin_mm",
        "along_origin_mm",
    }
)
_HEX = re.compile(r"#[0-9a-fA-F]{6}")


def parse(text: str | bytes, *, source: str) -> Any:
    """The JSON of a document. ``source`` is what error messages call it.

    Raises:
        InputWrong: the text is not JSON, holds NaN or Infinity, or says a key twice.
    """
    try:
        decoded = text.decode("utf-8-sig") if isinstance(text, bytes) else text
        return json.loads(decoded, object_pairs_hook=_keys_once, parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise InputWrong(f"{source} is not text in UTF-8 (byte {error.start})", "give a JSON file") from error
    except json.JSONDecodeError as error:
        problem = f"{source} is not JSON: {error.msg} at line {error.lineno}, column {error.colno}"
        raise InputWrong(problem, "correct it there, or export the stash again") from error
    except RecursionError as error:
        raise InputWrong(f"{source} is nested too deeply to be a stash", "give a stash/1 document") from error
    except ValueError as error:
        raise InputWrong(f"{source} {error}", "correct it, or export the stash again") from error


def read(document: Any, *, source: str = "the stash", known_fabrics: Collection[str] = ()) -> Contents:
    """The fabrics and pieces of a ``stash/1`` document.

    Left out, these take their plain meaning: ``one_way`` and ``both_faces`` false, uncertainties 0 (a value without
    one is exact), no holes, no flaws, ``stripe_direction_deg`` null (not known). ``known_fabrics`` are ids that pieces
    may name besides the document's own.

    Raises:
        InputWrong: with the path to the first mistake.
    """
    top = Spot(document, "", source)
    schema = top.at("schema")
    if schema.value != SCHEMA:
        raise schema.wrong(f'is {schema.shown()}, needed "{SCHEMA}"', "export the stash again with this version")
    fabrics = tuple(_fabric(spot) for spot in top.at("fabrics").items())
    _all_different(top.at("fabrics").items(), (fabric.id for fabric in fabrics))
    by_id: dict[str, Fabric | None] = dict.fromkeys(known_fabrics)
    by_id.update({fabric.id: fabric for fabric in fabrics})
    pieces = tuple(_piece(spot, by_id) for spot in top.at("pieces").items())
    _all_different(top.at("pieces").items(), (piece.id for piece in pieces))
    return Contents(fabrics=fabrics, pieces=pieces, extra=top.rest(_DOCUMENT_KEYS))


def read_fabric(document: Any, *, source: str) -> Fabric:
    """One fabric of the document. Raises InputWrong with the path to the first mistake."""
    return _fabric(Spot(document, "", source))


def read_piece(document: Any, *, source: str) -> Piece:
    """One piece of the document, whatever its fabric. Raises InputWrong with the path to the first mistake."""
    spot = Spot(document, "", source)
    return _piece(spot, {spot.at("fabric").text(): None})


def corners(spot: Spot) -> Polygon:
    """The corners of a ring, each once. Raises InputWrong where they are no pairs of numbers."""
    return without_repeats(tuple(_point(corner) for corner in spot.items()))


def read_ring(spot: Spot) -> Polygon:
    """A simple polygon. Raises InputWrong where it is none."""
    ring = corners(spot)
    wrong = fault(ring)
    if wrong is not None:
        raise spot.wrong(wrong, "give the corners in order round it, [x, y] in mm")
    return ring


def _fabric(spot: Spot) -> Fabric:
    fabric_id = spot.at("id").text()
    return Fabric(
        id=fabric_id,
        name=spot.get("name", fabric_id).text(longest=LONGEST_NAME),
        print=_print(spot.at("print")),
        one_way=spot.get("one_way", False).truth(),
        both_faces=spot.get("both_faces", False).truth(),
        extra=spot.rest(_FABRIC_KEYS),
    )


def _print(spot: Spot) -> Print:
    kind = spot.at("kind")
    if kind.value not in KINDS:
        raise kind.wrong(f"is {kind.shown()}, needed one of {', '.join(KINDS)}", "write one of them")
    across = _estimate(spot, "across_mm")
    stripes = tuple(_stripe(item) for item in _list(spot, "stripes"))
    if across is not None:
        _within_repeat(spot.get("stripes", []), stripes, across.value)
    return Print(
        kind=kind.value,
        across=across,
        along=_estimate(spot, "along_mm"),
        stripes=tuple(sorted(stripes, key=lambda stripe: stripe.centre_mm)),
        extra=spot.rest(_PRINT_KEYS),
    )


def _within_repeat(spot: Spot, stripes: tuple[Stripe, ...], across_mm: float) -> None:
    for item, stripe in zip(spot.items() if stripes else (), stripes, strict=True):
        if stripe.width_mm > across_mm * 1.0001:
            raise item.at("width_mm").wrong(
                f"is {stripe.width_mm:g}, wider than the whole repeat across_mm = {across_mm:g}", "correct one of them"
            )


def _stripe(spot: Spot) -> Stripe:
    colour = spot.get("hex", None)
    if colour.value is not None and not (isinstance(colour.value, str) and _HEX.fullmatch(colour.value)):
        raise colour.wrong(f'is {colour.shown()}, needed a colour such as "#a01c24"', "write six hexadecimal digits")
    name = spot.get("colour", None)
    return Stripe(
        label=spot.at("label").text(),
        width_mm=spot.at("width_mm").number(above=0.0),
        centre_mm=spot.at("centre_mm").number(),
        hex=colour.value,
        colour=None if name.value is None else name.text(),
        width_u95_mm=spot.get("width_mm_u95", None).number_or_none(least=0.0) or 0.0,
        extra=spot.rest(_STRIPE_KEYS),
    )


def _piece(spot: Spot, fabrics: dict[str, Fabric | None]) -> Piece:
    fabric_id = spot.at("fabric")
    if fabric_id.text() not in fabrics:
        raise fabric_id.wrong(f"names {fabric_id.shown()}, which is no fabric's id", "add the fabric, or correct it")
    fabric = fabrics[fabric_id.value]
    direction = spot.get("stripe_direction_deg", None)
    if direction.value is not None and fabric is not None:
        _needs_origins(spot, fabric.print)
    return Piece(
        id=spot.at("id").text(),
        fabric=fabric_id.value,
        outline_mm=read_ring(spot.at("outline_mm")),
        outline_u95_mm=spot.get("outline_mm_u95", None).number_or_none(least=0.0) or 0.0,
        holes_mm=tuple(read_ring(ring) for ring in _list(spot, "holes_mm")),
        flaws_mm=tuple(read_ring(ring) for ring in _list(spot, "flaws_mm")),
        stripe_direction_deg=_degrees(direction),
        stripe_origin_mm=spot.get("stripe_origin_mm", None).number_or_none() or 0.0,
        along_origin_mm=spot.get("along_origin_mm", None).number_or_none() or 0.0,
        extra=spot.rest(_PIECE_KEYS),
    )


def _needs_origins(spot: Spot, print_: Print) -> None:
    """Where the direction is known, the place of the repeat must be said: 0 for lack of it would be a guess."""
    needed = [("stripe_origin_mm", bool(print_.stripes)), ("along_origin_mm", print_.along is not None)]
    for key, is_needed in needed:
        if is_needed and not spot.has(key):
            raise spot.get(key, None).wrong(
                "is missing, and the fabric's repeat needs it",
                "give it in mm, or set stripe_direction_deg to null where it is not known",
            )


def _degrees(spot: Spot) -> float | None:
    value = spot.number_or_none()
    if value is not None and abs(value) > 360.0:
        raise spot.wrong(f"is {spot.shown()}, needed an angle within ±360", "give it in degrees")
    return value


def _estimate(spot: Spot, key: str) -> Estimate | None:
    value = spot.get(key, None).number_or_none(above=0.0)
    u95 = spot.get(f"{key}_u95", None).number_or_none(least=0.0)
    return None if value is None else Estimate(value, u95 or 0.0)


def _list(spot: Spot, key: str) -> list[Spot]:
    return spot.get(key, []).items() if spot.has(key) else []


def _point(spot: Spot) -> Point:
    pair = spot.items()
    if len(pair) != 2:
        raise spot.wrong(f"has {len(pair)} numbers, needed 2", "write each corner as [x, y] in mm")
    return pair[0].number(), pair[1].number()


def _all_different(spots: Iterable[Spot], ids: Iterable[str]) -> None:
    seen: set[str] = set()
    for spot, found in zip(spots, ids, strict=True):
        if found in seen:
            raise spot.at("id").wrong(f"is {found!r}, which an earlier one has already", "give each its own id")
        seen.add(found)


def _keys_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    keys = dict(pairs)
    if len(keys) != len(pairs):
        twice = next(key for key, _ in pairs if sum(key == other for other, _ in pairs) > 1)
        raise ValueError(f"says the key {twice!r} twice in one object")
    return keys


def _no_constant(name: str) -> float:
    raise ValueError(f"holds {name}, which is not a number in JSON")
