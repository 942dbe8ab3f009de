"""Corners that a ruler hides: where the straight edges that run below it from both sides meet."""

from __future__ import annotations

import numpy as np

from vision.edge import line_through
from vision.swatch import Doubles, Mask

#: How much of the edge on either side of the hidden part is laid through, mm, the more first, for another corner may
#: follow soon; and how much next to it is left out.
_LOOKS_MM, _SKIP_MM = (45.0, 20.0), 3.0
#: The edge is straight if half of its points over the longer look lie so near the line, mm (fraying included), and this
#: share of those over the shorter, in its proportion; else nothing is said of the corner.
_STRAIGHT_MM, _MOST = 1.5, 0.9
#: So much of what is laid through must be seen.
_LEAST_SEEN = 0.6
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
    skip = round(_SKIP_MM * px_per_mm)
    start, end = run
    lines = []
    for at, way in ((start, -1), (end - 1, 1)):
        line = None
        for look_mm in _LOOKS_MM:
            places = (at + way * np.arange(skip, round(look_mm * px_per_mm))) % len(contour)
            most_px = _STRAIGHT_MM * look_mm / _LOOKS_MM[0] * px_per_mm
            share = 0.5 if look_mm == _LOOKS_MM[0] else _MOST
            line = line or _line(contour[places[seen[places]]], len(places), most_px, share)
        if line is None:
            return None
        lines.append(line)
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


def _line(points: Doubles, asked: int, most_px: float, share: float) -> tuple[Doubles, Doubles] | None:
    """A place (2,) and unit vector (2,) of the straight edge along points (K, 2), those nearest to the hidden part
    first; None where this share of them is not so straight all along, or few of those asked for are seen."""
    if len(points) < _LEAST_SEEN * asked:
        return None
    middle, unit, rest = line_through(points)
    off = np.abs(rest)
    parts = (off, off[: len(off) // 3])
    straight = all(float(np.quantile(part, share)) <= most_px for part in parts)
    return (middle, unit) if straight else None


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
