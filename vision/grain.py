"""The grain: how the threads of a cloth lie, from an edge that follows them, a thread drawn out, or themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.cloth import ClothRegion
from vision.edge import ClothEdge, Side
from vision.estimate import Estimate
from vision.measurement import SkewReference
from vision.swatch import Doubles

#: A direction known no better than this does not tell cloth that lies well from cloth pulled askew by 3 %, which is
#: 1.7 degrees, degrees (half of it; ASTM D3882's percentage, the limit of 3 % is practice).
MOST_U95_DEG = 0.85
#: A ruler that lies on the cloth ends it in a straight line. An edge this nearly parallel to a ruler, deg (both are
#: known to a few tenths), and this near to what is known of it, mm (no ruler or tape is wider), may be the ruler's.
ALONG_DEG = 0.9
BESIDE_MM = 35.0
#: Nearer than this it is the ruler's, mm: the shadow and the rim that are kept clear of a ruler.
AGAINST_MM = 3.0
#: Another edge of the cloth agrees with it when the two are parallel or square within this, deg (cloth torn and cut by
#: hand is mostly square to two or three degrees; practice).
AGREES_DEG = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """The direction of threads, degrees in (-90, 90], and what shows it. The other grain lies about square to it. A
    torn edge follows a thread of the weft, a selvage those of the warp (common practice). ``agreed`` tells that more
    of the cloth's other straight edges lie with it than askew of it."""

    direction_deg: Estimate
    reference: SkewReference
    agreed: bool = True


def read_grains(
    region: ClothRegion,
    *,
    torn: Side | None = None,
    selvage: Side | None = None,
    thread_deg: Estimate | None = None,
    weave_deg: Estimate | None = None,
    covered_mm: Sequence[Doubles] = (),
    sure: Sequence[ClothEdge] | None = None,
) -> tuple[Grain, ...]:
    """What is known of a cloth's grain, the surest first: its torn edge, a drawn thread, its selvage, the weave;
    an edge that cannot be seen straight is left out.

    ``thread_deg`` is the direction of the drawn thread, ``weave_deg`` that of one axis of the weave. ``covered_mm`` are
    polygons (K, 2) of what lies on or by the cloth: its edges must not be taken for the cloth's. ``sure`` are the
    edges within which the picture shows the cloth, where that was looked at: only these count beside what covers it.
    """
    own = tuple(edge for edge in region.edges if _is_own(edge, region.edges, covered_mm, sure))
    seen: tuple[tuple[SkewReference, Estimate | None], ...] = (
        ("torn", _along_edge(own, torn)),
        ("thread", thread_deg),
        ("selvage", _along_edge(own, selvage)),
        ("weave", weave_deg),
    )
    return tuple(
        Grain(direction_deg=direction, reference=reference, agreed=_agreed(direction, region.edges))
        for reference, direction in seen
        if direction is not None and direction.u95 <= MOST_U95_DEG
    )


def _agreed(direction: Estimate, edges: tuple[ClothEdge, ...]) -> bool:
    """Whether of the edges, but that which has this direction, more length lies along it or square to it than askew."""
    others = [edge for edge in edges if edge.direction_deg != direction]
    apart = (_apart_deg(edge.direction_deg.value, direction.value, 90.0) for edge in others)
    with_it = sum(e.length_mm * (1 if deg <= AGREES_DEG else -1) for e, deg in zip(others, apart, strict=True))
    return with_it > 0 or not edges


def _along_edge(edges: tuple[ClothEdge, ...], side: Side | None) -> Estimate | None:
    edge = _facing(edges, side)
    return None if edge is None else edge.direction_deg


def _facing(edges: tuple[ClothEdge, ...], side: Side | None) -> ClothEdge | None:
    """The longest straight edge that faces a side."""
    return max((edge for edge in edges if edge.side == side), key=lambda edge: edge.length_mm, default=None)


def _is_own(
    edge: ClothEdge, edges: tuple[ClothEdge, ...], covered_mm: Sequence[Doubles], sure: Sequence[ClothEdge] | None
) -> bool:
    """Whether an edge is the cloth's, and not that of a ruler which lies across it or by it."""
    away = min((_away_mm(edge, cover) for cover in covered_mm if _along(edge, cover)), default=float("inf"))
    if away > BESIDE_MM:
        return True
    others = [one for one in edges if not any(_along(one, cover) for cover in covered_mm)]
    told = sure is None or edge in sure
    return told and away > AGAINST_MM and (not others or any(_agree(edge, one) for one in others))


def _along(edge: ClothEdge, cover_mm: Doubles) -> bool:
    """Whether an edge is parallel to the long sides of what covers."""
    (_, _), (width, height), turn = cv2.minAreaRect(np.asarray(cover_mm, dtype=np.float32))
    axis = -(turn if width >= height else turn + 90.0)
    return _apart_deg(edge.direction_deg.value, axis, 180.0) <= ALONG_DEG + edge.direction_deg.u95


def _away_mm(edge: ClothEdge, cover_mm: Doubles) -> float:
    """How far the edge's own middle is from what covers; 0 inside it."""
    middle = (np.asarray(edge.start_mm) + np.asarray(edge.end_mm)) / 2
    place = (float(middle[0]), float(middle[1]))
    return max(0.0, -float(cv2.pointPolygonTest(np.asarray(cover_mm, dtype=np.float32), place, True)))


def _agree(one: ClothEdge, other: ClothEdge) -> bool:
    """Whether two edges are parallel or square to each other."""
    return _apart_deg(one.direction_deg.value, other.direction_deg.value, 90.0) <= AGREES_DEG


def _apart_deg(one: float, other: float, turn: float) -> float:
    """Between two directions that a turn brings onto themselves."""
    return abs((one - other + turn / 2) % turn - turn / 2)
