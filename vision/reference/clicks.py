"""Clicked points: pairs of places in the photo with the true length between them, as a last resort for a scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.errors import CallWrong
from vision.reference.reading import Reading

#: How well a person places a point on a mark, one standard deviation, per 1000 px of picture width (our own trials).
CLICK_SIGMA_PX_PER_1000 = 0.6
#: How well a person reads the length between two marks: half a millimetre at 95 % (common practice).
LENGTH_U95_MM = 0.5
#: Points closer together than this fraction of the picture's width set no scale worth having.
SHORTEST_FRACTION = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Click:
    """Two places in the upright photo (px) and the true length between them."""

    start_px: tuple[float, float]
    end_px: tuple[float, float]
    length_mm: float


def click_sigma_px(size_px: tuple[int, int]) -> float:
    """How well a person places a point in a picture of that size (one standard deviation, px)."""
    return CLICK_SIGMA_PX_PER_1000 * max(size_px) / 1000


def read_clicks(clicks: Sequence[Click], size_px: tuple[int, int]) -> tuple[Reading, ...]:
    """One reading a pair. Raises CallWrong where a point lies outside the photo or two lie almost together."""
    return tuple(_read_click(click, size_px) for click in clicks)


def _read_click(click: Click, size_px: tuple[int, int]) -> Reading:
    width, height = size_px
    for x, y in (click.start_px, click.end_px):
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            raise CallWrong(
                f"the point {x:g},{y:g} lies outside the photo, which has {width} x {height} pixels",
                "give places in the upright photo, in its own pixels, x to the right and y down",
            )
    if click.length_mm <= 0:
        raise CallWrong(f"a length of {click.length_mm:g} mm between two points", "give the true length, above zero")
    if math.dist(click.start_px, click.end_px) < SHORTEST_FRACTION * width:
        raise CallWrong("the two points lie almost together", "choose two places far apart, the farther the better")
    sigma = click_sigma_px(size_px)
    return Reading(
        source="points",
        unit=None,
        marks_px=np.array([click.start_px, click.end_px], dtype=np.float64),
        marks_mm=np.array([(0.0, 0.0), (click.length_mm, 0.0)]),
        marks_sigma_px=np.full(2, sigma),
        ticks_px=np.empty((0, 2, 2)),
        ticks_sigma_px=np.empty(0),
        tolerance_relative_u95=LENGTH_U95_MM / click.length_mm,
        names=("0", f"{click.length_mm:g} mm"),
        outline_px=np.empty((0, 2)),
    )
