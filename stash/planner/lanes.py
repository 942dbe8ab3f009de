"""Lanes: where a strip of a given cut width may lie about the occurrences of its stripe on a piece.

A lane is the band of the cut width about one occurrence; its runs are its free stretches along d, the complement of
the projection of everything in the band that is not usable cloth. Looking at the two edges alone would be right for
convex pieces only.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import shapely

from stash.fabric import Fabric
from stash.planner.stance import FIT_UM, Stance

MIN_BAND_MM = 0.002
"""mm. A lane narrowed by its uncertainty to nothing keeps this much, its centre line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """What decides a lane's band: label, cut width, and how far the stripe's centre is from the p·n-least edge."""

    label: str
    cut_width_mm: float
    centre_at_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One free stretch of a lane. ``low_mm``/``high_mm`` is the band to cut, ``left_um``/``right_um`` what it occupies
    (widened by its uncertainty, less FIT), ``start_um``/``end_um`` the stretch along d with FIT added at each end.

    ``kind`` names the occurrence by its neighbours' labels: all segments of a strip must show the same. What is laid
    into an ``over`` run is turned over: the wrong side shows.
    """

    piece: int
    stripe: int
    count: int
    kind: tuple[str, str]
    low_mm: float
    high_mm: float
    left_um: int
    right_um: int
    start_um: int
    end_um: int
    over: bool = False

    @property
    def showing(self) -> tuple[str, str, bool]:
        """What all segments of a strip share: the stripe's neighbours on the cloth, and which face shows."""
        return (*self.kind, self.over)

    @property
    def length_um(self) -> int:
        """What may be laid into the run, end to end."""
        return self.end_um - self.start_um

    def clashes(self, other: Run) -> bool:
        """Whether cuts in both may get in each other's way."""
        return (
            self.piece == other.piece
            and self.left_um < other.right_um
            and other.left_um < self.right_um
            and self.start_um < other.end_um
            and other.start_um < self.end_um
        )


def find_runs(
    *, piece: int, cloth: Any, origin_mm: float, fabric: Fabric, profile: Profile, stance: Stance, shortest_um: int,
    over: bool = False,
) -> list[Run]:  # fmt: skip
    """All runs of at least ``shortest_um`` for a profile; ``cloth`` is the usable region in the print's frame."""
    if cloth.is_empty or fabric.print.across is None:
        return []
    across = fabric.print.across
    left, low, right, high = cloth.bounds
    runs: list[Run] = []
    stripes = fabric.print.stripes
    for index, stripe in enumerate(stripes):
        if stripe.label != profile.label:
            continue
        kind = (stripes[index - 1].label, stripes[(index + 1) % len(stripes)].label)
        offset_mm = origin_mm + stripe.centre_mm - profile.centre_at_mm
        first = math.floor((left - FIT_UM / 1000 - offset_mm - profile.cut_width_mm) / across.value)
        last = math.ceil((right + FIT_UM / 1000 - offset_mm) / across.value)
        for count in range(first, last + 1):
            band_mm = offset_mm + count * across.value
            wider_mm = stance.value * across.u95 * _distance(count, stripe.centre_mm / across.value)
            occupied = _occupied(band_mm, band_mm + profile.cut_width_mm, wider_mm)
            for start_um, end_um in _free(cloth, occupied, (low, high), stance):
                if end_um - start_um >= shortest_um:
                    runs.append(
                        Run(
                            piece=piece, stripe=index, count=count, kind=kind,
                            low_mm=band_mm, high_mm=band_mm + profile.cut_width_mm,
                            left_um=round(occupied[0] * 1000) + FIT_UM // 2,
                            right_um=round(occupied[1] * 1000) - FIT_UM // 2,
                            start_um=start_um, end_um=end_um, over=over,
                        )
                    )  # fmt: skip
    return runs


def _distance(count: int, centre_in_repeats: float) -> int:
    """|k| counted from the occurrence nearest the origin; where two are equally near, the larger."""
    nearest = round(-centre_in_repeats)
    ties = [k for k in (nearest - 1, nearest, nearest + 1) if _as_near(k, nearest, centre_in_repeats)]
    return max(abs(count - k) for k in ties)


def _as_near(k: int, nearest: int, centre_in_repeats: float) -> bool:
    return abs(k + centre_in_repeats) <= abs(nearest + centre_in_repeats) + 1e-9


def _occupied(low_mm: float, high_mm: float, wider_mm: float) -> tuple[float, float]:
    half = max(MIN_BAND_MM + FIT_UM / 1000, (high_mm - low_mm) / 2 + wider_mm)
    middle = (low_mm + high_mm) / 2
    return middle - half, middle + half


def _free(
    cloth: Any, band: tuple[float, float], extent: tuple[float, float], stance: Stance
) -> Iterator[tuple[int, int]]:
    """The free stretches of a band along d, um, FIT added at each end."""
    fit_mm = stance.fit_um / 1000
    box = shapely.box(band[0] + fit_mm, extent[0] - 1.0, band[1] - fit_mm, extent[1] + 1.0)
    barred = sorted((bounds[1], bounds[3]) for bounds in _parts(box.difference(cloth)))
    reached = -math.inf
    for low, high in barred:
        if low > reached and math.isfinite(reached):
            yield stance.low_um(reached) - stance.fit_um, stance.high_um(low) + stance.fit_um
        reached = max(reached, high)


def _parts(shape: Any) -> Iterable[tuple[float, float, float, float]]:
    return (part.bounds for part in getattr(shape, "geoms", (shape,)) if not part.is_empty)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clique:
    """Runs of one piece that all pass over one place: no two cuts in them may overlap along d.

    ``capacity_um`` is the length of the union of their stretches, which is connected.
    """

    runs: tuple[int, ...]
    capacity_um: int


def find_cliques(runs: list[Run]) -> list[Clique]:
    """The maximal sets of runs that share a place across, split where their stretches fall apart along d."""
    found: dict[tuple[int, ...], Clique] = {}
    for piece in sorted({run.piece for run in runs}):
        members = [index for index, run in enumerate(runs) if run.piece == piece]
        for group in _maximal(runs, members):
            for part in _connected(runs, group):
                capacity = max(runs[r].end_um for r in part) - min(runs[r].start_um for r in part)
                found.setdefault(part, Clique(runs=part, capacity_um=capacity))
    return list(found.values())


def _maximal(runs: list[Run], members: list[int]) -> Iterator[list[int]]:
    """Maximal cliques of the intervals across: where a right edge follows a left edge in the sweep."""
    events = sorted([(runs[r].left_um, 1, r) for r in members] + [(runs[r].right_um, 0, r) for r in members])
    current: set[int] = set()
    grew = False
    for _, opens, run in events:
        if opens:
            current.add(run)
            grew = True
        else:
            if grew:
                yield sorted(current)
            current.discard(run)
            grew = False


def _connected(runs: list[Run], group: list[int]) -> Iterator[tuple[int, ...]]:
    """The group split into runs whose stretches overlap along d, one chain each."""
    chain: list[int] = []
    reach = 0
    for run in sorted(group, key=lambda r: (runs[r].start_um, r)):
        if chain and runs[run].start_um >= reach:
            yield tuple(sorted(chain))
            chain = []
        reach = max(reach, runs[run].end_um) if chain else runs[run].end_um
        chain.append(run)
    if chain:
        yield tuple(sorted(chain))
