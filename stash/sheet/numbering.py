"""The numbers of the cuts on a figure: each in a disc where its cut begins, none upon another."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from shapely.geometry import Point as Spot
from shapely.geometry import Polygon

from stash.piece import Point
from stash.sheet.cloth_figure import Paper
from stash.sheet.cutting import Bench, Cut, Step, span
from stash.sheet.drawing import ACCENT, WHITE, Disc, Line, Mark, Words

DISC_MM: Final = 2.05
#: Between rows of discs outside the cloth, and the rows there may be, mm.
ROW_MM: Final = 4.5
ROWS: Final = 4
#: Between the cloth and the first row, for the stripes' letters, mm.
LETTERS_MM: Final = 5.0


def rows_outside(bench: Bench, steps: Sequence[Step], paper: Paper) -> tuple[int, int]:
    """How many rows of discs stand beyond the head and beyond the foot of the piece."""
    rows = {True: 0, False: 0}
    for _, head, row, _ in _outside(bench, steps, paper):
        rows[head] = max(rows[head], row + 1)
    return rows[True], rows[False]


def numbers(bench: Bench, steps: Sequence[Step], paper: Paper, labels: Sequence[Polygon]) -> list[Mark]:
    """All the discs: of long cuts outside the cloth where they begin, of the others on their lines.

    ``labels``: the grounds of the parts' names, on which no disc lies where it can lie elsewhere. The lines to the
    discs are drawn before all discs, so that none crosses a number out.
    """
    lines: list[Mark] = []
    marks: list[Mark] = []
    discs: list[Point] = []
    placed = set()
    for cut, _, _, place in _outside(bench, steps, paper):
        discs.append(place)
        placed.add(cut.number)
        lines.append(_leader(paper.point(cut.start), place))
        marks += _disc(place, cut.number)
    for step in steps:
        for cut in step.cuts:
            if cut.number not in placed:
                on, place = (
                    _on_line(list(_places(bench, step, cut, paper)), discs, labels) or (paper.point(cut.start),) * 2
                )
                discs.append(place)
                lines += [_leader(on, place)] if on != place else []
                marks += _disc(place, cut.number)
    return [*lines, *marks]


def _leader(on: Point, place: Point) -> Line:
    return Line(points=(on, place), stroke=ACCENT, width_mm=0.22)


def outward(bench: Bench, *, head: bool, by: float) -> Point:
    """The way off the cloth along the stripes, beyond its head or its foot."""
    sign = -bench.v_sign if head else bench.v_sign
    return bench.reading.d[0] * sign * by, bench.reading.d[1] * sign * by


def _outside(bench: Bench, steps: Sequence[Step], paper: Paper) -> Iterator[tuple[Cut, bool, int, Point]]:
    """Each long cut from the edge: whether from the head, the row of its disc, and the disc's place."""
    rows: dict[bool, list[list[float]]] = {True: [], False: []}
    for step in steps:
        for cut in step.cuts:
            if step.kind != "along" or cut.entry != "edge":
                continue
            head = bench.v_sign * (bench.reading.v(cut.end) - bench.reading.v(cut.start)) > 0
            start = paper.point(cut.start)
            across = start[1] if bench.reading.crosswise else start[0]
            row = _free_row(rows[head], across)
            rows[head][row].append(across)
            dx, dy = outward(bench, head=head, by=LETTERS_MM + DISC_MM + row * ROW_MM)
            yield cut, head, row, (start[0] + dx, start[1] + dy)


def _free_row(rows: list[list[float]], across: float) -> int:
    for index, taken in enumerate(rows):
        if all(abs(across - other) > 2 * DISC_MM + 0.3 for other in taken):
            return index
    if len(rows) < ROWS:
        rows.append([])
    return len(rows) - 1


def _on_line(
    places: Sequence[tuple[Point, Point]], discs: Sequence[Point], labels: Sequence[Polygon]
) -> tuple[Point, Point] | None:
    """Where a disc stands by its line, inside the part that the cut frees, or beside where a line begins in the cloth.

    Upon no other disc, and on no label if that can be; None where there is no room.
    """
    apart = [(on, place) for on, place in places if all(math.dist(place, other) > 2 * DISC_MM + 0.2 for other in discs)]
    clear = ((on, place) for on, place in apart if all(label.distance(Spot(place)) >= DISC_MM for label in labels))
    return next(clear, apart[0] if apart else None)


def _places(bench: Bench, step: Step, cut: Cut, paper: Paper) -> Iterator[tuple[Point, Point]]:
    start, end = paper.point(cut.start), paper.point(cut.end)
    length = math.dist(start, end) or 1.0
    ahead = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    side = (-ahead[1], ahead[0])
    inward = _inward(bench, step, cut)
    sign = inward if step.kind == "across" else -inward
    shares = (0.5, 0.3, 0.7) if step.kind == "across" else (min(0.5, 3 / length), min(0.5, 9 / length))
    for off in (2.7, 0.0, -2.7, 5.4, -5.4, 9.0, -9.0, 13.5, -13.5):
        for share in shares:
            on = (start[0] + ahead[0] * length * share, start[1] + ahead[1] * length * share)
            yield on, (on[0] + side[0] * off * sign, on[1] + side[1] * off * sign)
    for before, off in ((2.9, 0.0), (2.9, -2.7), (5.8, -2.7), (8.7, -2.7)) if step.kind == "along" else ():
        x, y = start[0] + side[0] * off * sign, start[1] + side[1] * off * sign
        yield start, (x - ahead[0] * before, y - ahead[1] * before)


def _inward(bench: Bench, step: Step, cut: Cut) -> int:
    """On which side of its line the part lies that a cut belongs to: +1 to the left hand of the drawn normal."""
    reading = bench.reading
    middle = ((cut.start[0] + cut.end[0]) / 2, (cut.start[1] + cut.end[1]) / 2)
    normal = (cut.start[1] - cut.end[1], cut.end[0] - cut.start[0])
    centres = [
        reading.at((step.lane.low_u_mm + step.lane.high_u_mm) / 2, sum(span(bench, one)) / 2)
        for one in step.lane.placements
    ]
    nearest = min(centres, key=lambda centre: math.dist(centre, middle))
    towards = (nearest[0] - middle[0]) * normal[0] + (nearest[1] - middle[1]) * normal[1]
    return 1 if towards >= 0 else -1


def _disc(place: Point, number: int) -> list[Mark]:
    size = 2.5 if number < 10 else 2.2 if number < 100 else 1.7
    return [
        Disc(x_mm=place[0], y_mm=place[1], radius_mm=DISC_MM, fill=ACCENT, stroke=WHITE, width_mm=0.3),
        Words(
            x_mm=place[0], y_mm=place[1] + size * 0.36, text=str(number), size_mm=size, bold=True, anchor="middle",
            fill=WHITE,
        ),
    ]  # fmt: skip
