"""Rulers and tapes, drawn as flat pictures at a known number of pixels per millimetre, each mark in its exact place."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from tests.makers.colour import Array, linear

RulerUnit = Literal["mm", "half_mm", "inch8", "inch16", "inch32", "both"]
Material = Literal["plain", "wood", "steel", "tape"]

INCH_MM = 25.4
_FONTS = Path("/usr/share/fonts/truetype")
_FACES = ("dejavu/DejaVuSans.ttf", "liberation/LiberationSans-Bold.ttf", "dejavu/DejaVuSerif.ttf", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruler:
    """A ruler or tape lying flat about (x, y) of the table, its scale running along ``turn_deg``.

    ``zero_mm`` is where its zero lies from its own left end. Ticks start ``margin_mm`` inside the upper edge (with
    "both", millimetres along the upper edge, inches along the lower). ``tick_mm``: lengths of the least, the middle and
    the longest ticks. ``number_every`` counts centimetres or inches.
    """

    unit: RulerUnit = "mm"
    length_mm: float = 310.0
    width_mm: float = 30.0
    zero_mm: float = 5.0
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    body: str = "#f2efe6"
    ink: str = "#1c1c1c"
    material: Material = "plain"
    margin_mm: float = 0.0
    tick_mm: tuple[float, float, float] = (3.5, 5.0, 7.0)
    tick_width_mm: float = 0.25
    digit_mm: float = 3.5
    digit_turn_deg: int = 0
    digit_gap_mm: float = 0.8
    number_every: int = 1
    in_millimetres: bool = False
    face: int = 0
    seed: int = 0

    def corners_mm(self) -> Array:
        """The four corners (4, 2) on the table, in the order of the picture's corners."""
        a = math.radians(self.turn_deg)
        along, down = np.array([math.cos(a), -math.sin(a)]), np.array([math.sin(a), math.cos(a)])
        middle = np.array([self.x_mm, self.y_mm])
        w, h = self.length_mm / 2, self.width_mm / 2
        return np.array([middle + i * w * along + j * h * down for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))])

    def outline_mm(self) -> Array:
        """The outline on the table."""
        return self.corners_mm()

    def point_mm(self, position_mm: float) -> Array:
        """Where a position of the scale lies on the table, on the ruler's middle line."""
        a = math.radians(self.turn_deg)
        s = position_mm + self.zero_mm - self.length_mm / 2
        return np.array([self.x_mm + s * math.cos(a), self.y_mm - s * math.sin(a)])

    def picture(self, px_per_mm: float) -> Array:
        """The ruler's face as linear light (H, W, 3)."""
        ink = self.ink_cover(px_per_mm)
        body = self.bare(ink.shape[1], ink.shape[0], px_per_mm)
        return (body + ink[..., None] * (linear(self.ink) - body)).astype(np.float32)

    def ink_cover(self, px_per_mm: float) -> Array:
        """How much of each pixel (H, W) of the face is ink."""
        width, height = round(self.length_mm * px_per_mm), round(self.width_mm * px_per_mm)
        ink = np.zeros((height, width), dtype=np.float32)
        if self.unit != "both":
            self._scale(ink, px_per_mm, self.unit, below=False)
        else:
            self._scale(ink, px_per_mm, "mm", below=False)
            self._scale(ink, px_per_mm, "inch16", below=True)
        return ink

    def _scale(self, ink: Array, q: float, unit: RulerUnit, *, below: bool) -> None:
        step, ranks = divisions(unit)
        count = int((self.length_mm - self.zero_mm - 1.0) / step)
        for k in range(count + 1):
            rank = next(i for i, every in enumerate(ranks) if k % every == 0)
            length = _tick_length(self.tick_mm, rank, len(ranks))
            x = (self.zero_mm + k * step) * q
            low, high = self.margin_mm * q, (self.margin_mm + length) * q
            if below:
                low, high = ink.shape[0] - high, ink.shape[0] - low
            _bar(ink, x - self.tick_width_mm * q / 2, x + self.tick_width_mm * q / 2, low, high)
            if rank == 0 and k > 0 and (k // ranks[0]) % self.number_every == 0:
                text = str(k // ranks[0] * (10 if self.in_millimetres and unit == "mm" else 1))
                gap = self.margin_mm + self.tick_mm[2] + self.digit_gap_mm
                centre = (gap + self.digit_mm / 2) * q
                inscribe(ink, text, x, ink.shape[0] - centre if below else centre, self.digit_mm * q, self)

    def bare(self, width: int, height: int, q: float) -> Array:
        """The face without its marks, as linear light (H, W, 3)."""
        rng = np.random.default_rng([self.seed, 5])
        body = np.broadcast_to(linear(self.body), (height, width, 3)).copy()
        if self.material in ("wood", "steel"):
            depth = 0.10 if self.material == "wood" else 0.05
            rows = rng.normal(0, depth, max(4, height // 3))
            line = np.interp(np.linspace(0, len(rows) - 1, height), np.arange(len(rows)), rows)
            drift = np.interp(np.linspace(0, 11, width), np.arange(12), rng.normal(0, depth, 12))
            body *= (1 + line[:, None] + drift[None, :])[..., None]
        elif self.material == "tape":
            x, y = np.arange(width) / q, np.arange(height) / q
            body *= (1 + 0.04 * np.sin(2 * np.pi * x / 0.7)[None, :] * np.sin(2 * np.pi * y / 0.7)[:, None])[..., None]
        return np.clip(body, 0, 1).astype(np.float32)


def divisions(unit: RulerUnit) -> tuple[float, tuple[int, ...]]:
    """The step in mm, and every how many steps each rank of tick comes, the longest first."""
    if unit == "mm":
        return 1.0, (10, 5, 1)
    if unit == "half_mm":
        return 0.5, (20, 10, 2, 1)
    if unit == "inch32":
        return INCH_MM / 32, (32, 16, 8, 4, 2, 1)
    if unit == "inch8":
        return INCH_MM / 8, (8, 4, 2, 1)
    return INCH_MM / 16, (16, 8, 4, 2, 1)


def _tick_length(lengths_mm: tuple[float, float, float], rank: int, ranks: int) -> float:
    least, _, longest = lengths_mm
    if ranks == 3:
        return lengths_mm[2 - rank]
    return longest + (least - longest) * rank / (ranks - 1)


def _cover(low: float, high: float, size: int) -> Array:
    """How much of each cell [i - 0, i + 1) of a row lies between two places."""
    cells = np.arange(size)
    return np.clip(np.minimum(high, cells + 1) - np.maximum(low, cells), 0, 1).astype(np.float32)


def _bar(ink: Array, x0: float, x1: float, y0: float, y1: float) -> None:
    left, right = max(0, int(x0)), min(ink.shape[1], int(x1) + 2)
    if left >= right:
        return
    bar = np.outer(_cover(y0, y1, ink.shape[0]), _cover(x0 - left, x1 - left, right - left))
    ink[:, left:right] = np.maximum(ink[:, left:right], bar)


@lru_cache(maxsize=256)
def _glyphs(text: str, size: int, face: int, turn_deg: int) -> Array:
    name = _FACES[face % len(_FACES)]
    try:
        font = ImageFont.truetype(str(_FONTS / name), size)
    except OSError:
        font = ImageFont.load_default(size)
    left, top, right, bottom = font.getbbox(text)
    picture = Image.new("L", (int(right - left) + 2, int(bottom - top) + 2))
    ImageDraw.Draw(picture).text((1 - left, 1 - top), text, fill=255, font=font)
    return np.asarray(picture.rotate(turn_deg, expand=True), dtype=np.float32) / 255


def inscribe(ink: Array, text: str, x: float, y: float, cap_px: float, ruler: Ruler) -> None:
    """Write on a cover (H, W), the text's middle at (x, y), capitals ``cap_px`` high."""
    glyphs = _glyphs(text, max(4, round(cap_px / 0.73)), ruler.face, ruler.digit_turn_deg)
    top, left = round(y - glyphs.shape[0] / 2), round(x - glyphs.shape[1] / 2)
    y0, x0 = max(0, top), max(0, left)
    y1, x1 = min(ink.shape[0], top + glyphs.shape[0]), min(ink.shape[1], left + glyphs.shape[1])
    if y0 < y1 and x0 < x1:
        part = glyphs[y0 - top : y1 - top, x0 - left : x1 - left]
        ink[y0:y1, x0:x1] = np.maximum(ink[y0:y1, x0:x1], part)
