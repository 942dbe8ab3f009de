"""The stash in words: a row a piece, and all of one piece."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from stash.catalogue.stash import origin
from stash.fabric import Fabric
from stash.fact import OF_FABRIC, OF_PIECE, Fact, spoken
from stash.lengths import both, inches
from stash.piece import Piece

if TYPE_CHECKING:
    from stash.catalogue.reservation import Reservation
    from stash.catalogue.snippet import Snippets

#: No piece is reserved, and there are no snippets.
NOTHING: Mapping[str, Reservation] = MappingProxyType({})
NO_SNIPPETS: Mapping[str, Snippets] = MappingProxyType({})

#: Outlines with more corners than this are not listed corner by corner.
MOST_CORNERS = 12

#: A piece that fills less of its bounding box than this is not a rectangle: frayed edges take a little.
RECTANGLE_SHARE = 0.96


def listed(
    fabrics: Sequence[Fabric],
    pieces: Sequence[Piece],
    reserved: Mapping[str, Reservation] = NOTHING,
    snippets: Mapping[str, Snippets] = NO_SNIPPETS,
) -> Iterator[str]:
    """Each fabric with its print, and its pieces and snippets below it; ``reserved`` by piece, ``snippets`` by
    fabric."""
    if not fabrics:
        yield "The stash is empty. Add cloth with: stripewright add PHOTO --name NAME, or with --width and --length."
        return
    for fabric in fabrics:
        yield f"{fabric.name} ({fabric.id}): {_print(fabric)}"
        own = [piece for piece in pieces if piece.fabric == fabric.id]
        yield from (f"  {piece.id}: {size(piece)}{_state(piece, fabric, reserved.get(piece.id))}" for piece in own)
        if fabric.id in snippets:
            yield f"  {snippet_line(snippets[fabric.id])}"
        if not own:
            yield "  no pieces"


def snippet_line(row: Snippets) -> str:
    """How many snippets, and how much they cover."""
    return f"{row.count} snippet{'s' * (row.count != 1)}, {row.area_mm2 / 100:.0f} cm² in all"


def shown(piece: Piece, fabric: Fabric, photo: Path | None, reserved: Reservation | None = None) -> Iterator[str]:
    """All that is known of one piece."""
    yield f"{piece.id}: {size(piece)} of {fabric.name} ({fabric.id})"
    yield f"  print    {_print(fabric)}"
    for stripe in fabric.print.stripes:
        colour = stripe.colour or stripe.hex or ""
        yield f"  stripe   {stripe.label}: {colour} {both(stripe.width_mm)}"
    if fabric.print.kind != "plain":
        yield f"  stripes  {_direction(piece.stripe_direction_deg)}"
    if piece.outline_u95_mm:
        yield f"  edges    known to ± {piece.outline_u95_mm:.1f} mm"
    yield from _rectangles(piece)
    if len(piece.outline_mm) <= MOST_CORNERS:
        yield "  corners  " + ", ".join(f"({x:.0f}, {y:.0f})" for x, y in piece.outline_mm) + " mm"
    if piece.holes_mm or piece.flaws_mm:
        yield f"  beware   {len(piece.holes_mm)} holes and {len(piece.flaws_mm)} flaws"
    if photo is not None:
        yield f"  photo    {photo}"
    if reserved is not None:
        yield f"  kept     for {reserved.title}, as planned"
    if origin(piece):
        yield f"  left of  {', '.join(origin(piece))}"
    yield from told(piece.extra, OF_PIECE)
    yield from told(fabric.extra, OF_FABRIC)


def _rectangles(piece: Piece) -> Iterator[str]:
    """The largest rectangles that it holds, where it is none itself."""
    if _filled(piece) >= RECTANGLE_SHARE and not (piece.holes_mm or piece.flaws_mm):
        return
    from stash.rectangle import along_grain, along_stripes

    yield f"  holds    about {_sides(along_grain(piece))} along the grain"
    if piece.stripe_direction_deg and (sides := along_stripes(piece)) is not None:
        yield f"           about {_sides(sides)} along the stripes"


def _sides(sides: tuple[float, float]) -> str:
    return f"{both(sides[0])} × {both(sides[1])}"


def told(extra: Mapping[str, Any], known: Mapping[str, Fact]) -> Iterator[str]:
    """What was noted, a row each."""
    for label, words in spoken(extra, known):
        yield f"  {label:<8} {' '.join(words.split())}"


def size(piece: Piece) -> str:
    """Its greatest width by its greatest length."""
    xs, ys = zip(*piece.outline_mm, strict=True)
    return f"{both(max(xs) - min(xs))} × {both(max(ys) - min(ys))}"


def _direction(deg: float | None) -> str:
    if deg is None:
        return "their direction is not known"
    way = "counter-clockwise" if deg >= 0 else "clockwise"
    return f"lie {abs(deg):.2f}° {way} of the grain" if deg else "lie along the grain"


def _print(fabric: Fabric) -> str:
    print_ = fabric.print
    ways = ", runs one way" if fabric.one_way else ""
    if print_.kind == "plain":
        return f"plain{ways}"
    if print_.across is None:
        return f"{print_.kind}, repeat not known{ways}"
    listed_stripes = ", ".join(
        " ".join(word for word in (row.label, row.colour, inches(row.width_mm)) if word) for row in print_.stripes
    )
    return f"{print_.kind}, repeat {both(print_.across.value)}{': ' + listed_stripes if listed_stripes else ''}{ways}"


def _filled(piece: Piece) -> float:
    """The share of its bounding box that the outline takes."""
    xs, ys = zip(*piece.outline_mm, strict=True)
    nexts = (*piece.outline_mm[1:], piece.outline_mm[0])
    twice = sum(x * v - u * y for (x, y), (u, v) in zip(piece.outline_mm, nexts, strict=True))
    return float(abs(twice) / 2 / max((max(xs) - min(xs)) * (max(ys) - min(ys)), 1e-9))


def _state(piece: Piece, fabric: Fabric, reserved: Reservation | None) -> str:
    words = [] if reserved is None else [f"reserved for {reserved.title}"]
    if fabric.print.kind != "plain" and piece.stripe_direction_deg is None:
        words.append("place of its stripes not known")
    if _filled(piece) < RECTANGLE_SHARE:
        words.append("not a rectangle")
    if piece.holes_mm:
        words.append("has holes")
    if piece.flaws_mm:
        words.append("has flaws")
    return f" ({', '.join(words)})" if words else ""
