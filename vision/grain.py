"""The grain: how the threads of a cloth lie, from an edge that follows them, a thread drawn out, or themselves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.cloth import ClothRegion
from vision.edge import ClothEdge, Side
from vision.estimate import Estimate
from vision.measurement import Point, SkewReference
from vision.swatch import Doubles, folded_deg

#: A direction known no better than this does not tell cloth that lies well from cloth pulled askew by 3 %, which is
#: 1.7 degrees, degrees (half of it; ASTM D3882's percentage, the limit of 3 % is practice).
MOST_U95_DEG = 0.85
#: A ruler that lies on the cloth ends it in a straight line. An edge this nearly parallel to a ruler, deg (both are
#: known to a few tenths), and this near to what is known of it, mm (no ruler or tape is wider), may be the ruler's.
ALONG_DEG = 0.9
BESIDE_MM = 35.0
#: Nearer than this it is the ruler's, mm: the shadow and the rim that are kept clear of a ruler.
AGAINST_MM = 3.0
#: Two edges are both torn, or both not, where one scatters by at least this share of what the other does (of our own
#: scenes' torn edges; a cut one is a few times as straight).
_AS_FRAYED = 0.5
#: Another edge of the cloth agrees with it when the two are parallel or square within this, deg (cloth torn and cut by
#: hand is mostly square to two or three degrees; practice).
AGREES_DEG = 3.0
#: Of cloth that lies so near to 45 deg, deg, two edges face a side of the photo about as much (within what tilt and a
#: cloth that is not square make of it): which of them is meant is not known.
DIAGONAL_DEG = 3.0
ACROSS: dict[Side, Side] = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """The direction of threads, degrees in (-90, 90], and what shows it. The other grain lies about square to it. A
    torn edge follows a thread of the weft, a selvage those of the warp (common practice). ``agreed`` tells that more
    of the cloth's other straight edges lie with it than askew of it, ``at_mm`` where in the plane it is seen: None
    where that is all over the cloth."""

    direction_deg: Estimate
    reference: SkewReference
    agreed: bool = True
    at_mm: Point | None = None


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
    edges within which the picture shows the cloth, where that was looked at: only these count beside what covers it;
    and the side across from the torn one counts with it only if it is one of these, or runs along nothing that covers.
    """
    own = tuple(edge for edge in region.edges if _is_own(edge, region.edges, covered_mm, sure))
    named = [_facing(own, side) for side in (torn, selvage)]
    weft, warp = (_either(edge, region.edges) for edge in named)
    across = _facing(own, ACROSS[torn]) if torn is not None and weft is named[0] else None
    told = () if sure is None else (*sure, *(edge for edge in own if not any(_along(edge, c) for c in covered_mm)))
    seen = (
        None if weft is None else _torn(weft, across if across in told else None, region.edges),
        None if thread_deg is None else _shown(thread_deg, "thread", region.edges),
        None if warp is None else _shown(warp.direction_deg, "selvage", region.edges, _middle(warp)),
        None if weave_deg is None else _shown(weave_deg, "weave", region.edges),
    )
    return tuple(grain for grain in seen if grain is not None and grain.direction_deg.u95 <= MOST_U95_DEG)


def _shown(
    direction: Estimate, reference: SkewReference, edges: tuple[ClothEdge, ...], at_mm: Point | None = None
) -> Grain:
    return Grain(direction_deg=direction, reference=reference, agreed=_agreed(direction, edges), at_mm=at_mm)


def _torn(edge: ClothEdge, across: ClothEdge | None, edges: tuple[ClothEdge, ...]) -> Grain:
    """The grain along a torn edge. The side ``across`` from it follows such a thread too where it is frayed as much and
    runs parallel as far as is known; then both count, the surer one more, and what they differ by is not known."""
    alone = _shown(edge.direction_deg, "torn", edges, _middle(edge))
    if across is None or not _alike(edge, across):
        return alone
    one, other = edge.direction_deg, across.direction_deg
    apart = folded_deg(other.value - one.value)
    share = one.u95**2 / (one.u95**2 + other.u95**2)
    both = Estimate(folded_deg(one.value + share * apart), math.hypot(one.u95 * math.sqrt(1 - share), share * apart))
    (x, y), (there_x, there_y) = _middle(edge), _middle(across)
    return replace(alone, direction_deg=both, at_mm=(x + share * (there_x - x), y + share * (there_y - y)))


def _agreed(direction: Estimate, edges: tuple[ClothEdge, ...]) -> bool:
    """Whether of the edges, but that which has this direction, more length lies along it or square to it than askew."""
    others = [edge for edge in edges if edge.direction_deg != direction]
    apart = (_apart_deg(edge.direction_deg.value, direction.value, 90.0) for edge in others)
    with_it = sum(e.length_mm * (1 if deg <= AGREES_DEG else -1) for e, deg in zip(others, apart, strict=True))
    return with_it > 0 or not edges


def torn_alike(edges: tuple[ClothEdge, ...], torn: Side | None) -> tuple[ClothEdge, ...]:
    """The side across from the torn one where it may be torn too; none where it can hardly be."""
    if torn is None:
        return ()
    edge, across = _facing(edges, torn), _facing(edges, ACROSS[torn])
    return () if edge is None or across is None or not _alike(edge, across) else (across,)


def _alike(edge: ClothEdge, across: ClothEdge) -> bool:
    """Whether two sides are frayed about as much, and parallel as far as is known."""
    one, other = edge.direction_deg, across.direction_deg
    low, high = sorted((edge.scatter_mm, across.scatter_mm))
    return low >= _AS_FRAYED * high and abs(folded_deg(other.value - one.value)) <= math.hypot(one.u95, other.u95)


def _middle(edge: ClothEdge) -> Point:
    return (edge.start_mm[0] + edge.end_mm[0]) / 2, (edge.start_mm[1] + edge.end_mm[1]) / 2


def _facing(edges: tuple[ClothEdge, ...], side: Side | None) -> ClothEdge | None:
    """The longest straight edge that faces a side."""
    return max((edge for edge in edges if edge.side == side), key=lambda edge: edge.length_mm, default=None)


def _either(edge: ClothEdge | None, edges: tuple[ClothEdge, ...]) -> ClothEdge | None:
    """The edge; where one that is square to it may be meant as well, with a direction that goes for both. None where
    that other one is not seen."""
    if edge is None or abs(abs(edge.direction_deg.value) - 45.0) > DIAGONAL_DEG:
        return edge
    square = [one for one in edges if _apart_deg(one.direction_deg.value, edge.direction_deg.value, 180.0) > 45.0]
    if not square:
        return None
    one, other = edge.direction_deg, max(square, key=lambda one: one.length_mm).direction_deg
    half = ((other.value - one.value + 45.0) % 90.0 - 45.0) / 2
    return replace(edge, direction_deg=Estimate(folded_deg(one.value + half), abs(half) + max(one.u95, other.u95)))


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
