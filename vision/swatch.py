"""A swatch: the cloth's pixels, cut out of the square-on picture, in which its print is looked for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import srgb_to_lab
from vision.square import SquareOn

Floats = NDArray[np.float32]
Doubles = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Margin left out along the cloth's edge, mm: frayed threads, shadows, and the width of the outline's own error.
EDGE_MARGIN_MM = 1.5
#: In tone space a change of light by a factor f scales all three coordinates by f^(1/3) (CIE 15: L* + 16, a*, b* are
#: linear in the cube roots of X, Y, Z), which is what lets shading be told from print.
TONE_SHIFT = np.array([16.0, 0.0, 0.0], dtype=np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swatch:
    """``rgb`` (H, W, 3) uint8, ``mask`` (H, W) bool; pixel (i, j) shows ``origin_mm`` + (j, i) / px_per_mm, plane."""

    rgb: NDArray[np.uint8]
    mask: Mask
    px_per_mm: float
    origin_mm: tuple[float, float]

    @property
    def centre_mm(self) -> tuple[float, float]:
        """The middle of the masked pixels, mm in the plane."""
        ys, xs = np.flatnonzero(self.mask.any(axis=1)), np.flatnonzero(self.mask.any(axis=0))
        x, y = (float(xs[0] + xs[-1]) / 2, float(ys[0] + ys[-1]) / 2) if len(xs) else (0.0, 0.0)
        return self.origin_mm[0] + x / self.px_per_mm, self.origin_mm[1] + y / self.px_per_mm

    def reduced(self, most_px: float) -> Swatch:
        """The same swatch with at most so many pixels (an area average); itself where it is small enough."""
        height, width = self.mask.shape
        factor = math.sqrt(most_px / (height * width))
        if factor >= 1:
            return self
        size = (max(round(width * factor), 8), max(round(height * factor), 8))
        rgb = cv2.resize(self.rgb, size, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(self.mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.99
        scale = size[0] / width
        shift = (1 / scale - 1) / 2 / self.px_per_mm  # the first pixel's centre moves with the size of a pixel
        origin = (self.origin_mm[0] + shift, self.origin_mm[1] + shift)
        return Swatch(rgb=np.asarray(rgb), mask=np.asarray(mask), px_per_mm=self.px_per_mm * scale, origin_mm=origin)

    def smoothed(self, sigma_mm: float) -> Swatch:
        """The same swatch without what is finer than so many mm (one standard deviation); the mask stays."""
        sigma = sigma_mm * self.px_per_mm
        cover = cv2.GaussianBlur(self.mask.astype(np.float32), (0, 0), sigma)[..., None]
        rgb = cv2.GaussianBlur(self.rgb.astype(np.float32) * self.mask[..., None], (0, 0), sigma)
        return replace(self, rgb=np.rint(rgb / np.maximum(cover, 1e-3)).clip(0, 255).astype(np.uint8))

    def middle(self, side_px: int) -> Swatch:
        """The square window of that side with the most cloth in it, at full size (for the finest print)."""
        height, width = self.mask.shape
        if height <= side_px and width <= side_px:
            return self
        h, w = min(side_px, height), min(side_px, width)
        total = cv2.integral(self.mask.astype(np.uint8))
        step = max(side_px // 8, 1)
        rows, columns = range(0, height - h + 1, step), range(0, width - w + 1, step)
        best = max(
            ((y, x) for y in rows for x in columns),
            key=lambda p: (
                int(total[p[0] + h, p[1] + w] - total[p[0], p[1] + w] - total[p[0] + h, p[1]] + total[p[0], p[1]]),
                -math.hypot(p[0] + h / 2 - height / 2, p[1] + w / 2 - width / 2),
            ),
        )
        y, x = best
        origin = (self.origin_mm[0] + x / self.px_per_mm, self.origin_mm[1] + y / self.px_per_mm)
        window = np.s_[y : y + h, x : x + w]
        return Swatch(rgb=self.rgb[window], mask=self.mask[window], px_per_mm=self.px_per_mm, origin_mm=origin)

    def tone(self, blur_px: float = 0.0) -> Floats:
        """Tone (H, W, 3): CIELAB with 16 added to L*, blurred within the mask, 0 outside it."""
        tone = srgb_to_lab(self.rgb)
        tone += TONE_SHIFT
        tone *= self.mask[..., None]
        if blur_px > 0:
            cover = cv2.GaussianBlur(self.mask.astype(np.float32), (0, 0), blur_px)
            tone = np.asarray(cv2.GaussianBlur(tone, (0, 0), blur_px), dtype=np.float32)
            tone /= np.maximum(cover, 1e-3)[..., None]
            tone *= self.mask[..., None]
        return tone


def cut_swatch(square: SquareOn, mask: Mask, *, most_px: float) -> Swatch:
    """Cut out the mask's bounding box, a margin inside the cloth's edge, at no more than ``most_px`` pixels."""
    inside = mask & square.valid
    ys, xs = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    if len(xs) == 0:
        return Swatch(
            rgb=np.zeros((1, 1, 3), np.uint8), mask=np.zeros((1, 1), bool), px_per_mm=square.px_per_mm, origin_mm=(0, 0)
        )
    window = np.s_[ys[0] : ys[-1] + 1, xs[0] : xs[-1] + 1]
    margin = max(round(EDGE_MARGIN_MM * square.px_per_mm), 1)
    patch = np.pad(inside[window], 1).astype(np.uint8)
    full = bool(inside[window].all()) and min(patch.shape) < 40 * margin  # a small picture full of cloth has no edge
    if not full:
        disc = np.ones((2 * margin + 1, 2 * margin + 1), np.uint8)
        patch = np.asarray(cv2.erode(patch, disc, borderValue=0), dtype=patch.dtype)
    origin = (
        square.origin_mm[0] + float(xs[0]) / square.px_per_mm,
        square.origin_mm[1] + float(ys[0]) / square.px_per_mm,
    )
    cut = Swatch(
        rgb=square.rgb[window],
        mask=np.asarray(patch[1:-1, 1:-1] > 0),
        px_per_mm=square.px_per_mm,
        origin_mm=origin,
    )
    return cut.reduced(most_px)


def axes(direction_deg: float) -> tuple[Doubles, Doubles]:
    """n, along which stripes are counted, and d, along which they run: unit vectors, x right, y down."""
    turn = math.radians(direction_deg)
    return np.array([math.cos(turn), -math.sin(turn)]), np.array([math.sin(turn), math.cos(turn)])


def folded_deg(angle: float, low: float = -90.0) -> float:
    """An axis's angle brought into (low, low + 180]."""
    return float(-((-(angle - low)) % 180.0) + 180.0 + low)
