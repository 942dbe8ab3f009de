"""Pens for drawing on photographs: lines with a dark edge and text on a dark ground, readable on any cloth."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFont

Colour = tuple[int, int, int]
Place = tuple[float, float]

#: Colours that stay apart for colour-blind eyes. M. Okabe, K. Ito, "Color Universal Design", 2008.
ORANGE: Colour = (230, 159, 0)
SKY: Colour = (86, 180, 233)
GREEN: Colour = (0, 190, 140)
YELLOW: Colour = (240, 228, 66)
PURPLE: Colour = (224, 130, 190)
WHITE: Colour = (250, 250, 248)
DARK: Colour = (24, 26, 30)
PALE: Colour = (188, 192, 198)

_FACES = {
    False: ("DejaVuSans.ttf", "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"),
    True: ("DejaVuSans-Bold.ttf", "/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf"),
}


@lru_cache(maxsize=32)
def font(size: int, *, bold: bool = False) -> Any:
    """A font of ``size`` pixels: DejaVu Sans where the machine has it, else the one Pillow carries."""
    for face in _FACES[bold]:
        try:
            return ImageFont.truetype(face, size)
        except OSError:
            continue
    return ImageFont.load_default(size)


class Pen:
    """Draws on one picture. ``unit`` is the width of a thin line in pixels: a 1200th of the picture's width."""

    def __init__(self, picture: Image.Image, unit: float) -> None:
        self.picture = picture
        self.unit = unit
        self._draw = ImageDraw.Draw(picture, "RGBA")

    def line(
        self, points: Sequence[Place], colour: Colour, *, width: float = 2.0, dash: float = 0.0, closed: bool = False
    ) -> None:
        """A line through points with a dark edge; ``width`` and ``dash`` in units, dash 0 for a full line."""
        path = [*points, points[0]] if closed else list(points)
        for part in _dashes(path, dash * self.unit) if dash else [path]:
            flat = [(float(x), float(y)) for x, y in part]
            self._draw.line(flat, fill=(*DARK, 190), width=max(1, round((width + 1.6) * self.unit)), joint="curve")
        for part in _dashes(path, dash * self.unit) if dash else [path]:
            flat = [(float(x), float(y)) for x, y in part]
            self._draw.line(flat, fill=(*colour, 255), width=max(1, round(width * self.unit)), joint="curve")

    def thin(self, start: Place, end: Place, colour: Colour, *, width: float = 1.0) -> None:
        """A plain thin line."""
        ends = [(float(x), float(y)) for x, y in (start, end)]
        self._draw.line(ends, fill=(*colour, 255), width=max(1, round(width * self.unit)))

    def dot(self, place: Place, colour: Colour, *, radius: float = 4.0) -> None:
        """A dot with a dark edge."""
        x, y = place
        for r, fill in (((radius + 1.2) * self.unit, (*DARK, 220)), (radius * self.unit, (*colour, 255))):
            self._draw.ellipse((x - r, y - r, x + r, y + r), fill=fill)

    def box(self, corners: tuple[float, float, float, float], fill: Colour, *, edge: Colour | None = None) -> None:
        """A filled rectangle with round corners."""
        self._draw.rounded_rectangle(
            corners, radius=4 * self.unit, fill=fill, outline=edge, width=max(1, round(self.unit))
        )

    def size(self, text: str, height: float, *, bold: bool = False) -> tuple[float, float]:
        """Width and height in pixels of a text set ``height`` units high."""
        face = font(max(8, round(height * self.unit)), bold=bold)
        left, _, right, _ = self._draw.textbbox((0, 0), text, font=face)
        return right - left, height * self.unit * 1.25

    def text(
        self, place: Place, text: str, colour: Colour = WHITE, *, height: float = 18.0, bold: bool = False
    ) -> None:
        """Text with its left middle at a place."""
        face = font(max(8, round(height * self.unit)), bold=bold)
        self._draw.text(place, text, fill=colour, font=face, anchor="lm")

    def letter(self, place: Place, text: str, colour: Colour = WHITE, *, height: float = 14.0) -> None:
        """A letter with a dark edge, its middle at a place."""
        face = font(max(8, round(height * self.unit)), bold=True)
        edge = max(1, round(1.6 * self.unit))
        self._draw.text(place, text, fill=colour, font=face, anchor="mm", stroke_width=edge, stroke_fill=DARK)

    def tag(
        self, place: Place, text: str, colour: Colour = WHITE, *, height: float = 17.0, bold: bool = False
    ) -> tuple[float, float, float, float]:
        """Text on a dark ground, its middle at a place, kept inside the picture. Returns the box it takes."""
        box = self.tag_box(place, text, height=height, bold=bold)
        self._draw.rounded_rectangle(box, radius=4 * self.unit, fill=(*DARK, 215))
        face = font(max(8, round(height * self.unit)), bold=bold)
        middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
        self._draw.text(middle, text, fill=colour, font=face, anchor="mm")
        return box

    def tag_box(
        self, place: Place, text: str, *, height: float = 17.0, bold: bool = False
    ) -> tuple[float, float, float, float]:
        """The box that a tag would take."""
        w, h = self.size(text, height, bold=bold)
        w, h = w + 10 * self.unit, h + 4 * self.unit
        x = min(max(place[0] - w / 2, 2.0), self.picture.width - w - 2)
        y = min(max(place[1] - h / 2, 2.0), self.picture.height - h - 2)
        return (x, y, x + w, y + h)


def _dashes(path: list[Place], length: float) -> list[list[Place]]:
    """The path cut into dashes of ``length`` with gaps of 0.7 of it."""
    points = np.asarray(path, dtype=np.float64)
    steps = np.hypot(*np.diff(points, axis=0).T)
    reach = np.concatenate([[0.0], np.cumsum(steps)])
    parts: list[list[Place]] = []
    for start in np.arange(0.0, reach[-1], length * 1.7):
        end = min(start + length, reach[-1])
        inner = reach[(reach > start) & (reach < end)]
        at = np.concatenate([[start], inner, [end]])
        parts.append([(float(np.interp(s, reach, points[:, 0])), float(np.interp(s, reach, points[:, 1]))) for s in at])
    return parts


def overlaps(box: tuple[float, float, float, float], others: Sequence[tuple[float, float, float, float]]) -> bool:
    """Whether a box touches any other."""
    return any(box[0] < o[2] and o[0] < box[2] and box[1] < o[3] and o[1] < box[3] for o in others)


def between(start: Place, end: Place, share: float) -> Place:
    """The place a share of the way from one to another."""
    return (start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share)
