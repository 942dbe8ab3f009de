"""The search's own view of one fabric: needs in whole micrometres, runs they may lie in, and what joins them up.

A turned strip is the same cut strip laid the other way, a half turn: it starts at the far end and runs along -d, and
its first cut edge lies where p·n is greatest. So its stripe stands ``stripe_at`` from the other edge of the band.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import shapely

from stash.fabric import Fabric
from stash.garment.part import Panel, Strip
from stash.piece import Piece
from stash.planner.lanes import Clique, Profile, Run, find_cliques, find_runs
from stash.planner.look import Way, Ways, centred, ways_of
from stash.planner.region import to_print, usable
from stash.planner.stance import FIT_UM, Stance


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """A strip in whole micrometres. ``runs[turned]`` are the runs it may lie in; ``most`` the segments it may have.

    ``group`` joins strips that must be turned alike and, where ``phased``, start at the same phase. ``hides`` are the
    spans from the finished start in which joins may lie (um); none: anywhere.
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
    hides: tuple[tuple[int, int], ...] = ()

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

    def longest_um(self, done_um: int, most_um: int) -> int:
        """The greatest finished length up to ``most_um`` after ``done_um`` of the strip whose end is where a join may
        lie; -1 where there is none."""
        if not self.hides:
            return most_um
        ends = [min(high, done_um + most_um) for low, high in self.hides if low <= done_um + most_um]
        return max(ends, default=-1) - done_um if ends else -1

    def hidden(self, join_um: int) -> bool:
        """Whether a join may lie that far from the strip's finished start."""
        return not self.hides or any(low <= join_um <= high for low, high in self.hides)

    def way(self, run: int) -> bool:
        """The way round in which the strip fits the run (unturned where both do)."""
        return run not in self.runs.get(False, ())


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One fabric's strips and panels against its pieces, in one stance. ``period_nm`` is the repeat along, if any.

    ``ways`` are those in which some strips must lie, so that they look as they should beside the others; ``starts``
    where the print must stand at the finished start of some (um past its origin), so that they match what is cut.
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
    ways: Ways = field(default_factory=dict)
    starts: Mapping[str, int] = field(default_factory=dict)

    def on(self, cloths: Sequence[Any]) -> Task:
        """The same task on other usable regions, each in its piece's frame: what is left once something is taken."""
        strips = [need.strip for need in self.needs]
        return build_task(self.fabric, self.pieces, strips, self.panels, self.stance, cloths, self.ways, self.starts)

    def only_on(self, pieces: frozenset[int]) -> Task:
        """The same task with strips on those pieces alone."""
        needs = (
            replace(need, runs={way: tuple(r for r in runs if self.runs[r].piece in pieces)
                                for way, runs in need.runs.items()})
            for need in self.needs
        )  # fmt: skip
        return replace(self, needs=tuple(needs))

    def start_um(self, group: str) -> int | None:
        """Where the print must stand at the finished start of the strips of a group, if what is cut says so."""
        mine = (need.strip.id for need in self.needs if need.group == group)
        return next((self.starts[name] for name in mine if name in self.starts), None)

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
    ways: Ways | None = None,
    starts: Mapping[str, int] | None = None,
) -> Task:
    """Turn one fabric's share of a problem into runs and needs.

    No strip lies on a piece whose stripe direction is not known. ``cloths`` replaces their usable regions (each
    in its piece's frame), for pieces from which something has been taken already. ``ways`` limits how strips may lie;
    ``starts`` as in ``Task``.
    """
    regions = tuple(cloths) if cloths is not None else tuple(usable(piece, stance) for piece in pieces)
    turned_cloths = [
        shapely.Polygon() if p.stripe_direction_deg is None else to_print(c, p.stripe_direction_deg)
        for c, p in zip(regions, pieces, strict=True)
    ]
    period_nm = round(fabric.print.along.value * 1e6) if fabric.print.along is not None else None
    groups = turned_alike(strips, motif=period_nm is not None)
    sizes = Counter(groups)
    told = {group for group, strip in zip(groups, strips, strict=True) if strip.id in (starts or {})}
    lopsided = {group for group, strip in zip(groups, strips, strict=True) if not centred(strip)}
    bench = _Bench(fabric, pieces, turned_cloths, stance)
    needs: list[Need] = []
    for strip, group in zip(strips, groups, strict=True):
        most = most_segments(strip)
        phased = period_nm is not None and (most > 1 or sizes[group] > 1 or group in told)
        may = _may_lie(fabric, strip, (ways or {}).get(strip.id), matters=phased or group in lopsided, phased=phased)
        turns = tuple(sorted({way.turned for way in may}))
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
                runs={turned: bench.runs_laid(strip, turned, may, least_um) for turned in turns},
                hides=_hides(strip, stance) if most > 1 else (),
            )
        )
    runs = tuple(bench.runs)
    return Task(
        fabric=fabric, stance=stance, pieces=tuple(pieces), cloths=regions, needs=tuple(_with_equal_turns(needs)),
        runs=runs, cliques=tuple(find_cliques(list(runs))), panels=tuple(panels), period_nm=period_nm,
        ways=dict(ways or {}), starts=dict(starts or {}),
    )  # fmt: skip


