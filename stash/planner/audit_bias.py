"""The independent check of a binding: are its strips cut as they must be, and do they join to what was asked for?

Like the audit of a plan it shares nothing with the search but the types: strips are taken as the cut lines say.

References:
    A 45° join takes up one strip width (plane geometry: two strips cross in a square, whose diagonal is the seam). The
    two ends that meet there follow the same thread; one that follows the other is cut anew, which takes up a width.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from stash.fabric import Fabric
from stash.piece import Piece, Point
from stash.planner.audit import SLACK_MM
from stash.planner.audit_cloth import Cloth, moved, shape_of
from stash.planner.plan import Placement


def audit_binding(
    placements: Sequence[Placement],
    pieces: Sequence[Piece],
    fabrics: Mapping[str, Fabric],
    *,
    width_mm: float,
    length_mm: float,
) -> tuple[str, ...]:
    """What is wrong with the strips of a binding, in plain words; empty where it is sound.

    Each lies wholly on its piece with the outline moved in by its u95, clear of holes, flaws and the others, at true
    bias the same way as the others, with the width asked for and ends on a thread; together they reach the length.
    """
    by_id = {piece.id: piece for piece in pieces}
    wrong: list[str] = []
    lengths: list[float] = []
    ways: set[bool] = set()
    ends: set[frozenset[bool]] = set()
    for row in placements:
        name = row.part
        if row.piece not in by_id or len(row.outline_mm) != 4:
            wrong.append(f"{name}: is no strip of a piece that is there")
            continue
        first, second, third, fourth = row.outline_mm
        wrong += [f"{name}: {fault}" for fault in _form(first, second, third, fourth, width_mm)]
        lengths.append((math.dist(second, third) + math.dist(fourth, first)) / 2)
        ends.add(frozenset(abs(one[0] - other[0]) < SLACK_MM for one, other in ((first, second), (third, fourth))))
        ways.add((third[0] - second[0]) * (third[1] - second[1]) > 0)
        piece = by_id[row.piece]
        cloth = Cloth(piece=piece, fabric=fabrics[piece.fabric], allowance="strict")
        if not moved(shape_of(row.outline_mm), -SLACK_MM).difference(cloth.usable).is_empty:
            wrong.append(f"{name}: reaches beyond {row.piece}, or over a hole or flaw of it")
    if len(ways) > 1:
        wrong.append("its strips do not all run the same way")
    for one, other in combinations(placements, 2):
        shapes = [moved(shape_of(row.outline_mm), -SLACK_MM / 2) for row in (one, other)]
        if one.piece == other.piece and shapes[0].intersection(shapes[1]).area > 0:
            wrong.append(f"{one.part} and {other.part} lie over each other on {one.piece}")
    cut_anew = ends == {frozenset({True}), frozenset({False})}  # none has an end of each kind, to lead over
    reached = sum(lengths) - width_mm * (len(lengths) - (0 if cut_anew else 1))
    if not lengths or reached < length_mm - SLACK_MM * len(lengths):
        wrong.append(f"its strips join to {reached:.3f} mm, needed {length_mm:.3f} mm")
    return tuple(wrong)


def _form(first: Point, second: Point, third: Point, fourth: Point, width_mm: float) -> Iterator[str]:
    """Whether the four corners are a strip at 45° of that width, its ends along x or y."""
    for start, end in ((second, third), (first, fourth)):
        if abs(abs(end[0] - start[0]) - abs(end[1] - start[1])) > SLACK_MM:
            yield "an edge does not lie at 45° to the grain"
    for start, end in ((first, second), (third, fourth)):
        if min(abs(end[0] - start[0]), abs(end[1] - start[1])) > SLACK_MM:
            yield "an end does not follow a thread"
    along = (third[0] - second[0], third[1] - second[1])
    across = abs(along[0] * (first[1] - second[1]) - along[1] * (first[0] - second[0])) / math.hypot(*along)
    if abs(across - width_mm) > SLACK_MM:
        yield f"is {across:.3f} mm wide, needed {width_mm:.3f} mm"
