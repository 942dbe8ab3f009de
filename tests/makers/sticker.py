"""Flat printed things other than rulers: a sheet with a pattern of squares, a card."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from tests.makers.colour import Array, linear

#: ISO/IEC 7810 ID-1.
CARD_MM = (85.60, 53.98)
CARD_CORNER_MM = 3.18


def _corners(x: float, y: float, turn_deg: float, width: float, height: float) -> Array:
    a = math.radians(turn_deg)
    along, down = np.array([math.cos(a), -math.sin(a)]), np.array([math.sin(a), math.cos(a)])
    return np.array(
        [
            np.array([x, y]) + i * width / 2 * along + j * height / 2 * down
            for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A picture ``face`` (h, w) uint8 grey printed ``width_mm`` by ``height_mm``, with a white margin round it."""

    face: Array
    width_mm: float
    height_mm: float
    margin_mm: float = 10.0
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0

    def corners_mm(self) -> Array:
        """Corners of the whole sheet on the table."""
        m = 2 * self.margin_mm
        return _corners(self.x_mm, self.y_mm, self.turn_deg, self.width_mm + m, self.height_mm + m)

    def outline_mm(self) -> Array:
        """The sheet's outline."""
        return self.corners_mm()

    def picture(self, px_per_mm: float) -> Array:
        """Linear light (H, W, 3)."""
        w, h = round(self.width_mm * px_per_mm), round(self.height_mm * px_per_mm)
        m = round(self.margin_mm * px_per_mm)
        # averaged down from whole multiples of the face's pixels: an edge moved to the nearest pixel stretches a sheet
        larger = self.face.repeat(math.ceil(h / self.face.shape[0]), 0).repeat(math.ceil(w / self.face.shape[1]), 1)
        face = cv2.resize(larger, (w, h), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        sheet = np.pad(face, m, constant_values=1.0)
        return (linear("#1a1a1a") + sheet[..., None] * (linear("#f4f4f0") - linear("#1a1a1a"))).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A blank card of the size of ISO/IEC 7810 ID-1."""

    colour: str = "#3a6ea5"
    band: str = "#e8e4d8"
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0

    def corners_mm(self) -> Array:
        """The corners as if they were square."""
        return _corners(self.x_mm, self.y_mm, self.turn_deg, *CARD_MM)

    def outline_mm(self) -> Array:
        """The outline with its round corners."""
        w, h, r = CARD_MM[0] / 2, CARD_MM[1] / 2, CARD_CORNER_MM
        points = []
        for (i, j), start in (((-1, -1), 180), ((1, -1), 270), ((1, 1), 0), ((-1, 1), 90)):
            for step in range(10):
                a = math.radians(start + 10 * step)
                points.append((i * (w - r) + r * math.cos(a), j * (h - r) + r * math.sin(a)))
        a = math.radians(self.turn_deg)
        flat = np.array(points)
        return np.column_stack(
            [
                self.x_mm + flat[:, 0] * math.cos(a) + flat[:, 1] * math.sin(a),
                self.y_mm - flat[:, 0] * math.sin(a) + flat[:, 1] * math.cos(a),
            ]
        )

    def picture(self, px_per_mm: float) -> Array:
        """Linear light (H, W, 3): one colour with a paler band."""
        w, h = (round(n * px_per_mm) for n in CARD_MM)
        face = np.broadcast_to(linear(self.colour), (h, w, 3)).copy()
        face[int(0.62 * h) : int(0.78 * h), int(0.08 * w) : int(0.7 * w)] = linear(self.band)
        return face
