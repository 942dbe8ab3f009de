"""The sum she can check herself: how many stripes of what length there are, what is needed, and why that may mislead.

The sum is the one made at the table: whole stripes counted, each measured along its middle. Where the planner's answer
differs from what the sum suggests, one sentence says what the sum leaves out.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

from stash.garment.part import Strip
from stash.lengths import inches
from stash.piece import Piece
from stash.planner.audit_cloth import Cloth, Occurrence, rectangle
from stash.planner.mismatch import unmatched
from stash.planner.plan import Plan
from stash.planner.problem import Problem

MOST_LENGTHS: Final = 3  # different stripe lengths that one sentence can hold
SHORT_MM: Final = 25.4  # a stretch shorter than this is nobody's stripe
EQUAL_MM: Final = 0.01  # the contract: lengths that differ by at most this are equal
NARROW_MM: Final = 0.02  # taken off a band's edges before it is measured, so that cloth it only touches is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """One stripe of one fabric: the lengths of its whole stripes, and what its strips need with seams (mm)."""

    fabric: str
    stripe: str
    name: str
    lengths_mm: tuple[float, ...]
    needed_mm: float

    @property
    def there_mm(self) -> float:
        """All its stripes end to end."""
        return sum(self.lengths_mm)

    @property
    def suggests_yes(self) -> bool:
        """What somebody who only adds up would say."""
        return self.there_mm >= self.needed_mm - EQUAL_MM

    def sentence(self) -> str:
        """``11 red stripes of 40 in = 440 in; needed 219 in with seams``."""
        needed = f"needed {_up(self.needed_mm, 1)} with seams"
        if not self.lengths_mm:
            return f"no whole {self.name.format('stripe')} anywhere; {needed}"
        counts = sorted(Counter(inches(mm, 8) for mm in self.lengths_mm).items(), key=lambda row: (-row[1], row[0]))
        total = _down(self.there_mm, 1)
        if len(counts) > MOST_LENGTHS:
            span = f"{inches(min(self.lengths_mm), 8)} to {inches(max(self.lengths_mm), 8)}"
            return f"{len(self.lengths_mm)} {self.name.format('stripes')} of {span} = {total}; {needed}"
        stripes = self.name.format("stripe" if counts[0][1] == 1 else "stripes")
        first, *rest = [f"{count} {{}} of {length}" for length, count in counts]
        listed = " and ".join([first.format(stripes), *(more.replace(" {}", "") for more in rest)])
        return f"{listed} = {total}; {needed}"


def sums(problem: Problem) -> tuple[Sum, ...]:
    """The sum for each fabric and stripe that the garment's strips show, in the order of the strips."""
    wanted = dict.fromkeys((strip.fabric, strip.stripe) for strip in problem.strips)
    return tuple(_sum(problem, fabric, stripe) for fabric, stripe in wanted)


def sum_sentence(problem: Problem) -> str:
    """The sums of all stripes that are asked for, in one line; empty where the garment has no strips."""
    found = sums(problem)
    several = len({row.fabric for row in found}) > 1
    return "; and ".join(
        f"{problem.fabrics[row.fabric].name}: {row.sentence()}" if several else row.sentence() for row in found
    )


def differs_sentence(problem: Problem, plan: Plan) -> str:
    """Why the answer is not what the sum suggests; empty where it is.

    The reasons are tried in the order in which they would strike somebody at the table; the first that explains the
    difference is given.
    """
    if plan.answer == "yes":
        return ""
    if why := unmatched(problem):
        return why[0]
    short = {(row.fabric, row.stripe) for row in plan.short}
    rows = [row for row in sums(problem) if not short or (row.fabric, row.stripe) in short]
    if not rows or not all(row.suggests_yes for row in rows):
        return ""
    for row in rows:
        for reason in _reasons(problem, row):
            return reason
    if plan.answer == "unsure" and plan.reason == "time":
        return ""
    if plan.answer == "unsure":
        return "it is closer than the measurements are: a hair more or less decides"
    if any(strip.hide_mm and strip.joins for strip in problem.strips):
        return "what is left at the end of each stripe does not add up where joins may only lie where they hide"
    return "what is left at the end of each stripe is too short for another strip, so the lengths do not add up"


def _sum(problem: Problem, fabric: str, stripe: str) -> Sum:
    strips = _strips(problem, fabric, stripe)
    print_ = problem.fabrics[fabric].print
    shown = print_.occurrences(stripe)
    colour = next((row.colour for row in shown if row.colour), None)
    half_mm = min([row.width_mm for row in shown] + [strip.cut_width_mm for strip in strips]) / 2
    lengths = [
        length
        for piece in _pieces(problem, fabric)
        for cloth in [Cloth(piece=piece, fabric=problem.fabrics[fabric], allowance="nominal")]
        for _, length in _stretches(cloth, cloth.whole, stripe, (half_mm, half_mm))
    ]
    return Sum(
        fabric=fabric,
        stripe=stripe,
        name=f"{colour} {{}}" if colour else f"{{}} {stripe}",
        lengths_mm=tuple(lengths),
        needed_mm=sum(_cut_mm(strip) for strip in strips),
    )


