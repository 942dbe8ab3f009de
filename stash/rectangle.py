"""The largest rectangle that lies wholly in a piece, along its grain and along its stripes."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from stash.piece import Piece
from stash.planner.remainder import largest_of_cells
from stash.turning import turned

#: Cells to each side in which a rectangle is sought; it is short of the largest by less than two of them each way.
CELLS: Final = 96
#: Lengths that differ by at most this are equal, mm (the contract).
_EQUAL_MM: Final = 0.01

Sides = tuple[float, float]


def along_grain(piece: Piece) -> Sides:
    """The sides across and along the grain of a rectangle that lies in the piece, clear of holes and flaws, mm."""
    region = shapely.Polygon(piece.outline_mm)
    gaps = [shapely.make_valid(shapely.Polygon(ring)) for ring in (*piece.holes_mm, *piece.flaws_mm)]
    region = shapely.make_valid(region).difference(shapely.union_all(gaps)) if gaps else shapely.make_valid(region)
    if region.is_empty:
        return 0.0, 0.0
    left, top, right, bottom = region.bounds
    x, y = np.linspace(left, right, CELLS + 1), np.linspace(top, bottom, CELLS + 1)
    room = region.buffer(_EQUAL_MM)
    shapely.prepare(room)
    low_x, low_y = np.meshgrid(x[:-1], y[:-1])
    high_x, high_y = np.meshgrid(x[1:], y[1:])
    wide, high = largest_of_cells(shapely.covers(room, shapely.box(low_x, low_y, high_x, high_y)))
    return wide * (right - left) / CELLS, high * (bottom - top) / CELLS


def along_stripes(piece: Piece) -> Sides | None:
    """The same across and along the stripes; None where their direction is not known."""
    if piece.stripe_direction_deg is None:
        return None
    return along_grain(turned(piece, -piece.stripe_direction_deg))
