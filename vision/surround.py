"""What lies round a cloth as found: more of its print, or the table.

A print of stripes one or both ways is one sequence along each of its axes, added up: what it looks like at any place is
known from where the same two stripes are seen elsewhere. Round the cloth the picture is compared with that and with the
table beside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import linear
from vision.measurement import Print
from vision.plane import Plane
from vision.square import SquareOn
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask, axes

#: How finely the surroundings are looked at, px per mm and px in all, and how far round the cloth, mm.
_PX_PER_MM, _MOST_PIXELS, _ROUND_MM = 2.5, 4.0e5, 10.0
#: Noise is smoothed over so much, mm; what is compared, over so much more.
_SOFT_MM, _COMPARED_MM = 0.5, 1.0
#: The print is learnt so far inside the outline, mm, in steps so wide, mm, over so much of each at least, mm.
_INSIDE_MM, _STEP_MM, _LEAST_SEEN_MM = 1.5, 0.6, 3.0
_ROUNDS = 6
#: As far in as the print is learnt, and a little more, mm, a stripe seen to the end is taken to go on.
_CARRIED_MM = 2.0
#: Of a check of which only one direction is known the other is square to it within this, deg (practice: skew).
_TURNS_DEG = (-3.0, -1.5, 0.0, 1.5, 3.0)
#: Stripes both ways must explain this share of all change, or the print is not made of them.
_LEAST_EXPLAINED = 0.9
#: The table is learnt so far from the cloth, mm, and its light changes over such a distance, mm.
_TABLE_MM, _TABLE_WIDE_MM = 2.5, 8.0
#: A place is like the print within this, tone (twice what weave and light leave inside cloth, own scenes); and more
#: like one than the other where its distance is less than this share.
_LIKE, _CLEARLY = 2.5, 0.7
#: Print and table are told apart by at least so much, tone.
_APART = 3.0
_LIGHT = linear(np.arange(256) / 255).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """A cloth and its surroundings: the picture's light (H, W, 3), the cloth as found, and where nothing else lies."""

    square: SquareOn
    light: Floats
    cloth: Mask
    free: Mask


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surround:
    """Outside the cloth as found (H, W): where its print is known, where the picture clearly shows it, and where it
    clearly shows the table instead."""

    known: Mask
    like: Mask
    table: Mask


def ground_of(
    plane: Plane,
    outline_mm: Doubles,
    holes_mm: Sequence[Doubles],
    rgb: NDArray[np.uint8],
    other_mm: Sequence[Doubles],
) -> Ground:
    """The cloth of an outline (N, 2) in the photo ``rgb`` (H, W, 3); ``other_mm``: polygons of what else lies there."""
    low, high = outline_mm.min(axis=0) - _ROUND_MM, outline_mm.max(axis=0) + _ROUND_MM
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    per_mm = min(_PX_PER_MM, math.sqrt(_MOST_PIXELS / float(np.prod(high - low))))
    square = plane.square_on(rgb, px_per_mm=per_mm, region_mm=box)
    cloth, other = np.zeros(square.valid.shape, np.uint8), np.zeros(square.valid.shape, np.uint8)
    cv2.fillPoly(cloth, [pixels(outline_mm, square)], 1)
    for polygon in (*holes_mm, *other_mm):
        cv2.fillPoly(other, [pixels(polygon, square)], 1)
    light = cv2.GaussianBlur(_LIGHT[square.rgb], (0, 0), _SOFT_MM * per_mm)
    free = np.asarray((other == 0) & square.valid)
    return Ground(square=square, light=np.asarray(light), cloth=cloth > 0, free=free)


def surround_of(ground: Ground, print_: Print) -> Surround | None:
    """What lies round a cloth; None where its print is not made of stripes one or both ways."""
    look = _look(ground, print_)
    if look is None:
        return None
    print_light, known = look
    per_mm = ground.square.px_per_mm
    seen, print_tone = _tone(ground.light), _tone(print_light)
    outside = np.asarray(known & ground.free & ~ground.cloth)

    def distance(one: Floats, other: Floats) -> Floats:
        """How unlike (H, W) two pictures are round every place outside, tone."""
        square = ((one - other) ** 2).sum(axis=2, keepdims=True)
        return np.asarray(np.sqrt(np.maximum(_mean_round(square, outside, _COMPARED_MM * per_mm)[..., 0], 0.0)))

    away = distance(seen, print_tone)
    like = table = np.zeros_like(known)
    for _ in range(2):  # again without what turns out to be cloth
        bare = ground.free & ~grown(ground.cloth | like, _TABLE_MM * per_mm)
        table_tone = _tone(_mean_round(ground.light, bare, _TABLE_WIDE_MM * per_mm))
        off = distance(seen, table_tone)
        like = np.asarray(outside & (away < _CLEARLY * off) & (away < _LIKE))
        table = np.asarray(outside & (off < _CLEARLY * away) & (distance(print_tone, table_tone) > _APART))
    return Surround(known=outside, like=like, table=table)


