"""The cuts of a piece told in stripes, with a distance beside each as a check."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from shapely.geometry import LinearRing, LineString
from shapely.ops import unary_union

from stash.planner.plan import Placement
from stash.sheet.counting import ALIKE_MM, Occurrence, Reading, Station
from stash.sheet.cutting import ON_EDGE_MM, Bench, Cut, Lane, Step, cloth_ends, span
from stash.sheet.wording import both, inch, listed

#: A line this near to a stripe's edge, mm, runs on it (half of 1/16 in).
ON_STRIPE_EDGE_MM: Final = 0.8

#: A cut as near to the head edge as this, mm, only squares off the end of a strip (practice).
TRIM_MM: Final = 5.0

#: A cut that goes along so much of a part's outline, mm, that was not cut before makes one of its sides; along less it
#: only meets a corner.
SIDE_MM: Final = 5.0

Title = Callable[[Placement], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Instruction:
    """One step for the shears: the numbers of its cuts, where they run, and the distances to check them by."""

    numbers: tuple[int, ...]
    tell: str
    check: str
    frees: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Teller:
    """Tells the steps of one piece."""

    bench: Bench
    stations: tuple[Station, ...]
    title: Title

    @property
    def reading(self) -> Reading:
        """The piece's reading."""
        return self.bench.reading

    def tell(self, steps: Sequence[Step]) -> tuple[Instruction, ...]:
        """All the steps in words, each with the parts that are free after it: the last of their sides is cut."""
        told = ({"along": self._along, "across": self._across, "free": self._free}[one.kind](one) for one in steps)
        return tuple(
            _freeing(one, [self.title(part) for part in free])
            for one, free in zip(told, self._freed(steps), strict=True)
        )

    def _freed(self, steps: Sequence[Step]) -> list[list[Placement]]:
        """For each step the parts of which it cuts the last side."""
        last: dict[tuple[str, int], int] = {}
        parts = {(part.part, part.segment): part for step in steps for part in step.lane.placements}
        for key, part in parts.items():
            uncut = LinearRing(part.outline_mm)
            for index, step in enumerate(steps):
                left = uncut.difference(unary_union([cut.line.buffer(ON_EDGE_MM) for cut in step.cuts]))
                if uncut.length - left.length > SIDE_MM:
                    last[key], uncut = index, left
        return [[parts[key] for key, at in last.items() if at == index] for index in range(len(steps))]

    def station(self, lane: Lane) -> Station:
        """Where a lane's stripe is counted: the first station that its two lines cross."""
        lines = (lane.low_u_mm, lane.high_u_mm)
        return next((one for one in self.stations if all(one.reaches(u) for u in lines)), self.stations[0])

    def shown(self, lane: Lane) -> Occurrence | None:
        """The stripe that a lane shows, or None."""
        low, high = sorted((lane.low_u_mm, lane.high_u_mm))
        inside = [
            one for one in self.reading.occurrences() if one.stripe.label == lane.label and low <= one.u_mm <= high
        ]
        return min(inside, key=lambda one: abs(one.u_mm - (low + high) / 2), default=None)

    def _along(self, step: Step) -> Instruction:
        lane, station = step.lane, self.station(step.lane)
        occurrence = self.shown(lane)
        fresh = {u: [cut for cut in step.cuts if self._on(cut, u)] for u in (lane.low_u_mm, lane.high_u_mm)}
        where = self._by_stripe(station, lane, occurrence, fresh) if occurrence else self._by_edge(station, lane, fresh)
        checks = [
            f"{listed([str(cut.number) for cut in cuts])} at {both(station.t(u))}" for u, cuts in fresh.items() if cuts
        ]
        return Instruction(
            numbers=tuple(cut.number for cut in step.cuts),
            tell=f"{where}. {self._stop(step)}.",
            check=f"{', '.join(checks)} {station.place} from the {self.reading.low}",
        )

    def _by_stripe(self, station: Station, lane: Lane, occurrence: Occurrence, fresh: dict[float, list[Cut]]) -> str:
        low, high = sorted(occurrence.span, key=station.t)
        outs = (station.t(low) - station.t(lane.low_u_mm), station.t(lane.high_u_mm) - station.t(high))
        name = f"{station.name(occurrence)} from the {self.reading.low}"
        name = name[0].upper() + name[1:]
        near, far = self.reading.sides
        new = [bool(fresh[lane.low_u_mm]), bool(fresh[lane.high_u_mm])]
        if all(new) and abs(outs[0] - outs[1]) < ALIKE_MM:
            return f"{name}: {_offset(sum(outs) / 2)} each edge of it"
        sides = tuple(zip(outs, (near, far), new, strict=True))
        said = [f"{_offset(out)} its {side} edge" for out, side, is_new in sides if is_new]
        done = [side for _, side, is_new in sides if not is_new]
        rest = f"; its {listed(done)} line is there already" if done else ""
        return f"{name}: {listed(said)}{rest}"

    def _by_edge(self, station: Station, lane: Lane, fresh: dict[float, list[Cut]]) -> str:
        names = listed([self.title(one) for one in lane.placements])
        said = []
        for u, cuts in fresh.items():
            if cuts:
                near = self._beside(station, u)
                said.append(near or f"{inch(station.t(u))} from the {self.reading.low}")
        way = "along the stripes" if self.reading.occurrences() else "straight along the grain"
        return f"For {names}, {way}: {listed(said)}"

    def _beside(self, station: Station, u: float) -> str | None:
        """A line told by the stripe in which it runs."""
        for one in self.reading.occurrences():
            low, high = sorted(one.span)
            if low <= u <= high:
                edges = sorted(one.span, key=station.t)
                offset = [abs(station.t(u) - station.t(edge)) for edge in edges]
                side = 0 if offset[0] <= offset[1] else 1
                if offset[side] < ON_STRIPE_EDGE_MM:
                    return f"on the {self.reading.sides[side]} edge of the {station.name(one)}"
                return f"{inch(offset[side])} inside the {self.reading.sides[side]} edge of the {station.name(one)}"
        return None

    def _stop(self, step: Step) -> str:
        if all(cut.through for cut in step.cuts):
            return "Right through, edge to edge"
        longest = inch(max(math.dist(cut.start, cut.end) for cut in step.cuts))
        inside = [str(cut.number) for cut in step.cuts if cut.entry == "inside"]
        if inside:
            begin = f"{listed(inside)} begin{'s' if len(inside) == 1 else ''} inside the cloth"
            return f"{longest} long. {begin}: pinch the line, snip, and cut both ways to its ends"
        return f"From {self._begins(step.cuts[0])}, {longest} long, then stop"

    def _begins(self, cut: Cut) -> str:
        if cut.entry == "cut":
            return "the earlier cut"
        away = self.bench.v_sign * (self.reading.v(cut.end) - self.reading.v(cut.start))
        names = ("left", "right") if self.reading.crosswise else ("top", "bottom")
        return f"the {self.reading.edge(names[0 if away > 0 else 1])}"

    def _on(self, cut: Cut, u: float) -> bool:
        return abs(self.reading.u(cut.start) - u) < 0.5

    def _across(self, step: Step) -> Instruction:
        lane = step.lane
        occurrence = self.shown(lane)
        station = self.station(lane)
        sign = self.bench.v_sign
        spans = [tuple(sorted(sign * v for v in span(self.bench, one))) for one in lane.placements]
        head, _ = cloth_ends(self.bench, lane.low_u_mm, sum(spans[0]) / 2)
        checks = [self._end(cut.number, sign * self.reading.v(cut.start) - head) for cut in step.cuts]
        strip = f" the strip of the {station.name(occurrence)}" if occurrence else ""
        side = self.reading.sides[0]
        return Instruction(
            numbers=tuple(cut.number for cut in step.cuts),
            tell=f"Square across{strip or f' {self._names(lane)}'}.",
            check=f"{', '.join(checks)} along its {side} line, from the {self.reading.head}",
        )

    def _end(self, number: int, down_mm: float) -> str:
        return f"{number} at {both(down_mm)}" if down_mm > TRIM_MM else f"{number} squares off the end"

    def _names(self, lane: Lane) -> str:
        return listed([self.title(one) for one in lane.placements])

    def _free(self, step: Step) -> Instruction:
        (placement,) = step.lane.placements
        spots = "; ".join(self._spot(point) for point in placement.outline_mm)
        return Instruction(
            numbers=tuple(cut.number for cut in step.cuts),
            tell=f"Chalk the four corners of {self.title(placement)}, which does not lie along the stripes; join them "
            "and cut along the lines.",
            check=f"corners at {spots} (from the cloth's edge to the left, and from its edge above)",
        )

    def _spot(self, point: tuple[float, float]) -> str:
        """How far a point lies from the cloth's edge to its left, and from its edge above."""
        ring = self.bench.cloth.exterior
        far = sum(abs(c) for c in self.bench.cloth.bounds) + 1
        distances = []
        for step in ((-far, 0.0), (0.0, -far)):
            ray = LineString([point, (point[0] + step[0], point[1] + step[1])]).intersection(ring)
            hits = [point] if ray.is_empty else [p for part in getattr(ray, "geoms", [ray]) for p in part.coords]
            away = [d for p in hits if (d := math.dist(p, point)) > ON_EDGE_MM]
            distances.append(inch(min(away, default=0.0)))
        return " and ".join(distances)


def _freeing(told: Instruction, names: list[str]) -> Instruction:
    """The instruction, with what is free after it."""
    if not names:
        return told
    line = told.tell.removesuffix(".").removesuffix(f" {listed(names)}")
    return replace(told, tell=f"{line}; this frees {listed(names)}.", frees=tuple(names))


def _offset(out_mm: float) -> str:
    if abs(out_mm) < ON_STRIPE_EDGE_MM:
        return "on"
    return f"{inch(abs(out_mm))} {'outside' if out_mm > 0 else 'inside'}"
