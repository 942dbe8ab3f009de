"""The figure of one piece: the cloth to scale, right side up, with its stripes lettered and its cuts numbered."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from shapely import maximum_inscribed_circle
from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Spot

from stash.piece import Point
from stash.planner.plan import Leftover, Placement
from stash.sheet.cloth_figure import Paper, cloth_marks
from stash.sheet.counting import Occurrence, Station
from stash.sheet.cutting import Bench, Step
from stash.sheet.drawing import ACCENT, GREY, INK, WHITE, Area, Drawing, Line, Mark, Words, box
from stash.sheet.job import cut_size
from stash.sheet.numbering import LETTERS_MM, ROW_MM, numbers, outward, rows_outside
from stash.sheet.typeface import fitted, width
from stash.sheet.wording import inch

#: The scales a figure may be drawn at; the largest that fits the page is taken.
SCALES: Final = (
    1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 22, 24, 25, 30, 32, 40, 50, 64, 80, 100, 150, 200,
    400, 1000,
)  # fmt: skip

#: Paper about the cloth, mm: beside it for the names of its sides, above and below it for letters and numbers.
BESIDE_MM: Final = 11.0
NAME_MM: Final = 5.0
FOOT_MM: Final = 7.0
LABEL_MM: Final = 2.6
LEAST_LABEL_MM: Final = 1.9
#: Kept free at both ends of a narrow part for the numbers of its cuts, mm.
ENDS_MM: Final = 6.5
#: A part at least this wide on the page has its name written from left to right, mm.
UPRIGHT_MM: Final = 15.0
LETTER_MM: Final = 2.3
#: What is left is named on the figure where both its sides are at least this long on the page, mm.
NAMED_LEFT_MM: Final = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What a figure shows."""

    bench: Bench
    stations: tuple[Station, ...]
    steps: tuple[Step, ...]
    placements: tuple[Placement, ...]
    leftovers: tuple[Leftover, ...]
    shown: tuple[Occurrence, ...]
    title: Callable[[Placement], str]


def draw(scene: Scene, *, wide_mm: float, high_mm: float, title: str, description: str) -> Drawing:
    """The piece at the largest scale that fits the room."""
    left, top, right, bottom = scene.bench.cloth.bounds
    for scale in SCALES:
        before, after = _around(scene, scale)
        width_mm = (right - left) / scale + before[0] + after[0]
        height_mm = (bottom - top) / scale + before[1] + after[1]
        if width_mm <= wide_mm and height_mm + FOOT_MM <= high_mm:
            break
    paper = Paper(scale=scale, left_mm=before[0], top_mm=before[1], x_mm=left, y_mm=top)
    labels = _part_labels(scene, paper)
    grounds = [Polygon(mark.rings[0]) for mark in labels if isinstance(mark, Area)]
    marks = [
        *cloth_marks(scene.bench, paper),
        *_stations(scene, paper),
        *_cut_lines(scene, paper),
        *_left_over(scene, paper),
        *labels,
        *_letters(scene, paper),
        *numbers(scene.bench, scene.steps, paper, grounds),
        *_sides(scene, paper, width_mm, height_mm),
        *_scale_bar(scale, height_mm + 2.5),
    ]
    return Drawing(
        width_mm=max(width_mm, 90.0),
        height_mm=height_mm + FOOT_MM,
        marks=tuple(marks),
        title=title,
        description=f"{description} Drawn at 1 : {scale}.",
    )


def _around(scene: Scene, scale: float) -> tuple[Point, Point]:
    """The paper needed left of and above the cloth, and right of and below it, for letters and numbers, mm."""
    paper = Paper(scale=scale, left_mm=0, top_mm=0, x_mm=0, y_mm=0)
    rows = rows_outside(scene.bench, scene.steps, paper)
    along = [NAME_MM + LETTERS_MM + count * ROW_MM for count in rows]
    if scene.bench.reading.crosswise:
        return (along[0], BESIDE_MM), (along[1], BESIDE_MM)
    return (BESIDE_MM, along[0]), (BESIDE_MM, along[1])


def _cut_lines(scene: Scene, paper: Paper) -> list[Mark]:
    lines = [tuple(paper.point(p) for p in (cut.start, cut.end)) for step in scene.steps for cut in step.cuts]
    return [
        *(Line(points=line, stroke=WHITE, width_mm=0.9) for line in lines),
        *(Line(points=line, stroke=INK, width_mm=0.42) for line in lines),
    ]


def _stations(scene: Scene, paper: Paper) -> list[Mark]:
    return [
        Line(points=(paper.point(one.start), paper.point(one.end)), stroke=ACCENT, width_mm=0.3, dash_mm=(1.6, 1.0))
        for one in scene.stations
        if one.chalked
    ]


