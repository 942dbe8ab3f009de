"""How often and how fast the planner decides: ``python -m tests.bench.plan [--cases N] [--first SEED] [--large N]``.

Borders from ``tests.makers.border_case``, half with a repeat along the stripe; beside each, in the same run, best-fit
decreasing. Every yes is audited before it counts; a no that best fit can lay out would be told as wrong, and so would
a bound above what any of the audited plans costs.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass

from stash.planner.audit import audit, audit_leftovers
from stash.planner.plan import Plan
from stash.planner.solve import decide
from tests.bench.best_fit import best_fit
from tests.makers.border_case import GARMENT, LARGE_NO, LARGE_YES, Size, border_case, demand_ratio

EQUAL = 0.01
"""mm of cost. Costs that differ by less are equal (the contract, of lengths)."""


@dataclass(frozen=True, slots=True)
class Row:
    """One question: its answer, how long until it was decided, whether best fit found a plan, and the plan's gap."""

    seed: int
    along: bool
    ratio: float
    plan: Plan
    decided_s: float
    whole_s: float
    by_eye: bool

    @property
    def decided(self) -> bool:
        """A proven yes or no."""
        return self.plan.answer != "unsure" and self.plan.proven

    @property
    def gap(self) -> float | None:
        """(cost - bound) / cost of a yes."""
        if self.plan.answer != "yes" or self.plan.cost is None or self.plan.bound is None:
            return None
        return (self.plan.cost - self.plan.bound) / self.plan.cost if self.plan.cost else 0.0


def asked(seed: int, *, along: bool | None, size: Size, limit_s: float, cheaper_s: float) -> Row:
    """Ask the planner and best fit the same question; a yes once more for a cheaper plan, where that has some seconds.

    Raises:
        AssertionError: an answer is wrong.
    """
    problem = border_case(seed, along=along, size=size)
    by_eye = best_fit(problem) is not None
    began = time.perf_counter()
    plan = decide(problem, limit_s=limit_s, optimise=False)
    decided_s = whole_s = time.perf_counter() - began
    if cheaper_s and plan.answer == "yes":
        first, began = plan, time.perf_counter()
        plan = decide(problem, limit_s=cheaper_s)
        whole_s = time.perf_counter() - began
        assert max(plan.bound or 0, first.bound or 0) <= min(plan.cost or 0, first.cost or 0) + EQUAL, seed
    if plan.answer == "yes":
        assert audit(problem, plan.placements) == (), seed
        assert audit_leftovers(problem, plan.placements, plan.leftovers) == (), seed
    assert not (plan.answer == "no" and by_eye), f"{seed}: best fit lays out what was said to be impossible"
    (fabric,) = problem.fabrics.values()
    return Row(seed, fabric.print.along is not None, demand_ratio(problem), plan, decided_s, whole_s, by_eye)


def told(row: Row) -> str:
    """One line."""
    gap = "" if row.gap is None else f" gap {100 * row.gap:.1f} %"
    return (
        f"{row.seed} {'along' if row.along else 'plain'} {row.ratio:.3f} {row.plan.answer} {row.plan.reason or ''} "
        f"{row.decided_s:.2f} s, {row.whole_s:.2f} s{gap}{' certificate' if row.plan.certified else ''}"
        f"{' by eye' if row.by_eye else ''}"
    )


def _share(rows: Sequence[Row], wanted: Sequence[Row]) -> str:
    return f"{100 * len(wanted) / len(rows):.1f} % ({len(wanted)} of {len(rows)})" if rows else "none asked"


def _tenths(values: Sequence[float]) -> tuple[float, float]:
    """Median and 90th percentile."""
    ordered = sorted(values)
    return statistics.median(ordered), ordered[min(len(ordered) - 1, int(0.9 * len(ordered)))]


def summary(name: str, rows: Sequence[Row]) -> None:
    """Print the figures of a set of questions."""
    if not rows:
        return
    yes = [row for row in rows if row.plan.answer == "yes"]
    no = [row for row in rows if row.plan.answer == "no"]
    longest = max(row.decided_s for row in rows)
    median, most = _tenths([row.decided_s for row in rows])
    print(f"{name}: decided {_share(rows, [row for row in rows if row.decided])}; {len(yes)} yes, {len(no)} no; "
          f"to a decision median {median:.2f} s, p90 {most:.2f} s, most {longest:.2f} s")  # fmt: skip
    print(f"  a no with a certificate: {_share(no, [row for row in no if row.plan.certified])}")
    gaps = [row.gap for row in yes if row.gap is not None]
    if gaps:
        gap, wide = _tenths(gaps)
        print(f"  (cost - bound) / cost: median {100 * gap:.1f} %, p90 {100 * wide:.1f} %")
    print(f"  best fit decreasing says yes to {_share(yes, [row for row in yes if row.by_eye])} of these borders")


def main() -> None:
    """Print a line a question and the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--large", type=int, default=0, help="questions of 200 strips on 200 pieces, of each kind")
    parser.add_argument("--limit", type=float, default=10.0, help="seconds a question")
    parser.add_argument("--cheaper", type=float, default=60.0, help="seconds for a cheaper plan; 0 leaves it out")
    given = parser.parse_args()
    rows = []
    for seed in range(given.first, given.first + given.cases):
        try:
            row = asked(seed, along=bool(seed % 2), size=GARMENT, limit_s=given.limit, cheaper_s=given.cheaper)
        except LookupError as reason:
            print(f"{seed} not asked: {reason}")
            continue
        rows.append(row)
        print(told(row), flush=True)
    large = []
    for seed in range(given.first, given.first + given.large):
        for size in (LARGE_YES, LARGE_NO):
            large.append(asked(seed, along=None, size=size, limit_s=30.0, cheaper_s=0.0))
            print(told(large[-1]), flush=True)
    summary("no repeat along", [row for row in rows if not row.along])
    summary("repeat along", [row for row in rows if row.along])
    summary("all", rows)
    summary("200 strips, 200 pieces", large)


if __name__ == "__main__":
    main()
