"""Corners that a ruler hides: where the straight edges that run below it from both sides meet."""

from __future__ import annotations

import numpy as np

from vision.edge import line_through
from vision.swatch import Doubles, Mask

#: How much of the edge on either side of the hidden part is laid through, mm, and how much next to it is left out.
_LOOK_MM, _SKIP_MM = 45.0, 3.0
#: The edge is straight if its points lie so near the line, mm (fraying included); else nothing is said of the corner.
_STRAIGHT_MM = 1.5
#: Edges that meet at less than this are one edge; the corner between them would be anywhere, degrees.
_LEAST_TURN_DEG = 25.0


def with_corners(
    contour: Doubles, seen: Mask, free: Mask, hidden: Mask, px_per_mm: float
) -> tuple[Doubles, Mask, Mask]:
    """A closed contour (N, 2) px with its hidden corners put where the edges on both sides meet.

    ``seen`` (N,) points of the cloth's own edge, ``free`` (N,) points off the picture's border, ``hidden`` (H, W) what
    covers the cloth. Only corners below what covers are moved. Returns the contour and both flags, shortened alike.
    """
    count = len(contour)
    if seen.all() or not seen.any():
        return contour, seen, free
    first = int(np.argmax(seen & ~np.roll(seen, 1)))
    contour = np.roll(contour, -first, axis=0)
    seen, free = np.roll(seen, -first), np.roll(free, -first)
    edges = np.diff(np.concatenate([[False], ~seen, [False]]).astype(int))
    parts_c, parts_s, parts_f = [], [], []
    last = 0
    for start, end in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        parts_c.append(contour[last:start])
        parts_s.append(seen[last:start])
        parts_f.append(free[last:start])
        run = contour[start:end]
        corner = _corner(contour, seen, int(start), int(end), px_per_mm) if free[start:end].all() else None
        if corner is not None and _inside(hidden, corner):
            run = np.concatenate([_between(contour[start - 1], corner), _between(corner, contour[end % count])])
        parts_c.append(run)
        parts_s.append(np.zeros(len(run), bool))
        parts_f.append(free[start:end] if len(run) == end - start else np.ones(len(run), bool))
        last = int(end)
    parts_c.append(contour[last:])
    parts_s.append(seen[last:])
    parts_f.append(free[last:])
    return np.concatenate(parts_c), np.concatenate(parts_s), np.concatenate(parts_f)


def _corner(contour: Doubles, seen: Mask, start: int, end: int, px_per_mm: float) -> Doubles | None:
    """Where the straight edges before and after a hidden run meet."""
    look, skip = round(_LOOK_MM * px_per_mm), round(_SKIP_MM * px_per_mm)
    count = len(contour)
    before = np.arange(start - look, start - skip) % count
    after = np.arange(end + skip, end + look) % count
    lines = []
    for index in (before, after):
        points = contour[index[seen[index]]]
        if len(points) < 0.6 * (look - skip):
            return None
        middle, unit, rest = line_through(points)
        if float(np.median(np.abs(rest))) > _STRAIGHT_MM * px_per_mm:
            return None
        lines.append((middle, unit))
    (p, a), (q, b) = lines
    cross = float(a[0] * b[1] - a[1] * b[0])
    if abs(cross) < np.sin(np.radians(_LEAST_TURN_DEG)):
        return None
    step = float((q - p)[0] * b[1] - (q - p)[1] * b[0]) / cross
    return np.asarray(p + step * a)


def _inside(hidden: Mask, point: Doubles) -> bool:
    x, y = round(float(point[0])), round(float(point[1]))
    return 0 <= y < hidden.shape[0] and 0 <= x < hidden.shape[1] and bool(hidden[y, x])


def _between(first: Doubles, last: Doubles) -> Doubles:
    """Points a pixel apart from one to the other, the last left out."""
    count = max(int(np.hypot(*(last - first))), 1)
    return np.asarray(first + (last - first) * (np.arange(count) / count)[:, None])
