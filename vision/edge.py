"""Straight edges of a cloth: a line through the seen edge, with how far its direction may be off."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.estimate import Estimate

Floats = NDArray[np.float64]
Side = Literal["top", "right", "bottom", "left"]

#: Where each side's edge faces, in the upright photo (x right, y down).
OUTWARD: dict[Side, tuple[float, float]] = {
    "top": (0.0, -1.0),
    "right": (1.0, 0.0),
    "bottom": (0.0, 1.0),
    "left": (-1.0, 0.0),
}
#: An edge may lean this far from facing its side, degrees.
LEAN_DEG = 35.0
#: An edge shorter than this share of the cloth's extent along that side is not "the edge facing that side".
LEAST_SHARE = 0.4
#: Rounds of re-weighting; points further off than three robust standard deviations are frayed threads or corners.
ROUNDS = 8
OUTLIER_SIGMAS = 3.0
#: Along a frayed edge, threads hang together over about this length, mm: so few points are independent.
CORRELATION_MM = 6.0
#: Part at each end of an edge that is left out, because corners curl and fray most.
END_SHARE = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightEdge:
    """One straight edge in the plane, mm; ``direction_deg`` of the line in (-90, 90], counter-clockwise as seen."""

    side: Side
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    direction_deg: Estimate
    scatter_mm: float


def straight_edges(contour_mm: Floats, seen: NDArray[np.bool_]) -> tuple[StraightEdge, ...]:
    """The edges of a closed contour (N, 2), dense, mm, that face the four sides; those that are straight enough.

    ``seen`` (N,) is False where the contour is not the cloth's edge but the picture's.
    """
    found = (_edge(contour_mm, seen, side) for side in OUTWARD)
    return tuple(edge for edge in found if edge is not None)


def _edge(contour: Floats, seen: NDArray[np.bool_], side: Side) -> StraightEdge | None:
    outward = np.array(OUTWARD[side])
    points = _facing(contour, seen, outward)
    along = np.array([-outward[1], outward[0]])
    extent = float(np.ptp(contour @ along))
    if len(points) < 12 or np.ptp(points @ along) < LEAST_SHARE * extent:
        return None
    fitted = _line(points)
    if fitted is None:
        return None
    middle, direction, scatter, kept = fitted
    reach = kept @ direction
    length = float(np.ptp(reach))
    if length < LEAST_SHARE * extent:
        return None
    independent = max(length / CORRELATION_MM, 3.0)
    sigma_rad = scatter * math.sqrt(12.0 / independent) / length
    angle = math.degrees(math.atan2(-direction[1], direction[0]))
    centre = float(middle @ direction)
    start, end = middle + (reach.min() - centre) * direction, middle + (reach.max() - centre) * direction
    return StraightEdge(
        side=side,
        start_mm=(float(start[0]), float(start[1])),
        end_mm=(float(end[0]), float(end[1])),
        direction_deg=Estimate(folded(angle), 1.96 * math.degrees(sigma_rad)),
        scatter_mm=scatter,
    )


def folded(angle_deg: float) -> float:
    """A line's direction in (-90, 90]."""
    turned = (angle_deg + 90.0) % 180.0 - 90.0
    return 90.0 if turned == -90.0 else turned


def _facing(contour: Floats, seen: NDArray[np.bool_], outward: Floats) -> Floats:
    """The points seen whose outward normal, smoothed over a few mm, faces the side, less a little at both ends."""
    step = np.linalg.norm(np.roll(contour, -1, axis=0) - contour, axis=1)
    half = max(2, round(5.0 / max(float(np.median(step)), 1e-6)))
    tangent = np.roll(contour, -half, axis=0) - np.roll(contour, half, axis=0)
    x, y = contour[:, 0], contour[:, 1]
    area = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1) * (1.0 if area > 0 else -1.0)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    points = contour[seen & (normal @ outward > math.cos(math.radians(LEAN_DEG)))]
    if len(points) < 3:
        return points
    along = points @ np.array([-outward[1], outward[0]])
    low, high = float(along.min()), float(along.max())
    margin = END_SHARE * (high - low)
    return np.asarray(points[(along > low + margin) & (along < high - margin)])


def _line(points: Floats) -> tuple[Floats, Floats, float, Floats] | None:
    """Middle, direction, robust scatter and the points kept, by least squares with outliers dropped, from a start that
    outliers cannot move (the median direction between far points)."""
    kept = points
    for _ in range(ROUNDS):
        middle = kept.mean(axis=0)
        _, _, axes = np.linalg.svd(kept - middle, full_matrices=False)
        direction = axes[0] if axes[0][np.argmax(np.abs(axes[0]))] > 0 else -axes[0]
        off = (points - middle) @ np.array([-direction[1], direction[0]])
        off -= float(np.median(off))
        scatter = 1.4826 * float(np.median(np.abs(off)))
        inside = np.abs(off) <= OUTLIER_SIGMAS * max(scatter, 0.02)
        if inside.sum() < 10:
            return None
        if len(kept) == int(inside.sum()):
            break
        kept = points[inside]
    middle = kept.mean(axis=0)
    residual = (kept - middle) @ np.array([-direction[1], direction[0]])
    return middle, np.asarray(direction), max(float(residual.std()), 0.02), np.asarray(kept)
