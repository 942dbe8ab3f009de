"""What a piece can hold at most, from lines drawn along its print: a bound that passes over most of the pieces in which
something does not fit, without looking at their outlines again.

A rectangle in the cloth is crossed by lines, and what lies in the cloth on each of those has at least the rectangle's
length in common. Of ``LINES`` lines at equal distances a rectangle of width w is crossed by at least
⌈w / distance⌉ - 1, wherever it lies. Two rectangles lie beside one another, and share no line, or one above the other.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from itertools import product
from typing import Final

from stash.piece import across_axis, along_axis

Ring = Sequence[Sequence[float]]
Spans = Sequence[tuple[float, float]]
#: What two lengths may differ by and be equal, mm (the contract), once at each end.
_EQUAL_MM: Final = 0.02
#: Lines a piece: the bound is off by about this part of its width. Twice as many pass over few pieces more.
LINES: Final = 24
#: Lengths are kept as whole numbers of this many to the mm.
_TO_A_MM: Final = 10


def reach(rings: Sequence[Ring], direction_deg: float, inward_mm: float = 0.0) -> str:
    """A JSON list: the distance of the lines, and for each of them from where to where it lies in the cloth, in tenths
    of a millimetre. ``rings`` are the outline and what is cut out of it; by ``inward_mm`` edges may not be used."""
    across, along = across_axis(direction_deg), along_axis(direction_deg)
    turned = [[(x * across[0] + y * across[1], x * along[0] + y * along[1]) for x, y in ring] for ring in rings]
    first = min(u for u, _ in turned[0])
    step = (max(u for u, _ in turned[0]) - first) / LINES
    if step <= 0:
        return "[1]"
    met = _crossings(turned, first, step)
    return json.dumps(
        [math.ceil(_TO_A_MM * step), *(_kept(crossings, inward_mm) for crossings in met)], separators=(",", ":")
    )


def _kept(crossings: Sequence[float], inward_mm: float) -> list[int]:
    """Pairs of ends; by the even-odd rule, so that nothing that can be used is left out where what is cut out
    overlaps."""
    ends: list[int] = []
    for low, high in zip(crossings[::2], crossings[1::2], strict=False):
        if high - low > 2 * inward_mm:
            ends += (math.floor(_TO_A_MM * (low + inward_mm)), math.ceil(_TO_A_MM * (high - inward_mm)))
    return ends


def _crossings(rings: Sequence[Ring], first: float, step: float) -> list[list[float]]:
    """Where each line crosses the rings, in order."""
    met: list[list[float]] = [[] for _ in range(LINES)]
    for ring in rings:
        u, v = ring[-1]
        for x, y in ring:
            low, high = (u, x) if u < x else (x, u)
            start, end = math.ceil((low - first) / step - 0.5), math.ceil((high - first) / step - 0.5)
            for number in range(max(0, start), min(LINES, end)):
                met[number].append(v + (y - v) * (first + (number + 0.5) * step - u) / (x - u))
            u, v = x, y
    for crossings in met:
        crossings.sort()
    return met


class Reach:
    """What ``reach`` told of one piece, to be asked."""

    def __init__(self, told: str) -> None:
        step, *lines = json.loads(told)
        self._step = step
        self._lines: list[Spans] = [tuple(zip(ends[::2], ends[1::2], strict=True)) for ends in lines]

    def holds(self, shapes: Sequence[tuple[float, float]], *, two: bool) -> bool:
        """Whether it may hold a rectangle of one of the shapes, across by along in mm, or two; False only where it
        cannot."""
        places = []
        for across_mm, along_mm in shapes:
            long = _TO_A_MM * (along_mm - _EQUAL_MM)
            crossed = max(0, math.ceil(_TO_A_MM * (across_mm - _EQUAL_MM) / self._step) - 1)
            found = [(at, low, high) for at, low, high in self._windows(crossed) if high - low >= long]
            if found:
                places.append((crossed, long, found))
        if not two:
            return bool(places)
        return any(_beside(one, other) or _above(one, other) for one, other in product(places, repeat=2))

    def _windows(self, count: int) -> Iterator[tuple[int, float, float]]:
        """So many lines side by side, by the first of them, and what lies in all of them."""
        if not count:
            spans = [span for line in self._lines for span in line]
            if spans:
                yield 0, min(low for low, _ in spans), max(high for _, high in spans)
            return
        for at in range(len(self._lines) - count + 1):
            shared = self._lines[at]
            for line in self._lines[at + 1 : at + count]:
                shared = _both(shared, line)
                if not shared:
                    break
            for low, high in shared:
                yield at, low, high


Places = tuple[int, float, Sequence[tuple[int, float, float]]]


def _beside(one: Places, other: Places) -> bool:
    first, last = min(at for at, _, _ in one[2]), max(at for at, _, _ in other[2])
    return last >= first + one[0]


def _above(one: Places, other: Places) -> bool:
    lowest, highest = min(low for _, low, _ in one[2]), max(high for _, _, high in other[2])
    return highest - lowest >= one[1] + other[1]


def _both(one: Spans, other: Spans) -> Spans:
    if len(one) == 1 == len(other):  # as nearly always
        low, high = max(one[0][0], other[0][0]), min(one[0][1], other[0][1])
        return ((low, high),) if low < high else ()
    both = ((max(low, least), min(high, most)) for low, high in one for least, most in other)
    return [(low, high) for low, high in both if low < high]