def _part_labels(scene: Scene, paper: Paper) -> list[Mark]:
    return [mark for placement in scene.placements for mark in _part_label(scene, paper, placement)]


def _part_label(scene: Scene, paper: Paper, placement: Placement) -> list[Mark]:
    a, b, c, _ = (paper.point(point) for point in placement.outline_mm)
    centre = ((a[0] + c[0]) / 2, (a[1] + c[1]) / 2)
    sides = sorted(((math.dist(a, b), a, b), (math.dist(b, c), b, c)), key=lambda side: side[0])
    (across, *_), (along, start, end) = sides
    turn = math.degrees(math.atan2(start[1] - end[1], end[0] - start[0]))
    turn = (turn + 90 - 1e-6) % 180 - 90 + 1e-6
    cut = cut_size(placement)
    name = scene.title(placement) + _laid(placement)
    measure = f"cut {inch(cut[0]).removesuffix(' in')} × {inch(cut[1])}"
    size = min(LABEL_MM, max(LEAST_LABEL_MM, across - 1.0))
    if across >= UPRIGHT_MM and (along < 1.8 * across or across > 2 * UPRIGHT_MM):
        size = min(3.4, 0.14 * across)
        if abs(turn) > 45:
            along, turn = across, turn - math.copysign(90, turn)
    along -= 2 * ENDS_MM if across < UPRIGHT_MM else 2.0
    lines = [(name, True), (measure, False)]
    if across < 2 * size * 1.3 + 1.4:
        lines = [(f"{name} · {measure}", True)]
        if width(lines[0][0], size, bold=True) > along:
            lines = [(name, True)]
    widest = max(width(text, size, bold=bold) for text, bold in lines)
    size = max(LEAST_LABEL_MM, size * min(1.0, along / widest))
    return _pill(centre, [(fitted(text, size, along, bold=bold), bold) for text, bold in lines], size, turn)


def _laid(placement: Placement) -> str:
    """What is done with the strip once it is cut, where anything is: it lies turned, or is turned over."""
    return (" · turned" if placement.turned else "") + (" · turn over" if placement.over else "")


def _pill(centre: Point, lines: Sequence[tuple[str, bool]], size: float, turn_deg: float) -> list[Mark]:
    """Lines of text on a white ground about a centre, turned."""
    wide = max(width(text, size, bold=bold) for text, bold in lines) + 1.6
    high = len(lines) * size * 1.25 + 0.5
    angle = math.radians(turn_deg)
    right, down = (math.cos(angle), -math.sin(angle)), (math.sin(angle), math.cos(angle))

    def at(x: float, y: float) -> Point:
        return centre[0] + x * right[0] + y * down[0], centre[1] + x * right[1] + y * down[1]

    corners = ((-wide / 2, -high / 2), (wide / 2, -high / 2), (wide / 2, high / 2), (-wide / 2, high / 2))
    marks: list[Mark] = [Area(rings=(tuple(at(x, y) for x, y in corners),), fill=WHITE)]
    for index, (text, bold) in enumerate(lines):
        x, y = at(0.0, -high / 2 + 0.25 + size * (0.98 + 1.25 * index))
        marks.append(Words(x_mm=x, y_mm=y, text=text, size_mm=size, bold=bold, anchor="middle", turn_deg=turn_deg))
    return marks


def _left_over(scene: Scene, paper: Paper) -> list[Mark]:
    marks: list[Mark] = []
    for leftover in scene.leftovers:
        shape = Polygon(leftover.outline_mm, leftover.holes_mm).buffer(0)
        left, top, right, bottom = shape.bounds
        if min(right - left, bottom - top) / paper.scale < NAMED_LEFT_MM:
            continue
        spot = _roomiest(shape)
        marks += _pill(paper.point(spot), [("over", False)], 2.5, 0.0)
    return marks


def _roomiest(shape: Polygon) -> Point:
    largest = max(getattr(shape, "geoms", [shape]), key=lambda part: part.area)
    line = maximum_inscribed_circle(largest, tolerance=10.0)
    x, y = line.coords[0]
    return float(x), float(y)


def _letters(scene: Scene, paper: Paper) -> list[Mark]:
    """Each stripe's letter at the head and at the foot of the piece; those that are cut with their number too."""
    marks: list[Mark] = []
    reading = scene.bench.reading
    if not scene.stations:
        return marks
    counts = _counts(scene)
    cut = {round(one.u_mm, 3) for one in scene.shown}
    labels = {one.stripe.label for one in scene.shown}
    order = sorted(
        reading.occurrences(),
        key=lambda one: (round(one.u_mm, 3) not in cut, one.stripe.label not in labels, -one.stripe.width_mm),
    )
    for head in (True, False):
        taken: list[tuple[float, float]] = []
        for one in order:
            text = f"{one.stripe.label}{counts.get((one.stripe.label, round(one.u_mm, 3)), '')}"
            is_cut = round(one.u_mm, 3) in cut
            half = width(text, LETTER_MM, bold=is_cut) / 2 + 0.35
            place = _letter_place(scene, one, paper, head=head)
            if place is None:
                continue
            across = place[1] if reading.crosswise else place[0]
            half = LETTER_MM / 2 if reading.crosswise else half
            if any(across - half < b and across + half > a for a, b in taken):
                continue
            taken.append((across - half, across + half))
            marks.append(
                Words(
                    x_mm=place[0], y_mm=place[1] + 0.85, text=text, size_mm=LETTER_MM, bold=is_cut, anchor="middle",
                    fill=INK if is_cut else GREY,
                )
            )  # fmt: skip
    return marks


