"""A second opinion on small questions: the contract written once more, as a mixed-integer program for HiGHS.

It shares nothing with the planner but the types: lanes are found on shapely polygons by the audit's cloth, positions
and lengths are continuous, and every rule is a linear row. The answer comes with a margin: a question that a hair
decides either way is left undecided, so that tolerances cannot make a false verdict.
"""

from __future__ import annotations

import math
from collections import defaultdict
from itertools import combinations, pairwise
from typing import Any, Literal

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from stash.garment.part import Strip
from stash.planner.audit_cloth import Allowance, Cloth, rectangle
from stash.planner.problem import Problem
from tests.planner.judge_look import Stretch, alike, all_lays

HAIR_MM = 0.05  # a lane's end this much farther or nearer must not change the verdict
EQUAL_MM = 0.01  # lengths that differ by no more are equal (the contract): how far a strip may reach across its lane
Verdict = Literal["yes", "no", "unsure", "hair"]


def verdict(problem: Problem, *, seconds: float = 5.0) -> Verdict:
    """yes, no or unsure as the contract defines them; hair where a hair decides, or HiGHS ran out of time."""
    strict = feasible(problem, "strict", -HAIR_MM, seconds)
    if strict:
        return "yes"
    generous = feasible(problem, "generous", HAIR_MM, seconds)
    if generous is False:
        return "no"
    if generous is None or strict is None or feasible(problem, "strict", HAIR_MM, seconds) is not False:
        return "hair"
    return "unsure" if feasible(problem, "generous", -HAIR_MM, seconds) else "hair"


def feasible(problem: Problem, allowance: Allowance, hair_mm: float, seconds: float) -> bool | None:
    """Whether the strips can be cut, with that much added at both ends of every lane; None where time ran out."""
    out_of_time = False
    for lays in all_lays(problem, lambda strip, turned: stretches(problem, strip, turned, allowance, hair_mm)):
        found = _Program(problem, hair_mm, lays).solve(seconds)
        if found:
            return True
        out_of_time = out_of_time or found is None
    return None if out_of_time else False


def stretches(problem: Problem, strip: Strip, turned: bool, allowance: Allowance, hair_mm: float) -> list[Stretch]:
    """Every free stretch of every lane of a strip that lies that way round, a hair longer or shorter at both ends and
    the lane as much wider or narrower as makes no difference."""
    ease = EQUAL_MM / 2 + math.copysign(EQUAL_MM, hair_mm)
    found: list[Stretch] = []
    fabric = problem.fabrics[strip.fabric]
    for piece in problem.pieces:
        if piece.fabric != strip.fabric:
            continue
        cloth = Cloth(piece=piece, fabric=fabric, allowance=allowance)
        points = [cloth.in_print(point) for point in piece.outline_mm]
        left, right = min(u for u, _ in points), max(u for u, _ in points)
        top, bottom = min(v for _, v in points) - 50, max(v for _, v in points) + 50
        before = strip.cut_width_mm - strip.stripe_at_mm if turned else strip.stripe_at_mm
        for run in cloth.occurrences_near(strip.stripe, (left + right) / 2, (right - left) / 2 + strip.cut_width_mm):
            wider = cloth.widening_mm(run)
            low, high = run.centre_mm - before - wider, run.centre_mm - before + strip.cut_width_mm + wider
            if high - low < 0.1:
                low, high = (low + high) / 2 - 0.05, (low + high) / 2 + 0.05
            band = rectangle((low + ease, high - ease), (top, bottom), cloth.print_deg)
            for start, end in _gaps(cloth, band.difference(cloth.usable), top, bottom):
                found.append(
                    Stretch(piece.id, (low + ease, high - ease), start - hair_mm, end + hair_mm, run.neighbours,
                            piece.along_origin_mm, run.centre_mm - piece.stripe_origin_mm)
                )  # fmt: skip
    return found


def _gaps(cloth: Cloth, barred: Any, top: float, bottom: float) -> list[tuple[float, float]]:
    spans = []
    for part in getattr(barred, "geoms", [barred]):
        along = [cloth.in_print(point)[1] for point in part.exterior.coords] if not part.is_empty else []
        if along:
            spans.append((min(along), max(along)))
    gaps, reached = [], top
    for low, high in sorted(spans):
        if low > reached + 1.0:
            gaps.append((reached, low))
        reached = max(reached, high)
    return gaps + ([(reached, bottom)] if bottom > reached + 1.0 else [])


