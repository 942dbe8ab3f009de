"""The print as a spirit level: stripes are parallel and evenly spaced, so how they run together tells the tilt.

Where the reference leaves the tilt open (two clicked points say nothing of it), the tilt is sought at which the stripes
repeat best over the whole cloth; their edges, found anew there, then take part in the fit of the plane.
"""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.adjustment import StripeLine
from vision.camera import homography, inverse, mapped
from vision.colour import srgb_to_lab
from vision.errors import ScaleNotFound
from vision.measurement import Print
from vision.plane import Plane
from vision.print import measure_print
from vision.square import SquareOn

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: A plane that knows lengths at the cloth's middle to this share (95 %) or better needs no help from the print.
KNOWN_WELL = 0.012
#: Shares of the cloth about its middle that take part, one after the other: a tilt shows little in the first.
WINDOWS = (0.5, 0.7, 1.0)
#: Pixels of the cloth that take part (time), and parts of a repeat that are told apart.
_SAMPLES = 12000
_PARTS = 48
#: The stripes must account for this share of all differences of colour, or they are no measure.
LEAST_ACCOUNTED = 0.6
#: Tilts tried are held back by this much (one standard deviation, rad), as in the plane's own fit.
_TILT_SIGMA_RAD = math.radians(10.0)
#: One standard deviation of an edge of the print found in a photograph, px (rendered scenes; cloth is less even).
EDGE_SIGMA_PX = 0.5
#: How many edges are followed, and at how many places each.
_MOST_EDGES, _PLACES = 60, 24


def needs_levelling(plane: Plane, point_mm: Floats) -> bool:
    """Whether the reference leaves lengths at a place of the plane too uncertain."""
    x, y = plane.to_px(point_mm[None])[0]
    return plane.length_relative_u95_at((float(x), float(y))) > KNOWN_WELL


def level(plane: Plane, square: SquareOn, mask: Mask, rgb: NDArray[np.uint8]) -> Plane:
    """The plane fitted anew with the stripes of the cloth under ``mask`` (H, W) of a square-on picture of it.

    The same plane where no stripes are seen that could level it.
    """
    tilted = _sought(plane, square, mask)
    if tilted is None:
        return plane
    height, width = square.rgb.shape[:2]
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=np.float64)
    ring_mm = tilted.to_mm(plane.to_px(_mm(square, corners)))
    low, high = ring_mm.min(axis=0), ring_mm.max(axis=0)
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    fresh = tilted.square_on(rgb, px_per_mm=square.px_per_mm, region_mm=box)
    inside = _carried(mask, square, plane, fresh, tilted) & fresh.valid
    found = measure_print(fresh, inside).print
    if found is None or not found.stripes or found.across is None:
        return plane
    lines = _edges(fresh, inside, found, tilted)
    if len({line.index for line in lines}) < 3:
        return plane
    try:
        return plane.refined(lines)
    except ScaleNotFound:
        return plane


def _mm(square: SquareOn, pixels: Floats) -> Floats:
    return np.asarray(pixels / square.px_per_mm + np.asarray(square.origin_mm), dtype=np.float64)