def _letter_place(scene: Scene, one: Occurrence, paper: Paper, *, head: bool) -> Point | None:
    """Beyond the end of a stripe, where that end lies on the piece's head or foot and not on its side."""
    bench = scene.bench
    low, high = one.span
    us = [bench.reading.u(point) for point in bench.reading.piece.outline_mm]
    u = (max(low, min(us)) + min(high, max(us))) / 2
    station = scene.stations[0]
    seen = sorted(min(max(station.t(side), 0.0), station.length_mm) for side in one.span)
    if head and seen[1] > seen[0]:
        u = bench.reading.u(station.point((seen[0] + seen[1]) / 2))
    end = _end_of(bench, u, head=head)
    if end is None:
        return None
    dx, dy = outward(bench, head=head, by=2.6)
    beyond = Spot(end[0] + dx * paper.scale, end[1] + dy * paper.scale)
    if bench.cloth.distance(beyond) < 1.5 * paper.scale:
        return None
    x, y = paper.point(end)
    return x + dx, y + dy


def _counts(scene: Scene) -> dict[tuple[str, float], int]:
    labels = dict.fromkeys(one.stripe.label for one in scene.shown)
    return {
        (label, round(one.u_mm, 3)): number
        for label in labels
        for number, one in enumerate(scene.stations[0].counted(label), 1)
    }


def _end_of(bench: Bench, u: float, *, head: bool) -> Point | None:
    """Where the line p·n = u first meets the cloth, from the head or from the foot."""
    line = bench.cloth.boundary.intersection(_long_line(bench, u))
    points = [p for part in getattr(line, "geoms", [line]) if not part.is_empty for p in part.coords]
    if not points:
        return None
    chosen = (min if head else max)(points, key=lambda p: bench.v_sign * bench.reading.v((p[0], p[1])))
    return float(chosen[0]), float(chosen[1])


def _long_line(bench: Bench, u: float) -> LineString:
    far = 2 * sum(abs(c) for c in bench.cloth.bounds) + 1
    return LineString([bench.reading.at(u, -far), bench.reading.at(u, far)])


def _sides(scene: Scene, paper: Paper, width_mm: float, height_mm: float) -> list[Mark]:
    reading = scene.bench.reading
    middle, centre = height_mm / 2, width_mm / 2

    def name(side: str, x_mm: float, y_mm: float, turn_deg: float = 0.0) -> Words:
        text = reading.edge(side)
        return Words(x_mm=x_mm, y_mm=y_mm, text=text, turn_deg=turn_deg, size_mm=2.7, fill=GREY, anchor="middle")

    return [
        Line(points=((2.6, 11.5), (2.6, 2.2)), stroke=ACCENT, width_mm=0.4),
        Area(rings=(((2.6, 0.6), (3.9, 3.4), (1.3, 3.4)),), fill=ACCENT),
        Words(x_mm=2.6, y_mm=14.6, text="TOP", size_mm=2.7, bold=True, anchor="middle", fill=ACCENT),
        name("top", centre, 3.0),
        name("bottom", centre, height_mm - 0.8),
        name("left", 4.2, middle, turn_deg=90),
        name("right", width_mm - 2.6, middle, turn_deg=90),
    ]


def _scale_bar(scale: float, y_mm: float) -> list[Mark]:
    """A bar of whole inches and one of whole centimetres, by which the drawing can be measured."""
    inches = next((n for n in (1, 2, 5, 10, 20, 50, 100) if n * 25.4 / scale >= 18), 100)
    cell = inches * 25.4 / scale / 4
    bars = [
        Area(rings=(box(index * cell, y_mm, cell, 1.1),), fill=fill, stroke=INK, width_mm=0.12)
        for index, fill in enumerate((INK, WHITE, INK, WHITE))
    ]
    text = f"{inches} in ({inches * 2.54:g} cm) of cloth  ·  drawn at 1 : {scale:g}  ·  right side up"
    return [*bars, Words(x_mm=4 * cell + 2, y_mm=y_mm + 1.6, text=text, size_mm=2.75, fill=GREY)]
