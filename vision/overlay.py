"""The evidence drawn on the photograph: a person sees at once whether the tool looked at the right things."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.caption import figure, footer, headline
from vision.ink import GREEN, ORANGE, PURPLE, SKY, WHITE, YELLOW, Pen, Place, between, overlaps
from vision.measure import ClothEvidence, Measured, across_vector
from vision.measurement import Print
from vision.photo import Photo
from vision.plane import Plane
from vision.reference.reading import Floats, Reading
from vision.request import Side

#: Longest side of the drawing, px: more than a screen shows, little enough to send by mail.
LONGEST_SIDE_PX = 2400
#: The drawing is laid out to be read when it is seen this wide, px.
READ_AT_PX = 1200
#: Marks written on a ruler stand at least this far apart, units of a 1200th of the width.
NUMBER_SPACING = 30.0
#: A stripe drawn narrower than this carries no letter, units.
LETTER_SPACING = 13.0
#: Most lines of a print's grid that are drawn on one cloth: more would hide it.
MOST_LINES = 120

_TOWARDS: dict[Side, Floats] = {
    "top": np.array([0.0, -1.0]),
    "right": np.array([1.0, 0.0]),
    "bottom": np.array([0.0, 1.0]),
    "left": np.array([-1.0, 0.0]),
}

Box = tuple[float, float, float, float]


def draw(photo: Photo, measured: Measured) -> NDArray[np.uint8]:
    """The photograph (H, W, 3) uint8 with the evidence on it, a headline above and the stripes' figures below."""
    factor = min(1.0, LONGEST_SIDE_PX / max(photo.size_px))
    rgb = photo.rgb if factor == 1 else cv2.resize(photo.rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    picture = Image.fromarray(np.ascontiguousarray(rgb))
    pen = Pen(picture, max(1.0, picture.width / READ_AT_PX))
    sheet = _Drawing(pen, factor, measured)
    sheet.everything()
    parts = [headline(measured.measurement, picture.width), picture, footer(measured.measurement, picture.width)]
    whole = Image.new("RGB", (picture.width, sum(part.height for part in parts)))
    top = 0
    for part in parts:
        whole.paste(part, (0, top))
        top += part.height
    return np.asarray(whole, dtype=np.uint8)


class _Drawing:
    """One drawing under way: the pen, the scale of the picture, and the places that texts already take."""

    def __init__(self, pen: Pen, factor: float, measured: Measured) -> None:
        self.pen = pen
        self.factor = factor
        self.evidence = measured.evidence
        self.taken: list[Box] = []

    def everything(self) -> None:
        plane = self.evidence.plane
        if plane is not None:
            for cloth in self.evidence.cloths:
                self.outline(plane, cloth)
                self.grid(plane, cloth)
        for reading in self.evidence.readings if plane is None else plane.readings:
            self.reference(reading)
        if plane is not None:
            for number, cloth in enumerate(self.evidence.cloths):
                self.skew(plane, cloth)
                self.stripes(plane, cloth)
                if len(self.evidence.cloths) > 1:
                    self.number(plane, cloth, number)

    def px(self, plane: Plane, points_mm: Floats) -> list[Place]:
        return [self.drawn(x, y) for x, y in plane.to_px(np.asarray(points_mm, dtype=np.float64).reshape(-1, 2))]

    def drawn(self, x: float, y: float) -> Place:
        """Where a pixel of the photo lies in the drawing."""
        return ((float(x) + 0.5) * self.factor - 0.5, (float(y) + 0.5) * self.factor - 0.5)

    def tag(self, place: Place, text: str, colour: tuple[int, int, int], *, height: float = 17.0) -> bool:
        """A tag, unless it would cover another one."""
        box = self.pen.tag_box(place, text, height=height)
        if overlaps(box, self.taken):
            return False
        self.taken.append(self.pen.tag(place, text, colour, height=height))
        return True

    def outline(self, plane: Plane, cloth: ClothEvidence) -> None:
        for ring in (cloth.region.outline_mm, *cloth.region.holes_mm):
            self.pen.line(self.px(plane, np.asarray(ring)), WHITE, width=2.2, closed=True)

    def reference(self, reading: Reading) -> None:
        """Each mark as it was read, with its number beyond the longest tick."""
        for tick in reading.ticks_px:
            a, b = (self.drawn(x, y) for x, y in tick)
            self.pen.thin(a, b, PURPLE, width=1.2)
        marks = [self.drawn(x, y) for x, y in reading.marks_px]
        beside = self._beside(reading)
        last: Place | None = None
        for mark, name in zip(marks, counted(reading), strict=True):
            if not name and len(reading.ticks_px):
                continue
            self.pen.dot(mark, PURPLE, radius=2.6)
            if name and (last is None or math.dist(mark, last) > NUMBER_SPACING * self.pen.unit):
                place = (mark[0] + beside[0], mark[1] + beside[1])
                if self.tag(place, name, PURPLE, height=14):
                    last = mark

    def _beside(self, reading: Reading) -> Place:
        """From a mark to where its number is written: away from the body of the reference, where that is known."""
        gap = 20 * self.pen.unit
        if len(reading.outline_px) < 3 or len(reading.marks_px) < 2:
            return (0.0, gap)
        along = reading.marks_px[-1] - reading.marks_px[0]
        normal = np.array([-along[1], along[0]]) / max(1e-9, float(np.hypot(*along)))
        body = reading.outline_px.mean(axis=0) - reading.marks_px.mean(axis=0)
        side = -1.0 if float(body @ normal) > 0 else 1.0
        return (float(side * normal[0] * gap), float(side * normal[1] * gap))

    def grid(self, plane: Plane, cloth: ClothEvidence) -> None:
        """Where each repeat begins, across and, where there is a second, along."""
        print_ = cloth.print
        if print_ is None or print_.across is None or print_.across_direction_deg is None:
            return
        across = across_vector(print_.across_direction_deg.value)
        along = np.array([-across[1], across[0]])
        self._lines(plane, cloth, across, print_.origin_mm or 0.0, print_.across.value)
        if print_.along is not None:
            middle = np.asarray(cloth.region.outline_mm).mean(axis=0)
            self._lines(plane, cloth, along, float(middle @ along), print_.along.value)

    def _lines(self, plane: Plane, cloth: ClothEvidence, normal: Floats, origin: float, repeat: float) -> None:
        outline = np.asarray(cloth.region.outline_mm, dtype=np.float64)
        low, high = float((outline @ normal).min()), float((outline @ normal).max())
        first, last = math.ceil((low - origin) / repeat), math.floor((high - origin) / repeat)
        if last - first > MOST_LINES:
            return
        for k in range(first, last + 1):
            for start, end in chords(outline, normal, origin + k * repeat):
                self.pen.line(self.px(plane, np.array([start, end])), SKY, width=1.6, dash=9)

    def stripes(self, plane: Plane, cloth: ClothEvidence) -> None:
        """One repeat in the middle of the cloth measured out, its stripes lettered with their widths."""
        print_ = cloth.print
        if print_ is None or print_.across is None or print_.across_direction_deg is None:
            return
        across = across_vector(print_.across_direction_deg.value)
        along = np.array([-across[1], across[0]])
        outline = np.asarray(cloth.region.outline_mm, dtype=np.float64)
        s_mid, t_mid = (float((places.min() + places.max()) / 2) for places in (outline @ across, outline @ along))
        origin = print_.origin_mm or 0.0
        repeat = print_.across.value
        start = origin + round((s_mid - repeat / 2 - origin) / repeat) * repeat
        reach = float((outline @ along).max() - (outline @ along).min())
        row = t_mid - 0.2 * reach
        ends = self.px(plane, np.array([start * across + row * along, (start + repeat) * across + row * along]))
        self.pen.line(ends, YELLOW, width=2.6)
        for end in ends:
            self.pen.dot(end, YELLOW, radius=4)
        middle = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2 - 18 * self.pen.unit)
        self.tag(middle, f"{figure(print_.across)} mm", YELLOW, height=18)
        step = 24 * self.pen.unit / self._px_per_mm(plane, start * across + t_mid * along)
        for stripe in print_.stripes:
            for lane in range(8):
                place = (start + stripe.centre_mm) * across + (row + (1.2 + lane) * step) * along
                if self.tag(self.px(plane, place)[0], f"{stripe.label} {stripe.width.value:.1f}", WHITE, height=16):
                    break
        self._letters(plane, print_, outline, row - 0.24 * reach)

    def _letters(self, plane: Plane, print_: Print, outline: Floats, row: float) -> None:
        """Every stripe's letter, all the way across, where it is wide enough to carry one."""
        if print_.across is None or print_.across_direction_deg is None:
            return
        across = across_vector(print_.across_direction_deg.value)
        along = np.array([-across[1], across[0]])
        ends = chords(outline, along, row)
        for stripe in print_.stripes:
            for start, end in ends:
                s0, s1 = sorted((float(start @ across), float(end @ across)))
                first = (print_.origin_mm or 0.0) + stripe.centre_mm
                for k in range(math.ceil((s0 - first) / print_.across.value), MOST_LINES):
                    s = first + k * print_.across.value
                    if s > s1:
                        break
                    place = s * across + row * along
                    if stripe.width.value * self._px_per_mm(plane, place) > LETTER_SPACING * self.pen.unit:
                        self.pen.letter(self.px(plane, place)[0], stripe.label, WHITE, height=14)

    def skew(self, plane: Plane, cloth: ClothEvidence) -> None:
        """The grain's line and the print's line from one point, so that the angle between them is seen."""
        skew, side, print_ = cloth.lie.skew, cloth.lie.side, cloth.print
        if skew is None or side is None or print_ is None or print_.across_direction_deg is None:
            return
        outline = np.asarray(cloth.region.outline_mm, dtype=np.float64)
        grain_deg, print_deg = _pair_deg(print_.across_direction_deg.value, skew.angle.value, side)
        grain, print_line = across_vector(grain_deg), across_vector(print_deg)
        middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
        towards = _TOWARDS[side]
        outward = np.array([-grain[1], grain[0]])
        outward = outward if float(outward @ towards) > 0 else -outward
        depth = float(((outline - middle) @ outward).max())
        half = 0.42 * float(np.ptp(outline @ grain))
        start = middle + 0.62 * depth * outward - half * grain
        ends = [self.px(plane, np.array([start, start + 2 * half * line])) for line in (grain, print_line)]
        self.pen.line(ends[0], GREEN, width=2.8)
        self.pen.line(ends[1], ORANGE, width=2.8)
        self.pen.dot(ends[0][0], WHITE, radius=4)
        sense = "counter-clockwise" if skew.angle.value >= 0 else "clockwise"
        name = {"torn": "torn edge", "selvage": "selvage", "thread": "drawn thread", "weave": "weave"}[skew.reference]
        text = f"print {abs(skew.angle.value):.2f} ± {skew.angle.u95:.2f}° {sense} of the grain"
        middle = between(ends[1][0], ends[1][1], 0.5)
        lift = (-1 if ends[1][1][1] <= ends[0][1][1] else 1) * 24 * self.pen.unit
        self.tag((middle[0], middle[1] + lift), text, ORANGE, height=16)
        middle = between(ends[0][0], ends[0][1], 0.5)
        self.tag((middle[0], middle[1] - lift), f"grain, by the {name}", GREEN, height=14)

    def number(self, plane: Plane, cloth: ClothEvidence, number: int) -> None:
        """Which cloth this is, where there are several."""
        top = self.px(plane, np.asarray(cloth.region.outline_mm).min(axis=0))[0]
        self.tag((top[0], top[1] - 16 * self.pen.unit), f"cloth {number + 1}", WHITE, height=16)

    @staticmethod
    def _px_per_mm(plane: Plane, point_mm: Floats) -> float:
        near = plane.to_px(np.array([point_mm, point_mm + np.array([0.0, 10.0])]))
        return max(1e-6, math.dist(near[0], near[1]) / 10)


