"""A card of the ID-1 format lying on the cloth: its four straight edges, with the focal length, give the plane.

Reference: ISO/IEC 7810:2019, ID-1: 85.60 x 53.98 mm, corner radius 2.88-3.48 mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import srgb_to_lab
from vision.reference.reading import Floats, Reading

CARD_MM = (85.60, 53.98)
#: ISO/IEC 7810 allows about 0.15 % (from memory); worn edges and the card's own thickness add to it.
CARD_RELATIVE_U95 = 0.003
#: The corner of the ideal rectangle lies r (sqrt 2 - 1) = 1.2-1.44 mm beyond a card's round corner; generous limits.
CORNER_GAP_MM = (0.6, 2.2)
#: How far the proportions, corrected for tilt by the focal length, may lie from 85.60 / 53.98.
#: Corners known to a pixel or two leave proportions within the second: beyond it the shadow of an edge may have been
#: taken for the edge, and the other pictures are asked too.
ASPECT_TOLERANCE, SURE_ASPECT = 0.035, 0.01
#: Share of the picture that a card may cover.
AREA_SHARE = (0.002, 0.5)
#: Long side of the reduced picture in which cards are looked for, px.
SEARCH_SIDE_PX = 1400
#: One standard deviation of a corner from two fitted edges, px.
CORNER_SIGMA_PX = 0.4
#: The middle part of an edge that is used: the ends are round.
EDGE_SHARE = (0.12, 0.88)
#: Levels of grey for one of CIELAB's colour coordinates, which vary less than light does.
CHROMA_GAIN = 2.0
#: A side's own part of a contour lies so near to it, as a share of its length, and has so many places at least.
ASIDE_SHARE, LEAST_SIDE_PX = 0.06, 8
#: Half the length of the profiles taken across an edge, px, and how far apart they lie.
PROFILE_HALF_PX = 8
PROFILES_AN_EDGE = 60


def read_card(rgb: NDArray[np.uint8], focal_px: float) -> Reading | None:
    """Find one ID-1 card in a photo (H, W, 3) uint8 with its focal length in px; None where none is sure.

    What is as light as the table it lies on is sought in the channels of colour, one after the other; what its shadow
    or a rough table hides in all of these, in colour without light.
    """
    found: list[tuple[float, Floats]] = []
    for picture in _pictures(rgb):
        found += _cards(picture, focal_px)
        if found and min(found, key=_error)[0] < SURE_ASPECT:
            break
    if not found:
        return None
    corners = min(found, key=_error)[1]
    long, short = CARD_MM
    return Reading(
        source="card",
        unit=None,
        marks_px=corners,
        marks_mm=np.array([(0.0, 0.0), (long, 0.0), (long, short), (0.0, short)]),
        marks_sigma_px=np.full(4, CORNER_SIGMA_PX),
        ticks_px=np.empty((0, 2, 2)),
        ticks_sigma_px=np.empty(0),
        tolerance_relative_u95=CARD_RELATIVE_U95,
        names=("", "", "", ""),
        outline_px=corners,
    )


def _pictures(rgb: NDArray[np.uint8]) -> Iterator[NDArray[Any]]:
    """Pictures (H, W) of one channel in which a card may stand out, the likeliest first."""
    yield cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    yield from cv2.split(rgb)
    lab = srgb_to_lab(rgb)
    for k in (1, 2):
        yield np.clip(np.rint(128 + CHROMA_GAIN * lab[..., k]), 0, 255).astype(np.uint8)


def _error(card: tuple[float, Floats]) -> float:
    return card[0]


def _cards(grey: NDArray[Any], focal_px: float) -> list[tuple[float, Floats]]:
    """What is like a card in a picture (H, W) of one channel: how far its proportions are off, as a share, and its
    corners (4, 2), px."""
    factor = min(1.0, SEARCH_SIDE_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    height, width = grey.shape
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    candidates = []
    for quad in _quads(small):
        corners = _refined(grey, (quad + 0.5) / factor - 0.5)
        if corners is None:
            continue
        error = abs(_aspect(corners - centre, focal_px) * CARD_MM[1] / CARD_MM[0] - 1)
        if error < ASPECT_TOLERANCE and _round_corners(grey, corners):
            candidates.append((error, corners))
    return candidates


def _quads(grey: NDArray[Any]) -> list[Floats]:
    """Closed contours that are nearly convex quadrilaterals, with four corners, the first edge a long one."""
    area = grey.shape[0] * grey.shape[1]
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.2)
    pictures = [cv2.dilate(cv2.Canny(smooth, low, 3 * low), np.ones((3, 3), np.uint8)) for low in (15, 30, 60)]
    otsu = cv2.threshold(smooth, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)[1]
    pictures += [otsu, cv2.bitwise_not(otsu)]
    found: list[Floats] = []
    for picture in pictures:
        contours, _ = cv2.findContours(picture, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            if not AREA_SHARE[0] * area < cv2.contourArea(contour) < AREA_SHARE[1] * area:
                continue
            hull = cv2.convexHull(contour)
            if cv2.contourArea(contour) < 0.93 * cv2.contourArea(hull):
                continue
            quad = _quad(hull)
            if quad is not None:
                found.append(_squared(contour.reshape(-1, 2).astype(np.float64), quad))
    return found


def _quad(hull: NDArray[Any]) -> Floats | None:
    for share in (0.02, 0.03, 0.045, 0.06):
        polygon = cv2.approxPolyDP(hull, share * cv2.arcLength(hull, True), True)
        if len(polygon) == 4:
            corners = np.asarray(polygon, dtype=np.float64).reshape(4, 2)
            sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
            return corners if sides[0] + sides[2] > sides[1] + sides[3] else np.roll(corners, -1, axis=0)
    return None


def _squared(contour: Floats, quad: Floats) -> Floats:
    """The corners (4, 2) where the middle parts of a contour's (N, 2) sides would meet: a polygon along it cuts its
    round corners off. The polygon's own (4, 2) where a side is too short to tell."""
    lines = []
    for start, end in pairwise([*quad, quad[0]]):
        long = math.dist(start, end)
        way = (end - start) / max(long, 1e-9)
        along, aside = (contour - start) @ way, np.abs((contour - start) @ np.array([-way[1], way[0]]))
        middle = (along > EDGE_SHARE[0] * long) & (along < EDGE_SHARE[1] * long)
        side = contour[middle & (aside < ASIDE_SHARE * long)]
        if len(side) < LEAST_SIDE_PX:
            return quad
        lines.append(_line(side))
    corners = _meeting(lines)
    return quad if corners is None else corners


