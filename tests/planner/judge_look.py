"""What the judge knows of looks: every way round and every row of stripes that the strips of a question may show.

Rows are read off the cloth at points a fifth of a millimetre apart, symmetrical about the middle of the stripe, and
held against each other as words, forwards or backwards. All combinations are tried one after another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, product

from stash.garment.part import Strip
from stash.planner.problem import Problem

FIRST_MM, STEP_MM = 0.13, 0.2


@dataclass(frozen=True, slots=True)
class Stretch:
    """Where a segment may lie: a piece, the band across that it occupies, and from where to where along.

    ``centre`` is the middle of its stripe, counted from the piece's stripe origin.
    """

    piece: str
    across: tuple[float, float]
    low: float
    high: float
    kind: tuple[str, str]
    along_origin: float
    centre: float


@dataclass(frozen=True, slots=True)
class Lay:
    """One way to lay a strip: turned, turned over, and the row of stripes it shows; None where nothing asks for it."""

    turned: bool
    over: bool
    row: str | None


def all_lays(
    problem: Problem, places: Callable[[Strip, bool], list[Stretch]]
) -> Iterator[dict[str, tuple[bool, list[Stretch]]]]:
    """Every combination of ways to lay the strips that keeps what is asked of their looks, with the places left."""
    known = {(strip.id, turned): places(strip, turned) for strip in problem.strips for turned in (False, True)}
    tied = {strip.id for one, other, *_ in relations(problem) for strip in (one, other)}
    choices = []
    for strip in problem.strips:
        turns = (False, True) if _turns_matter(problem, strip, tied) else (False,)
        if strip.id not in tied:
            choices.append([Lay(turned, False, None) for turned in turns])
            continue
        faces = (False, True) if problem.fabrics[strip.fabric].both_faces else (False,)
        rows = [
            Lay(turned, over, row) for turned in turns for over in faces
            for row in sorted({_row(problem, strip, place, turned != over) for place in known[strip.id, turned]})
        ]  # fmt: skip
        choices.append(list(dict.fromkeys(rows)))
    for combination in product(*choices):
        lays = {strip.id: lay for strip, lay in zip(problem.strips, combination, strict=True)}
        if _kept(problem, lays):
            yield {
                strip.id: (
                    lays[strip.id].turned,
                    [
                        place for place in known[strip.id, lays[strip.id].turned]
                        if lays[strip.id].row is None
                        or _row(problem, strip, place, lays[strip.id].turned != lays[strip.id].over)
                        == lays[strip.id].row
                    ],
                )
                for strip in problem.strips
            }  # fmt: skip


def alike(strip: Strip, *, motif: bool) -> list[str]:
    """The sets in which a strip is turned alike and, on a motif, starts at the same place."""
    names = [f"pair {strip.pair}"] if strip.pair else []
    return names + ([f"mirror {strip.mirror}"] if motif and strip.mirror else [])


def relations(problem: Problem) -> Iterator[tuple[Strip, Strip, str]]:
    """Who must match whom, and how: "same", "mirror", or "outward"."""
    by_id = {strip.id: strip for strip in problem.strips}
    for strip in problem.strips:
        for one, end, two, far in strip.corner:
            yield by_id[one], by_id[two], "mirror" if end == far else "same"
    for one_strip, other in combinations(problem.strips, 2):
        if one_strip.outward and other.outward and one_strip.stripe == other.stripe:
            yield one_strip, other, "outward"
    for name in {strip.mirror for strip in problem.strips if strip.mirror}:
        members = [strip for strip in problem.strips if strip.mirror == name]
        for (i, first), (j, second) in combinations(enumerate(members), 2):
            yield first, second, "mirror" if (j - i) % 2 else "same"


def _kept(problem: Problem, lays: dict[str, Lay]) -> bool:
    for one, other in combinations(problem.strips, 2):
        motif = problem.fabrics[one.fabric].print.along is not None
        together = set(alike(one, motif=motif)) & set(alike(other, motif=motif))
        if together and lays[one.id].turned != lays[other.id].turned:
            return False
    for one, other, how in relations(problem):
        first, second = lays[one.id].row or "", lays[other.id].row or ""
        short = min(len(first), len(second)) // 2
        first, second = _middle(first, short), _middle(second, short)
        if how == "outward":
            first, second = (
                row[short:] if strip.outward == "right" else row[::-1][short:]
                for row, strip in ((first, one), (second, other))
            )
        if first != (second[::-1] if how == "mirror" else second):
            return False
    return True


def _middle(row: str, half: int) -> str:
    return row[len(row) // 2 - half : len(row) // 2 + half]


def _row(problem: Problem, strip: Strip, place: Stretch, swapped: bool) -> str:
    """The labels across the finished width, seen with the start on top."""
    count = int((strip.width_mm / 2 - FIRST_MM) / STEP_MM)
    right = [_label(problem, strip, place.centre + FIRST_MM + STEP_MM * i) for i in range(count)]
    left = [_label(problem, strip, place.centre - FIRST_MM - STEP_MM * i) for i in range(count)]
    row = "".join([*reversed(left), *right])
    return row[::-1] if swapped else row


def _label(problem: Problem, strip: Strip, at_mm: float) -> str:
    print_ = problem.fabrics[strip.fabric].print
    assert print_.across is not None
    at_mm %= print_.across.value
    return next(
        (s.label for s in print_.stripes if s.centre_mm - s.width_mm / 2 <= at_mm < s.centre_mm + s.width_mm / 2), "?"
    )


def _turns_matter(problem: Problem, strip: Strip, tied: set[str]) -> bool:
    """A strip with its stripe in the middle, on cloth with no repeat along it, lies the same either way round, where
    nothing is asked of its look."""
    fabric = problem.fabrics[strip.fabric]
    lopsided = any(
        abs(one.cut_width_mm - 2 * one.stripe_at_mm) > 1e-9 for one in problem.strips
        if one.id == strip.id or (strip.pair and one.pair == strip.pair)
    )  # fmt: skip
    asked = strip.id in tied or any(one.id in tied for one in problem.strips if strip.pair and one.pair == strip.pair)
    return not fabric.one_way and (lopsided or asked or fabric.print.along is not None)