def counted(reading: Reading) -> tuple[str, ...]:
    """What is written beside the marks: a ruler's digits are not read, so its whole units are counted from the left."""
    whole = [int(name) for name in reading.names if name.isdigit()]
    if reading.source != "ruler" or len(whole) < 2 or reading.marks_px[0, 0] <= reading.marks_px[-1, 0]:
        return reading.names
    return tuple(str(max(whole) - int(name)) if name.isdigit() else name for name in reading.names)


def chords(outline: Floats, normal: Floats, offset: float) -> list[tuple[Floats, Floats]]:
    """The parts inside a polygon (N, 2) of the line of points p with p·normal = offset."""
    distance = outline @ normal - offset
    along = np.array([-normal[1], normal[0]])
    places = []
    for i in range(len(outline)):
        a, b = distance[i - 1], distance[i]
        if (a < 0) != (b < 0):
            places.append(outline[i - 1] + (outline[i] - outline[i - 1]) * a / (a - b))
    places.sort(key=lambda point: float(point @ along))
    return list(zip(places[::2], places[1::2], strict=False))


def _pair_deg(across_deg: float, skew_deg: float, side: Side) -> tuple[float, float]:
    """Directions of the grain and of the print's axis that run along an edge facing ``side`` of the photo."""
    across_deg = 90.0 - (90.0 - across_deg) % 180.0
    lying = abs(across_deg) <= 45.0
    print_deg = across_deg if lying == (side in ("top", "bottom")) else across_deg + 90.0
    return print_deg - skew_deg, print_deg
