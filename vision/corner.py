"""Corners that a ruler hides: where the straight edges that run below it from both sides meet."""

from __future__ import annotations

import numpy as np

from vision.edge import line_through
from vision.swatch import Doubles, Mask

#: How much of the edge on either side of the hidden part is laid through, mm, and how much next to it is left out.
_LOOK_MM, _SKIP_MM = 45.0, 3.0
#: The edge is straight if its points lie so near the line, mm (fraying included); else nothing is said of the corner.
_STRAIGHT_MM = 1.5
#: Of a contour put below what covers it at least this share lies there; the rest is beside it (skipped above).
_BELOW_SHARE = 0.5
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
    skip = round(_SKIP_MM * px_per_mm)
    parts: list[tuple[Doubles, Mask, Mask]] = []
    last = 0
    for start, end in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        low, high = max(int(start) - skip, last + 1), min(int(end) + skip, count - 1)
        below = _below(contour, seen, (int(start), int(end)), (low, high), px_per_mm) if free[start:end].all() else None
        if below is not None and _inside(hidden, below):
            parts.append((contour[last:low], seen[last:low], free[last:low]))
            parts.append((below, np.zeros(len(below), bool), np.ones(len(below), bool)))
            last = high
        else:
            parts.append((contour[last:end], seen[last:end], free[last:end]))
            last = max(int(end), last)
    parts.append((contour[last:], seen[last:], free[last:]))
    points, shown, off = (np.concatenate(column) for column in zip(*parts, strict=True))
    return points, shown, off


def _below(
    contour: Doubles, seen: Mask, run: tuple[int, int], replaced: tuple[int, int], px_per_mm: float
) -> Doubles | None:
    """The contour (K, 2) below what covers it, between two points of it: to where the straight edges before and after
    the hidden run meet, and straight on where they are one edge. None where they are not straight."""
    look, skip = round(_LOOK_MM * px_per_mm), round(_SKIP_MM * px_per_mm)
    count = len(contour)
    start, end = run
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
    first, last = contour[replaced[0] - 1], contour[replaced[1]]
    cross = float(a[0] * b[1] - a[1] * b[0])
    if abs(cross) < np.sin(np.radians(_LEAST_TURN_DEG)):
        aside = abs(float((last - first) @ np.array([-a[1], a[0]])))
        one = aside < np.sin(np.radians(_LEAST_TURN_DEG)) * float(np.hypot(*(last - first)))
        return _between(first, last) if one else None
    step = float((q - p)[0] * b[1] - (q - p)[1] * b[0]) / cross
    corner = p + step * a
    return np.concatenate([_between(first, corner), _between(corner, last)])


def _inside(hidden: Mask, points: Doubles) -> bool:
    """Whether nearly all points (K, 2) lie below what covers; the contour's ends beside it do not."""
    at = np.rint(points).astype(int)
    there = (at >= 0).all(axis=1) & (at[:, 0] < hidden.shape[1]) & (at[:, 1] < hidden.shape[0])
    if not there.all():
        return False
    return bool(hidden[at[:, 1], at[:, 0]].mean() > _BELOW_SHARE)


def _between(first: Doubles, last: Doubles) -> Doubles:
    """Points a pixel apart from one to the other, the last left out."""
    count = max(int(np.hypot(*(last - first))), 1)
    return np.asarray(first + (last - first) * (np.arange(count) / count)[:, None])
