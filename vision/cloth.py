"""Where the cloth is: what stands out from the table, as outlines in the plane, one for each cloth.

The table is what runs along the picture's frame in long stretches of one colour. Its colour is modelled as a smooth
surface (light falls off across a table), and what differs from it is cloth. Cloth whose print reaches the frame all
round leaves no such stretch: it fills the picture.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import srgb_to_lab
from vision.edge import StraightEdge, straight_edges
from vision.measurement import Point
from vision.square import SquareOn

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: A stretch of the frame of one colour counts as table from this share of the frame's length.
STRETCH_SHARE = 0.07
#: Neighbouring places of the frame (1 % of it apart) that differ by more than this are of different things, CIELAB.
STEP_DE = 9.0
#: What differs from the table's colour surface by less than this is table, CIELAB; more where the table is grained.
TABLE_DE = 7.0
TABLE_SIGMAS = 3.5
#: Lightness counts less than hue: a shadow on the table is not cloth.
LIGHTNESS_WEIGHT = 0.6
#: Smaller things than this share of the picture, or narrower than this (mm; share of its shorter side), are no cloth.
LEAST_AREA_SHARE = 0.008
LEAST_HALF_WIDTH_MM = 7.0
LEAST_HALF_WIDTH_SHARE = 0.012
#: Gaps up to this are closed: threads, thin stripes of the table's colour, mm.
CLOSE_MM = 7.0
#: Threads up to this width are cut off, mm.
FRINGE_MM = 2.0
#: Where the frame changes between cloth and table at more places than this, a stripe was taken for the table.
MOST_CROSSINGS = 3
#: Holes smaller than this are print, not holes, mm2.
LEAST_HOLE_MM2 = 150.0
MOST_HOLES = 2
#: Outlines are simplified by at most this, mm (and half a pixel).
OUTLINE_MM = 0.5
#: An outline this near to the end of what the photo shows is not the cloth's own edge, px.
FRAME_PX = 5.0
#: Frayed edges are simplified by this many times the scatter of their threads: the outline runs along their middle.
FRAY_SCATTERS = 4.5
#: What remains of uncertainty at an edge besides its scatter: the cloth's own thickness and its shadow, mm at 95 %.
EDGE_FLOOR_U95_MM = 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClothRegion:
    """One cloth: ``mask`` (H, W) on the picture it was found in, outline and holes in the plane's mm.

    ``u95_mm`` is how far the outline may be off, without the scale's own uncertainty. ``edges`` are its straight edges
    by the side that they face. ``touches_frame``: the picture does not show all of it.
    """

    mask: Mask
    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...]
    u95_mm: float
    edges: tuple[StraightEdge, ...]
    touches_frame: bool

    def edge(self, side: str) -> StraightEdge | None:
        """The straight edge that faces a side, or None."""
        return next((edge for edge in self.edges if edge.side == side), None)


def find_cloths(square: SquareOn, *, covered_mm: Sequence[Floats] = ()) -> tuple[ClothRegion, ...]:
    """The cloths in a square-on picture, largest first; empty where nothing stands out from a plain ground.

    ``covered_mm`` are polygons (N, 2) in the plane that hide what lies below them, as a ruler does.
    """
    lab = srgb_to_lab(cv2.medianBlur(np.ascontiguousarray(square.rgb), 3))
    lab[..., 0] *= LIGHTNESS_WEIGHT
    covered = _painted(square, covered_mm)
    usable = cv2.erode(square.valid.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=0).astype(bool)
    ring, order = _frame(usable)
    seeds = _stretches(lab, ring, order, covered)
    whole = usable if seeds.any() else None
    if whole is None:
        return (_region(square, usable, usable, np.zeros(usable.shape, np.float32)),)
    difference, limit = _difference(lab, seeds, usable & ~covered)
    cloth = _standing_out(square, difference > limit, usable, covered, covered_mm)
    crossings = _crossings(cloth, order)
    if crossings > MOST_CROSSINGS:
        return (_region(square, usable, usable, np.zeros(usable.shape, np.float32)),)
    parts = _parts(square, cloth)
    return tuple(_region(square, part, usable, difference) for part in parts)


def _painted(square: SquareOn, polygons_mm: Sequence[Floats]) -> Mask:
    mask = np.zeros(square.valid.shape, np.uint8)
    for polygon in polygons_mm:
        cv2.fillPoly(mask, [_pixels(square, polygon)], 1)
    return mask.astype(bool)


def _pixels(square: SquareOn, points_mm: Floats) -> NDArray[np.int32]:
    places = (np.asarray(points_mm) - np.asarray(square.origin_mm)) * square.px_per_mm
    return np.asarray(np.rint(places), dtype=np.int32)


def _frame(usable: Mask) -> tuple[Mask, NDArray[np.int64]]:
    """The frame of what the photo shows: a band (H, W), and a walk around it as pixels (N, 2) [y, x]."""
    depth = max(3, round(0.012 * min(usable.shape)))
    inner = cv2.erode(usable.astype(np.uint8), np.ones((2 * depth + 1,) * 2, np.uint8), borderValue=0)
    contours, _ = cv2.findContours(
        cv2.erode(usable.astype(np.uint8), np.ones((depth | 1,) * 2, np.uint8), borderValue=0),
        cv2.RETR_EXTERNAL,
        cv2.CHAIN_APPROX_NONE,
    )
    if not contours:
        return usable, np.empty((0, 2), np.int64)
    walk = max(contours, key=len).reshape(-1, 2)[:, ::-1].astype(np.int64)
    return usable & ~inner.astype(bool), walk


def _stretches(lab: NDArray[np.float32], ring: Mask, walk: NDArray[np.int64], covered: Mask) -> Mask:
    """Pixels of the frame that lie in long stretches of one colour (smoothly changing)."""
    seeds = np.zeros(ring.shape, bool)
    free = walk[~covered[walk[:, 0], walk[:, 1]]] if len(walk) else walk
    if len(free) < 50:
        return seeds
    smooth = cv2.blur(lab, (7, 7))[free[:, 0], free[:, 1]].astype(np.float64)
    apart = max(4, len(free) // 100)
    step = np.linalg.norm(np.roll(smooth, -apart, axis=0) - smooth, axis=1)
    broken = np.flatnonzero(step > STEP_DE)
    if not len(broken):
        seeds[free[:, 0], free[:, 1]] = True
        return seeds
    bounds = np.append(broken, broken[0] + len(free))
    for start, end in pairwise(bounds):
        if end - start - apart >= STRETCH_SHARE * len(free):
            chosen = np.arange(start + apart, end) % len(free)
            seeds[free[chosen, 0], free[chosen, 1]] = True
    return seeds


def _difference(lab: NDArray[np.float32], seeds: Mask, usable: Mask) -> tuple[NDArray[np.float32], float]:
    """How far each pixel is from the table's colour surface, and the limit that tells cloth from table.

    The seeds may be of several colours (a table and the floor beside it): each pixel counts against the nearest.
    """
    ys, xs = np.nonzero(seeds)
    samples = lab[ys, xs].astype(np.float32)
    best: NDArray[np.float32] | None = None
    limit = TABLE_DE
    for index in _colours(samples):
        chosen = np.zeros(seeds.shape, bool)
        chosen[ys[index], xs[index]] = True
        away, spread = _surface(lab, chosen, usable)
        limit = max(limit, TABLE_SIGMAS * spread)
        best = away if best is None else np.minimum(best, away)
    assert best is not None
    return np.asarray(cv2.GaussianBlur(best, (0, 0), 0.8), dtype=np.float32), min(limit, 3.0 * TABLE_DE)


def _colours(samples: NDArray[np.float32]) -> list[NDArray[np.int64]]:
    """Groups of samples of one colour each, largest first; small ones are dropped."""
    count = min(3, len(samples))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    cv2.setRNGSeed(1)
    _, labels, centres = cv2.kmeans(samples, count, np.empty(0, np.int32), stop, 3, cv2.KMEANS_PP_CENTERS)
    labels = np.asarray(labels).ravel()
    for first in range(count):
        for second in range(first + 1, count):
            if np.linalg.norm(centres[first] - centres[second]) < 3 * STEP_DE:
                labels[labels == second] = first
    groups = [np.flatnonzero(labels == label) for label in np.unique(labels)]
    return [group for group in sorted(groups, key=len, reverse=True) if len(group) >= 0.08 * len(samples)]


def _surface(lab: NDArray[np.float32], chosen: Mask, usable: Mask) -> tuple[NDArray[np.float32], float]:
    """Distance of every pixel to a quadratic colour surface through the chosen ones, grown in two rounds."""
    height, width = chosen.shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    x, y = x / width * 2 - 1, y / height * 2 - 1
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    members, away, spread = chosen, np.empty(0, np.float32), TABLE_DE / TABLE_SIGMAS
    for degree in (3, 6):
        basis = terms[..., :degree]
        rows = np.flatnonzero(members.ravel())
        rows = rows[:: max(1, len(rows) // 8000)]
        solution, *_ = np.linalg.lstsq(basis.reshape(-1, degree)[rows], lab.reshape(-1, 3)[rows], rcond=None)
        away = np.linalg.norm(lab - basis @ solution, axis=-1).astype(np.float32)
        spread = float(
            np.median(away[members]) / 1.54
        )  # the median of a chi distribution with three degrees of freedom
        near = usable & (away < max(TABLE_DE, TABLE_SIGMAS * spread))
        _, labels = cv2.connectedComponents(near.astype(np.uint8), connectivity=4)
        touching = np.unique(labels[chosen & near])
        members = np.isin(labels, touching[touching > 0]) if len(touching) else chosen
        if members.sum() < 20:
            members = chosen
    return away, spread


def _standing_out(square: SquareOn, differs: Mask, usable: Mask, covered: Mask, covered_mm: Sequence[Floats]) -> Mask:
    """The mask of all cloth: fringes off, thin gaps closed, what the ruler hides filled in, inner print filled in."""
    scale = square.px_per_mm
    cloth: NDArray[Any] = (differs & usable & ~covered).astype(np.uint8)
    cloth = cv2.morphologyEx(cloth, cv2.MORPH_CLOSE, _disc(CLOSE_MM * scale))
    cloth = cv2.morphologyEx(cloth, cv2.MORPH_OPEN, _disc(FRINGE_MM * scale))
    for polygon in covered_mm:
        cloth = np.maximum(cloth, _hidden(square, polygon, cloth))
    cloth = np.where(usable, cloth, 0).astype(np.uint8)
    return _filled(square, _joined(cloth, scale), differs)


def _disc(diameter_px: float) -> NDArray[np.uint8]:
    side = max(1, round(diameter_px)) | 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), dtype=np.uint8)


def _hidden(square: SquareOn, polygon_mm: Floats, cloth: NDArray[Any]) -> NDArray[np.uint8]:
    """The part of a covering polygon that lies between cloth on both its sides."""
    body = np.zeros(cloth.shape, np.uint8)
    cv2.fillPoly(body, [_pixels(square, polygon_mm)], 1)
    beside = cv2.dilate(body, _disc(8.0 * square.px_per_mm + 6)) & cloth & (1 - body)
    points = cv2.findNonZero(beside)
    filled = np.zeros(cloth.shape, np.uint8)
    if points is not None and len(points) > 20:
        cv2.fillConvexPoly(filled, cv2.convexHull(points), 1)
    return np.asarray(filled & body, dtype=np.uint8)


def _joined(cloth: NDArray[Any], scale: float) -> NDArray[np.uint8]:
    """Cloth that fell apart into parallel strips, because one of its stripes has the table's colour, made whole."""
    contours, _ = cv2.findContours(cloth, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    boxes = [cv2.minAreaRect(contour) for contour in contours if cv2.contourArea(contour) > 1e-3 * cloth.size]
    if len(boxes) < 3:
        return cloth
    long = [(max(size), min(size), angle + (0 if size[0] >= size[1] else 90)) for _, size, angle in boxes]
    lengths, widths, angles = (np.array(column) for column in zip(*long, strict=True))
    turn = np.angle(np.exp(2j * np.radians(angles)).mean())
    spread = np.degrees(np.abs(np.angle(np.exp(2j * np.radians(angles) - 1j * turn)))) / 2
    if np.median(lengths / np.maximum(widths, 1)) < 2.5 or np.median(spread) > 4.0:
        return cloth
    gap = min(3.0 * float(np.median(widths)), 60.0 * scale)
    return np.asarray(cv2.morphologyEx(cloth, cv2.MORPH_CLOSE, _disc(gap)), dtype=np.uint8)


def _filled(square: SquareOn, cloth: NDArray[np.uint8], differs: Mask) -> Mask:
    """Gaps inside a cloth are print of the table's colour, unless there are very few, large and compact: holes."""
    contours, _ = cv2.findContours(cloth, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    solid = np.zeros(cloth.shape, np.uint8)
    cv2.drawContours(solid, contours, -1, 1, cv2.FILLED)
    gaps = ((solid > 0) & (cloth == 0) & ~differs).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(gaps, connectivity=4)
    large = [
        label for label in range(1, count) if stats[label, cv2.CC_STAT_AREA] >= LEAST_HOLE_MM2 * square.px_per_mm**2
    ]
    if len(large) <= MOST_HOLES:
        for label in large:
            solid[labels == label] = 0
    return solid.astype(bool)


def _crossings(cloth: Mask, walk: NDArray[np.int64]) -> int:
    """How often the walk along the frame comes upon cloth."""
    if not len(walk):
        return 0
    on = cv2.erode(cv2.dilate(cloth.astype(np.uint8), np.ones((9, 9), np.uint8)), np.ones((5, 5), np.uint8))
    seen = on[walk[:, 0], walk[:, 1]].astype(np.int8)
    return int((np.diff(np.append(seen, seen[:1])) > 0).sum())


def _parts(square: SquareOn, cloth: Mask) -> list[Mask]:
    """The separate cloths, largest first."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(cloth.astype(np.uint8), connectivity=4)
    least_px = LEAST_AREA_SHARE * cloth.size
    half = max(LEAST_HALF_WIDTH_MM * square.px_per_mm, LEAST_HALF_WIDTH_SHARE * min(cloth.shape))
    order = sorted(range(1, count), key=lambda label: -int(stats[label, cv2.CC_STAT_AREA]))
    parts = []
    for label in order:
        part = labels == label
        if stats[label, cv2.CC_STAT_AREA] < least_px:
            break
        padded = np.pad(part.astype(np.uint8), 1)
        if cv2.distanceTransform(padded, cv2.DIST_L2, 5).max() >= half:
            parts.append(part)
    return parts


def _region(square: SquareOn, mask: Mask, usable: Mask, difference: NDArray[np.float32]) -> ClothRegion:
    contours, tree = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    outer = max((i for i in range(len(contours)) if tree[0][i][3] < 0), key=lambda i: cv2.contourArea(contours[i]))
    dense = _to_mm(square, _sharpened(contours[outer].reshape(-1, 2).astype(np.float64), difference))
    holes = tuple(
        _ring(
            _to_mm(square, _sharpened(contours[i].reshape(-1, 2).astype(np.float64), difference)),
            max(OUTLINE_MM, 0.75 / square.px_per_mm),
        )
        for i in range(len(contours))
        if tree[0][i][3] == outer and cv2.contourArea(contours[i]) >= LEAST_HOLE_MM2 * square.px_per_mm**2
    )
    rim = usable & ~cv2.erode(usable.astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=0).astype(bool)
    to_frame = cv2.distanceTransform(np.pad(usable.astype(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    at = contours[outer].reshape(-1, 2)
    edges = straight_edges(dense, np.asarray(to_frame[at[:, 1], at[:, 0]] > FRAME_PX))
    scatter = max((edge.scatter_mm for edge in edges), default=0.5)
    return ClothRegion(
        mask=mask,
        outline_mm=_ring(dense, max(OUTLINE_MM, 0.75 / square.px_per_mm, FRAY_SCATTERS * scatter)),
        holes_mm=holes,
        u95_mm=math.hypot(EDGE_FLOOR_U95_MM, 0.6 / square.px_per_mm, 1.5 * scatter),
        edges=edges,
        touches_frame=bool((mask & rim).sum() > 0.01 * rim.sum()),
    )


def _to_mm(square: SquareOn, points_px: Floats) -> Floats:
    return np.asarray(square.origin_mm) + points_px / square.px_per_mm


def _sharpened(contour: Floats, difference: NDArray[np.float32]) -> Floats:
    """The contour moved along its normal to where the cloth gives way to the table by half, in parts of a pixel."""
    if not difference.any() or len(contour) < 12:
        return contour
    tangent = np.roll(contour, -4, axis=0) - np.roll(contour, 4, axis=0)
    x, y = contour[:, 0], contour[:, 1]
    turn = 1.0 if float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0 else -1.0
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1) * turn
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    steps = np.arange(-4.0, 3.01, 0.25)
    places = (contour[:, None, :] + steps[None, :, None] * normal[:, None, :]).astype(np.float32)
    profile = cv2.remap(difference, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside, outside = profile[:, :6].mean(axis=1), profile[:, -4:].mean(axis=1)
    half = (inside + outside) / 2
    below = profile < half[:, None]
    first = np.argmax(below, axis=1)
    sure = below.any(axis=1) & (first > 0) & (inside - outside > TABLE_DE / 2)
    rows = np.arange(len(contour))
    before, after = profile[rows, first - 1], profile[rows, first]
    share = np.clip((before - half) / np.maximum(before - after, 1e-6), 0, 1)
    shift = np.where(sure, steps[first - 1] + 0.25 * share, 0.5)
    smooth = np.convolve(np.pad(shift, 2, mode="wrap"), np.full(5, 0.2), mode="valid")
    return np.asarray(contour + smooth[:, None] * normal)


def _ring(dense: Floats, eps: float) -> tuple[Point, ...]:
    """A dense contour as a polygon: corners by Douglas-Peucker, each put where the lines through its two sides meet."""
    kept = cv2.approxPolyDP(dense.astype(np.float32).reshape(-1, 1, 2), eps * 1.5, True).reshape(-1, 2)
    if len(kept) < 3:
        return tuple((float(x), float(y)) for x, y in dense)
    index = [int(np.argmin(np.linalg.norm(dense - corner, axis=1))) for corner in kept]
    lines = [_side(dense, index[i], index[(i + 1) % len(index)]) for i in range(len(index))]
    ring: list[Point] = []
    for i, corner in enumerate(kept.astype(np.float64)):
        met = _meeting(lines[i - 1], lines[i])
        place = met if met is not None and np.linalg.norm(met - corner) < 4 * eps else corner
        ring.append((float(place[0]), float(place[1])))
    return tuple(ring)


def _side(dense: Floats, start: int, end: int) -> tuple[Floats, Floats] | None:
    """Middle and direction of the least-squares line through the contour between two corners, a little left out."""
    count = (end - start) % len(dense)
    if count < 12:
        return None
    trim = max(1, count // 20)
    points = dense[(start + np.arange(trim, count - trim)) % len(dense)]
    middle = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
    return middle, axes[0]


def _meeting(one: tuple[Floats, Floats] | None, other: tuple[Floats, Floats] | None) -> Floats | None:
    if one is None or other is None:
        return None
    matrix = np.column_stack([one[1], -other[1]])
    if abs(float(np.linalg.det(matrix))) < 0.1:
        return None
    along = np.linalg.solve(matrix, other[0] - one[0])
    return np.asarray(one[0] + along[0] * one[1])
