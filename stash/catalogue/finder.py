"""Finding in the catalogue: the traits follow every change of a fabric or piece, and a query narrows them by SQL."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Any, Final

from sqlalchemy import Connection, Select, Table, and_, delete, insert, or_, select

from stash.catalogue.reach import Reach
from stash.catalogue.schema import fabric, fabric_trait, piece, piece_trait, stripe_trait
from stash.catalogue.trait import Query, fabric_row, piece_row, stripe_rows
from stash.piece import Piece, Polygon

#: Sizes are compared with this to spare, mm: documents are written to 0.001 mm, and 0.01 mm is equal (the contract).
EQUAL_MM: Final = 0.01
#: No lightness counts for more: CIEDE2000 is at least |ΔL| over this (S_L at L = 0 and 100, Sharma et al. 2005).
MOST_S_L: Final = 1.75
#: A colour without a counterpart counts as this many times as far as is allowed.
FAR: Final = 2.0
#: Rows fetched at once: enough for a screen, few enough to stop early.
ROWS: Final = 64
#: Fabrics whose pieces are fetched at once where the nearest in colour come first: enough for a screen, as a rule.
FABRICS: Final = 16
#: Fabrics that a question names one by one; the pieces of more are looked through instead.
NAMED: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A piece that may be what is sought, as it lies and without its notes; its fabric's name and whether that is
    plain, its area, how far off in colour."""

    piece: Piece
    fabric_name: str
    plain: bool
    area_mm2: float
    off: float | None


def follow(connection: Connection, table: Table, key: str, row: Mapping[str, Any] | None) -> None:
    """Makes the traits of one fabric or piece those of its row, or none where it is gone."""
    if table.name == fabric.name:
        connection.execute(delete(stripe_trait).where(stripe_trait.c.fabric == key))
        connection.execute(delete(fabric_trait).where(fabric_trait.c.fabric == key))
        if row is not None:
            document = json.loads(row["document"])
            connection.execute(insert(fabric_trait).values(fabric_row(document)))
            stripes = list(stripe_rows(document))
            if stripes:
                connection.execute(insert(stripe_trait), stripes)
    elif table.name == piece.name:
        connection.execute(delete(piece_trait).where(piece_trait.c.piece == key))
        if row is not None:
            connection.execute(insert(piece_trait).values(piece_row(json.loads(row["document"]))))


def candidates(connection: Connection, query: Query) -> Iterator[Candidate]:
    """The pieces that the query leaves, the smallest first; by colour alone, the nearest first."""
    off = _near(connection, query) if query.near else None
    if off is None or _sized(query):
        few = tuple(off) if off is not None and len(off) <= NAMED else ()
        if off is None or off:
            yield from (_candidate(row, off) for row in _asked(connection, _narrowed(query, few), query, off))
        return
    for names in _nearest_first(off):
        rows = list(_asked(connection, _narrowed(query, names), query, off))
        rows.sort(key=lambda row: off[row.fabric])  # those of one distance stay in their order
        yield from (_candidate(row, off) for row in rows)


def _nearest_first(off: Mapping[str, float]) -> Iterator[tuple[str, ...]]:
    """The fabrics some at a time, the nearest first, those that are equally far together."""
    by_distance = sorted(off, key=lambda name: (off[name], name))
    start, size = 0, FABRICS
    while start < len(by_distance):
        end = min(start + size, len(by_distance))
        while end < len(by_distance) and off[by_distance[end]] == off[by_distance[end - 1]]:
            end += 1
        yield tuple(by_distance[start:end])
        start, size = end, 2 * size


def _asked(connection: Connection, asked: Select[Any], query: Query, off: Mapping[str, float] | None) -> Iterator[Any]:
    """The rows that answer, but for those in which by their reach there is no room."""
    lies = query.along_mm > 0
    for row in connection.execution_options(yield_per=ROWS).execute(asked):
        if (off is None or row.fabric in off) and (not lies or _reaches(row, query)):
            yield row


def _reaches(row: Any, query: Query) -> bool:
    return Reach(row.reach).holds(_shapes(query), two=query.count > 1) or _by_grain(row)


def _by_grain(row: Any) -> bool:
    """Plain cloth lies by its grain, which its reach is not along where it is noted as turned."""
    return bool(row.kind == "plain" and row.turned_deg)


def _candidate(row: Any, off: Mapping[str, float] | None) -> Candidate:
    return Candidate(
        piece=_lying(json.loads(row.document)),
        fabric_name=row.name,
        plain=row.kind == "plain",
        area_mm2=row.area_mm2,
        off=None if off is None else off[row.fabric],
    )


def _lying(document: Mapping[str, Any]) -> Piece:
    """How the piece lies, from its document, which was looked through when it was kept: once more takes longer here
    than all the rest. What else is noted of it is left out."""
    return Piece(
        id=document["id"],
        fabric=document["fabric"],
        outline_mm=_ring(document["outline_mm"]),
        outline_u95_mm=document.get("outline_mm_u95") or 0.0,
        holes_mm=tuple(_ring(ring) for ring in document.get("holes_mm") or ()),
        flaws_mm=tuple(_ring(ring) for ring in document.get("flaws_mm") or ()),
        stripe_direction_deg=document.get("stripe_direction_deg"),
    )


