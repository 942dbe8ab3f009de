"""Questions whose answer is yes by construction: a plan is laid on random cloth first, then its parts are asked for.

What is laid obeys every rule of the contract, which the audit confirms, so a no is false whatever its proof says.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from typing import Any

from stash.garment.part import Panel, Part, Strip
from stash.planner.audit_cloth import Cloth, from_frame, moved, rectangle, shape_of
from stash.planner.plan import Placement
from stash.planner.problem import Problem
from tests.makers.planner_case import EDGES, random_case
from tests.planner.judge import Stretch, stretches

TRIES = 60  # places tried for one cut before its part is given up
CLEAR_MM = 0.05  # between cuts, so that no rounding decides


def planted_case(seed: int, *, strips: int = 8, panels: int = 0) -> tuple[Problem, tuple[Placement, ...]]:
    """A question and a plan that answers it with yes, the same for the same seed; parts are as many as found room."""
    bed = _Bed(random.Random(seed), random_case(seed))
    for index in range(panels):
        bed.plant_panel(f"p{index + 1}")
    for index in range(strips):
        bed.plant_strip(f"s{index + 1}")
    return replace(bed.problem, parts=tuple(bed.parts)), tuple(bed.placements)


@dataclass(slots=True)
class _Bed:
    rng: random.Random
    problem: Problem
    parts: list[Part] = field(default_factory=list)
    placements: list[Placement] = field(default_factory=list)
    free: dict[str, Any] = field(default_factory=dict)
    paired: tuple[float, bool] | None = None  # the phase and the way round of the pair's first strip

    def __post_init__(self) -> None:
        for piece in self.problem.pieces:
            self.free[piece.id] = moved(self._cloth(piece.id).usable, -CLEAR_MM)

    def _cloth(self, piece_id: str) -> Cloth:
        (piece,) = [piece for piece in self.problem.pieces if piece.id == piece_id]
        return Cloth(piece=piece, fabric=self.problem.fabrics[piece.fabric], allowance="strict")

    def plant_panel(self, name: str) -> None:
        rng = self.rng
        for _ in range(TRIES):
            cloth = self._cloth(rng.choice(self.problem.pieces).id)
            align, turned = rng.choice(("print", "grain")), rng.random() < 0.5
            angle = cloth.print_deg if align == "print" else 0.0
            left, top, right, bottom = self.free[cloth.piece.id].bounds
            wide, long = rng.uniform(0.15, 0.9) * (right - left), rng.uniform(0.1, 0.8) * (bottom - top)
            across, along = cloth.in_print((rng.uniform(left, right - wide), rng.uniform(top, bottom - long)))
            if align == "grain":
                across, along = from_frame(across, along, cloth.print_deg)
            shape = rectangle((across, across + wide), (along, along + long), angle)
            if not self.free[cloth.piece.id].contains(shape):
                continue
            corners = [(across, along), (across + wide, along), (across + wide, along + long), (across, along + long)]
            size = (long, wide) if turned else (wide, long)
            panel = Panel(id=name, fabric="cloth", width_mm=size[0], length_mm=size[1], seam_mm=0.0, align=align,
                          turn=turned)  # fmt: skip
            self._take(panel, [(cloth, corners, angle, 1, None, False, 0.0)])
            return

    def plant_strip(self, name: str) -> None:
        rng = self.rng
        labels = sorted({stripe.label for stripe in self.problem.fabrics["cloth"].print.stripes})
        width, seam = rng.choice((8.0, 12.0, 20.0)), rng.choice((0.0, 3.0))
        cut = width + 2 * seam
        strip = Strip(
            id=name, fabric="cloth", stripe=rng.choice(labels), length_mm=0.0, width_mm=width, seam_mm=seam,
            cut_width_mm=cut, stripe_at_mm=cut / 2 if rng.random() < 0.7 else cut * 0.3,
            extra_mm=rng.choice(((0.0, 0.0), (5.0, 0.0), (2.0, 7.0))), joins=rng.choice((0, 0, 1, 2)),
            edge=rng.choice(EDGES), pair="both" if rng.random() < 0.3 else None,
        )  # fmt: skip
        one_way = self.problem.fabrics["cloth"].one_way
        turned = not one_way and rng.random() < 0.4
        if strip.pair and self.paired:
            turned = self.paired[1]
        places = stretches(replace(self.problem, parts=(strip,)), strip, turned, "strict", 0.0)
        for _ in range(TRIES):
            laid = self._lay(strip, turned, places)
            if laid is not None:
                self._take(replace(strip, length_mm=sum(cut[-1] for cut in laid)), laid)
                return

    def _lay(self, strip: Strip, turned: bool, places: list[Stretch]) -> list[Any] | None:
        """Segments on random stretches of one kind, the print running on from one to the next."""
        rng = self.rng
        repeat = self.problem.fabrics["cloth"].print.along
        count = rng.randint(1, strip.joins + 1)
        kind = rng.choice([place.kind for place in places]) if places else None
        fit = [place for place in places if place.kind == kind]
        phase = self.paired[0] if strip.pair and self.paired else None
        first: tuple[float, bool] = (0.0, turned)
        laid: list[Any] = []
        taken: list[tuple[str, Any]] = []
        for segment in range(1, count + 1):
            place = rng.choice(fit) if fit else None
            if place is None:
                return None
            finished = round(rng.uniform(strip.shortest_mm, 0.8 * (place.high - place.low) + 30), 3)
            head = strip.seam_mm + (strip.extra_mm[0] if segment == 1 else 0.0)
            size = head + finished + strip.seam_mm + (strip.extra_mm[1] if segment == count else 0.0)
            low = rng.uniform(place.low, max(place.low, place.high - size))
            if repeat is not None and phase is not None:
                start = low + size - head if turned else low + head
                low += (phase - (start - place.along_origin)) % repeat.value
            start = low + size - head if turned else low + head
            if repeat is not None:
                here = (start - place.along_origin) % repeat.value
                first = (here, turned) if segment == 1 else first
                phase = here + (-finished if turned else finished)
            cloth = self._cloth(place.piece)
            band = rectangle(place.across, (low, low + size), cloth.print_deg)
            clear = not any(piece == place.piece and moved(shape, CLEAR_MM).intersects(band) for piece, shape in taken)
            if not (clear and self.free[place.piece].contains(moved(band, -CLEAR_MM))):
                return None
            taken.append((place.piece, band))
            left = sum(place.across) / 2 - strip.cut_width_mm / 2
            ends = (low + size, low) if turned else (low, low + size)
            right = left + strip.cut_width_mm
            corners = [(left, ends[0]), (right, ends[0]), (right, ends[1]), (left, ends[1])]
            laid.append((cloth, corners, cloth.print_deg, segment, band, turned, finished))
        if strip.pair and not self.paired:
            self.paired = first
        return laid

    def _take(self, part: Part, laid: list[Any]) -> None:
        self.parts.append(part)
        for cloth, corners, angle, segment, band, turned, finished in laid:
            outline = tuple(
                (round(x, 3), round(y, 3)) for x, y in (from_frame(across, along, angle) for across, along in corners)
            )
            strip = isinstance(part, Strip)
            self.placements.append(
                Placement(
                    part=part.id,
                    segment=segment,
                    piece=cloth.piece.id,
                    stripe=part.stripe if isinstance(part, Strip) else None,
                    finished_mm=finished if strip else None,
                    turned=turned,
                    outline_mm=outline,
                )
            )
            shape = band if band is not None else shape_of(outline)
            self.free[cloth.piece.id] = self.free[cloth.piece.id].difference(moved(shape, CLEAR_MM))
