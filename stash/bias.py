"""Binding on the bias from pieces of the stash: whether they give it, and the plan of its strips."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from stash.actions import LIMIT_S, Where, free_at, left_of
from stash.errors import InputWrong, NotFound, OurFault

if TYPE_CHECKING:
    from stash.fabric import Fabric
    from stash.garment.binding import Layers
    from stash.interchange.contents import Contents
    from stash.piece import Piece
    from stash.planner.bias import Binding

#: The part's name in the plan.
PART: Final = "binding"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed: lengths as text, the pieces and fabrics that it may come from, how it is made."""

    width: str
    length: str
    pieces: Sequence[str] = ()
    fabric: str | None = None
    layers: Layers | None = None
    shortest: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """A binding with the pieces it was sought in and its plan as a document. ``finished_mm`` where it was given."""

    binding: Binding
    pieces: tuple[Piece, ...]
    fabrics: Mapping[str, Fabric]
    layers: Layers | None
    finished_mm: float | None
    document: dict[str, Any]


def bind(asked: Asked, where: Where, *, limit_s: float = LIMIT_S) -> Bound:
    """Whether the pieces give the binding.

    Raises:
        InputWrong: a length cannot be read or is nothing, or no pieces are named. NotFound: a piece is not there.
        OurFault: the independent audit refused the strips.
    """
    began = time.monotonic()
    contents = free_at(where)
    return bound(asked, contents, limit_s=left_of(limit_s, time.monotonic() - began))


def bound(asked: Asked, contents: Contents, *, limit_s: float = LIMIT_S) -> Bound:
    """As ``bind``, for cloth at hand."""
    from stash.garment.binding import binding_cut_width_mm
    from stash.planner.audit_bias import audit_binding
    from stash.planner.bias import SHORTEST_MM, Wanted, lay_binding

    began = time.monotonic()
    typed, length = _length(asked.width, "--width"), _length(asked.length, "--length")
    width = typed if asked.layers is None else binding_cut_width_mm(asked.layers, typed)
    shortest = SHORTEST_MM if asked.shortest is None else _length(asked.shortest, "--shortest")
    pieces, fabrics = _pieces(asked, contents), {fabric.id: fabric for fabric in contents.fabrics}
    wanted = Wanted(width_mm=width, length_mm=length, shortest_mm=shortest)
    binding = lay_binding(pieces, wanted, PART, limit_s=limit_s)
    if binding.answer == "yes":
        faults = audit_binding(binding.placements, pieces, fabrics, width_mm=width, length_mm=length)
        if faults:
            raise OurFault(f"the binding failed its own check ({faults[0]})", "no cloth was booked")
    return Bound(
        binding=binding,
        pieces=pieces,
        fabrics=fabrics,
        layers=asked.layers,
        finished_mm=None if asked.layers is None else typed,
        document=_document(binding, pieces, contents, round(time.monotonic() - began, 3)),
    )


def repeat_along_mm(found: Bound) -> float | None:
    """How far apart the stripes' repeat shows along the binding: R/|sin a| for stripes at an angle a to the strips, so
    R·√2 where they run with the grain (plane geometry). None where there are none, or pieces differ in their lie."""
    pieces = {piece.id: piece for piece in found.pieces}
    cut = [pieces[row.piece] for row in found.binding.placements]
    repeats = set()
    for piece in cut:
        across = found.fabrics[piece.fabric].print.across
        if across is None or piece.stripe_direction_deg is None:
            return None
        sine = abs(math.sin(math.radians(found.binding.direction_deg - piece.stripe_direction_deg)))
        repeats.add(round(across.value / max(sine, 0.1)))
    return float(max(repeats)) if repeats and max(repeats) - min(repeats) <= 1 else None


def _length(text: str, option: str) -> float:
    from stash.lengths import parse_length

    value = parse_length(text, what=option)
    if value <= 0:
        raise InputWrong(f'{option} is "{text}", and must be more than nothing', "give a longer one")
    return value


def _pieces(asked: Asked, contents: Contents) -> tuple[Piece, ...]:
    """The pieces named, or all of the fabric. Raises InputWrong where none is, NotFound where one is not there."""
    from stash.catalogue.stash import fabric_in, piece_in

    found = [piece_in(contents, name, "the stash") for name in dict.fromkeys(asked.pieces)]
    if asked.fabric is not None:
        fabric_in(contents, asked.fabric, "the stash")
        found += [piece for piece in contents.pieces if piece.fabric == asked.fabric and piece not in found]
    elif not found:
        raise InputWrong("no cloth is named for the binding", "name pieces with --piece or a fabric with --fabric")
    if not found:
        raise NotFound(f"there is no piece of {asked.fabric!r} in the stash", "add one, or name another with --fabric")
    if len({piece.fabric for piece in found}) > 1:
        raise InputWrong("the pieces are of different fabrics", "name pieces of one fabric for one binding")
    return tuple(found)


def _document(binding: Binding, pieces: Sequence[Piece], contents: Contents, seconds: float) -> dict[str, Any]:
    """A ``plan/1`` document, so that sheet and cut take it like any plan, with the binding's own figures."""
    from stash.garment.part import Garment, Panel
    from stash.garment.resolved import to_documents
    from stash.interchange.digest import plan_digests
    from stash.planner.bias import middle_mm
    from stash.planner.document import plan_document
    from stash.planner.plan import Plan, Shortage

    wanted = binding.wanted
    missing = max(0.1, round(wanted.length_mm - binding.most_mm, 1))
    short = (Shortage(fabric=pieces[0].fabric, stripe=None, missing_mm=missing),) if binding.answer == "no" else ()
    plan = Plan(
        answer=binding.answer, reason=binding.reason, proven=binding.proven, placements=binding.placements,
        short=short, leftovers=binding.leftovers, settle=_settle(binding, pieces), seconds=seconds,
    )  # fmt: skip
    lengths = {row.part: middle_mm(row) for row in binding.placements} or {PART: wanted.length_mm}
    parts = tuple(
        Panel(id=name, fabric=pieces[0].fabric, width_mm=wanted.width_mm, length_mm=length, seam_mm=0.0, align="grain")
        for name, length in lengths.items()
    )
    note = "Strips on the bias: join them at 45°, end to end; each join takes up one strip width."
    garment = Garment(name="Binding", seam_mm=0.0, panels=parts, notes=(note,))
    digests = plan_digests(contents, {placement.piece for placement in binding.placements})
    return {
        **plan_document(plan, to_documents([garment]), digests),
        "binding": {
            "width_mm": round(wanted.width_mm, 3),
            "length_mm": round(wanted.length_mm, 3),
            "direction_deg": binding.direction_deg,
            "strips": len(binding.placements),
            "joined_mm": round(binding.joined_mm, 3),
            "most_mm": round(binding.most_mm, 3),
            "bound_mm": round(binding.bound_mm, 3),
        },
    }


def _settle(binding: Binding, pieces: Sequence[Piece]) -> tuple[str, ...]:
    if binding.reason != "measurement":
        return ()
    worst = max(pieces, key=lambda piece: piece.outline_u95_mm)
    return (f"measure the outline of {worst.id} again, closer than {worst.outline_u95_mm:.3g} mm",)