def _sought(plane: Plane, square: SquareOn, mask: Mask) -> Plane | None:
    """The plane tilted so that the stripes repeat best, or None where they do not repeat well."""
    from scipy.optimize import minimize

    rows, columns = mask.nonzero()
    if len(rows) < 500:
        return None
    share = np.maximum(
        np.abs(rows - np.median(rows)) / max(1.0, np.ptp(rows) / 2),
        np.abs(columns - np.median(columns)) / max(1.0, np.ptp(columns) / 2),
    )
    parts = (_start(square, mask, rows[share <= window], columns[share <= window]) for window in WINDOWS)
    start = next((found for found in parts if found is not None), None)
    if start is None:
        return None
    place = np.array([plane.params[0], plane.params[1], *start])
    kept = np.random.default_rng(0).permutation(len(rows))[: 2 * _SAMPLES]
    rows, columns, share = rows[kept], columns[kept], share[kept]
    photo_px = plane.to_px(_mm(square, np.stack([columns, rows], axis=1).astype(np.float64)))
    colours = srgb_to_lab(cv2.GaussianBlur(square.rgb, (0, 0), 1.0))[rows, columns].astype(np.float64)
    rest = 1.0
    for window in WINDOWS:
        near = np.nonzero(share <= window)[0][:_SAMPLES]
        task = _Fold(plane, photo_px[near], colours[near])
        steps = np.array([0.02, 0.02, 0.004, 0.01 * place[3]]) * (1.0 if window < 1 else 0.5)
        simplex = np.vstack([place, place + np.diag(steps)])
        options = {"initial_simplex": simplex, "maxiter": 320, "xatol": 1e-5, "fatol": 1e-6}
        solution = minimize(task.left_over, place, method="Nelder-Mead", options=options)
        place, rest = np.asarray(solution.x, dtype=np.float64), task.scatter(solution.x)
    if rest > 1 - LEAST_ACCOUNTED:
        return None
    params = np.array([place[0], place[1], *plane.params[2:]])
    return replace(plane, params=params, straight_from_mm=homography(params, plane.size_px, plane.thickness_mm))


def _start(
    square: SquareOn, mask: Mask, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> tuple[float, float] | None:
    """Direction (rad, as the plane's x turns to y) and repeat (mm) of the stripes in the middle of the cloth."""
    if not len(rows):
        return None
    middle = np.zeros_like(mask)
    middle[rows, columns] = True
    y, x = slice(rows.min(), rows.max() + 1), slice(columns.min(), columns.max() + 1)
    part = replace(
        square,
        rgb=np.ascontiguousarray(square.rgb[y, x]),
        valid=square.valid[y, x],
        origin_mm=(
            square.origin_mm[0] + float(columns.min()) / square.px_per_mm,
            square.origin_mm[1] + float(rows.min()) / square.px_per_mm,
        ),
    )
    found = measure_print(part, middle[y, x]).print
    if found is None or found.across is None or found.across_direction_deg is None or not found.stripes:
        return None
    return -math.radians(found.across_direction_deg.value), found.across.value


class _Fold:
    """How well the print repeats for a tilt, a direction and a repeat: the colours' scatter after folding."""

    def __init__(self, plane: Plane, photo_px: Floats, colours: Floats) -> None:
        self.plane = plane
        self.straight_px = plane.lens().straightened(photo_px)
        self.colours = colours - colours.mean(axis=0)
        self.total = float((self.colours**2).sum())

    def scatter(self, place: Floats) -> float:
        """The share of all differences of colour that the fold leaves unexplained."""
        params = np.array([place[0], place[1], *self.plane.params[2:]])
        mm = mapped(inverse(homography(params, self.plane.size_px, self.plane.thickness_mm)), self.straight_px)
        turns = (mm[:, 0] * math.cos(place[2]) + mm[:, 1] * math.sin(place[2])) / place[3]
        part = ((turns - np.floor(turns)) * _PARTS).astype(np.int64) % _PARTS
        count = np.maximum(np.bincount(part, minlength=_PARTS), 1)
        between = sum(float((np.bincount(part, column, _PARTS) ** 2 / count).sum()) for column in self.colours.T)
        return 1 - between / max(self.total, 1e-9)

    def left_over(self, place: Floats) -> float:
        """What is minimised: the scatter, and a little for every tilt."""
        if max(abs(place[0]), abs(place[1])) > 0.6 or place[3] <= 0:
            return 2.0
        return self.scatter(place) + 1e-3 * float(place[0] ** 2 + place[1] ** 2) / _TILT_SIGMA_RAD**2


def _carried(mask: Mask, square: SquareOn, plane: Plane, fresh: SquareOn, tilted: Plane) -> Mask:
    """The mask in another square-on picture of the same photo."""
    into = np.array(
        [[1 / fresh.px_per_mm, 0, fresh.origin_mm[0]], [0, 1 / fresh.px_per_mm, fresh.origin_mm[1]], [0, 0, 1.0]]
    )
    back = np.array(
        [
            [square.px_per_mm, 0, -square.origin_mm[0] * square.px_per_mm],
            [0, square.px_per_mm, -square.origin_mm[1] * square.px_per_mm],
            [0, 0, 1.0],
        ]
    )
    warp = back @ inverse(plane.straight_from_mm) @ tilted.straight_from_mm @ into
    size = (fresh.rgb.shape[1], fresh.rgb.shape[0])
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpPerspective(mask.astype(np.uint8), warp, size, flags=flags) > 0, dtype=np.bool_)