class _Program:
    """One mixed-integer program: which segment lies on which stretch, where it starts and how long it is."""

    def __init__(self, problem: Problem, hair_mm: float, lays: dict[str, tuple[bool, list[Stretch]]]) -> None:
        self.problem, self.lays, self.hair_mm = problem, lays, hair_mm
        self.low: list[float] = []
        self.high: list[float] = []
        self.whole: list[int] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []
        self.impossible = False
        self.placed: list[tuple[int, Stretch, int, dict[int, float]]] = []  # segment key, stretch, literal, length
        self.starts: dict[tuple[str, int], int] = {}
        self.phases: dict[str, tuple[dict[int, float], float]] = {}
        for strip in problem.strips:
            self._strip(strip, lays[strip.id][1])
        self._pairs()
        self._apart()

    def _new(self, low: float, high: float, whole: bool = False) -> int:
        self.low.append(low)
        self.high.append(high)
        self.whole.append(int(whole))
        return len(self.low) - 1

    def _row(self, terms: dict[int, float], low: float = -math.inf, high: float = math.inf) -> None:
        self.rows.append((terms, low, high))

    def _strip(self, strip: Strip, places: list[Stretch]) -> None:
        turned = self.lays[strip.id][0]
        if not places:
            self.impossible = True
            return
        count = strip.joins + 1
        used = [self._new(1 if j == 0 else 0, 1, True) for j in range(count)]
        finished = [self._new(0, strip.length_mm) for _ in range(count)]
        self._row(dict.fromkeys(finished, 1.0), strip.length_mm, strip.length_mm)
        kinds = {kind: self._new(0, 1, True) for kind in dict.fromkeys(place.kind for place in places)}
        self._row(dict.fromkeys(kinds.values(), 1.0), 1, 1)
        ends: list[tuple[dict[int, float], float, dict[int, float]]] = []
        for j in range(count):
            following = used[j + 1] if j + 1 < count else None
            self._row({finished[j]: 1.0, used[j]: -strip.length_mm}, high=0)
            if following is not None:
                self._row({following: 1.0, used[j]: -1.0}, high=0)
            more = following if j == 0 else used[j]
            if more is not None:
                self._row({finished[j]: 1.0, more: -strip.shortest_mm}, low=0)
            length = {finished[j]: 1.0, used[j]: 2 * strip.seam_mm + strip.extra_mm[1]}
            if j == 0:
                length[used[0]] += strip.extra_mm[0]
            if following is not None:
                length[following] = -strip.extra_mm[1]
            start, literals = self._place(places, kinds, used[j], length, _longest(strip))
            head = strip.seam_mm + (strip.extra_mm[0] if j == 0 else 0.0)
            origin = {lit: -place.along_origin for lit, place in zip(literals, places, strict=True)}
            if turned:
                tail = {start: 1.0} | length
                ends.append((_sum(tail, origin), -head, {finished[j]: -1.0}))
            else:
                ends.append((_sum({start: 1.0}, origin), head, {finished[j]: 1.0}))
        self._phase(strip, ends, used)
        self._hide(strip, finished, used)

    def _hide(self, strip: Strip, finished: list[int], used: list[int]) -> None:
        """Each join that there is lies in one of the spans."""
        for j in range(1, len(used)) if strip.hide_mm else ():
            spans = [self._new(0, 1, True) for _ in strip.hide_mm]
            self._row(dict.fromkeys(spans, 1.0) | {used[j]: -1.0}, 0, 0)
            before = dict.fromkeys(finished[:j], 1.0)
            for span, (low, high) in zip(spans, strip.hide_mm, strict=True):
                big = strip.length_mm + high
                self._row(_sum(before, {span: -big}), low=low - self.hair_mm - big)
                self._row(_sum(before, {span: big}), high=high + self.hair_mm + big)

    def _place(
        self,
        places: list[Stretch],
        kinds: dict[tuple[str, str], int],
        used: int,
        length: dict[int, float],
        strip_mm: float,
    ) -> tuple[int, list[int]]:
        low, high = min(p.low for p in places), max(p.high for p in places)
        start = self._new(low, high)
        big = high - low + strip_mm
        literals = []
        for place in places:
            literal = self._new(0, 1, True)
            literals.append(literal)
            self._row({literal: 1.0, kinds[place.kind]: -1.0}, high=0)
            self._row({start: 1.0, literal: -(place.low - low)}, low=low)
            self._row(_sum({start: 1.0, literal: big}, length), high=place.high + big)
            self.placed.append((start, place, literal, length))
        self._row(dict.fromkeys(literals, 1.0) | {used: -1.0}, 0, 0)
        return start, literals

    def _phase(
        self, strip: Strip, ends: list[tuple[dict[int, float], float, dict[int, float]]], used: list[int]
    ) -> None:
        repeat = self.problem.fabrics[strip.fabric].print.along
        if repeat is None:
            return
        self.phases[strip.id] = (ends[0][0], ends[0][1])
        for j in range(1, len(ends)):
            here, head, step = ends[j - 1]
            then, next_head, _ = ends[j]
            turns = self._turns(repeat.value)
            terms = _sum(_sum(_sum(then, {k: -v for k, v in here.items()}), {k: -v for k, v in step.items()}),
                         {turns: repeat.value})  # fmt: skip
            big = repeat.value * 2 * self._most_turns(repeat.value)
            shift = head - next_head
            self._row(_sum(terms, {used[j]: big}), high=shift + big)
            self._row(_sum(terms, {used[j]: -big}), low=shift - big)

    def _most_turns(self, repeat_mm: float) -> int:
        """More repeats than lie between any two places of the cloth, with a whole strip added."""
        reach = max(abs(p.low) + abs(p.high) + abs(p.along_origin) for _, p, _, _ in self.placed)
        return math.ceil(2 * (reach + max(strip.length_mm for strip in self.problem.strips)) / repeat_mm) + 1

    def _turns(self, repeat_mm: float) -> int:
        most = self._most_turns(repeat_mm)
        return self._new(-most, most, True)

    def _pairs(self) -> None:
        pairs: dict[str, list[Strip]] = defaultdict(list)
        for strip in self.problem.strips:
            for name in alike(strip, motif=strip.id in self.phases):
                if strip.id in self.phases:
                    pairs[name].append(strip)
        for strips in pairs.values():
            for one, other in pairwise(strips):
                repeat = self.problem.fabrics[one.fabric].print.along
                assert repeat is not None
                (here, head), (there, other_head) = self.phases[one.id], self.phases[other.id]
                turns = self._turns(repeat.value)
                terms = _sum(_sum(there, {k: -v for k, v in here.items()}), {turns: repeat.value})
                self._row(terms, head - other_head, head - other_head)

    def _apart(self) -> None:
        order: dict[tuple[int, int], int] = {}
        for (s1, p1, x1, n1), (s2, p2, x2, n2) in combinations(self.placed, 2):
            across = p1.across[0] < p2.across[1] - 0.01 and p2.across[0] < p1.across[1] - 0.01
            along = p1.low < p2.high and p2.low < p1.high
            if s1 == s2 or p1.piece != p2.piece or not (across and along):
                continue
            if (s1, s2) not in order:
                order[s1, s2] = self._new(0, 1, True)
            first = order[s1, s2]
            big = self.high[s1] - self.low[s2]
            one_before = _sum(_sum({s1: 1.0, s2: -1.0}, n1), {x1: big, x2: big, first: big})
            self._row(one_before, high=3 * big)
            big = self.high[s2] - self.low[s1]
            other_before = _sum(_sum({s2: 1.0, s1: -1.0}, n2), {x1: big, x2: big, first: -big})
            self._row(other_before, high=2 * big)

    def solve(self, seconds: float) -> bool | None:
        if self.impossible:
            return False
        entries = [(i, j, v) for i, (terms, _, _) in enumerate(self.rows) for j, v in terms.items()]
        rows, columns, values = zip(*entries, strict=True)
        matrix = coo_array((values, (rows, columns)), shape=(len(self.rows), len(self.low))).tocsr()
        limits = LinearConstraint(matrix, [row[1] for row in self.rows], [row[2] for row in self.rows])
        found = milp(
            np.zeros(len(self.low)), integrality=np.array(self.whole), bounds=Bounds(self.low, self.high),
            constraints=limits, options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )  # fmt: skip
        return {0: True, 2: False}.get(found.status)


def _longest(strip: Strip) -> float:
    return strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm)


def _sum(one: dict[int, float], other: dict[int, float]) -> dict[int, float]:
    total = dict(one)
    for key, value in other.items():
        total[key] = total.get(key, 0.0) + value
    return total
