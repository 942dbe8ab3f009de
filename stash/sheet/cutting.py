"""The cut lines of one piece, and the order in which shears take them.

Long cuts along the stripes come first, those from edge to edge before all, from one side of the piece inwards; then
the cuts across, which free the parts. A cut begins at the cloth's edge or at an earlier cut wherever it can. The lines
are the parts' own outlines, so that what is left keeps the shape the plan gives it; only the last little way to an edge
is added.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Spot
from shapely.ops import unary_union

from stash.piece import Point
from stash.planner.plan import Placement
from stash.sheet.counting import Reading

#: A line as near to the cloth's edge as this, mm, is the edge: shears cannot take less off (practice: 1/32 in).
ON_EDGE_MM: Final = 0.8
#: Lines of two parts nearer to each other than this are one cut, mm (the contract's equality, and rounding).
ONE_LINE_MM: Final = 0.05
#: A cut that would stop this near to the edge, mm, runs out to it (practice: 5/8 in, a skewed strip's corner).
RUN_OUT_MM: Final = 16.0
#: A side within this of the stripes' direction, degrees, runs along them: 0.5 mm over 600 mm.
PARALLEL_DEG: Final = 0.05
#: An end as near to an edge or an earlier cut as this, mm, is open to the shears.
OPEN_MM: Final = 1.0

Entry = Literal["edge", "cut", "inside"]
Kind = Literal["along", "across", "free"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """Parts cut from one band of the piece: between p·n = low and high (as counted), mm."""

    low_u_mm: float
    high_u_mm: float
    placements: tuple[Placement, ...]

    @property
    def label(self) -> str | None:
        """The stripe that the band shows, None for a panel."""
        return self.placements[0].stripe


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One stroke of the shears from ``start`` to ``end``, numbered from 1."""

    start: Point
    end: Point
    number: int = 0
    entry: Entry = "edge"
    through: bool = False

    @property
    def line(self) -> LineString:
        """The stroke as geometry."""
        return LineString([self.start, self.end])


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What is cut in one go: the two sides of a lane, the ends of its parts, or a panel that lies askew."""

    kind: Kind
    lane: Lane
    cuts: tuple[Cut, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The piece as geometry, with the parts on it."""

    reading: Reading
    cloth: Polygon
    parts: tuple[Polygon, ...]
    u_sign: int
    v_sign: int


def bench(reading: Reading, placements: Iterable[Placement]) -> Bench:
    """Lay the piece out with the parts to be cut."""
    piece = reading.piece
    sideways, away = (1, 0) if reading.crosswise else (0, 1)
    return Bench(
        reading=reading,
        cloth=Polygon(piece.outline_mm, piece.holes_mm).buffer(0),
        parts=tuple(Polygon(placement.outline_mm) for placement in placements),
        u_sign=1 if reading.n[sideways] > 0 else -1,
        v_sign=1 if reading.d[away] > 0 else -1,
    )


def cutting(bench: Bench, placements: Sequence[Placement]) -> tuple[Step, ...]:
    """All the cuts of a piece in the order of cutting, numbered."""
    lanes, askew = _lanes(bench, placements)
    waiting: list[tuple[tuple[int, float], Step]] = []
    taken: list[Cut] = []
    for lane in lanes:
        cuts = _along(bench, lane, taken)
        taken += cuts
        through = all(cut.through for cut in cuts)
        place = bench.u_sign * (lane.low_u_mm + lane.high_u_mm) / 2
        waiting.append(((0 if through else 1, place), Step(kind="along", lane=lane, cuts=tuple(cuts))))
        waiting.append(((2, place), Step(kind="across", lane=lane, cuts=tuple(_across(bench, lane)))))
    for placement in askew:
        us = [bench.reading.u(point) for point in placement.outline_mm]
        lane = Lane(low_u_mm=min(us), high_u_mm=max(us), placements=(placement,))
        waiting.append(((1, bench.u_sign * min(us)), Step(kind="free", lane=lane, cuts=tuple(_free(bench, placement)))))
    ordered = [step for _, step in sorted(waiting, key=lambda pair: pair[0]) if step.cuts]
    return _numbered(bench, ordered)


