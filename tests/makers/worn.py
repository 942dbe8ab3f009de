"""Rulers as they are in drawers: worn, glossy, crowded with digits, a little too long or short, tapes that curl."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from tests.makers.colour import Array, linear
from tests.makers.ruler import Ruler, inscribe

#: Steps at which a curled tape's rise is summed up, mm.
_STEP_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Glare:
    """A lamp mirrored in the ruler: where on the face (mm from its left, from its top), how far, how strong."""

    at_mm: float
    down_mm: float
    reach_mm: float
    strength: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Curl:
    """How a tape lies: bent in the table's plane on a circle (0: straight), and its ends rising from the table."""

    radius_mm: float = 0.0
    rise_mm: float = 0.0
    reach_mm: float = 80.0
    eye_mm: tuple[float, float, float] = (0.0, 0.0, 500.0)

    def height(self, from_end_mm: Array) -> Array:
        """Height at a distance from the nearer end."""
        share = np.clip(1 - from_end_mm / self.reach_mm, 0, 1)
        return np.asarray(self.rise_mm * share**2, dtype=np.float32)

    def length(self, from_end_mm: Array) -> Array:
        """How much of the tape, counted from that end, a distance on the table takes up."""
        at = np.arange(0, self.reach_mm + _STEP_MM, _STEP_MM)
        slope = np.gradient(self.height(at), _STEP_MM)
        taken = np.concatenate([[0.0], np.cumsum(np.hypot(1, slope)[:-1] * _STEP_MM)])
        return np.interp(from_end_mm, at, taken) + np.maximum(from_end_mm - at[-1], 0) + np.minimum(from_end_mm, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WornRuler(Ruler):
    """A ruler as ``Ruler``, whose scale is too long by the share ``stretch``; ``wear`` is the share of ink rubbed off.

    ``small_digit_mm`` writes 1 to 9 at the millimetres of every centimetre; ``arrows`` puts a head on the longest
    ticks, ``lettering`` a maker's line along the middle, ``bevel_mm`` a slope along the ticks' edge, ``grain`` the
    speckle of matt steel, ``dirt`` stains.
    """

    stretch: float = 0.0
    wear: float = 0.0
    small_digit_mm: float = 0.0
    arrows: bool = False
    lettering: str = ""
    bevel_mm: float = 0.0
    bevel_shade: float = 0.0
    grain: float = 0.0
    dirt: float = 0.0
    glares: tuple[Glare, ...] = ()
    curl: Curl | None = None

    def corners_mm(self) -> Array:
        """The four corners (4, 2) on the table of the stretched ruler laid straight."""
        middle = np.array([self.x_mm, self.y_mm])
        along = self.axis
        square = Ruler.corners_mm(self) - middle
        return middle + square + self.stretch * np.outer(square @ along, along)

    def point_mm(self, position_mm: float) -> Array:
        """Where a position of the scale lies on the table, on the middle line of the ruler laid straight."""
        middle = np.array([self.x_mm, self.y_mm])
        return middle + (1 + self.stretch) * (Ruler.point_mm(self, position_mm) - middle)

    @property
    def axis(self) -> Array:
        """The unit vector (2,) along the scale."""
        a = math.radians(self.turn_deg)
        return np.array([math.cos(a), -math.sin(a)])

    def face_mm(self, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
        """The places on the face (mm of the scale from its left, from its top) seen at points of the table."""
        along, down = self._own(x_mm, y_mm)
        half = np.float32(self.length_mm * (1 + self.stretch) / 2)
        if self.curl is not None:
            along, down = self._uncurled(along, down, half)
        return (along + half) / np.float32(1 + self.stretch), down + np.float32(self.width_mm / 2)

    def outline_mm(self) -> Array:
        """The outline, as points (N, 2) of the table that it hides."""
        half, w = self.length_mm * (1 + self.stretch) / 2, self.width_mm / 2
        if self.curl is None:
            return self.corners_mm()
        along = np.linspace(-half, half, 200)
        rim = np.concatenate([np.column_stack([along, 0 * along - w]), np.column_stack([along[::-1], 0 * along + w])])
        return self._curled(rim, half)

    def picture(self, px_per_mm: float) -> Array:
        """The face as linear light (H, W, 3), glare and all."""
        q = px_per_mm
        ink = self.ink_cover(q)
        self._crowd(ink, q)
        height, width = ink.shape
        rng = np.random.default_rng([self.seed, 6])
        body = self.bare(width, height, q)
        if self.bevel_mm > 0:
            body[: round(self.bevel_mm * q)] *= 1 + self.bevel_shade
        if self.grain > 0:
            body *= 1 + self.grain * _cloudy(rng, (height, width), max(0.12 * q, 1.0))[..., None]
        if self.dirt > 0:
            body *= 1 - self.dirt * np.clip(_cloudy(rng, (height, width), 4 * q) - 0.6, 0, 1)[..., None]
        if self.wear > 0:
            ink *= self._left_of_ink(rng, (height, width), q)
        face = body + ink[..., None] * (linear(self.ink) - body)
        down, along = (np.arange(n, dtype=np.float32) / np.float32(q) for n in (height, width))
        for glare in self.glares:
            far_down = ((down - glare.down_mm) / (0.35 * glare.reach_mm)) ** 2
            far_along = ((along - glare.at_mm) / glare.reach_mm) ** 2
            face += (glare.strength * np.exp(-far_down[:, None] - far_along[None, :]))[..., None]
        return np.clip(face, 0, 3).astype(np.float32)

    def _own(self, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
        c, s = self.axis.astype(np.float32)
        x, y = x_mm - np.float32(self.x_mm), y_mm - np.float32(self.y_mm)
        return x * c + y * s, -x * s + y * c

    def _uncurled(self, along: Array, down: Array, half: float) -> tuple[Array, Array]:
        """From the table, in the ruler's own axes, to the tape pulled straight and pressed flat."""
        curl = self.curl or Curl()
        eye_along, eye_down = self._own(np.float32(curl.eye_mm[0]), np.float32(curl.eye_mm[1]))
        a, d = along, down
        for _ in range(3):  # the point of the tape on the ray to this point of the table
            where, _ = _on_circle(a, d, curl.radius_mm)
            share = curl.height(half - np.abs(where)) / np.float32(curl.eye_mm[2])
            a, d = along + (eye_along - along) * share, down + (eye_down - down) * share
        a, d = _on_circle(a, d, curl.radius_mm)
        taken = curl.length(half - np.abs(a)) - curl.length(np.array(0.0))
        total = float(curl.length(np.array(half)))
        return (np.sign(a) * (total - taken)).astype(np.float32), d

    def _curled(self, rim: Array, half: float) -> Array:
        curl = self.curl or Curl()
        taken = float(curl.length(np.array(half)))
        fine = np.linspace(-half, half, 2001)
        straight = np.sign(fine) * (taken - curl.length(half - np.abs(fine)))
        flat = np.interp(rim[:, 0], straight, fine)
        if curl.radius_mm:
            r = curl.radius_mm
            angle = flat / r
            own = np.column_stack([(r - rim[:, 1]) * np.sin(angle), r - (r - rim[:, 1]) * np.cos(angle)])
        else:
            own = np.column_stack([flat, rim[:, 1]])
        across = np.array([-self.axis[1], self.axis[0]])
        points = np.array([self.x_mm, self.y_mm]) + own[:, :1] * self.axis + own[:, 1:] * across
        eye, height = np.array(curl.eye_mm[:2]), curl.height(half - np.abs(flat))[:, None]
        return eye + (points - eye) * curl.eye_mm[2] / (curl.eye_mm[2] - height)

    def _crowd(self, ink: Array, q: float) -> None:
        """What else is printed near the ticks."""
        longest = self.margin_mm + self.tick_mm[2]
        for k in range(int(self.length_mm - self.zero_mm)):
            x = (self.zero_mm + k) * q
            if self.small_digit_mm > 0 and k % 10:
                y = self.margin_mm + self.tick_mm[1] + 0.4 + self.small_digit_mm / 2
                inscribe(ink, str(k % 10), x, y * q, self.small_digit_mm * q, self)
            if self.arrows and k % 10 == 0:
                for step in range(round(1.6 * q)):
                    half = 0.45 * step / 1.6
                    row = round((0.3 * longest) * q) + step
                    left, right = round(x - half), round(x + half) + 1
                    if 0 <= left < right <= ink.shape[1] and row < ink.shape[0]:
                        ink[row, left:right] = 1
        if self.lettering:
            for start in np.arange(0.12, 1, 0.45):
                inscribe(ink, self.lettering, start * ink.shape[1], 0.78 * ink.shape[0], 0.10 * ink.shape[0], self)

    def _left_of_ink(self, rng: np.random.Generator, shape: tuple[int, int], q: float) -> Array:
        """Ink breaks up into flakes, more so in rubbed places."""
        flakes = _cloudy(rng, shape, 0.16 * q) + 0.7 * _cloudy(rng, shape, 7 * q)
        threshold = np.quantile(flakes[::3, ::3], self.wear)
        return np.clip(0.5 + 1.6 * (flakes - threshold), 0.05, 1)


def _on_circle(along: Array, down: Array, radius_mm: float) -> tuple[Array, Array]:
    """From the plane to the axes that follow a circle through the origin (0: a straight line)."""
    if not radius_mm:
        return along, down
    r = np.float32(radius_mm)
    side = np.sign(r)
    return r * np.arctan2(side * along, side * (r - down)), r - side * np.hypot(along, r - down)


def _cloudy(rng: np.random.Generator, shape: tuple[int, int], grain_px: float) -> Array:
    """Noise (H, W) of unit variance, near enough, with features of the given size."""
    grain = max(1.0, grain_px)
    small = rng.standard_normal((int(shape[0] / grain) + 2, int(shape[1] / grain) + 2), dtype=np.float32)
    return cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
