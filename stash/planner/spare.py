"""What is left of the cloth once a plan is cut, and where the plan has least to spare."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import shapely

from stash.piece import Piece
from stash.planner.plan import Leftover, Placement, Tightest
from stash.planner.region import outline_region, polygon_of, to_print, usable
from stash.planner.stance import Stance

SLIVER_MM = 0.02
"""mm. What is thinner than this between a cut and an edge is rounding, not cloth. Everything else is kept, so that
placements and leftovers add up to the piece; the stash decides what is worth keeping."""

WRITTEN_MM = 0.001
"""mm. Coordinates are written to this; a polygon is snapped to it whole, so that no sides come to cross."""

CRUMB_MM2 = 1.0
"""mm2. Smaller than this is no cloth left over."""


def leftovers(pieces: Sequence[Piece], placements: Sequence[Placement]) -> tuple[Leftover, ...]:
    """What is left of every piece that was cut, in the piece's frame: the piece minus the placements."""
    taken: dict[str, list[Any]] = defaultdict(list)
    for placement in placements:
        taken[placement.piece].append(shapely.Polygon(placement.outline_mm))
    out: list[Leftover] = []
    for piece in pieces:
        if piece.id not in taken:
            continue
        rest = _without_slivers(outline_region(piece).difference(shapely.union_all(taken[piece.id])))
        for part in sorted(shapely.get_parts(rest), key=lambda p: (-p.area, p.bounds)):
            if part.geom_type != "Polygon" or part.area < CRUMB_MM2:
                continue
            holes = tuple(polygon_of(ring) for ring in part.interiors)
            out.append(Leftover(piece=piece.id, outline_mm=polygon_of(part.exterior), holes_mm=holes))
    return tuple(out)


def _without_slivers(rest: Any) -> Any:
    """The region opened by a sliver's width. Where that would lose or gain more than slivers, the region as it is: a
    cut that touches the cloth's edge in a point can upset the opening."""
    opened = rest
    for step_mm in (-SLIVER_MM / 2, SLIVER_MM / 2):
        opened = opened.buffer(step_mm, join_style="mitre", mitre_limit=50.0)
    for tried in (opened, rest):
        snapped = shapely.set_precision(shapely.make_valid(tried), WRITTEN_MM)
        if abs(snapped.area - rest.area) <= CRUMB_MM2 + SLIVER_MM * rest.length:
            return snapped
    return rest


def tightest(pieces: Sequence[Piece], placements: Sequence[Placement]) -> Tightest | None:
    """The cut with the least to spare: how much shorter or narrower the cloth could be before the cut had to move.

    Along: the free length of its lane minus all that lies on it; two cuts that share a line are made with one snip and
    are not tight for that. Across: a strip must stay on its stripe, so its nearer edge of the cloth counts; a panel may
    move, so it counts as along.
    """
    best: Tightest | None = None
    for piece in pieces:
        mine = [placement for placement in placements if placement.piece == piece.id]
        cloth = usable(piece, Stance.NOMINAL) if mine else None
        shapes = [shapely.Polygon(placement.outline_mm) for placement in mine]
        for index, placement in enumerate(mine):
            others = [shape for other, shape in enumerate(shapes) if other != index]
            spare = _spare_mm(placement, cloth, others, piece)
            if best is None or spare < best.spare_mm:
                best = Tightest(part=placement.part, segment=placement.segment, spare_mm=spare)
    return best


def _spare_mm(placement: Placement, cloth: Any, others: Sequence[Any], piece: Piece) -> float:
    angle = _angle(placement, piece)
    own = to_print(shapely.Polygon(placement.outline_mm), angle).bounds
    left, low, right, high = to_print(cloth, angle).bounds
    barred = shapely.box(left - 1, low - 1, right + 1, high + 1).difference(to_print(cloth, angle))
    beside = [to_print(shape, angle) for shape in others]
    before, after = _edges(barred, own, 0)
    aside = min(own[0] - before, after - own[2])
    if placement.stripe is None:
        aside = _slack(barred, beside, own, 0)
    return float(max(0.0, round(min(aside, _slack(barred, beside, own, 1)), 3)))


def _slack(barred: Any, beside: Sequence[Any], own: tuple[float, ...], axis: int) -> float:
    """The free stretch that the cut lies in, minus the cut and minus all that lies before and behind it."""
    before, after = _edges(barred, own, axis)
    corridor = _corridor(own, axis)
    met = [shape.intersection(corridor) for shape in beside]
    spans = sorted((part.bounds[axis], part.bounds[axis + 2]) for part in met if part.area > 1e-3)
    taken, reached = 0.0, before
    for start, end in [*spans, (after, after)]:
        start, end = max(start, reached), min(end, after)
        taken += max(0.0, end - start)
        reached = max(reached, end)
    return float(after - before - (own[axis + 2] - own[axis]) - taken)


def _edges(barred: Any, own: tuple[float, ...], axis: int) -> tuple[float, float]:
    """Where the cloth begins and ends before and behind a cut, over its whole breadth."""
    bounds = [part.bounds for part in shapely.get_parts(barred.intersection(_corridor(own, axis))) if part.area > 1e-6]
    middle = (own[axis] + own[axis + 2]) / 2
    before = max((b[axis + 2] for b in bounds if b[axis + 2] <= middle), default=own[axis])
    after = min((b[axis] for b in bounds if b[axis] >= middle), default=own[axis + 2])
    return before, after


def _corridor(own: tuple[float, ...], axis: int) -> Any:
    """The band in which a cut would be pushed along an axis, a hair narrower than the cut."""
    hair, far_mm = 2 * SLIVER_MM, 1e7
    if axis:
        return shapely.box(own[0] + hair, -far_mm, own[2] - hair, far_mm)
    return shapely.box(-far_mm, own[1] + hair, far_mm, own[3] - hair)


def _angle(placement: Placement, piece: Piece) -> float:
    """The frame in which the cut is upright: from its own outline for a panel, the print's for a strip."""
    if placement.stripe is not None:
        return piece.stripe_direction_deg or 0.0
    (x0, y0), (x1, y1) = placement.outline_mm[0], placement.outline_mm[1]
    return -math.degrees(math.atan2(y1 - y0, x1 - x0))
