"""The search's own view of one fabric: needs in whole micrometres, runs they may lie in, and what joins them up.

A turned strip is the same cut strip laid the other way, a half turn: it starts at the far end and runs along -d, and
its first cut edge lies where p·n is greatest. So its stripe stands ``stripe_at`` from the other edge of the band.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import shapely

from stash.fabric import Fabric
from stash.garment.part import Panel, Strip
from stash.piece import Piece
from stash.planner.lanes import Clique, Profile, Run, find_cliques, find_runs
from stash.planner.region import to_print, usable
from stash.planner.stance import FIT_UM, Stance


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """A strip in whole micrometres. ``runs[turned]`` are the runs it may lie in; ``most`` the segments it may have.

    ``group`` joins strips that must be turned alike and, where ``phased``, start at the same phase.
    """

    strip: Strip
    length_um: int
    seams_um: int
    head_um: int
    tail_um: int
    shortest_um: int
    most: int
    phased: bool
    group: str
    turns: tuple[bool, ...]
    runs: dict[bool, tuple[int, ...]]

    @property
    def whole_um(self) -> int:
        """The cut length in one segment."""
        return self.length_um + self.seams_um + self.head_um + self.tail_um

    @property
    def least_um(self) -> int:
        """The shortest cut of any segment."""
        return self.whole_um if self.most == 1 else self.shortest_um + self.seams_um

    @property
    def all_runs(self) -> tuple[int, ...]:
        """The runs it may lie in, whichever way round."""
        return tuple(sorted({run for turned in self.turns for run in self.runs[turned]}))

    def way(self, run: int) -> bool:
        """The way round in which the strip fits the run (unturned where both do)."""
        return run not in self.runs.get(False, ())


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One fabric's strips and panels against its pieces, in one stance. ``period_nm`` is the repeat along, if any.

    ``related``: more ties the strips than room, pairs and turns, so a way of searching that knows of no more than these
    does not apply (its "none" still holds).
    """

    fabric: Fabric
    stance: Stance
    pieces: tuple[Piece, ...]
    cloths: tuple[Any, ...]
    needs: tuple[Need, ...]
    runs: tuple[Run, ...]
    cliques: tuple[Clique, ...]
    panels: tuple[Panel, ...]
    period_nm: int | None
    related: bool = False

    def on(self, cloths: Sequence[Any]) -> Task:
        """The same task on other usable regions, each in its piece's frame: what is left once something is taken."""
        strips = [need.strip for need in self.needs]
        return build_task(self.fabric, self.pieces, strips, self.panels, self.stance, cloths)

    def origin_um(self, piece: int) -> int:
        """Where the print along the stripes starts on a piece, along d."""
        return round(self.pieces[piece].along_origin_mm * 1000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A segment laid into a run: ``segment`` from 0 in the order along the strip."""

    need: int
    segment: int
    run: int
    start_um: int
    size_um: int
    finished_um: int
    turned: bool

    @property
    def end_um(self) -> int:
        """Where it ends along d."""
        return self.start_um + self.size_um


def build_task(
    fabric: Fabric,
    pieces: Sequence[Piece],
    strips: Sequence[Strip],
    panels: Sequence[Panel],
    stance: Stance,
    cloths: Sequence[Any] | None = None,
) -> Task:
    """Turn one fabric's share of a problem into runs and needs.

    No strip lies on a piece whose stripe direction is not known. ``cloths`` replaces their usable regions (each
    in its piece's frame), for pieces from which something has been taken already.
    """
    regions = tuple(cloths) if cloths is not None else tuple(usable(piece, stance) for piece in pieces)
    turned_cloths = [
        shapely.Polygon() if p.stripe_direction_deg is None else to_print(c, p.stripe_direction_deg)
        for c, p in zip(regions, pieces, strict=True)
    ]
    period_nm = round(fabric.print.along.value * 1e6) if fabric.print.along is not None else None
    pairs = Counter(strip.pair or "" for strip in strips)
    lopsided = {s.pair for s in strips if s.pair and not _symmetric(s)}
    bench = _Bench(fabric, pieces, turned_cloths, stance)
    needs: list[Need] = []
    for index, strip in enumerate(strips):
        most = most_segments(strip)
        paired = bool(strip.pair) and pairs[strip.pair or ""] > 1
        phased = period_nm is not None and (most > 1 or paired)
        group = f"pair {strip.pair}" if paired else f"strip {index}"
        matters = phased or not _symmetric(strip) or (paired and strip.pair in lopsided)
        turns = (False, True) if matters and not fabric.one_way else (False,)
        least_um = stance.need_um(_least_cut_mm(strip, most))
        needs.append(
            Need(
                strip=strip,
                length_um=stance.need_um(strip.length_mm),
                seams_um=stance.need_um(2 * strip.seam_mm),
                head_um=stance.need_um(strip.extra_mm[0]),
                tail_um=stance.need_um(strip.extra_mm[1]),
                shortest_um=stance.need_um(strip.shortest_mm),
                most=most,
                phased=phased,
                group=group,
                turns=turns,
                runs={turned: bench.runs_for(_profile(strip, turned), least_um) for turned in turns},
            )
        )
    runs = tuple(bench.runs)
    return Task(
        fabric=fabric, stance=stance, pieces=tuple(pieces), cloths=regions, needs=tuple(_with_equal_turns(needs)),
        runs=runs, cliques=tuple(find_cliques(list(runs))), panels=tuple(panels), period_nm=period_nm,
    )  # fmt: skip


def most_segments(strip: Strip) -> int:
    """How many segments a strip may have: its joins, and what its least segment leaves room for."""
    room = int((strip.length_mm + FIT_UM / 1000) // strip.shortest_mm) if strip.shortest_mm > 0 else strip.joins + 1
    return max(1, min(strip.joins + 1, room))


def _least_cut_mm(strip: Strip, most: int) -> float:
    whole = strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm)
    return whole if most == 1 else min(whole, strip.shortest_mm + 2 * strip.seam_mm)


def _symmetric(strip: Strip) -> bool:
    return abs(strip.cut_width_mm - 2 * strip.stripe_at_mm) <= FIT_UM / 1000


def _profile(strip: Strip, turned: bool) -> Profile:
    at_mm = strip.cut_width_mm - strip.stripe_at_mm if turned and not _symmetric(strip) else strip.stripe_at_mm
    return Profile(label=strip.stripe, cut_width_mm=strip.cut_width_mm, centre_at_mm=at_mm)


def _with_equal_turns(needs: list[Need]) -> list[Need]:
    """Members of a group must have the same choice of ways round."""
    choice: dict[str, set[bool]] = {}
    for need in needs:
        choice.setdefault(need.group, set()).update(need.turns)
    out = []
    for need in needs:
        turns = tuple(sorted(choice[need.group]))
        runs = {turned: need.runs.get(turned, need.runs[False]) for turned in turns}
        out.append(replace(need, turns=turns, runs=runs))
    return out


class _Bench:
    """Finds the runs of each profile once, and numbers them."""

    def __init__(self, fabric: Fabric, pieces: Sequence[Piece], cloths: Sequence[Any], stance: Stance) -> None:
        self.fabric, self.pieces, self.cloths, self.stance = fabric, pieces, cloths, stance
        self.runs: list[Run] = []
        self._known: dict[Profile, tuple[int, ...]] = {}

    def runs_for(self, profile: Profile, least_um: int) -> tuple[int, ...]:
        if profile not in self._known:
            first = len(self.runs)
            for index, (piece, cloth) in enumerate(zip(self.pieces, self.cloths, strict=True)):
                self.runs += find_runs(
                    piece=index, cloth=cloth, origin_mm=piece.stripe_origin_mm, fabric=self.fabric,
                    profile=profile, stance=self.stance, shortest_um=1,
                )  # fmt: skip
            self._known[profile] = tuple(range(first, len(self.runs)))
        return tuple(run for run in self._known[profile] if self.runs[run].length_um >= least_um)
