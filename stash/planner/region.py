"""The cloth of a piece that may be cut, as a shapely region, and the turn between the piece's and the print's frame."""

from __future__ import annotations

import math
from typing import Any

import shapely
from shapely import affinity

from stash.piece import Piece, Polygon
from stash.planner.stance import Stance

MITRE_LIMIT = 20.0
"""Ratio. Moving an edge in or out keeps corners sharp; only spikes under 6 degrees are cut short."""


def usable(piece: Piece, stance: Stance) -> Any:
    """Outline minus holes and flaws in the piece's frame, moved in (a yes) or out (a no) by the outline's u95."""
    shift_mm = -stance.value * piece.outline_u95_mm
    cloth = _valid(shapely.Polygon(piece.outline_mm))
    for gap in (*piece.holes_mm, *piece.flaws_mm):
        cloth = cloth.difference(_valid(shapely.Polygon(gap)))
    if shift_mm:
        cloth = cloth.buffer(shift_mm, join_style="mitre", mitre_limit=MITRE_LIMIT)
    return cloth


def outline_region(piece: Piece) -> Any:
    """The piece as it lies: outline minus holes, flaws left in."""
    cloth = _valid(shapely.Polygon(piece.outline_mm))
    for hole in piece.holes_mm:
        cloth = cloth.difference(_valid(shapely.Polygon(hole)))
    return cloth


def to_print(shape: Any, direction_deg: float) -> Any:
    """From the piece's frame (x, y) to (p·n, p·d). A turn without a mirror: both have determinant one."""
    s = math.radians(direction_deg)
    return affinity.affine_transform(shape, [math.cos(s), -math.sin(s), math.sin(s), math.cos(s), 0.0, 0.0])


def to_piece(across_mm: float, along_mm: float, direction_deg: float) -> tuple[float, float]:
    """From (p·n, p·d) to the piece's frame, written to 0.001 mm."""
    s = math.radians(direction_deg)
    x = across_mm * math.cos(s) + along_mm * math.sin(s)
    y = -across_mm * math.sin(s) + along_mm * math.cos(s)
    return round(x, 3) + 0.0, round(y, 3) + 0.0


def polygon_of(ring: Any) -> Polygon:
    """A shapely ring as an open tuple of points, written to 0.001 mm."""
    return tuple((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in list(ring.coords)[:-1])


def _valid(shape: Any) -> Any:
    return shape if shape.is_valid else shape.buffer(0)
