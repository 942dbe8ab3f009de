"""The ticks of a scale in their photo: how far their ink goes to both sides of where they were found."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb
from vision.reference.course import Course

Floats = NDArray[np.float64]


class Ticks(NamedTuple):
    """The ticks of one scale in their photo."""

    rgb: NDArray[np.uint8]
    comb: Comb
    course: Course
    longest: NDArray[np.bool_]


def ink_of(ticks: Ticks, vs: Floats, apart: float) -> Floats:
    """How much each tick (M,) differs from what lies ``apart``, as a share of the spacing, on both sides of it, at each
    place (V,) along it: (V, M).

    Places count across the course, from where it runs.
    """
    rgb, comb, normal = ticks.rgb, ticks.comb, ticks.course.normal
    along = (comb.places_px - ticks.course.origin) @ ticks.course.axis
    stand = ((ticks.course.at(along, np.zeros(along.shape)) - comb.places_px) @ normal)[None, :, None]
    down = comb.ends_px[:, 1] - comb.ends_px[:, 0]
    down = down / np.where(down @ normal < 0, -1, 1)[:, None] / np.maximum(np.hypot(*down.T), 1e-9)[:, None]
    step = np.gradient(comb.places_px, axis=0) / np.gradient(comb.index.astype(np.float64))[:, None]
    points = comb.places_px[None] + (vs[:, None, None] + stand) * down[None]
    tick, left, right = (colours(rgb, points + share * step)[0].sum(axis=2) for share in (0.0, -apart, apart))
    ink = (left + right) / 2 - tick
    middle = np.median(ink[np.abs(vs) <= np.abs(vs).min() + 1e-9])
    return np.asarray(ink * (1 if middle >= 0 else -1), dtype=np.float64)


def reach_of(ink: Floats, vs: Floats) -> tuple[float, float] | None:
    """From where to where, about 0, there is at least half of the ink of the middle; None where there is no end."""
    start = len(vs) // 2
    there = ink >= 0.5 * np.median(ink[start - 2 : start + 3])
    if not there[start] or there[:start].all() or there[start:].all():
        return None
    low = start - int(np.argmin(there[start::-1])) + 1
    high = start + int(np.argmin(there[start:])) - 1
    return float(vs[low]), float(vs[high])


def colours(rgb: NDArray[np.uint8], points: Floats) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """The colours (..., 3) of a photo at places (..., 2), px, linear between pixels; and which lie inside of it."""
    at = points.astype(np.float32)
    picture = rgb if rgb.ndim == 3 else np.repeat(rgb[..., None], 3, axis=2)
    seen = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = rgb.shape[:2]
    inside = (at[..., 0] >= 0) & (at[..., 0] <= width - 1) & (at[..., 1] >= 0) & (at[..., 1] <= height - 1)
    return seen.astype(np.float32), inside
