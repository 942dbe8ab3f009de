"""The audit of strips that match what is cut already: what is begun goes on as it lies, and the others match it.

What is cut is laid out once more by itself, on cloth of its own, as it is said to lie; then it is held against what is
planned like any other strip. Written from the contract alone ("The garment file": pair, mirror, outward, corner, and
how the print runs on from segment to segment).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from stash.fabric import Fabric
from stash.garment.part import Laid, Strip
from stash.piece import Piece, Polygon
from stash.planner.audit_cloth import Allowance, Cloth
from stash.planner.plan import Placement
from stash.planner.problem import Problem

EQUAL_MM = 0.01  # lengths that differ by at most this are equal (the contract, "Frame")
WRITTEN_MM = 0.002  # a plan writes coordinates to 0.001 mm, and so the place at which what is cut starts

Placed = Mapping[str, Sequence[Placement]]


def by_themselves(problem: Problem) -> Problem:
    """The problem in which what is begun is tied to nothing: its other end of the tie is what is cut of it."""
    parts = tuple(_untied(part) if isinstance(part, Strip) and part.laid else part for part in problem.parts)
    return replace(problem, parts=parts)


def beside_the_cut(
    problem: Problem, placed: Placed, allowance: Allowance
) -> tuple[Problem, dict[str, list[Placement]], dict[str, Cloth]]:
    """The strips that are cut or begun, each as one strip on cloth of its own, beside those that are neither."""
    cut = [strip for strip in (*problem.strips, *problem.before) if strip.laid is not None]
    rest = [part for part in problem.strips if part.laid is None]
    cloths: dict[str, Cloth] = {}
    rows = {strip.id: list(placed.get(strip.id, ())) for strip in rest}
    for strip in cut:
        assert strip.laid is not None
        cloth = _cloth(strip, strip.laid, problem.fabrics[strip.fabric], allowance)
        cloths[cloth.piece.id] = cloth
        rows[strip.id] = [_laid_out(strip, strip.laid, cloth)]
    return replace(problem, parts=(*rest, *cut), before=()), rows, cloths


def begun_wrong(problem: Problem, placed: Placed, cloths: Mapping[str, Cloth]) -> Iterator[str]:
    """What is begun and does not go on as it lies: the way round, the face, the place in the print.

    Which neighbours it shows is for the audit of looks to say.
    """
    for strip in problem.strips:
        laid, rows = strip.laid, sorted(placed.get(strip.id, ()), key=lambda row: row.segment)
        if laid is None or not rows:
            continue
        if any((row.turned, row.over) != (laid.turned, laid.over) for row in rows):
            yield f"{strip.id}: the rest does not lie the way round that what is cut of it does"
        cloth = cloths[rows[0].piece]
        repeat = cloth.fabric.print.along
        if repeat is None or laid.rest_mm is None:
            continue
        inwards = strip.seam_mm + strip.extra_mm[0]
        start = cloth.in_print(rows[0].outline_mm[0])[1] + (-inwards if rows[0].turned else inwards)
        gap = (start - cloth.piece.along_origin_mm - laid.rest_mm) % repeat.value
        if min(gap, repeat.value - gap) > EQUAL_MM + WRITTEN_MM:
            yield f"{strip.id}: the print does not run on from what is cut of it"


def _untied(strip: Strip) -> Strip:
    return replace(strip, pair=None, mirror=None, outward=None, corner=())


def _cloth(strip: Strip, laid: Laid, fabric: Fabric, allowance: Allowance) -> Cloth:
    """Cloth just as large as the strip, its print counted from the corner of the frame."""
    piece = Piece(
        id=f"cut for {strip.id}", fabric=fabric.id, outline_mm=_outline(strip, laid, fabric), outline_u95_mm=0.0,
        stripe_direction_deg=0.0, stripe_origin_mm=0.0, along_origin_mm=0.0,
    )  # fmt: skip
    return Cloth(piece=piece, fabric=fabric, allowance=allowance)


def _laid_out(strip: Strip, laid: Laid, cloth: Cloth) -> Placement:
    return Placement(
        part=strip.id, segment=1, piece=cloth.piece.id, stripe=strip.stripe, finished_mm=strip.length_mm,
        turned=laid.turned, over=laid.over, outline_mm=cloth.piece.outline_mm,
    )  # fmt: skip


def _outline(strip: Strip, laid: Laid, fabric: Fabric) -> Polygon:
    """The cut line with the stripe where it is in the repeat, its finished start where the print stands as told."""
    middle = fabric.print.stripes[laid.stripe].centre_mm
    if laid.turned != laid.over:
        right = middle + strip.stripe_at_mm
        left = right - strip.cut_width_mm
    else:
        left = middle - strip.stripe_at_mm
        right = left + strip.cut_width_mm
    way = -1.0 if laid.turned else 1.0
    first = (laid.start_mm or 0.0) - way * (strip.seam_mm + strip.extra_mm[0])
    last = first + way * (strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm))
    return ((left, first), (right, first), (right, last), (left, last))
