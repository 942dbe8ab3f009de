"""Cloth that does not lie flat: creases and bows, seen from where the lens is."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from tests.makers.cloth import Cloth
from tests.makers.colour import Array

#: How much lighter or darker a slope of 1 makes the cloth: lamplight from one side (our own judgement, by eye).
_SHADING = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Crease:
    """A straight fold: through (x, y), running along ``turn_deg``, bell-shaped, so high and so wide."""

    x_mm: float
    y_mm: float
    turn_deg: float
    height_mm: float
    spread_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bow:
    """A wave of the whole cloth: ``height_mm`` from its foot to its top, one crest every ``length_mm``."""

    height_mm: float
    length_mm: float
    turn_deg: float
    phase: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """Heights over the table, and what a lens at ``eye_mm`` (x, y, height) sees of them.

    The cloth's own lengths along its slopes are taken as those of the table: a crease of 1 mm takes up 0.1 mm.
    """

    eye_mm: tuple[float, float, float]
    creases: tuple[Crease, ...] = ()
    bows: tuple[Bow, ...] = ()

    def height(self, x_mm: Array, y_mm: Array) -> Array:
        """Height (...) over points of the table."""
        height = np.zeros(np.shape(x_mm), dtype=np.float32)
        for crease in self.creases:
            away, _ = _away(crease.turn_deg, x_mm - crease.x_mm, y_mm - crease.y_mm)
            height += crease.height_mm * np.exp(-((away / crease.spread_mm) ** 2) / 2).astype(np.float32)
        for bow in self.bows:
            away, _ = _away(bow.turn_deg, x_mm, y_mm)
            wave = np.sin(2 * math.pi * away / bow.length_mm + bow.phase)
            height += (bow.height_mm / 2 * (1 + wave)).astype(np.float32)
        return height

    def on_surface(self, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
        """What is seen instead of a point of the table: the point of the surface on the same ray, from above."""
        eye_x, eye_y, eye_height = self.eye_mm
        x, y = x_mm, y_mm
        for _ in range(2):
            share = self.height(x, y) / np.float32(eye_height)
            x, y = x_mm + (eye_x - x_mm) * share, y_mm + (eye_y - y_mm) * share
        return x, y

    def on_table(self, points_mm: Array) -> Array:
        """The points of the table that points (N, 2) of the surface hide from the lens."""
        eye = np.array(self.eye_mm[:2])
        height = self.height(points_mm[:, 0], points_mm[:, 1])[:, None]
        return eye + (points_mm - eye) * self.eye_mm[2] / (self.eye_mm[2] - height)

    def lightness(self, x_mm: Array, y_mm: Array) -> Array:
        """How light falls on the slopes, from the picture's upper left."""
        step = np.float32(0.5)
        slope = self.height(x_mm + step, y_mm + step) - self.height(x_mm - step, y_mm - step)
        return np.clip(1 + np.float32(_SHADING / math.sqrt(2)) * slope, 0.4, 1.6)


def _away(turn_deg: float, x: Array, y: Array) -> tuple[Array, Array]:
    c, s = np.float32(math.cos(math.radians(turn_deg))), np.float32(math.sin(math.radians(turn_deg)))
    return x * s + y * c, x * c - y * s


@dataclass(frozen=True, slots=True, kw_only=True)
class UnevenCloth(Cloth):
    """A cloth with relief; its print, its outline and its truth are those of the cloth smoothed out."""

    relief: Relief = field(default_factory=lambda: Relief(eye_mm=(0.0, 0.0, 500.0)))

    def light(self, x_mm: Array, y_mm: Array, footprint_mm: float) -> Array:
        """Light (..., 3) seen where the flat table would be seen at (x, y)."""
        x, y = self.relief.on_surface(x_mm, y_mm)
        return Cloth.light(self, x, y, footprint_mm) * self.relief.lightness(x, y)[..., None]

    def outline_mm(self) -> Array:
        """The outline, as points of the table that it hides."""
        return self.relief.on_table(Cloth.outline_mm(self))
