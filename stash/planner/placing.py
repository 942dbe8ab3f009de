"""From the search's whole micrometres to cut lines in the piece's own frame; what is left; where it is tightest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import shapely

from stash.piece import Piece
from stash.planner.plan import Leftover, Placement, Tightest
from stash.planner.price import Weights
from stash.planner.region import outline_region, polygon_of, to_piece, to_print, usable
from stash.planner.space import Lay
from stash.planner.stance import Stance
from stash.planner.task import Cut, Task

SLIVER_MM = 0.02
"""mm. What is thinner than this between a cut and an edge is rounding, not cloth. Everything else is kept, so that
placements and leftovers add up to the piece; the stash decides what is worth keeping."""

WRITTEN_MM = 0.001
"""mm. Coordinates are written to this; a polygon is snapped to it whole, so that no sides come to cross."""

CRUMB_MM2 = 1.0
"""mm2. Smaller than this is no cloth left over."""


def place(task: Task, cuts: Sequence[Cut], lays: Sequence[Lay]) -> list[Placement]:
    """Placements in the order of the parts, panels last."""
    finished = _finished_lengths(task, cuts)
    final = {cut.need: cut.segment for cut in _in_order(cuts)}
    out = [
        _placed_cut(task, cut, finished[cut.need, cut.segment], cut.segment == final[cut.need])
        for cut in _in_order(cuts)
    ]
    return out + [_placed_lay(task, lay) for lay in sorted(lays, key=lambda lay: lay.spot.panel)]


def _in_order(cuts: Iterable[Cut]) -> list[Cut]:
    return sorted(cuts, key=lambda cut: (cut.need, cut.segment))


def _finished_lengths(task: Task, cuts: Sequence[Cut]) -> dict[tuple[int, int], float]:
    """Finished lengths in mm that add up to the strip's length exactly: the last segment takes the rounding."""
    segments: dict[int, list[Cut]] = defaultdict(list)
    for cut in _in_order(cuts):
        segments[cut.need].append(cut)
    lengths: dict[tuple[int, int], float] = {}
    for index, mine in segments.items():
        left = task.needs[index].strip.length_mm
        for cut in mine[:-1]:
            lengths[index, cut.segment] = cut.finished_um / 1000
            left -= cut.finished_um / 1000
        lengths[index, mine[-1].segment] = left
    return lengths


def _placed_cut(task: Task, cut: Cut, finished_mm: float, last: bool) -> Placement:
    need, run = task.needs[cut.need], task.runs[cut.run]
    strip = need.strip
    first = cut.segment == 0
    cut_mm = finished_mm + 2 * strip.seam_mm
    cut_mm += strip.extra_mm[0] if first else 0.0
    cut_mm += strip.extra_mm[1] if last else 0.0
    piece = task.pieces[run.piece]
    if cut.turned:
        start, end = cut.end_um / 1000, cut.end_um / 1000 - cut_mm
    else:
        start, end = cut.start_um / 1000, cut.start_um / 1000 + cut_mm
    ring = [(run.low_mm, start), (run.high_mm, start), (run.high_mm, end), (run.low_mm, end)]
    outline = tuple(to_piece(u, v, piece.stripe_direction_deg or 0.0) for u, v in ring)
    return Placement(part=strip.id, segment=cut.segment + 1, piece=piece.id, stripe=strip.stripe,
                     finished_mm=round(finished_mm, 3), turned=cut.turned, outline_mm=outline)  # fmt: skip


def _placed_lay(task: Task, lay: Lay) -> Placement:
    spot = lay.spot
    panel, piece = task.panels[spot.panel], task.pieces[spot.piece]
    width, length = panel.width_mm + 2 * panel.seam_mm, panel.length_mm + 2 * panel.seam_mm
    wide, long = (length, width) if spot.quarter else (width, length)
    x, y = lay.x_um / 1000, lay.y_um / 1000
    ring = [(x, y), (x + wide, y), (x + wide, y + long), (x, y + long)]
    outline = tuple(to_piece(u, v, spot.angle_deg) for u, v in ring)
    return Placement(part=panel.id, segment=1, piece=piece.id, stripe=None, finished_mm=None, turned=False,
                     outline_mm=outline)  # fmt: skip


