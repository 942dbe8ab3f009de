"""The planner against the judge on many small random questions: ``python -m tests.bench.judge --cases 1000``.

Prints one line for every disagreement, then how often each pair of verdict and answer came. Status 1 if any disagreed.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter

from stash.planner.audit import audit, audit_leftovers
from stash.planner.solve import decide
from tests.makers.matched_case import matched_case
from tests.makers.planner_case import random_case
from tests.planner.judge import verdict


def run(first: int, cases: int, seconds: float, *, matched: bool) -> int:
    """Judge the cases; returns how many disagreements there were."""
    pairs: Counter[tuple[str, str]] = Counter()
    wrong = 0
    spent = 0.0
    for seed in range(first, first + cases):
        problem = matched_case(seed) if matched else random_case(seed)
        expected = verdict(problem, seconds=seconds)
        began = time.monotonic()
        plan = decide(problem, limit_s=30, optimise=False)
        spent += time.monotonic() - began
        faults = audit(problem, plan.placements) if plan.answer == "yes" else ()
        faults += audit_leftovers(problem, plan.placements, plan.leftovers) if plan.answer == "yes" else ()
        pairs[expected, plan.answer] += 1
        if faults or expected not in ("hair", plan.answer):
            wrong += 1
            print(f"case {seed}: judge {expected}, planner {plan.answer} {plan.reason or ''} {'; '.join(faults)}")
    for (expected, answer), count in sorted(pairs.items()):
        print(f"judge {expected:6s} planner {answer:6s} {count}")
    print(f"{wrong} disagreements in {cases} cases; the planner took {spent / cases:.3f} s a case")
    return wrong


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--seconds", type=float, default=5.0, help="for each of the judge's programs")
    parser.add_argument("--matched", action="store_true", help="strips tied by mirror sets, corners and the like")
    given = parser.parse_args()
    sys.exit(1 if run(given.first, given.cases, given.seconds, matched=given.matched) else 0)
