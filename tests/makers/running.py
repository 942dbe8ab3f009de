"""Lengths too long for the photograph: cloth that runs out of it on three sides, a ruler along the edge that shows."""

from __future__ import annotations

import random

from tests.makers.camera import Camera
from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.ruler import Ruler
from tests.makers.scene import Scene
from tests.makers.table import Table

TABLES = (
    Table(colour="#7a5a3e", kind="wood", depth=0.06),
    Table(colour="#4a4d52", kind="speckled", depth=0.05),
    Table(colour="#c9c4ba", kind="speckled", depth=0.03),
    Table(colour="#e6e2da", depth=0.02),
)
COLOURS = ("#b0402a", "#eee6d2", "#1f4b5a", "#203a60", "#e0b040", "#3a7040", "#101010", "#d8d4c8")
FRAME_PX = (2000, 1500)
RULER_MM = 28.0  # a ruler's width at most, mm


def running_length(seed: int) -> Scene:
    """A striped length seen from 110 to 450 mm, its stripes upright or lying, the ruler beside its lower edge or
    half on it; the same for the same seed."""
    dice = random.Random(f"running length {seed}")
    away = dice.choice((110, 160, 230, 320, 450))
    camera = Camera(
        width_px=FRAME_PX[0], height_px=FRAME_PX[1], distance_mm=away, tilt_deg=dice.uniform(0, 7),
        azimuth_deg=dice.uniform(0, 360), roll_deg=dice.uniform(-2, 2),
    )  # fmt: skip
    wide, high = (size * away / camera.focal_px for size in FRAME_PX)
    turn, low = dice.uniform(-4, 4), dice.uniform(0.15, 0.3) * high
    lying = dice.random() < 0.5
    size = (2 * high, 3 * wide) if lying else (3 * wide, 2 * high)
    cloth = Cloth(
        print=StripePrint(across=_stripes(dice)), width_mm=size[0], length_mm=size[1], y_mm=low - high,
        turn_deg=turn + 90 * lying, skew_deg=dice.uniform(-3, 3), phase_mm=(dice.uniform(0, 30), 0.0),
        edges=("torn",) * 4, seed=seed,
    )  # fmt: skip
    narrow = min(RULER_MM, 0.16 * high)
    ruler = Ruler(
        unit=dice.choice(("mm", "mm", "inch16", "both")), length_mm=dice.choice((0.6, 0.9, 1.4)) * wide,
        width_mm=narrow, y_mm=low + dice.choice((0.0, narrow / 2 + 1)), turn_deg=turn + dice.uniform(-2, 2),
        tick_mm=(2.5, 3.5, 5.0), digit_mm=2.6, x_mm=dice.uniform(-0.1, 0.1) * wide,
    )  # fmt: skip
    return Scene(
        camera=camera, table=dice.choice(TABLES), cloths=(cloth,), rulers=(ruler,), quality=88, noise=2.0, seed=seed
    )


def _stripes(dice: random.Random) -> Stripes:
    """Two to five stripes, no two neighbours of one colour."""
    count = dice.choice((2, 3, 4, 4, 5))
    colours: list[str] = []
    while len(colours) < count:
        beside = {colours[-1], colours[0] if len(colours) == count - 1 else colours[-1]} if colours else set()
        colours.append(dice.choice([colour for colour in COLOURS if colour not in beside]))
    return Stripes(widths_mm=tuple(dice.uniform(3, 14) for _ in colours), colours=tuple(colours))