def _reasons(problem: Problem, row: Sum) -> Iterator[str]:
    """Sentences, each true by itself and each enough to make up the difference, the plainest first."""
    strips = _strips(problem, row.fabric, row.stripe)
    stripes = row.name.format("stripe")
    longest = max(row.lengths_mm, default=0.0)
    for strip in sorted(strips, key=lambda strip: -strip.length_mm):
        if strip.joins == 0 and _cut_mm(strip) > longest + EQUAL_MM:
            yield (
                f"{strip.id} is cut {_up(_cut_mm(strip))} long in one length, "
                f"but the longest {stripes} is {_down(longest)}"
            )
    unknown = [piece.id for piece in _pieces(problem, row.fabric) if piece.stripe_direction_deg is None]
    if unknown:
        yield f"it is not known which way the stripes of {', '.join(unknown)} run"
    widest = max(strips, key=lambda strip: strip.cut_width_mm)
    sides = (widest.stripe_at_mm, widest.cut_width_mm - widest.stripe_at_mm)
    room, flawless, apart = _room(problem, row, sides)
    wide = inches(widest.cut_width_mm)
    if flawless < row.needed_mm - EQUAL_MM:
        some = f"only {_down(flawless, 1)}" if flawless >= SHORT_MM else "nothing"
        stripes = row.name.format("stripes")
        yield f"strips are cut {wide} wide, and {some} of the {stripes} has that much cloth beside it"
    elif room < row.needed_mm - EQUAL_MM:
        yield f"flaws and holes leave only {_down(room, 1)} of the {row.name.format('stripes')}"
    if apart < row.needed_mm - EQUAL_MM:
        yield (
            f"strips cut {wide} wide overlap the next {stripes}, so not every one can be used: "
            f"{_down(apart, 1)} at most"
        )


def _room(problem: Problem, row: Sum, sides: tuple[float, float]) -> tuple[float, float, float]:
    """Cut length with the band's whole width on the cloth: clear of flaws, flaws disregarded, and bands kept apart."""
    room = flawless = apart = 0.0
    for piece in _pieces(problem, row.fabric):
        cloth = Cloth(piece=piece, fabric=problem.fabrics[row.fabric], allowance="nominal")
        clear = list(_stretches(cloth, cloth.usable, row.stripe, sides))
        room += sum(length for _, length in clear)
        unholed = Cloth(piece=replace(piece, holes_mm=(), flaws_mm=()), fabric=cloth.fabric, allowance="nominal")
        flawless += sum(length for _, length in _stretches(unholed, unholed.usable, row.stripe, sides))
        apart += _kept_apart(clear, sum(sides))
    return room, flawless, apart


def lengths_apart(problem: Problem, strip: Strip) -> list[float]:
    """Cut lengths of the strip's stripe, as wide as the strip is cut, that can be had side by side from the pieces."""
    sides = (strip.stripe_at_mm, strip.cut_width_mm - strip.stripe_at_mm)
    lengths: list[float] = []
    for piece in _pieces(problem, strip.fabric):
        cloth = Cloth(piece=piece, fabric=problem.fabrics[strip.fabric], allowance="strict")
        lengths += _apart(list(_stretches(cloth, cloth.usable, strip.stripe, sides)), strip.cut_width_mm)
    return lengths


def _kept_apart(stretches: list[tuple[Occurrence, float]], width_mm: float) -> float:
    """The most length in bands none of which overlap across, whole bands taken or left."""
    return sum(_apart(stretches, width_mm))


def _apart(stretches: list[tuple[Occurrence, float]], width_mm: float) -> list[float]:
    """The lengths of the bands that give the most, none of which overlap across, whole bands taken or left."""
    bands: dict[float, list[float]] = {}
    for run, length in stretches:
        bands.setdefault(run.centre_mm, []).append(length)
    best: list[tuple[float, list[float]]] = [(-math.inf, [])]
    for centre in sorted(bands):
        before = max((taken for end, taken in best if end <= centre - width_mm / 2 + EQUAL_MM), key=sum)
        best.append((centre + width_mm / 2, max(best[-1][1], before + bands[centre], key=sum)))
    return best[-1][1]


def _stretches(cloth: Cloth, ground: Any, label: str, sides: tuple[float, float]) -> Iterator[tuple[Occurrence, float]]:
    """Each run of the stripe with each length of it over which the band of those two sides lies wholly on ground."""
    if cloth.piece.stripe_direction_deg is None or ground.is_empty:
        return
    corners = [cloth.in_print(point) for point in cloth.piece.outline_mm]
    across, along = [u for u, _ in corners], [v for _, v in corners]
    middle, reach = (min(across) + max(across)) / 2, (max(across) - min(across)) / 2
    top, bottom = min(along) - 1.0, max(along) + 1.0
    for run in cloth.occurrences_near(label, middle, reach):
        left, right = run.centre_mm - sides[0] + NARROW_MM, run.centre_mm + sides[1] - NARROW_MM
        band = rectangle((left, max(right, left + NARROW_MM)), (top, bottom), cloth.print_deg)
        barred = band.difference(ground)
        spans = sorted(_span(cloth, part) for part in getattr(barred, "geoms", (barred,)) if not part.is_empty)
        reached = top
        for low, high in spans:
            if low - reached > SHORT_MM:
                yield run, low - reached
            reached = max(reached, high)


def _span(cloth: Cloth, part: Any) -> tuple[float, float]:
    along = [cloth.in_print(point)[1] for point in part.exterior.coords]
    return min(along), max(along)


def _strips(problem: Problem, fabric: str, stripe: str) -> list[Strip]:
    return [strip for strip in problem.strips if (strip.fabric, strip.stripe) == (fabric, stripe)]


def _pieces(problem: Problem, fabric: str) -> list[Piece]:
    return [piece for piece in problem.pieces if piece.fabric == fabric]


def _cut_mm(strip: Strip) -> float:
    return strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm)


def _up(mm: float, denominator: int = 16) -> str:
    """In inches, rounded up; what is equal to a mark by the contract is that mark."""
    return inches(mm - EQUAL_MM, denominator, toward="up")


def _down(mm: float, denominator: int = 16) -> str:
    """In inches, rounded down; what is equal to a mark by the contract is that mark."""
    return inches(mm + EQUAL_MM, denominator, toward="down")
