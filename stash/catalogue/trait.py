"""What cloth is found by, drawn from its document when it is kept: sizes, colours, stripes, words.

All of it can be made anew from the documents; nothing else is lost with it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from stash.catalogue.reach import reach
from stash.colour import Lab, lab_of
from stash.errors import InputWrong
from stash.piece import across_axis, along_axis

Ring = Sequence[Sequence[float]]

#: Values in the documents whose words are sought, by whom they are kept.
FABRIC_WORDS: Final = (
    "id", "name", "fibre", "weave", "care", "colourfast", "stretch", "lot", "place", "source", "notes",
)  # fmt: skip
PIECE_WORDS: Final = ("id", "place", "source", "notes", "reserved_for", "left_from")
#: How exactly the largest circle in an outline is sought, mm: half of what is left open about a hand-cut edge.
_ROUND_MM: Final = 1.0
#: Outlines of so few corners are near enough to their hulls.
_SIMPLE: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """What is sought; all that is given must hold. Texts are parts of what was noted, in any case of letters.

    ``area_mm2`` and the sizes are the least that a piece has: ``along_mm`` by ``across_mm`` in its print's frame, where
    a ``count`` of that size may lie ``turned`` or not, ``narrow_mm`` and ``wide_mm`` any way. ``near`` are colours with
    the weight of each; ``within`` is how far off (CIEDE2000) their mean may be.
    """

    area_mm2: float = 0.0
    along_mm: float = 0.0
    across_mm: float = 0.0
    turned: bool = False
    count: int = 1
    narrow_mm: float = 0.0
    wide_mm: float = 0.0
    near: tuple[tuple[Lab, float], ...] = ()
    within: float = 0.0
    label: str | None = None
    stripe_mm: tuple[float, float] | None = None
    weight_gsm: tuple[float, float] | None = None
    texts: Mapping[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    fabrics: tuple[str, ...] = ()


def fabric_row(document: Mapping[str, Any]) -> dict[str, Any]:
    """What a fabric is found by, but for its stripes."""
    weight = document.get("weight_gsm")
    return {
        "fabric": document["id"],
        "name": _held(document.get("name", document["id"])),
        "kind": document["print"]["kind"],
        **{key: _folded(document.get(key)) for key in ("fibre", "weave", "care", "place")},
        "weight_gsm": float(weight) if isinstance(weight, int | float) and not isinstance(weight, bool) else None,
        "words": _words(document, FABRIC_WORDS),
    }


def stripe_rows(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """One row for each stripe of the repeat; plain cloth has one without a width, where its colour is known."""
    stripes = document["print"].get("stripes") or []
    plain = [{"label": "", "width_mm": None, "hex": document.get("hex")}] if not stripes else []
    for number, stripe in enumerate([*stripes, *plain]):
        lab = _lab(stripe.get("hex"))
        if lab is None and stripe["width_mm"] is None:
            continue
        lightness, a, b = lab or (None, None, None)
        width = stripe["width_mm"]
        yield {
            "key": f"{document['id']}\n{number}",
            "fabric": document["id"],
            "label": stripe["label"],
            "width_mm": None if width is None else float(width),
            "lightness": lightness,
            "a": a,
            "b": b,
        }


def piece_row(document: Mapping[str, Any]) -> dict[str, Any]:
    """What a piece is found by."""
    ring = document["outline_mm"]
    direction = document.get("stripe_direction_deg") or 0.0
    narrow, wide = _calipers(ring)
    holes, flaws = document.get("holes_mm") or [], document.get("flaws_mm") or []
    inward = document.get("outline_mm_u95") or 0.0
    return {
        "piece": document["id"],
        "fabric": document["fabric"],
        "area_mm2": max(0.0, _area(ring) - sum(_area(hole) for hole in holes)),
        "turned_deg": float(direction),
        "along_mm": _extent(ring, along_axis(direction)),
        "across_mm": _extent(ring, across_axis(direction)),
        "narrow_mm": narrow,
        "wide_mm": wide,
        "round_mm": _round(ring, narrow),
        "reach": reach([ring, *holes, *flaws], direction, inward),
        "place": _folded(document.get("place")),
        "words": _words(document, PIECE_WORDS),
    }


def _lab(hex_colour: Any) -> Lab | None:
    if not isinstance(hex_colour, str):
        return None
    try:
        return lab_of(hex_colour)
    except InputWrong:
        return None


def _folded(value: Any) -> str:
    return _held(value).casefold()


def _held(value: Any) -> str:
    """Text without what a database cannot hold as text."""
    return value.replace("\0", " ").encode("utf-8", "replace").decode() if isinstance(value, str) else ""


def _words(document: Mapping[str, Any], keys: Sequence[str]) -> str:
    return "\n".join(text for text in (_folded(document.get(key)) for key in keys) if text)


def _area(ring: Ring) -> float:
    nexts = [*ring[1:], ring[0]]
    return abs(sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(ring, nexts, strict=True))) / 2


def _extent(ring: Ring, axis: tuple[float, float]) -> float:
    along = [p[0] * axis[0] + p[1] * axis[1] for p in ring]
    return max(along) - min(along)


def _calipers(ring: Ring) -> tuple[float, float]:
    """The least width of the outline's hull, which lies square to one of its edges, and the greatest distance in it."""
    hull = _hull([(float(p[0]), float(p[1])) for p in ring])
    widths = []
    for p, q in zip(hull, [*hull[1:], hull[0]], strict=True):
        length = math.dist(p, q)
        if length > 0:
            widths.append(_extent(hull, ((p[1] - q[1]) / length, (q[0] - p[0]) / length)))
    farthest = max(math.dist(p, q) for p in hull for q in hull)
    return min(widths, default=0.0), farthest


def _round(ring: Ring, narrow: float) -> float:
    """The diameter of the largest circle in the outline, or a little more: no wider rectangle lies in it any way."""
    if len(ring) <= _SIMPLE:
        return narrow
    import shapely

    outline = shapely.Polygon(ring)
    if not outline.is_valid:
        return narrow
    radius = shapely.maximum_inscribed_circle(outline, tolerance=_ROUND_MM).length
    return min(narrow, 2 * (float(radius) + _ROUND_MM))


def _hull(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The convex hull by monotone chains (A. M. Andrew, 1979)."""
    ordered = sorted(set(points))
    chains = []
    for run in (ordered, ordered[::-1]):
        chain: list[tuple[float, float]] = []
        for p in run:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], p) <= 0:
                chain.pop()
            chain.append(p)
        chains.append(chain[:-1])
    return chains[0] + chains[1]


def _turn(p: tuple[float, float], q: tuple[float, float], r: tuple[float, float]) -> float:
    return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
