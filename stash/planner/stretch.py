"""A stretch of a lane between cuts that stay where they are; what else lies in it may be pushed to and fro."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from stash.planner.task import Cut

MOST_PUSHED: Final = 4
"""Cuts of a stretch up to which any of them may change places; with more they keep their order: 2^4 ways to begin."""

Taken = tuple[int, int, Cut | None]
"""Where cloth is taken along d, from and to (um), and the cut, where it may be pushed."""


@dataclass(slots=True, eq=False)
class Stretch:
    """From ``low_um`` to ``high_um`` along d, with ``cuts`` that may be pushed, and ``room_um`` beside them."""

    run: int
    low_um: int
    high_um: int
    cuts: tuple[Cut, ...]
    room_um: int
    _ways: tuple[tuple[int, int], ...] = field(default=(), repr=False)

    @property
    def all_cuts(self) -> int:
        """All of its cuts, as bits."""
        return (1 << len(self.cuts)) - 1

    def ways(self) -> tuple[tuple[int, int], ...]:
        """How far into the stretch a cut may begin with others close before it: what those take (um) and which they are
        (bits, by their order in ``cuts``)."""
        if not self._ways:
            taken = {0: 0}
            for bit, cut in enumerate(self.cuts):
                before = list(taken.items()) if len(self.cuts) <= MOST_PUSHED else [*taken.items()][-1:]
                for length_um, some in before:
                    taken.setdefault(length_um + cut.size_um, some | 1 << bit)
            self._ways = tuple(taken.items())
        return self._ways


def stretches_between(run: int, start_um: int, end_um: int, taken: Sequence[Taken]) -> list[Stretch]:
    """The stretches of a run with any room, in order; ``taken`` in order of where each begins."""
    found: list[Stretch] = []
    low, loose, held = start_um, list[Cut](), 0
    for start, end, cut in (*taken, (end_um, end_um, None)):
        if cut is not None:
            loose.append(cut)
            held += cut.size_um
            continue
        high = start if start < end_um else end_um
        if high - low > held:
            found.append(Stretch(run, low, high, tuple(loose), high - low - held))
        if loose:
            loose, held = [], 0
        if end > low:
            low = end
    return found