def _ring(corners: Sequence[Sequence[float]]) -> Polygon:
    return tuple((x, y) for x, y in corners)


def _sized(query: Query) -> bool:
    return query.area_mm2 > 0


def _narrowed(query: Query, fabrics: tuple[str, ...] = ()) -> Select[Any]:
    of, own = piece_trait.c, fabric_trait.c
    asked = (
        select(piece.c.id, piece.c.document, of.fabric, of.area_mm2, of.reach, of.turned_deg, own.name, own.kind)
        .join(piece_trait, of.piece == piece.c.id)
        .join(fabric_trait, own.fabric == of.fabric)
        .order_by(of.area_mm2, of.piece)
    )
    if _sized(query):
        asked = asked.where(of.area_mm2 >= query.area_mm2 - 1.0, _large_enough(query))
    if query.fabrics or fabrics:
        asked = asked.where(of.fabric.in_(fabrics or query.fabrics))
    texts = {key: text for key, text in query.texts.items() if key != "place"}
    conditions = [getattr(own, key).contains(text, autoescape=True) for key, text in texts.items()]
    if query.weight_gsm is not None:
        conditions.append(own.weight_gsm.between(*query.weight_gsm))
    conditions += [
        or_(own.words.contains(word, autoescape=True), of.words.contains(word, autoescape=True)) for word in query.words
    ]
    if "place" in query.texts:
        text = query.texts["place"]
        conditions.append(or_(own.place.contains(text, autoescape=True), of.place.contains(text, autoescape=True)))
    if conditions:
        asked = asked.where(*conditions)
    if query.label is not None or query.stripe_mm is not None:
        stripe = stripe_trait.c
        striped = select(stripe.fabric)
        if query.label is not None:
            striped = striped.where(stripe.label == query.label)
        if query.stripe_mm is not None:
            striped = striped.where(stripe.width_mm.between(*query.stripe_mm))
        # an expression and no column: rows come by area and not by fabric, so that a screen of them is soon there
        asked = asked.where((of.fabric + "").in_(striped))
    return asked


def _large_enough(query: Query) -> Any:
    of = piece_trait.c
    hull = and_(of.round_mm >= query.narrow_mm - EQUAL_MM, of.wide_mm >= query.wide_mm - EQUAL_MM)
    if not query.along_mm:
        return hull
    boxes = or_(
        *(and_(of.across_mm >= across - EQUAL_MM, of.along_mm >= along - EQUAL_MM) for across, along in _boxes(query))
    )
    return and_(hull, or_(boxes, and_(fabric_trait.c.kind == "plain", of.turned_deg != 0)))


def _shapes(query: Query) -> list[tuple[float, float]]:
    """How one of them may lie, across by along, mm."""
    shapes = [(query.across_mm, query.along_mm)]
    return [*shapes, (query.along_mm, query.across_mm)] if query.turned else shapes


def _boxes(query: Query) -> Iterator[tuple[float, float]]:
    """One of the boxes that a piece must reach through: about one of them, or two that lie beside or above each
    other."""
    if query.count == 1:
        yield from _shapes(query)
        return
    for (wide, long), (across, along) in combinations_with_replacement(_shapes(query), 2):
        yield wide + across, max(long, along)
        yield max(wide, across), long + along


def _near(connection: Connection, query: Query) -> dict[str, float]:
    """How far the colours of each fabric are from those sought, where that is near enough.

    For each colour sought the nearest stripe of the fabric counts, and their mean by weight.
    """
    import numpy as np

    from stash.nearness import differences

    far, total = FAR * query.within, sum(weight for _, weight in query.near)
    of = stripe_trait.c
    lights = [lab[0] for lab, _ in query.near]
    span = (min(lights) - MOST_S_L * far, max(lights) + MOST_S_L * far)
    rows = connection.execute(
        select(of.fabric, of.lightness, of.a, of.b).where(of.lightness.between(*span)).order_by(of.lightness)
    ).all()
    colours = np.array([row[1:] for row in rows], dtype=np.float64).reshape(-1, 3)
    nearest: list[dict[str, float]] = []
    for lab, _ in query.near:
        first, last = np.searchsorted(colours[:, 0], (lab[0] - MOST_S_L * far, lab[0] + MOST_S_L * far))
        offs = differences(lab, colours[first:last])
        found: dict[str, float] = {}
        for at in np.flatnonzero(offs < far).tolist():
            name, off = rows[first + at][0], float(offs[at])
            if off < found.get(name, far):
                found[name] = off
        nearest.append(found)
    means = {
        name: sum(found.get(name, far) * weight for found, (_, weight) in zip(nearest, query.near, strict=True)) / total
        for name in set().union(*nearest)
    }
    return {name: mean for name, mean in means.items() if mean <= query.within}