def turned_alike(strips: Sequence[Strip], *, motif: bool) -> list[str]:
    """For each strip the name of those with which it is turned alike: its pair, and on a motif its mirror set, since a
    motif is not known to look the same from its other end. What is begun goes on by itself as it lies."""
    names = [f"strip {index}" for index in range(len(strips))]
    for key in ("pair", "mirror") if motif else ("pair",):
        sets: dict[str, list[int]] = {}
        for index, strip in enumerate(strips):
            if (value := getattr(strip, key)) and strip.laid is None:
                sets.setdefault(value, []).append(index)
        for value, members in sets.items():
            joined = {names[index] for index in members}
            if len(members) > 1:
                names = [f"{key} {value}" if name in joined else name for name in names]
    return names


def _may_lie(
    fabric: Fabric, strip: Strip, ways: frozenset[Way] | None, *, matters: bool, phased: bool
) -> tuple[Way, ...]:
    """The ways in which a strip's segments may lie: those asked for, else all that make a difference."""
    if ways is not None:
        return tuple(sorted(ways))
    over = fabric.both_faces and not centred(strip) and (phased or fabric.one_way)
    return tuple(way for way in ways_of(fabric, strip) if (matters or not way.turned) and (over or not way.over))


def _hides(strip: Strip, stance: Stance) -> tuple[tuple[int, int], ...]:
    """The spans for joins, um; edges count, and for a no what is equal to them."""
    beyond = FIT_UM if stance is Stance.GENEROUS else 0
    return tuple((round(low * 1000) - beyond, round(high * 1000) + beyond) for low, high in strip.hide_mm)


def most_segments(strip: Strip) -> int:
    """How many segments a strip may have: its joins, and what its least segment leaves room for."""
    room = int((strip.length_mm + FIT_UM / 1000) // strip.shortest_mm) if strip.shortest_mm > 0 else strip.joins + 1
    return max(1, min(strip.joins + 1, room))


def _least_cut_mm(strip: Strip, most: int) -> float:
    whole = strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm)
    return whole if most == 1 else min(whole, strip.shortest_mm + 2 * strip.seam_mm)


def _profile(strip: Strip, swapped: bool) -> Profile:
    at_mm = strip.cut_width_mm - strip.stripe_at_mm if swapped and not centred(strip) else strip.stripe_at_mm
    return Profile(label=strip.stripe, cut_width_mm=strip.cut_width_mm, centre_at_mm=at_mm)


def _with_equal_turns(needs: list[Need]) -> list[Need]:
    """Members of a group must have the same choice of ways round."""
    choice: dict[str, set[bool]] = {}
    for need in needs:
        choice.setdefault(need.group, set()).update(need.turns)
    out = []
    for need in needs:
        turns = tuple(sorted(choice[need.group]))
        runs = {turned: need.runs.get(turned, need.runs.get(False, ())) for turned in turns}
        out.append(replace(need, turns=turns, runs=runs))
    return out


class _Bench:
    """Finds the runs of each profile and face once, and numbers them."""

    def __init__(self, fabric: Fabric, pieces: Sequence[Piece], cloths: Sequence[Any], stance: Stance) -> None:
        self.fabric, self.pieces, self.cloths, self.stance = fabric, pieces, cloths, stance
        self.runs: list[Run] = []
        self._known: dict[tuple[Profile, bool], tuple[int, ...]] = {}

    def runs_laid(self, strip: Strip, turned: bool, may: Sequence[Way], least_um: int) -> tuple[int, ...]:
        """The runs for a strip that is turned, or not, in the ways in which it may lie."""
        out: list[int] = []
        for over in sorted({way.over for way in may if way.turned == turned}):
            stripes = {way.stripe for way in may if (way.turned, way.over) == (turned, over)}
            found = self._runs_for(_profile(strip, turned != over), over)
            out += [r for r in found if self.runs[r].length_um >= least_um and self.runs[r].stripe in stripes]
        return tuple(out)

    def _runs_for(self, profile: Profile, over: bool) -> tuple[int, ...]:
        if (profile, over) not in self._known:
            first = len(self.runs)
            for index, (piece, cloth) in enumerate(zip(self.pieces, self.cloths, strict=True)):
                self.runs += find_runs(
                    piece=index, cloth=cloth, origin_mm=piece.stripe_origin_mm, fabric=self.fabric,
                    profile=profile, stance=self.stance, shortest_um=1, over=over,
                )  # fmt: skip
            self._known[profile, over] = tuple(range(first, len(self.runs)))
        return self._known[profile, over]