def cost_um(task: Task, cuts: Sequence[Cut], lays: Sequence[Lay], weights: Weights) -> int:
    """What the plan costs, as the search counts it."""
    opened = {task.runs[cut.run].piece for cut in cuts} | {lay.spot.piece for lay in lays}
    total = weights.piece_um * len(opened)
    total += sum(weights.join_um(task.needs[cut.need].strip) for cut in cuts if cut.segment > 0)
    load: dict[int, int] = defaultdict(int)
    for cut in cuts:
        load[cut.run] += cut.size_um
    for run, used in load.items():
        rest = task.runs[run].length_um - 2 * task.stance.fit_um - used
        total += rest if 0 < rest < weights.useful_um else 0
    return total


def leftovers(pieces: Sequence[Piece], placements: Sequence[Placement]) -> tuple[Leftover, ...]:
    """What is left of every piece that was cut, in the piece's frame: the piece minus the placements."""
    taken: dict[str, list[Any]] = defaultdict(list)
    for placement in placements:
        taken[placement.piece].append(shapely.Polygon(placement.outline_mm))
    out: list[Leftover] = []
    for piece in pieces:
        if piece.id not in taken:
            continue
        rest = outline_region(piece).difference(shapely.union_all(taken[piece.id]))
        rest = rest.buffer(-SLIVER_MM / 2, join_style="mitre", mitre_limit=50.0)
        rest = rest.buffer(SLIVER_MM / 2, join_style="mitre", mitre_limit=50.0)
        rest = shapely.set_precision(rest.buffer(0), WRITTEN_MM)
        for part in sorted(getattr(rest, "geoms", (rest,)), key=lambda p: (-p.area, p.bounds)):
            if part.area < CRUMB_MM2:
                continue
            holes = tuple(polygon_of(ring) for ring in part.interiors)
            out.append(Leftover(piece=piece.id, outline_mm=polygon_of(part.exterior), holes_mm=holes))
    return tuple(out)


def tightest(pieces: Sequence[Piece], placements: Sequence[Placement]) -> Tightest | None:
    """The cut with the least to spare: across to its nearest neighbour or edge, along the room it could slide in.

    A panel may slide both ways, so both its rooms count whole; a strip must stay on its stripe.
    """
    best: Tightest | None = None
    by_id = {piece.id: piece for piece in pieces}
    for piece_id in sorted({p.piece for p in placements}):
        piece = by_id[piece_id]
        cloth = usable(piece, Stance.NOMINAL)
        mine = [p for p in placements if p.piece == piece_id]
        shapes = [shapely.Polygon(p.outline_mm) for p in mine]
        for index, placement in enumerate(mine):
            others = shapely.union_all([s for i, s in enumerate(shapes) if i != index])
            spare = _spare_mm(placement, cloth.difference(others), piece)
            if best is None or spare < best.spare_mm:
                best = Tightest(part=placement.part, segment=placement.segment, spare_mm=spare)
    return best


def _spare_mm(placement: Placement, free: Any, piece: Piece) -> float:
    angle = _angle(placement, piece)
    left, low, right, high = to_print(shapely.Polygon(placement.outline_mm), angle).bounds
    inset = 2 * SLIVER_MM
    x0, y0, x1, y1 = to_print(free, angle).bounds
    around = shapely.box(x0 - 1, y0 - 1, x1 + 1, y1 + 1).difference(to_print(free, angle))
    own = shapely.box(left - inset / 2, low - inset / 2, right + inset / 2, high + inset / 2)
    around = around.difference(own)
    across = _room(around, shapely.box(x0 - 1, low + inset, x1 + 1, high - inset), 0, left, right)
    along = _room(around, shapely.box(left + inset, y0 - 1, right - inset, y1 + 1), 1, low, high)
    aside = min(across) if placement.stripe is not None else sum(across)
    return max(0.0, round(min(aside, sum(along)), 3))


def _room(around: Any, corridor: Any, axis: int, low: float, high: float) -> tuple[float, float]:
    """How far the nearest obstacles in a corridor lie before ``low`` and beyond ``high``."""
    met = around.intersection(corridor)
    bounds = [part.bounds for part in getattr(met, "geoms", (met,)) if part.area > 1e-6]
    middle = (low + high) / 2
    before = max((b[axis + 2] for b in bounds if b[axis + 2] <= middle), default=-1e9)
    after = min((b[axis] for b in bounds if b[axis] >= middle), default=1e9)
    return low - before, after - high


def _angle(placement: Placement, piece: Piece) -> float:
    """The frame in which the cut is upright: from its own outline for a panel, the print's for a strip."""
    import math

    if placement.stripe is not None:
        return piece.stripe_direction_deg or 0.0
    (x0, y0), (x1, y1) = placement.outline_mm[0], placement.outline_mm[1]
    return -math.degrees(math.atan2(y1 - y0, x1 - x0))
