"""Writes fabrics and pieces as a ``stash/1`` document: known keys first, then those we do not know, unchanged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stash.fabric import Fabric, Print, Stripe
from stash.interchange.contents import Contents
from stash.interchange.reader import SCHEMA
from stash.piece import Piece, Polygon
from vision.estimate import Estimate

#: Coordinates are written to 0.001 mm (contract of the documents). Repeats and angles keep every digit, because
#: their error grows with the number of repeats and with the length of the cloth.
COORDINATE_DIGITS = 3


def stash_document(contents: Contents) -> dict[str, Any]:
    """The whole document."""
    known = {
        "schema": SCHEMA,
        "fabrics": [fabric_document(fabric) for fabric in contents.fabrics],
        "pieces": [piece_document(piece) for piece in contents.pieces],
    }
    return _with(known, contents.extra)


def fabric_document(fabric: Fabric) -> dict[str, Any]:
    """One entry of ``fabrics``."""
    known = {
        "id": fabric.id,
        "name": fabric.name,
        "one_way": fabric.one_way,
        "both_faces": fabric.both_faces,
        "print": _print(fabric.print),
    }
    return _with(known, fabric.extra)


def piece_document(piece: Piece) -> dict[str, Any]:
    """One entry of ``pieces``."""
    known = {
        "id": piece.id,
        "fabric": piece.fabric,
        "outline_mm": ring_document(piece.outline_mm),
        "outline_mm_u95": _number(piece.outline_u95_mm),
        "holes_mm": [ring_document(hole) for hole in piece.holes_mm],
        "flaws_mm": [ring_document(flaw) for flaw in piece.flaws_mm],
        "stripe_direction_deg": _number_or_none(piece.stripe_direction_deg),
        "stripe_origin_mm": _number(piece.stripe_origin_mm),
        "along_origin_mm": _number(piece.along_origin_mm),
    }
    return _with(known, piece.extra)


def ring_document(ring: Polygon) -> list[list[float]]:
    """Corners [x, y] to 0.001 mm."""
    return [[_number(round(x, COORDINATE_DIGITS)), _number(round(y, COORDINATE_DIGITS))] for x, y in ring]


def _print(print_: Print) -> dict[str, Any]:
    known = {
        "kind": print_.kind,
        **_estimate("across_mm", print_.across),
        **_estimate("along_mm", print_.along),
        "stripes": [_stripe(stripe) for stripe in print_.stripes],
    }
    return _with(known, print_.extra)


def _stripe(stripe: Stripe) -> dict[str, Any]:
    known: dict[str, Any] = {
        "label": stripe.label,
        "width_mm": _number(stripe.width_mm),
        "centre_mm": _number(stripe.centre_mm),
        "hex": stripe.hex,
    }
    if stripe.colour is not None:
        known["colour"] = stripe.colour
    if stripe.width_u95_mm:
        known["width_mm_u95"] = _number(stripe.width_u95_mm)
    return _with(known, stripe.extra)


def _estimate(key: str, estimate: Estimate | None) -> dict[str, float | None]:
    if estimate is None:
        return {key: None, f"{key}_u95": None}
    return {key: _number(estimate.value), f"{key}_u95": _number(estimate.u95)}


def _with(known: dict[str, Any], extra: Mapping[str, Any]) -> dict[str, Any]:
    return known | {key: value for key, value in extra.items() if key not in known}


def _number(value: float) -> float:
    """A whole number without its ``.0``, and no negative zero: one number is always written in one way."""
    return int(value) if float(value).is_integer() else float(value)


def _number_or_none(value: float | None) -> float | None:
    return None if value is None else _number(value)
