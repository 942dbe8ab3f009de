"""From the search's whole micrometres to cut lines in the piece's own frame."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from stash.planner.plan import Placement
from stash.planner.region import to_piece
from stash.planner.space import Lay
from stash.planner.task import Cut, Task


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
                     finished_mm=round(finished_mm, 3), turned=cut.turned, outline_mm=outline,
                     over=run.over)  # fmt: skip


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
