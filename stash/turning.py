"""Turns a piece in its frame: its grain onto y, its corner onto the origin, its repeat carried along."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from stash.piece import Piece, Point, Polygon, across_axis, along_axis


def turned(piece: Piece, angle_deg: float) -> Piece:
    """The piece turned counter-clockwise as seen, then moved so that its bounding box starts at (0, 0).

    Every stripe stays where it is on the cloth: direction and both origins are turned and moved with it.
    """
    outline = [_turn(point, angle_deg) for point in piece.outline_mm]
    shift = -min(x for x, _ in outline), -min(y for _, y in outline)

    def moved(ring: Polygon) -> Polygon:
        return tuple((x + shift[0], y + shift[1]) for x, y in (_turn(point, angle_deg) for point in ring))

    direction = piece.stripe_direction_deg
    return replace(
        piece,
        outline_mm=moved(piece.outline_mm),
        holes_mm=tuple(moved(hole) for hole in piece.holes_mm),
        flaws_mm=tuple(moved(flaw) for flaw in piece.flaws_mm),
        stripe_direction_deg=None if direction is None else direction + angle_deg,
        stripe_origin_mm=piece.stripe_origin_mm + _along(shift, across_axis, direction, angle_deg),
        along_origin_mm=piece.along_origin_mm + _along(shift, along_axis, direction, angle_deg),
    )


def _turn(point: Point, angle_deg: float) -> Point:
    """Counter-clockwise as seen, with y down; quarter turns are exact."""
    quarters = angle_deg / 90.0
    if quarters.is_integer():
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarters) % 4]
    else:
        cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    x, y = point
    return x * cos + y * sin, y * cos - x * sin


def _along(shift: Point, axis: Callable[[float], Point], direction_deg: float | None, angle_deg: float) -> float:
    if direction_deg is None:
        return 0.0
    x, y = axis(direction_deg + angle_deg)
    return shift[0] * x + shift[1] * y
