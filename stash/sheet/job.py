"""What a plan asks to be cut, as the sheet needs it: parts by name, and each piece with its placements."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import dist, isfinite
from typing import Any

from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.interchange.ring import signed_area_mm2
from stash.piece import Piece, Polygon
from stash.planner.plan import Leftover, Placement

_AGAIN = "make the plan again with enough"


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One part of the garment as the plan describes it; what it does not say is None."""

    id: str
    garment: str = ""
    width_mm: float | None = None
    length_mm: float | None = None
    seam_mm: float | None = None
    stripe_at_mm: float | None = None
    make: str | None = None
    segments: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One piece to be laid on the table: its fabric, what is cut from it, what is left of it."""

    piece: Piece
    fabric: Fabric
    placements: tuple[Placement, ...]
    leftovers: tuple[Leftover, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """All that is to be cut, in the order in which the pieces come to the table."""

    names: tuple[str, ...]
    cards: Mapping[str, Card]
    tables: tuple[Table, ...]
    tightest: Mapping[str, Any] | None = None
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def title(self, placement: Placement) -> str:
        """The name of what is cut there: ``hem``, or ``hem 2 of 3`` where the strip is in segments."""
        segments = self.cards[placement.part].segments
        return placement.part if segments == 1 else f"{placement.part} {placement.segment} of {segments}"


def read_job(plan: Mapping[str, Any], fabrics: Iterable[Fabric], pieces: Iterable[Piece]) -> Job:
    """The job in a ``plan/1`` document, joined with the stash.

    Raises InputWrong where the document is not a plan, holds nothing to cut, or names a piece that is not in the stash.
    """
    if plan.get("schema") != "plan/1":
        raise InputWrong(f"this is not a plan: its schema is {plan.get('schema')!r}, needed 'plan/1'", _AGAIN)
    _must_be_yes(plan)
    placements = tuple(_placement(row, index) for index, row in enumerate(plan["placements"]))
    by_piece = {piece.id: piece for piece in pieces}
    by_fabric = {fabric.id: fabric for fabric in fabrics}
    leftovers = [
        Leftover(
            piece=str(row.get("piece")), outline_mm=_ring(row.get("outline_mm"), f"leftovers[{index}].outline_mm"),
            holes_mm=tuple(_ring(hole, f"leftovers[{index}].holes_mm") for hole in row.get("holes_mm") or ()),
        )
        for index, row in enumerate(plan.get("leftovers") or ())
    ]  # fmt: skip
    tables = []
    for name in dict.fromkeys(placement.piece for placement in placements):
        piece = by_piece.get(name)
        if piece is None or piece.fabric not in by_fabric:
            raise InputWrong(f"piece {name} is in the plan but not in the stash", f"open its stash, or {_AGAIN}")
        tables.append(
            Table(
                piece=piece, fabric=by_fabric[piece.fabric],
                placements=tuple(placement for placement in placements if placement.piece == name),
                leftovers=tuple(leftover for leftover in leftovers if leftover.piece == name),
            )
        )  # fmt: skip
    garments = [garment for garment in plan.get("garments") or () if isinstance(garment, Mapping)]
    return Job(
        names=tuple(str(garment.get("name") or "") for garment in garments if garment.get("name")),
        cards=_cards(garments, placements),
        tables=tuple(tables),
        tightest=plan.get("tightest"),
        cautions=_sentences(garments, "cautions"),
        notes=_sentences(garments, "notes"),
    )


def _must_be_yes(plan: Mapping[str, Any]) -> None:
    answer = plan.get("answer")
    if answer == "no":
        raise InputWrong("the plan's answer is no, so there is nothing to cut", "see its ways out and plan again")
    if answer == "unsure":
        settle = "; ".join(str(line) for line in plan.get("settle") or ())
        remedy = settle or ("give enough more time" if plan.get("reason") == "time" else "measure the cloth again")
        raise InputWrong("the plan's answer is unsure, so nothing is to be cut by it", remedy)
    if answer != "yes" or not plan.get("placements"):
        raise InputWrong("the plan holds nothing to cut", _AGAIN)


def _placement(row: Any, index: int) -> Placement:
    where = f"placements[{index}]"
    try:
        finished = row.get("finished_mm")
        placement = Placement(
            part=str(row["part"]), segment=int(row.get("segment") or 1), piece=str(row["piece"]),
            stripe=row.get("stripe"), finished_mm=None if finished is None else float(finished),
            turned=bool(row.get("turned")), outline_mm=_ring(row["outline_mm"], f"{where}.outline_mm"),
            over=bool(row.get("over")),
        )  # fmt: skip
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputWrong(f"{where} of the plan cannot be read ({error})", _AGAIN) from error
    if len(placement.outline_mm) != 4:
        raise InputWrong(f"{where}.outline_mm has {len(placement.outline_mm)} corners, needed 4", _AGAIN)
    return placement


def _ring(points: Any, where: str) -> Polygon:
    try:
        ring = tuple((float(x), float(y)) for x, y in points)
    except (TypeError, ValueError) as error:
        raise InputWrong(f"{where} of the plan is not a list of points", _AGAIN) from error
    if len(ring) < 3 or not all(isfinite(x) and isfinite(y) for x, y in ring):
        raise InputWrong(f"{where} of the plan is not the outline of anything", _AGAIN)
    return ring


def _cards(garments: list[Mapping[str, Any]], placements: tuple[Placement, ...]) -> dict[str, Card]:
    counts: dict[str, int] = {}
    for placement in placements:
        counts[placement.part] = max(counts.get(placement.part, 1), placement.segment)
    cards = {}
    for garment in garments:
        for part in (part for kind in ("parts", "strips", "panels") for part in garment.get(kind) or ()):
            if isinstance(part, Mapping) and "id" in part:
                name = str(part["id"])
                cards[name] = Card(
                    id=name, garment=str(garment.get("name") or ""), segments=counts.get(name, 1),
                    make=part.get("make"),
                    **{key: part.get(key) for key in ("width_mm", "length_mm", "seam_mm", "stripe_at_mm")},
                )  # fmt: skip
    return {name: cards.get(name, Card(id=name, segments=segments)) for name, segments in counts.items()}


def _sentences(garments: list[Mapping[str, Any]], key: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(str(line) for garment in garments for line in garment.get(key) or ()))


def cut_size(placement: Placement) -> tuple[float, float]:
    """Cut width and length of a placement, mm; a panel's longer side is its length, a slanted strip's its middle."""
    a, b, c, d = placement.outline_mm
    if placement.stripe is not None:
        return round(dist(a, b), 2), round(dist(b, c), 2)
    length = max((dist(a, b) + dist(c, d)) / 2, (dist(b, c) + dist(d, a)) / 2)
    return round(abs(signed_area_mm2(placement.outline_mm)) / length, 2), round(length, 2)