def _edges(square: SquareOn, mask: Mask, found: Print, plane: Plane) -> list[StripeLine]:
    """The edges of the stripes, each followed along, as points of the photo."""
    if found.across is None or found.across_direction_deg is None:
        return []
    angle = math.radians(found.across_direction_deg.value)
    across, along = np.array([math.cos(angle), -math.sin(angle)]), np.array([math.sin(angle), math.cos(angle)])
    rows, columns = mask.nonzero()
    mm = _mm(square, np.stack([columns, rows], axis=1)[::37].astype(np.float64))
    u, v = mm @ across, mm @ along
    lab = srgb_to_lab(cv2.GaussianBlur(square.rgb, (0, 0), 0.7))
    stripes, repeat, origin = found.stripes, found.across.value, found.origin_mm or 0.0
    step = max(1, math.ceil(len(stripes) * (np.ptp(u) / repeat) / _MOST_EDGES))
    lines = []
    for family, stripe in enumerate(stripes):
        following = stripes[(family + 1) % len(stripes)]
        at = origin + stripe.centre_mm + stripe.width.value / 2
        reach = 0.45 * min(stripe.width.value, following.width.value)
        for index in range(math.ceil((u.min() - at) / repeat), math.floor((u.max() - at) / repeat) + 1, step):
            middle = at + index * repeat
            places_v = np.linspace(v.min(), v.max(), _PLACES)
            points = middle * across + places_v[:, None] * along
            found_px = _crossings(square, mask, lab, points, across, reach)
            if len(found_px) >= 6:
                photo = plane.to_px(_mm(square, found_px))
                lines.append(StripeLine(points_px=photo, sigma_px=EDGE_SIGMA_PX, family=family, index=index))
    return lines


def _crossings(
    square: SquareOn, mask: Mask, lab: NDArray[np.float32], points_mm: Floats, across: Floats, reach_mm: float
) -> Floats:
    """Pixels (M, 2) of the square-on picture where the colour is half way from one side of an edge to the other."""
    offsets = np.linspace(-reach_mm, reach_mm, 2 * max(4, round(2 * reach_mm * square.px_per_mm)) + 1)
    places = (points_mm[:, None] + offsets[None, :, None] * across - np.asarray(square.origin_mm)) * square.px_per_mm
    x, y = places[..., 0].astype(np.float32), places[..., 1].astype(np.float32)
    inside = cv2.remap(mask.astype(np.uint8), x, y, cv2.INTER_NEAREST).all(axis=1)
    profile = cv2.remap(lab, x, y, cv2.INTER_LINEAR).astype(np.float64)
    quarter = max(1, len(offsets) // 4)
    first, last = profile[:, :quarter].mean(1), profile[:, -quarter:].mean(1)
    span = last - first
    size = (span**2).sum(1)
    share = ((profile - first[:, None]) * span[:, None]).sum(2) / np.maximum(size, 1e-9)[:, None]
    rising = (share[:, :-1] < 0.5) & (share[:, 1:] >= 0.5)
    good = inside & (size > 36.0) & (rising.sum(axis=1) == 1)
    rows = np.nonzero(good)[0]
    k = rising[rows].argmax(axis=1)
    low, high = share[rows, k], share[rows, k + 1]
    t = k + (0.5 - low) / (high - low)
    place = np.interp(t, np.arange(len(offsets)), offsets)
    found = (points_mm[rows] + place[:, None] * across - np.asarray(square.origin_mm)) * square.px_per_mm
    return np.asarray(found, dtype=np.float64)