def _lanes(bench: Bench, placements: Sequence[Placement]) -> tuple[list[Lane], list[Placement]]:
    bands: list[Lane] = []
    askew: list[Placement] = []
    for placement in placements:
        if not _parallel(bench.reading, placement):
            askew.append(placement)
            continue
        us = sorted((bench.reading.u(point) for point in placement.outline_mm), key=lambda u: bench.u_sign * u)
        for index, band in enumerate(bands):
            same = abs(band.low_u_mm - us[0]) < ONE_LINE_MM and abs(band.high_u_mm - us[-1]) < ONE_LINE_MM
            if same and band.label == placement.stripe:
                bands[index] = replace(band, placements=(*band.placements, placement))
                break
        else:
            bands.append(Lane(low_u_mm=us[0], high_u_mm=us[-1], placements=(placement,)))

    def head(placement: Placement) -> float:
        return min(bench.v_sign * bench.reading.v(point) for point in placement.outline_mm)

    tidy = [replace(band, placements=tuple(sorted(band.placements, key=head))) for band in bands]
    return sorted(tidy, key=lambda band: bench.u_sign * (band.low_u_mm + band.high_u_mm)), askew


def _parallel(reading: Reading, placement: Placement) -> bool:
    """Whether all sides run along the stripes or square to them; a strip on the bias has ends that do."""
    a, b, c = placement.outline_mm[:3]
    return _straight(reading, a, b) and _straight(reading, b, c)


def _straight(reading: Reading, a: Point, b: Point) -> bool:
    du, dv = abs(reading.u(b) - reading.u(a)), abs(reading.v(b) - reading.v(a))
    return math.degrees(math.atan2(min(du, dv), max(du, dv))) < PARALLEL_DEG


def span(bench: Bench, placement: Placement) -> tuple[float, float]:
    """Where a part lies along the stripes, the head end first, in v = p·d, mm."""
    vs = sorted((bench.reading.v(point) for point in placement.outline_mm), key=lambda v: bench.v_sign * v)
    return vs[0], vs[-1]


def _along(bench: Bench, lane: Lane, taken: list[Cut]) -> list[Cut]:
    return [
        cut
        for u in (lane.low_u_mm, lane.high_u_mm)
        for start, end in _runs(bench, lane, u)
        for cut in _not_yet(bench, u, start, end, taken)
    ]


def _runs(bench: Bench, lane: Lane, u: float) -> list[tuple[float, float]]:
    """The stretches of the line p·n = u that are cut for a lane, in sign·v from the head, run out to near edges."""
    runs: list[list[float]] = []
    for low, high in sorted(tuple(bench.v_sign * v for v in span(bench, one)) for one in lane.placements):
        if runs and low - runs[-1][1] <= RUN_OUT_MM and _clear(bench, u, runs[-1][1], low):
            runs[-1][1] = max(runs[-1][1], high)
        else:
            runs.append([low, high])
    for run in runs:
        head, foot = cloth_ends(bench, u, (run[0] + run[1]) / 2)
        if 0 < run[0] - head <= RUN_OUT_MM and _clear(bench, u, head, run[0]):
            run[0] = head
        if 0 < foot - run[1] <= RUN_OUT_MM and _clear(bench, u, run[1], foot):
            run[1] = foot
    return [(run[0], run[1]) for run in runs]


def cloth_ends(bench: Bench, u: float, at: float) -> tuple[float, float]:
    """Where the line p·n = u, followed both ways from sign·v = at, leaves the cloth: head and foot in sign·v, mm."""
    far = 2 * sum(abs(c) for c in bench.cloth.bounds) + 1
    reading, sign = bench.reading, bench.v_sign
    middle = bench.cloth.buffer(ON_EDGE_MM).intersection(LineString([reading.at(u, sign * v) for v in (-far, far)]))
    best = (at, at)
    for part in getattr(middle, "geoms", [middle]):
        if part.geom_type == "LineString" and not part.is_empty:
            low, high = sorted(sign * reading.v(point) for point in (part.coords[0], part.coords[-1]))
            if low - ON_EDGE_MM <= at <= high + ON_EDGE_MM:
                best = (min(at, low + ON_EDGE_MM), max(at, high - ON_EDGE_MM))
    return best