def _look(ground: Ground, print_: Print) -> tuple[Floats, Mask] | None:
    """The light (H, W, 3) the print would have at every place, and where that is known; None where it is not made of
    stripes one or both ways."""
    inside = eroded(ground.cloth, _INSIDE_MM * ground.square.px_per_mm) & ground.free
    if print_.kind not in ("check", "stripe") or print_.across_direction_deg is None or not inside.any():
        return None
    across = print_.across_direction_deg.value
    if print_.kind == "stripe":
        tried = [_added_up(ground, inside, across, None)]
    elif print_.along_direction_deg is not None:
        tried = [_added_up(ground, inside, across, print_.along_direction_deg.value)]
    else:
        tried = [_added_up(ground, inside, across, across + 90.0 + turn) for turn in _TURNS_DEG]
    light, known, explained = max(tried, key=lambda one: one[2])
    return (light, known) if explained >= _LEAST_EXPLAINED else None


def _added_up(ground: Ground, inside: Mask, across: float, along: float | None) -> tuple[Floats, Mask, float]:
    """Two sequences that add up to the light inside the cloth, put together everywhere; where both are known; and the
    share of all change that they explain. Without ``along`` only one."""
    step = _STEP_MM * ground.square.px_per_mm
    least = _LEAST_SEEN_MM * ground.square.px_per_mm * step
    first = _steps(inside.shape, across, step)
    second = np.zeros_like(first) if along is None else _steps(inside.shape, along, step)
    a, b, light = first[inside], second[inside], ground.light[inside].astype(np.float64)
    one, two = np.zeros((int(first.max()) + 1, 3)), np.zeros((int(second.max()) + 1, 3))
    seen_one, seen_two = np.bincount(a, minlength=len(one)), np.bincount(b, minlength=len(two))
    for _ in range(_ROUNDS if along is not None else 1):
        one = _means(a, light - two[b], seen_one)
        two = two if along is None else _means(b, light - one[a], seen_two)
    rest = light - one[a] - two[b]
    explained = 1 - float(rest.var(axis=0).sum()) / max(float(light.var(axis=0).sum()), 1e-12)
    one, known_one = _carried_on(one, seen_one >= least)
    two, known_two = _carried_on(two, seen_two >= least)
    known = known_one[first] & known_two[second]
    return np.asarray(one[first] + two[second], dtype=np.float32), np.asarray(known), explained


def _carried_on(sequence: Doubles, known: Mask) -> tuple[Doubles, Mask]:
    """A sequence (N, 3) that goes on for a little as it ends, and where (N,) it then is known."""
    places, there = np.arange(len(known)), np.flatnonzero(known)
    if not len(there):
        return sequence, known
    right = np.clip(np.searchsorted(there, places), 0, len(there) - 1)
    left = np.maximum(right - 1, 0)
    nearest = np.where(np.abs(there[left] - places) <= np.abs(there[right] - places), there[left], there[right])
    return sequence[nearest], np.asarray(np.abs(nearest - places) <= _CARRIED_MM / _STEP_MM)


def _steps(shape: tuple[int, ...], direction_deg: float, step: float) -> NDArray[np.int64]:
    """Which step (H, W) along a direction every pixel lies in, from 0."""
    n, _ = axes(direction_deg)
    place = np.arange(shape[0])[:, None] * n[1] + np.arange(shape[1])[None, :] * n[0]
    return np.asarray(np.floor((place - place.min()) / step), dtype=np.int64)


def _means(index: NDArray[np.int64], values: Doubles, count: NDArray[np.int64]) -> Doubles:
    sums = [np.bincount(index, values[:, k], len(count)) for k in range(3)]
    return np.asarray(np.stack(sums, axis=1) / np.maximum(count, 1)[:, None])


def _tone(light: Floats) -> Floats:
    clear = np.clip(light, 0, 1).astype(np.float32)
    return np.asarray(cv2.cvtColor(clear, cv2.COLOR_LRGB2LAB) + TONE_SHIFT, dtype=np.float32)


def _mean_round(picture: Floats, where: Mask, sigma_px: float) -> Floats:
    """The mean (H, W, C) of a picture near each place, over ``where`` alone."""
    weight = where.astype(np.float32)
    cover = cv2.GaussianBlur(weight, (0, 0), sigma_px)
    mean = cv2.GaussianBlur(picture * weight[..., None], (0, 0), sigma_px).reshape(picture.shape)
    return np.asarray(mean / np.maximum(cover, 1e-6)[..., None], dtype=np.float32)


def disc(radius_px: float) -> NDArray[np.uint8]:
    """A round structuring element."""
    size = 2 * max(round(radius_px), 1) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), dtype=np.uint8)


def eroded(mask: Mask, radius_px: float) -> Mask:
    """A mask (H, W) without its rim; the picture's border is one."""
    kernel = disc(radius_px)
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0)


def grown(mask: Mask, radius_px: float) -> Mask:
    """A mask (H, W) and what lies so near it."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), disc(radius_px)) > 0)


def pixels(points_mm: Doubles, square: SquareOn) -> NDArray[np.int32]:
    """The nearest pixels (N, 2) of places in the plane."""
    return np.asarray(np.rint((points_mm - np.asarray(square.origin_mm)) * square.px_per_mm), dtype=np.int32)
