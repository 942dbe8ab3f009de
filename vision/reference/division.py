"""The ways in which scales are divided: the size of a tick, and which ticks are longer (common practice)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

Unit = Literal["inch", "mm", "none"]

INCH_MM = 25.4
#: Cost of each kind of longer tick that an inch scale leaves out, nats (our estimate of practice).
MISSING = 1.2
#: ... and for each finer kind that is told apart all the same: a scale shows its halves before its eighths.
SKIPPED = 3.0
#: Cost of ways to divide that are rarely met, nats (our estimate of practice).
RARE = 4.0
#: Cost of each way to divide an inch, nats (our estimate of practice).
INCH_COST = {4: RARE, 8: 0.0, 16: 0.0, 32: 2.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Division:
    """One way to divide a scale: the size of a tick, after how many ticks the longest returns, which are longer."""

    unit: Unit
    base_mm: float
    top: int
    longer: tuple[int, ...]
    cost: float

    @property
    def numbered(self) -> int:
        """After how many ticks the numbers come: each centimetre, each inch; 0 for what is no ruler, but where every
        second tick is longer: that may be halves of either, of which nobody can tell which, with numbers at wholes."""
        if self.unit == "none" and self.top == 2:
            return 2
        whole = {"mm": 10.0, "inch": INCH_MM}.get(self.unit, 0.0)
        return round(whole / self.base_mm) if self.base_mm else 0

    @property
    def by_fives(self) -> bool:
        """Whether nothing but each fifth tick is longer, of ticks a millimetre apart."""
        return self.unit == "mm" and self.longer == (5,)

    def halved(self) -> Division | None:
        """The division of an inch into twice as many, of which the longest ticks are halves and wholes in turn that
        look alike; None where there is none such."""
        finer = 2 * self.top
        if self.unit != "inch" or self.top != self.numbered or not {self.top, finer} <= INCH_COST.keys():
            return None
        return replace(self, base_mm=INCH_MM / finer, cost=self.cost - INCH_COST[self.top] + INCH_COST[finer])


def _divisions() -> tuple[Division, ...]:
    out = [
        Division(unit="mm", base_mm=1.0, top=10, longer=(5, 10), cost=0.0),
        Division(unit="mm", base_mm=1.0, top=10, longer=(10,), cost=1.0),
        Division(unit="mm", base_mm=1.0, top=5, longer=(5,), cost=RARE),
        Division(unit="mm", base_mm=0.5, top=20, longer=(2, 10, 20), cost=0.5),
        Division(unit="mm", base_mm=0.5, top=20, longer=(10, 20), cost=1.5),
        Division(unit="mm", base_mm=0.5, top=20, longer=(2, 20), cost=1.5),
        Division(unit="mm", base_mm=0.5, top=10, longer=(2, 10), cost=RARE - 1),
        Division(unit="mm", base_mm=0.5, top=2, longer=(2,), cost=RARE),
    ]
    for top in (8, 16, 32):
        steps = [2**j for j in range(1, int(math.log2(top)))]
        for count in range(len(steps) + 1):
            for chosen in combinations(steps, count):
                missing = [every for every in steps if every not in chosen]
                skipped = sum(fine < every for every in missing for fine in chosen)
                out.append(
                    Division(
                        unit="inch",
                        base_mm=INCH_MM / top,
                        top=top,
                        longer=(*chosen, top),
                        cost=INCH_COST[top] + MISSING * len(missing) + SKIPPED * skipped,
                    )
                )
    out.append(Division(unit="inch", base_mm=INCH_MM / 4, top=4, longer=(2, 4), cost=INCH_COST[4]))
    return tuple(out)


def _others() -> tuple[Division, ...]:
    """Patterns that no ruler has: prints, fences and texts repeat after three, six or seven as gladly as after ten."""
    tops: list[tuple[int, ...]] = [(top,) for top in (2, 3, 4, 6, 7, 9, 11, 12, 13, 14, 15, 17, 18, 19)]
    tops += [(2, 6), (3, 6), (3, 9), (3, 12), (4, 12), (6, 12)]
    return tuple(Division(unit="none", base_mm=0.0, top=steps[-1], longer=steps, cost=1.0) for steps in tops)


DIVISIONS = _divisions()
OTHERS = _others()
#: Only where the person says that the ruler is in inches: tenths of an inch look like millimetres.
TENTHS = (
    Division(unit="inch", base_mm=INCH_MM / 10, top=10, longer=(5, 10), cost=2.0),
    Division(unit="inch", base_mm=INCH_MM / 20, top=20, longer=(2, 10, 20), cost=3.0),
)