def _clear(bench: Bench, u: float, low: float, high: float) -> bool:
    """Whether the line may be cut between two places without cutting into a part."""
    if high - low < ON_EDGE_MM:
        return True
    line = LineString([bench.reading.at(u, bench.v_sign * v) for v in (low, high)])
    return all(line.intersection(part.buffer(-ONE_LINE_MM)).length < ONE_LINE_MM for part in bench.parts)


def _not_yet(bench: Bench, u: float, low: float, high: float, taken: list[Cut]) -> list[Cut]:
    """What of the line is neither the cloth's edge nor cut already."""
    line = LineString([bench.reading.at(u, bench.v_sign * v) for v in (low, high)])
    done = [cut.line.buffer(4 * ONE_LINE_MM, cap_style="flat") for cut in taken]
    left = line.difference(unary_union([bench.cloth.exterior.buffer(ON_EDGE_MM), *done]))
    whole = [part for part in getattr(left, "geoms", [left]) if part.length > RUN_OUT_MM / 2]
    return [_cut(bench, part.coords[0], part.coords[-1]) for part in whole]


def _cut(bench: Bench, start: Point, end: Point) -> Cut:
    """A cut with its ends drawn out over the small gap that was taken off at the cloth's edge."""
    length = math.dist(start, end)
    step = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)

    def out(point: Point, sign: int) -> tuple[Point, bool]:
        if bench.cloth.exterior.distance(Spot(point)) > 2 * ON_EDGE_MM:
            return (point[0], point[1]), False
        ray = LineString([point, (point[0] + sign * 9 * step[0], point[1] + sign * 9 * step[1])])
        hit = ray.intersection(bench.cloth.exterior)
        if hit.is_empty:
            return (point[0], point[1]), True
        nearest = min((part.coords[0] for part in getattr(hit, "geoms", [hit])), key=lambda p: math.dist(p, point))
        return (nearest[0], nearest[1]), True

    (first, at_start), (last, at_end) = out(start, -1), out(end, 1)
    return Cut(start=first, end=last, through=at_start and at_end)


def _across(bench: Bench, lane: Lane) -> list[Cut]:
    ends: list[float] = []
    for v in sorted(bench.v_sign * v for one in lane.placements for v in span(bench, one)):
        if not ends or v - ends[-1] > ONE_LINE_MM:
            ends.append(v)
    lines = [
        (bench.reading.at(lane.low_u_mm, bench.v_sign * v), bench.reading.at(lane.high_u_mm, bench.v_sign * v))
        for v in ends
    ]
    return [Cut(start=a, end=b) for a, b in lines if not _is_edge(bench, a, b)]


def _free(bench: Bench, placement: Placement) -> list[Cut]:
    outline = placement.outline_mm
    sides = [(outline[i], outline[(i + 1) % 4]) for i in range(4)]
    return [_cut(bench, a, b) for a, b in sides if not _is_edge(bench, a, b)]


def _is_edge(bench: Bench, a: Point, b: Point) -> bool:
    return bool(LineString([a, b]).within(bench.cloth.exterior.buffer(ON_EDGE_MM)))


def _numbered(bench: Bench, steps: list[Step]) -> tuple[Step, ...]:
    """The steps in an order in which each, where it can, begins at an edge or at a cut made before."""
    waiting = list(steps)
    done: list[Step] = []
    made: list[Cut] = []
    while waiting:
        step = next((one for one in waiting if _open(bench, one, made)), waiting[0])
        waiting.remove(step)
        cuts: list[Cut] = []
        for cut in step.cuts:
            cuts.append(_entered(bench, replace(cut, number=len(made) + 1), made))
            made.append(cuts[-1])
        done.append(replace(step, cuts=tuple(cuts)))
    return tuple(done)


def _open(bench: Bench, step: Step, made: list[Cut]) -> bool:
    return _entered(bench, step.cuts[0], made).entry != "inside"


def _entered(bench: Bench, cut: Cut, made: list[Cut]) -> Cut:
    ends = (cut.start, cut.end)
    for a, b in (ends, ends[::-1]):
        if bench.cloth.boundary.distance(Spot(a)) <= OPEN_MM:
            return replace(cut, start=a, end=b, entry="edge")
    for a, b in (ends, ends[::-1]):
        if any(other.line.distance(Spot(a)) <= OPEN_MM for other in made):
            return replace(cut, start=a, end=b, entry="cut")
    return replace(cut, entry="inside")