def _refined(grey: NDArray[Any], quad: Floats) -> Floats | None:
    """The corners where the four edges, fitted to their steepest points, would meet."""
    edges = (_edge(grey, start, end) for start, end in pairwise([*quad, quad[0]]))
    lines = [edge for edge in edges if edge is not None]
    return _meeting(lines) if len(lines) == 4 else None


def _line(points: Floats) -> Floats:
    """The homogeneous line (3,) through points (N, 2), outliers counting little."""
    fitted = cv2.fitLine(points.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01)
    vx, vy, x, y = (float(value) for value in np.ravel(fitted))
    return np.array([-vy, vx, vy * x - vx * y])


def _meeting(lines: Sequence[Floats]) -> Floats | None:
    """The corners (4, 2) in which four homogeneous lines meet, the last and the first of them in the first corner."""
    corners = [np.cross(lines[i - 1], lines[i]) for i in range(4)]
    if any(abs(corner[2]) < 1e-12 for corner in corners):
        return None
    return np.array([corner[:2] / corner[2] for corner in corners])


def _edge(grey: NDArray[Any], start: Floats, end: Floats) -> Floats | None:
    """A homogeneous line through the steepest points of profiles across the edge, outliers dropped."""
    along = end - start
    length = float(np.hypot(*along))
    if length < 4 * PROFILE_HALF_PX:
        return None
    normal = np.array([-along[1], along[0]]) / length
    shares = np.linspace(*EDGE_SHARE, PROFILES_AN_EDGE)
    offsets = np.arange(-PROFILE_HALF_PX, PROFILE_HALF_PX + 0.25, 0.5)
    places = start + shares[:, None, None] * along + offsets[None, :, None] * normal
    profile = cv2.remap(
        grey.astype(np.float32), places.astype(np.float32)[..., 0], places.astype(np.float32)[..., 1], cv2.INTER_LINEAR
    )
    slope = np.abs(np.gradient(cv2.GaussianBlur(profile, (5, 1), 1.0), axis=1))
    peak = np.clip(slope.argmax(axis=1), 1, slope.shape[1] - 2)
    rows = np.arange(len(peak))
    before, at, after = slope[rows, peak - 1], slope[rows, peak], slope[rows, peak + 1]
    bend = before - 2 * at + after
    shift = np.where(np.abs(bend) > 1e-6, 0.5 * (before - after) / np.where(bend == 0, 1, bend), 0.0)
    across = offsets[peak] + 0.5 * np.clip(shift, -1, 1)
    middle = np.median(across)
    kept = np.abs(across - np.polyval(np.polyfit(shares, across, 1), shares)) < 2.0
    kept &= np.abs(across - middle) < PROFILE_HALF_PX
    if kept.sum() < PROFILES_AN_EDGE / 2:
        return None
    return _line((start + shares[:, None] * along + across[:, None] * normal)[kept])


def _aspect(corners: Floats, focal_px: float) -> float:
    """Long side over short side of the rectangle seen as four corners (origin at the principal point).

    From the homography's columns h1, h2 of the unit square: |K^-1 h1| / |K^-1 h2| (Z. Zhang, 2000).
    """
    unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=np.float32)
    homography = cv2.getPerspectiveTransform(unit, corners.astype(np.float32))
    columns = homography / np.array([[focal_px], [focal_px], [1.0]])
    return float(np.linalg.norm(columns[:, 0]) / np.linalg.norm(columns[:, 1]))


def _round_corners(grey: NDArray[Any], corners: Floats) -> bool:
    """Whether all four corners are cut by as much as a card's radius does; a plain rectangle's are not.

    The card's outline is the steepest place on the way from the ideal corner towards the middle.
    """
    px_per_mm = math.dist(corners[0], corners[1]) / CARD_MM[0]
    steps_mm = np.arange(-1.5, 4.5, 0.1)
    for index, corner in enumerate(corners):
        sides = (corners[index - 1] - corner, corners[(index + 1) % 4] - corner)
        inward = sum((side / np.hypot(*side) for side in sides), start=np.zeros(2))
        inward *= px_per_mm / max(float(np.hypot(*inward)), 1e-9)
        places = (corner + steps_mm[:, None] * inward).astype(np.float32)
        profile = cv2.remap(grey.astype(np.float32), places[None, :, 0], places[None, :, 1], cv2.INTER_LINEAR)[0]
        slope = np.abs(np.gradient(cv2.GaussianBlur(profile[None], (5, 1), 1.0)[0]))
        gap = float(steps_mm[int(slope.argmax())])
        if not CORNER_GAP_MM[0] < gap < CORNER_GAP_MM[1]:
            return False
    return True
