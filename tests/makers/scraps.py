"""Several scraps in one photograph, laid side by side as people lay them: each settled by its scene's seed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tests.makers.camera import Camera
from tests.makers.cloth import Cloth
from tests.makers.ruler import Ruler
from tests.makers.scene import Scene
from tests.makers.variety import draw

#: Places of up to six scraps, as shares of the picture's sides from its middle: two rows of three.
_PLACES = tuple((x, y) for y in (-0.3, 0.08) for x in (-0.31, 0.0, 0.31))
#: A scrap's largest extent as a share of the room it has, and the room itself as shares of the picture's sides.
_ROOM = (0.29, 0.35)


def draw_scraps(seed: int, *, count: int = 6, megapixels: float = 3.1) -> Scene:
    """``count`` scraps (at most six) of different prints, sizes and turns on one table, a ruler below them."""
    rng = np.random.default_rng([seed, 606])
    base = draw(seed, kinds=("stripe", "check", "motif", "plain"), megapixels=megapixels)
    width, height = max(base.camera.width_px, base.camera.height_px), min(base.camera.width_px, base.camera.height_px)
    scale = float(rng.uniform(3.7, 5.5))
    focal_px = base.camera.focal35_mm * math.hypot(width, height) / math.hypot(36, 24)
    camera = Camera(
        width_px=width,
        height_px=height,
        focal35_mm=base.camera.focal35_mm,
        tilt_deg=base.camera.tilt_deg,
        azimuth_deg=base.camera.azimuth_deg,
        roll_deg=base.camera.roll_deg,
        distance_mm=focal_px / scale,
    )
    field = (width / scale, height / scale)
    cloths = tuple(_scrap(rng, seed * 10 + k, place, field) for k, place in enumerate(_PLACES[:count]))
    ruler = Ruler(
        length_mm=min(310.0, 0.85 * field[0]),
        width_mm=float(rng.uniform(20, 32)),
        y_mm=0.40 * field[1],
        turn_deg=float(rng.normal(0, 1.5)),
        seed=seed,
    )
    return replace(base, camera=camera, cloths=cloths, rulers=(ruler,))


def _scrap(rng: np.random.Generator, seed: int, place: tuple[float, float], field: tuple[float, float]) -> Cloth:
    """One scrap in its room: a torn or cut quadrangle, turned by anything."""
    print_ = draw(seed, kinds=("stripe", "check", "motif", "plain")).cloths[0].print
    room = min(_ROOM[0] * field[0], _ROOM[1] * field[1])
    turn = float(rng.uniform(-180, 180))
    long = room * float(rng.uniform(0.62, 0.8))
    short = min(long * float(rng.uniform(0.45, 0.9)), math.sqrt(max(room**2 - long**2, 1.0)))
    return Cloth(
        print=print_,
        width_mm=long,
        length_mm=short,
        x_mm=place[0] * field[0],
        y_mm=place[1] * field[1],
        turn_deg=turn,
        skew_deg=float(rng.uniform(-3, 3)),
        phase_mm=(float(rng.uniform(0, 100)), float(rng.uniform(0, 100))),
        edges=("torn", "cut", "cut", "cut") if rng.random() < 0.5 else ("cut", "cut", "torn", "selvage"),
        fray_mm=float(rng.uniform(0.4, 1.2)),
        thread_mm=float(rng.uniform(0.3, 0.9)),
        weave_depth=float(rng.uniform(0.02, 0.12)),
        slub_depth=float(rng.uniform(0.01, 0.05)),
        slant_mm=float(rng.normal(0, 4)),
        seed=seed,
    )
