"""A cloth's edge: its contour to a part of a pixel, and its straight sides with their directions."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np

from vision.estimate import Estimate
from vision.lookup import values_at
from vision.measurement import Point
from vision.swatch import Doubles, Floats, Mask, folded_deg

Side = Literal["top", "right", "bottom", "left"]

#: How far to each side of the rough contour its true place is looked for, px of the picture.
_REACH_PX = 5
#: The colour just inside the rim is the highest of so many samples (half pixels) on; it rises from the table's by at
#: least so much tone; and by this share of what the cloth further in does, where it is the table's own colour, darker,
#: but for this share of the difference: that may be the cloth's shadow.
_PLATEAU_SAMPLES = 6
_LEAST_RISE, _LEAST_RISE_SHARE, _SHADOW_SHARE = 8.0, 0.35, 0.35
#: The table beside the edge is seen so many samples (half pixels) before it, where the lens mixes no cloth into it.
_BESIDE_SAMPLES = 4
#: Where the cloth is nearly of the table's colour, lines are averaged over so many on either side, and it rises by at
#: least so much tone (ten times what noise is left, own scenes), and by this share of what the cloth further in does;
#: lightness counts for so little there, because the cloth's shadow changes it by more than the cloth does.
_FAINT_ROWS, _FAINT_RISE, _FAINT_RISE_SHARE, _FAINT_LIGHT = 4, 2.0, 0.6, 0.2
#: A side is straight enough to have one direction while it bends less than this share of the cloth's size.
_STRAIGHT_SHARE = 0.02
#: A straight side is at least so long, mm, and this share of the cloth's size (shorter ones say little of a grain).
_LEAST_SIDE_MM = 25.0
_LEAST_SIDE_SHARE = 0.12
#: Of a side that something hides at least this share is seen: less may be a corner's (own scenes; how well its way
#: is known is told by the length that is seen).
_LEAST_SEEN_SHARE = 0.25
#: Corners are left out of the fit over this share of the side, and at least this many mm.
_CORNER_SHARE, _CORNER_MM = 0.04, 4.0
#: Threads fray in tufts about so long, mm: what counts as one independent place along an edge (practice).
_TUFT_MM = 5.0
#: A side goes on as far as the outline keeps so near to its line, mm (as far as cloth frays; practice); at corners,
#: where threads come loose both ways, so much is left out, mm.
_ON_LINE_MM, _SHORT_OF_CORNER_MM = 3.5, 3.0
#: No edge of cloth is straight to better than this, degrees (95 %).
_LEAST_U95_DEG = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothEdge:
    """A straight side: which side of the upright photo it faces, its ends in mm in the plane, and its direction in
    (-90, 90], counter-clockwise as seen. The u95 is the fit's; it leaves out the plane's own error of angles."""

    side: Side
    start_mm: Point
    end_mm: Point
    direction_deg: Estimate
    length_mm: float
    scatter_mm: float


def sharpened(tone: Floats, contour: Doubles, *, hole: bool = False) -> Doubles:
    """A closed contour (N, 2), px, settled on the edge that a picture's tone (H, W, 3) shows; see ``settled``."""

    def seen(x: Doubles, y: Doubles) -> Floats:
        return np.asarray(values_at(tone, np.stack([x, y], axis=-1)), dtype=np.float32)

    return settled(seen, contour, hole=hole)[0]


def settled(
    seen: Callable[[Doubles, Doubles], Floats], contour: Doubles, *, hole: bool = False
) -> tuple[Doubles, Mask]:
    """Move each point (x, y) of a closed contour along its normal to where the table's colour is half left; and where
    (N,) that is clear, so that no shading of the table can have been taken for it.

    ``seen`` tells the tone (N, K, 3) at places x and y (N, K), those of one line in a row. The table lies outside the
    contour, and inside that of a ``hole``.

    Coming from the table, the first rise counts, so that a sliver of another stripe along the rim stays cloth; a rise
    far smaller than the cloth's own is its shadow.
    """
    ahead, behind = np.roll(contour, -3, axis=0), np.roll(contour, 3, axis=0)
    tangent = (ahead - behind) * (1 if (signed_area(contour) > 0) != hole else -1)
    outward = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1) / np.maximum(np.hypot(*tangent.T), 1e-6)[:, None]
    offsets = np.arange(_REACH_PX + 1, -_REACH_PX - 1.01, -0.5)  # from the table inwards
    x, y = (contour[:, k, None] + outward[:, k, None] * offsets for k in (0, 1))
    along = seen(x, y)
    clear = _planes(along)
    share = np.where(_shadowed(clear), np.float32(_LEAST_RISE_SHARE), np.float32(0.0))
    shift, found = _rise(clear, _light(clear), offsets, _LEAST_RISE, share)
    if not found.all():
        rows = cv2.copyMakeBorder(along, _FAINT_ROWS, _FAINT_ROWS, 0, 0, cv2.BORDER_WRAP)
        mean = np.asarray(cv2.blur(rows, (1, 2 * _FAINT_ROWS + 1)), dtype=np.float32)[_FAINT_ROWS:-_FAINT_ROWS]
        tint = _planes(mean[~found]) * np.array([_FAINT_LIGHT, 1.0, 1.0], dtype=np.float32)[:, None, None]
        faint, there = _rise(tint, tint, offsets, _FAINT_RISE, np.full(tint.shape[1:], _FAINT_RISE_SHARE, np.float32))
        shift[~found] = np.where(there, faint, 0.0)
    near = np.median(np.stack([np.roll(shift, k) for k in range(-3, 4)]), axis=0)
    return np.asarray(contour + outward * np.clip(shift, near - 0.7, near + 0.7)[:, None]), found


