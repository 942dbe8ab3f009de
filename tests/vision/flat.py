"""Flat pictures of cloth for the rooms that see it square-on: rendered from the makers' prints, seeded, truth known."""

from __future__ import annotations

import math

import numpy as np

from tests.makers.cloth import AnyPrint
from tests.makers.colour import encoded
from vision.square import SquareOn


def flat(
    print_: AnyPrint,
    *,
    width_mm: float = 240.0,
    height_mm: float = 180.0,
    px_per_mm: float = 4.0,
    turn_deg: float = 0.0,
    phase_mm: tuple[float, float] = (0.0, 0.0),
    noise: float = 2.0,
    shade: float = 0.1,
    stretch: float = 0.0,
    seed: int = 0,
    length_relative_u95: float = 0.0,
) -> SquareOn:
    """The print over the whole picture, turned counter-clockwise; light falling by ``shade`` to the right; lengths
    growing by ``stretch`` from the left border to the right (the error a rectified picture is left with)."""
    rng = np.random.default_rng([seed, 51])
    ys, xs = np.mgrid[0 : round(height_mm * px_per_mm), 0 : round(width_mm * px_per_mm)]
    x, y = xs / px_per_mm - width_mm / 2, ys / px_per_mm - height_mm / 2
    x = x + stretch * x * x / (2 * width_mm)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    u, v = x * c - y * s, x * s + y * c
    light = print_.light(u + phase_mm[0], v + phase_mm[1], 1 / px_per_mm + 0.15)
    light = light * (1 - shade * (x / width_mm + 0.5))[..., None] * 0.9
    grey = encoded(light.astype(np.float32)) + rng.normal(0, noise, light.shape)
    return SquareOn(
        rgb=np.clip(np.rint(grey), 0, 255).astype(np.uint8),
        valid=np.ones(xs.shape, bool),
        px_per_mm=px_per_mm,
        origin_mm=(0.0, 0.0),
        length_relative_u95=length_relative_u95,
        angle_u95_deg=0.05,
    )


def as_it_is(rgb: np.ndarray, *, px_per_mm: float = 1.0) -> SquareOn:
    """A picture (H, W, 3) taken as lying square-on, its scale known exactly."""
    return SquareOn(
        rgb=np.ascontiguousarray(rgb, dtype=np.uint8),
        valid=np.ones(rgb.shape[:2], bool),
        px_per_mm=px_per_mm,
        origin_mm=(0.0, 0.0),
        length_relative_u95=0.0,
        angle_u95_deg=0.0,
    )
