"""What a piece of cloth still yields: lengths of each stripe, bias binding, covers and ties."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from stash.fabric import Fabric
from stash.fitting import EQUAL_MM, Room, fits
from stash.garment.part import Panel, Strip
from stash.piece import Piece
from stash.planner.bias import Wanted, lay_binding
from stash.planner.problem import Problem
from stash.planner.tally import lengths_apart

#: A shorter stripe borders nothing, mm (6 in; the stash's own limit for what is worth keeping).
USEFUL_MM: Final = 152.4
#: Bias binding is counted cut this wide, mm: 2 1/2 in, pressed double 1 1/4 in (common practice).
BIAS_MM: Final = 63.5
#: More binding than any piece gives, mm.
_ENDLESS_MM: Final = 1e6
#: What is made of remnants, cut size in mm along and across (our choice): a cover for a pad, a tie.
MAKINGS: Final = (("pad covers", 228.6, 152.4), ("ties", 457.2, 50.8))
#: More of one than is worth counting.
MOST: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Uses:
    """What a piece yields, each row by itself: ``stripes`` are label, width and the lengths to be had side by side."""

    stripes: tuple[tuple[str, float, tuple[float, ...]], ...]
    bias_mm: float
    makings: tuple[tuple[str, float, float, int], ...]


def uses(piece: Piece, fabric: Fabric) -> Uses:
    """What the piece yields, with its outline moved in by what is not known of it."""
    laid = replace(piece, stripe_direction_deg=0.0) if fabric.print.kind == "plain" else piece
    binding = lay_binding([piece], Wanted(width_mm=BIAS_MM, length_mm=_ENDLESS_MM))
    return Uses(
        stripes=tuple(
            (label, stripe_width_mm(fabric, label), stripe_lengths_mm(piece, fabric, label)) for label in labels(fabric)
        ),
        bias_mm=binding.most_mm,
        makings=tuple((name, along, across, _count(laid, along, across)) for name, along, across in MAKINGS),
    )


def whole_in(pieces: Sequence[Piece], strip: Strip, fabric: Fabric) -> Iterator[tuple[Piece, float]]:
    """The pieces from which the strip can be cut in one length, with the longest that each gives, the shortest first;
    looks that must match are not asked for."""
    needed = strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm)
    found = []
    for piece in pieces:
        problem = Problem(parts=(strip,), fabrics={fabric.id: fabric}, pieces=(piece,))
        longest = max(lengths_apart(problem, strip), default=0.0)
        if longest >= needed - EQUAL_MM:
            found.append((piece, longest))
    yield from sorted(found, key=lambda row: row[1])


def panel_room(panel: Panel) -> Room:
    """The room that a panel takes as it is cut."""
    return Room(
        along_mm=panel.length_mm + 2 * panel.seam_mm,
        across_mm=panel.width_mm + 2 * panel.seam_mm,
        way="square" if panel.turn else "along",
    )


def labels(fabric: Fabric) -> tuple[str, ...]:
    """Its stripes' labels, each once, in order."""
    return tuple(dict.fromkeys(stripe.label for stripe in fabric.print.stripes))


def stripe_width_mm(fabric: Fabric, label: str) -> float:
    """The width of a stripe, the narrowest where a label stands several times."""
    return min(stripe.width_mm for stripe in fabric.print.occurrences(label))


def stripe_lengths_mm(piece: Piece, fabric: Fabric, label: str) -> tuple[float, ...]:
    """The lengths of whole stripes that can be cut side by side, just as wide as the stripe, the longest first; none
    where it is not known how they lie."""
    if piece.stripe_direction_deg is None or fabric.print.across is None:
        return ()
    width = stripe_width_mm(fabric, label)
    strip = Strip(
        id="stripe", fabric=fabric.id, stripe=label, length_mm=USEFUL_MM, width_mm=width, seam_mm=0.0,
        cut_width_mm=width, stripe_at_mm=width / 2,
    )  # fmt: skip
    problem = Problem(parts=(strip,), fabrics={fabric.id: fabric}, pieces=(piece,))
    return tuple(sorted((mm for mm in lengths_apart(problem, strip) if mm >= USEFUL_MM), reverse=True))


def _count(piece: Piece, along: float, across: float) -> int:
    """How many were laid, up to ``MOST``."""
    count = 0
    while count < MOST and fits(piece, Room(along_mm=along, across_mm=across, count=count + 1, way="square")):
        count += 1
    return count