def _rise(
    along: Floats, light: Floats, offsets: Doubles, least_rise: float, least_share: Floats
) -> tuple[Doubles, Mask]:
    """Where N lines come from the table's colour to the cloth's, at ``offsets`` px (K,): 0 where they do not.

    ``along`` (3, N, K) is what they see, as far apart as it looks; ``light`` (3, N, K) the same as it mixes at an edge.
    ``least_share`` (N, K) is how much of the rise further in a rise has there at least. Where the cloth itself rises by
    less than ``least_rise``, a shadow would be taken for it.
    """
    away = _length(along - along[..., :4].mean(axis=2, keepdims=True))
    plateau = away.copy()
    for k in range(1, _PLATEAU_SAMPLES):
        np.maximum(plateau[:, :-k], away[:, k:], out=plateau[:, :-k])
    plateau[:, -_PLATEAU_SAMPLES:] = away[:, -_PLATEAU_SAMPLES:]
    further = np.sort(away[:, -6:], axis=1)[:, 2:4].mean(axis=1)[:, None]
    past = (away >= plateau / 2) & (plateau >= np.maximum(least_rise, least_share * further)) & (further >= least_rise)
    first = past.argmax(axis=1)
    rows, columns = np.arange(len(away)), np.arange(away.shape[1])[None, :]
    inside = np.minimum(first[:, None] + np.arange(_PLATEAU_SAMPLES), away.shape[1] - 1)
    top = inside[rows, np.take_along_axis(away, inside, axis=1).argmax(axis=1)]
    ground = light[..., :4].mean(axis=2)
    before = columns < first[:, None] - _PLATEAU_SAMPLES
    for _ in range(2):  # again from the table just beside the edge, where the cloth's shadow lies on it
        span = light[:, rows, top] - ground
        span /= np.maximum((span * span).sum(axis=0), 1e-12)
        share = sum(span[k, :, None] * (light[k] - ground[k, :, None]) for k in range(3))
        share = np.where(before, np.float32(0.0), share)
        index = np.maximum((share >= 0.5).argmax(axis=1), 1)
        beside = np.maximum(index[:, None] - np.arange(_BESIDE_SAMPLES, _BESIDE_SAMPLES + 3), 0)
        ground = light[:, rows[:, None], beside].mean(axis=2)
    low, high = share[rows, index - 1], share[rows, index]
    place = offsets[index - 1] - 0.5 * np.clip((0.5 - low) / np.where(high > low, high - low, 1.0), 0, 1)
    found = past.any(axis=1) & (first > 0)
    return np.where(found, place, 0.0), np.asarray(found)


def _planes(values: Floats) -> Floats:
    """Three coordinates (N, K, 3), one after the other: (3, N, K), which is added up faster (time)."""
    return np.ascontiguousarray(np.moveaxis(values, -1, 0))


def _length(values: Floats) -> Floats:
    """The length (N, K) of vectors (3, N, K)."""
    return np.asarray(np.sqrt(values[0] * values[0] + values[1] * values[1] + values[2] * values[2]))


def _shadowed(along: Floats) -> Mask:
    """Where (N, K) lines (3, N, K) see the table's own colour, darker: all three coordinates of tone by one factor."""
    table = along[..., :4].mean(axis=2, keepdims=True)
    size = np.maximum(table[0] * table[0] + table[1] * table[1] + table[2] * table[2], 1e-9)
    factor = (along[0] * table[0] + along[1] * table[1] + along[2] * table[2]) / size
    rest, away = _length(along - factor * table), _length(along - table)
    return np.asarray((factor < 1) & (rest < _SHADOW_SHARE * away))


def _light(tone: Floats) -> Floats:
    """Linear light (3, ...), CIE XYZ over the white's, of tone: a lens mixes light, and half of it is half the edge."""
    f = tone[0] / 116
    roots = np.stack([f + tone[1] / 500, f, f - tone[2] / 200])
    return np.asarray(roots * roots * roots)


