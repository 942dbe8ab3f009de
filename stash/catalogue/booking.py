"""Books a plan: what was cut leaves the stash, what is left of it comes back, in one step that can be undone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from stash.catalogue.journal import Entry
from stash.catalogue.stage import Stage
from stash.catalogue.stash import Stash, descent
from stash.catalogue.worth import Worth, is_worth, snippet_note, worth_in
from stash.errors import Conflict
from stash.interchange.reader import corners, read_ring
from stash.interchange.ring import fault
from stash.interchange.spot import Spot
from stash.piece import Piece, Polygon

SCHEMA = "plan/1"
#: The outline of a leftover and its holes.
Rest = tuple[Polygon, tuple[Polygon, ...]]
#: Coordinates are written to 0.001 mm and count as equal within 0.01 mm; two such steps and a sliver's tip add up.
_FIT_MM = 0.05


def book_cut(
    stash: Stash, document: Any, *, worth: Worth | None = None, source: str = "the plan", stages: Sequence[Stage] = ()
) -> Entry:
    """Books the whole of a ``plan/1`` document whose answer is yes.

    The leftovers of a piece t1 enter as t1-1, t1-2 … with its frame, direction, origins, uncertainty and photograph,
    and with those of its holes and flaws that they hold. Those not worth keeping, by the stash's own size where none is
    given, become snippets and are named in the entry's notes.

    Raises:
        InputWrong: no plan, not a yes, or cuts that do not lie on their piece; or a stash that is only read.
        Conflict: a used piece is gone or has changed since the plan was made. Nothing is changed.
    """
    top = Spot(document, "", source)
    used = used_by(top)
    leftovers = _leftovers(top, used)
    contents = stash.contents()
    held = {piece.id: piece for piece in contents.pieces}
    fabrics = {fabric.id: fabric for fabric in contents.fabrics}
    least = worth or worth_in(contents)
    gone = [piece_id for piece_id in used if piece_id not in held]
    if gone:
        raise Conflict(
            f"the piece {gone[0]!r} is no longer in the stash", "plan again with: enough; nothing was changed"
        )
    kept: list[Piece] = []
    small: list[Piece] = []
    for piece_id, cuts in used.items():
        piece = held[piece_id]
        _refuse_misfit(top, piece, cuts, leftovers.get(piece_id, ()))
        for outline, holes in leftovers.get(piece_id, ()):
            part = rest_of(piece, outline, holes)
            (kept if is_worth(part, fabrics[piece.fabric], least) else small).append(part)
    title = f"cut {title_of(document)} from {', '.join(used)}"
    notes = [snippet_note(part) for part in small]
    return stash.exchange(tuple(used), kept, snippets=small, title=title, notes=notes, digests=document, stages=stages)


def used_by(top: Spot) -> dict[str, list[Polygon]]:
    """The cut outlines by piece. Raises InputWrong where the document is no plan that can be cut."""
    schema, answer = top.at("schema"), top.at("answer")
    if schema.value != SCHEMA:
        raise schema.wrong(f'is {schema.shown()}, needed "{SCHEMA}"', "give a plan written by: enough")
    if answer.value != "yes":
        raise answer.wrong(f"is {answer.shown()}: there is nothing to cut", "book a plan that says yes")
    cuts: dict[str, list[Polygon]] = {}
    for placement in top.at("placements").items():
        cuts.setdefault(placement.at("piece").text(), []).append(read_ring(placement.at("outline_mm")))
    if not cuts:
        raise top.at("placements").wrong("is empty: there is nothing to cut", "book a plan that cuts something")
    if not (top.has("piece_digests") or top.has("stash_digest")):
        raise top.at("stash_digest").wrong("is null", "plan again with: enough")
    return cuts


def _leftovers(top: Spot, used: dict[str, list[Polygon]]) -> dict[str, list[Rest]]:
    found: dict[str, list[Rest]] = {}
    for row in top.at("leftovers").items():
        piece_id = row.at("piece").text()
        if piece_id in used:
            found.setdefault(piece_id, []).extend(_rests(row))
    return found


def _rests(row: Spot) -> list[Rest]:
    """One leftover; several where rounding to 0.001 mm has made its outline touch itself and it falls apart there."""
    import shapely

    holes = tuple(read_ring(hole) for hole in row.get("holes_mm", []).items())
    ring = corners(row.at("outline_mm"))
    if fault(ring) is None:
        return [(ring, holes)]
    if len(ring) < 3:
        return [(read_ring(row.at("outline_mm")), holes)]
    mended = shapely.Polygon(ring, holes).buffer(0)
    parts = [part for part in getattr(mended, "geoms", [mended]) if part.area > 0]
    return [(_open(part.exterior), tuple(_open(hole) for hole in part.interiors)) for part in parts]


def _open(ring: Any) -> Polygon:
    """The corners of a shapely ring, the first not said again at the end."""
    return tuple((float(x), float(y)) for x, y in ring.coords[:-1])


def _refuse_misfit(top: Spot, piece: Piece, cuts: list[Polygon], left: Sequence[Rest]) -> None:
    """Raises InputWrong where a cut or a leftover lies off its piece, or a leftover holds what was cut."""
    import shapely

    cloth = shapely.Polygon(piece.outline_mm).buffer(_FIT_MM)
    cut = shapely.union_all([shapely.Polygon(outline) for outline in cuts])
    rests = [shapely.Polygon(outline, holes) for outline, holes in left]
    inside = cloth.covers(cut) and all(cloth.covers(rest) for rest in rests)
    apart = all(rest.buffer(-_FIT_MM).intersection(cut).area <= 0 for rest in rests)
    if not (inside and apart):
        raise top.at("placements").wrong(
            f"or leftovers do not fit the piece {piece.id!r}", "book the plan as it was written by: enough"
        )


def rest_of(piece: Piece, outline: Polygon, holes: tuple[Polygon, ...]) -> Piece:
    """The leftover as a piece, still under the id of the piece that it is of."""
    import shapely

    rest = shapely.Polygon(outline, holes)
    own = tuple(hole for hole in piece.holes_mm if rest.intersects(shapely.Polygon(hole)) and hole not in holes)
    new_holes = tuple(hole for hole in own if rest.intersection(shapely.Polygon(hole)).area > 0)
    flaws = tuple(flaw for flaw in piece.flaws_mm if rest.intersects(shapely.Polygon(flaw)))
    return replace(
        piece,
        outline_mm=outline,
        holes_mm=holes + new_holes,
        flaws_mm=flaws,
        extra={**piece.extra, "cut_from": piece.id, "descent": [*descent(piece), piece.id]},
    )


def title_of(document: Any) -> str:
    """What a plan is for, in words."""
    garments = document.get("garments")
    names = [g["name"] for g in garments or [] if isinstance(g, dict) and isinstance(g.get("name"), str)]
    return ", ".join(names)[:100] or "a plan"
