"""The grain: how the threads of a cloth lie, from an edge that follows them."""

from __future__ import annotations

from dataclasses import dataclass

from vision.cloth import ClothRegion
from vision.edge import ClothEdge, Side
from vision.estimate import Estimate
from vision.measurement import SkewReference

#: A direction known no better than this says nothing of a skew, degrees (3 % of skew is 1.7 degrees).
MOST_U95_DEG = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """The direction of the threads along one edge, degrees in (-90, 90], and what that edge is. The other grain lies
    square to it. A torn edge follows a thread of the weft, a selvage those of the warp (common practice)."""

    direction_deg: Estimate
    reference: SkewReference
    side: Side


def read_grain(region: ClothRegion, *, torn: Side | None = None, selvage: Side | None = None) -> Grain | None:
    """The grain of a cloth from its torn edge, else from its selvage; None where that edge cannot be seen straight."""
    wishes: tuple[tuple[Side | None, SkewReference], ...] = ((torn, "torn"), (selvage, "selvage"))
    for side, reference in wishes:
        edge = _facing(region.edges, side)
        if edge is not None and edge.direction_deg.u95 <= MOST_U95_DEG:
            return Grain(direction_deg=edge.direction_deg, reference=reference, side=edge.side)
    return None


def _facing(edges: tuple[ClothEdge, ...], side: Side | None) -> ClothEdge | None:
    """The longest straight edge that faces a side."""
    return max((edge for edge in edges if edge.side == side), key=lambda edge: edge.length_mm, default=None)