def straight_edges(contour_mm: Doubles, seen: Mask) -> tuple[ClothEdge, ...]:
    """The straight sides of a closed contour (N, 2) in mm, longest first. ``seen`` (N,): points that show cloth's own
    edge, and not the picture's border or a ruler lying across it."""
    size = float(np.hypot(*np.ptp(contour_mm, axis=0)))
    area = signed_area(contour_mm)
    scaled = np.rint(contour_mm * 64).astype(np.int32)
    corners = cv2.approxPolyDP(scaled.reshape(-1, 1, 2), _STRAIGHT_SHARE * size * 64, True).reshape(-1, 2)
    if len(corners) < 3:
        return ()
    marks = sorted({int(np.abs(scaled - corner).sum(1).argmin()) for corner in corners})
    edges = []
    for start, end in zip(marks, [*marks[1:], marks[0] + len(contour_mm)], strict=True):
        index = np.arange(start, end + 1) % len(contour_mm)
        edge = _edge(contour_mm[index], seen[index], clockwise=area > 0)
        if edge is not None and edge.length_mm >= max(_LEAST_SIDE_MM, _LEAST_SIDE_SHARE * size):
            edges.append(edge)
    return tuple(sorted(edges, key=lambda e: -e.length_mm))


def _edge(points: Doubles, seen: Mask, *, clockwise: bool) -> ClothEdge | None:
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    if length < _LEAST_SIDE_MM:
        return None
    place = (points - points[0]) @ chord / length
    margin = max(_CORNER_SHARE * length, _CORNER_MM)
    used = points[seen & (place > margin) & (place < length - margin)]
    if len(used) < 12:
        return None
    middle, unit, rest = line_through(used)
    unit = unit if unit @ chord > 0 else -unit
    along = (used - middle) @ unit
    shown = float(np.ptp(along))
    if shown < max(_LEAST_SIDE_MM, _LEAST_SEEN_SHARE * length):
        return None
    scatter = float(np.sqrt(np.mean(np.minimum(np.abs(rest), 3 * np.median(np.abs(rest)) + 0.05) ** 2)))
    pieces = max(shown / _TUFT_MM, 3.0)
    u95 = math.degrees(2 * scatter * math.sqrt(12 / pieces) / shown)
    outward = np.array([unit[1], -unit[0]]) if clockwise else np.array([-unit[1], unit[0]])
    side: Side = (
        ("right" if outward[0] > 0 else "left")
        if abs(outward[0]) > abs(outward[1])
        else ("bottom" if outward[1] > 0 else "top")
    )
    ends = [middle + unit * float(along.min()), middle + unit * float(along.max())]
    return ClothEdge(
        side=side,
        start_mm=(float(ends[0][0]), float(ends[0][1])),
        end_mm=(float(ends[1][0]), float(ends[1][1])),
        direction_deg=Estimate(
            folded_deg(math.degrees(math.atan2(-unit[1], unit[0]))), math.hypot(u95, _LEAST_U95_DEG)
        ),
        length_mm=shown,
        scatter_mm=scatter,
    )


def reaching(edge: ClothEdge, outline_mm: Doubles) -> ClothEdge:
    """A straight side drawn out to where a closed outline (N, 2) leaves its line for good: fits of straight sides stop
    short of corners, and of tufts and of what lies across them, beyond which a side may go on."""
    start, end = np.asarray(edge.start_mm), np.asarray(edge.end_mm)
    unit = (end - start) / float(np.hypot(*(end - start)))
    ring = _finely(outline_mm) - start
    place, off = ring @ unit, ring @ np.array([-unit[1], unit[0]])
    near = place[np.abs(off) <= _ON_LINE_MM]
    if not len(near):
        return edge
    first = min(0.0, float(near.min()) + _SHORT_OF_CORNER_MM)
    last = max(float((end - start) @ unit), float(near.max()) - _SHORT_OF_CORNER_MM)
    ends = start + first * unit, start + last * unit
    return replace(
        edge,
        start_mm=(float(ends[0][0]), float(ends[0][1])),
        end_mm=(float(ends[1][0]), float(ends[1][1])),
        length_mm=last - first,
    )


def _finely(ring: Doubles) -> Doubles:
    """Places at least every millimetre along a closed line (N, 2)."""
    ends = np.roll(ring, -1, axis=0)
    counts = np.ceil(np.hypot(*(ends - ring).T)).astype(int) + 1
    sides = zip(ring, ends, counts, strict=True)
    return np.concatenate([a + (b - a) * np.linspace(0, 1, count)[:, None] for a, b, count in sides])


def line_through(points: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """A robust straight line through points: a point on it, its unit vector, the points' distances from it."""
    weight = np.ones(len(points))
    middle, unit, rest = points.mean(axis=0), np.array([1.0, 0.0]), np.zeros(len(points))
    for _ in range(12):
        middle = np.average(points, axis=0, weights=weight)
        centred = points - middle
        _, vectors = np.linalg.eigh((centred * weight[:, None]).T @ centred)
        unit = vectors[:, 1]
        rest = centred @ np.array([-unit[1], unit[0]])
        sigma = 1.4826 * float(np.median(np.abs(rest))) + 0.02
        weight = 1 / (1 + (rest / (2.0 * sigma)) ** 2) ** 2
    return middle, unit, rest


def signed_area(points: Doubles) -> float:
    """Positive where the points go clockwise as seen (y down)."""
    x, y = points[:, 0], points[:, 1]
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
