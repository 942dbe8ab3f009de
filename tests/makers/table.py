"""What the cloth lies on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from tests.makers.colour import Array, linear


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table top: its colour, how rough it looks, and whether it is wood with a grain along x."""

    colour: str = "#6b5440"
    kind: Literal["smooth", "speckled", "wood"] = "smooth"
    depth: float = 0.06

    def light(self, x_mm: Array, y_mm: Array, seed: int) -> Array:
        """Linear light (H, W, 3) at points of the table."""
        rng = np.random.default_rng([seed, 3])
        if self.kind == "wood":
            rows = rng.normal(0, self.depth, 1024).astype(np.float32)
            bend = 6 * np.sin(x_mm / 130 + rng.uniform(0, 6)) + 0.02 * x_mm
            place = (y_mm + bend) / 1.3
            below = np.floor(place).astype(np.int32)
            share = place - below
            texture = rows[below % 1024] * (1 - share) + rows[(below + 1) % 1024] * share
        else:
            coarse = 3 if self.kind == "speckled" else 24
            shape = (x_mm.shape[0] // coarse + 2, x_mm.shape[1] // coarse + 2)
            noise = rng.normal(0, self.depth, shape).astype(np.float32)
            texture = cv2.resize(noise, (x_mm.shape[1], x_mm.shape[0]), interpolation=cv2.INTER_CUBIC)
        return np.clip(linear(self.colour) * (1 + texture)[..., None], 0, 1).astype(np.float32)
