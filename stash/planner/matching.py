"""Which looks the strips of one fabric may have together: mirror sets, corners, and the same neighbour outward.

Strips that are tied to each other form a cluster. Within it few choices fix everything: what one strip of a mirror set
shows, which neighbour lies outward, which way round those lie that are turned alike. A choice says of each strip in
which ways its segments may lie, and with that nothing ties the strips any more but what the search knows.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product
from typing import Any

from stash.fabric import Fabric
from stash.garment.part import Strip
from stash.planner.look import (
    Look,
    Way,
    Ways,
    centred,
    classes,
    half_shown_mm,
    look_alike,
    look_on_cloth,
    mirrored,
    outer_half,
    slack_mm,
    ways_laid,
    worn,
)

MOST_CHOICES = 64
"""Choices listed before giving up; identical strips change places freely, so garments have one or two."""


MOST_TRIED = 4096
"""Combinations of looks tried within a cluster."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tie:
    """Two strips, by number, that must look alike, or the second like the first in a mirror."""

    one: int
    other: int
    mirror: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Matching:
    """``choices``: each gives some strips their ways; none: no look does it, and ``impossible`` names the clusters.

    ``whole``: every choice is among them.
    """

    choices: tuple[Ways, ...]
    impossible: tuple[tuple[Strip, ...], ...] = ()
    whole: bool = True


def ties(strips: Sequence[Strip]) -> list[Tie]:
    """What mirror sets and corners say. In a set each strip is the mirror image of the one before it; round a corner
    the look runs on from an end to a start, and where two ends or two starts meet it is the mirror. A set is tied to
    its widest strip, which shows what all others do."""
    out: list[Tie] = []
    sets: dict[str, list[int]] = defaultdict(list)
    by_id = {strip.id: index for index, strip in enumerate(strips)}
    for index, strip in enumerate(strips):
        if strip.mirror is not None:
            sets[strip.mirror].append(index)
        for one, one_end, two, two_end in strip.corner:
            if one in by_id and two in by_id:
                out.append(Tie(one=by_id[one], other=by_id[two], mirror=one_end == two_end))
    for members in sets.values():
        first = max(range(len(members)), key=lambda place: (half_shown_mm(strips[members[place]]), -place))
        out += [
            Tie(one=members[first], other=other, mirror=(place - first) % 2 == 1)
            for place, other in enumerate(members) if place != first
        ]  # fmt: skip
    return out


def tied(strips: Sequence[Strip]) -> bool:
    """Whether anything is said of how strips look beside each other."""
    return bool(ties(strips)) or max((len(row) for row in _outward(strips)), default=0) > 1


def matchings(fabric: Fabric, strips: Sequence[Strip], groups: Sequence[str]) -> Matching:
    """All choices of looks for the strips of one fabric whose repeat is known.

    ``groups`` names for each strip those with which it is turned alike.
    """
    options: list[list[dict[int, frozenset[Way]]]] = []
    impossible = []
    whole = True
    for members in _clusters(strips, groups):
        cluster = _Cluster(fabric, strips, groups, members)
        raw = list(islice(cluster.choices(), MOST_TRIED))
        whole = whole and len(raw) < MOST_TRIED
        found = list(_told_apart(iter(raw), strips, groups, motif=fabric.print.along is not None))
        options.append(found)
        if not found:
            impossible.append(tuple(strips[index] for index in members))
    if impossible:
        return Matching(choices=(), impossible=tuple(impossible))
    choices: list[Ways] = []
    for combination in product(*options):
        if len(choices) == MOST_CHOICES:
            return Matching(choices=tuple(choices), whole=False)
        choices.append({strips[i].id: ways for part in combination for i, ways in part.items()})
    return Matching(choices=tuple(choices), whole=whole)


def _outward(strips: Sequence[Strip]) -> list[list[int]]:
    """Strips that must show the same neighbour outward: those of one garment that show the same stripe."""
    sets: dict[Any, list[int]] = defaultdict(list)
    for index, strip in enumerate(strips):
        if strip.outward is not None:
            sets[strip.garment, strip.fabric, strip.stripe].append(index)
    return list(sets.values())


def _clusters(strips: Sequence[Strip], groups: Sequence[str]) -> list[list[int]]:
    """Strips tied to each other, directly or through others; strips that nothing ties are in none."""
    links = [(tie.one, tie.other) for tie in ties(strips)]
    links += [(row[0], other) for row in _outward(strips) for other in row[1:]]
    touched = {index for link in links for index in link}
    touched |= {index for index, strip in enumerate(strips) if strip.laid is not None}
    alike: dict[str, list[int]] = defaultdict(list)
    for index, group in enumerate(groups):
        alike[group].append(index)
    links += [(row[0], i) for row in alike.values() if touched.intersection(row) for i in row[1:]]
    home = list(range(len(strips)))
    for one, other in links:
        home = [home[one] if place == home[other] else place for place in home]
    found: dict[int, list[int]] = defaultdict(list)
    for index in range(len(strips)):
        found[home[index]].append(index)
    return [members for members in found.values() if len(members) > 1]


class _Cluster:
    """The looks that the strips of a cluster can have. Two are compared as far as the narrower strip shows."""

    def __init__(self, fabric: Fabric, strips: Sequence[Strip], groups: Sequence[str], members: list[int]) -> None:
        self.strips, self.groups, self.members = strips, groups, members
        self.slack = slack_mm(fabric.print)
        self.looks: dict[int, dict[Way, Look]] = {}
        self.kinds: dict[int, list[Look]] = {}
        for index in members:
            ways = ways_laid(fabric, strips[index])
            half = half_shown_mm(strips[index])
            looks = [worn(look_on_cloth(fabric.print, way.stripe, half), way) for way in ways]
            like = classes(looks, self.slack)
            self.looks[index] = {way: looks[first] for way, first in zip(ways, like, strict=True)}
            self.kinds[index] = [looks[first] for first in dict.fromkeys(like)]
        self.ties = [tie for tie in ties(strips) if tie.one in self.looks]
        self.outward = [row for row in _outward(strips) if row[0] in self.looks and len(row) > 1]

    def choices(self) -> Iterator[dict[int, frozenset[Way]]]:
        """Every way to fill in what is free: turns of those turned alike, neighbours outward, looks of those tied."""
        alike = sorted({g for g in (self.groups[i] for i in self.members) if self.groups.count(g) > 1})
        chain = sorted({index for tie in self.ties for index in (tie.one, tie.other)})
        outer = [self._halves(row) for row in self.outward]
        for turns in product((False, True), repeat=len(alike)):
            turn = dict(zip(alike, turns, strict=True))
            for halves in product(*outer):
                may = {index: self._ways(index, turn, halves) for index in self.members}
                if all(may.values()):
                    for looks in self._fitted(chain, may, {}):
                        yield {i: self._that_show(may[i], i, looks[i]) if i in looks else may[i] for i in self.members}

    def _fitted(
        self, chain: list[int], may: dict[int, frozenset[Way]], chosen: dict[int, Look]
    ) -> Iterator[dict[int, Look]]:
        """A look for each strip of the chain, such that every tie holds."""
        if len(chosen) == len(chain):
            yield dict(chosen)
            return
        index = chain[len(chosen)]
        for look in self.kinds[index]:
            tried = {**chosen, index: look}
            if self._that_show(may[index], index, look) and all(self._holds(tie, tried) for tie in self.ties):
                yield from self._fitted(chain, may, tried)

    def _holds(self, tie: Tie, chosen: dict[int, Look]) -> bool:
        if tie.one not in chosen or tie.other not in chosen:
            return True
        one = chosen[tie.one]
        return look_alike(mirrored(one) if tie.mirror else one, chosen[tie.other], self.slack)

    def _that_show(self, ways: frozenset[Way], index: int, look: Look) -> frozenset[Way]:
        return frozenset(way for way in ways if self.looks[index][way] is look)

    def _halves(self, row: list[int]) -> list[tuple[frozenset[int], Look]]:
        """What may lie outward on the strips of a row, as it shows on the widest of them."""
        widest = max(row, key=lambda index: half_shown_mm(self.strips[index]))
        halves = [self._outer(widest, way) for way in self.looks[widest]]
        return [(frozenset(row), halves[first]) for first in sorted(set(classes(halves, self.slack)))]

    def _outer(self, index: int, way: Way) -> Look:
        look = self.looks[index][way]
        return outer_half(look if self.strips[index].outward == "right" else mirrored(look))

    def _ways(self, index: int, turn: dict[str, bool], halves: Sequence[tuple[frozenset[int], Look]]) -> frozenset[Way]:
        group = self.groups[index]
        ways = [way for way in self.looks[index] if way.turned == turn.get(group, way.turned)]
        for row, half in halves:
            if index in row:
                ways = [way for way in ways if look_alike(self._outer(index, way), half, self.slack)]
        return frozenset(ways)


def _told_apart(
    choices: Iterator[dict[int, frozenset[Way]]], strips: Sequence[Strip], groups: Sequence[str], *, motif: bool
) -> Iterator[dict[int, frozenset[Way]]]:
    """The choices without those that differ only by which of two equal strips is which, or by a turn of no matter."""
    known: set[Any] = set()
    for choice in choices:
        plain = {index: _plain(ways, strips[index], motif=motif) for index, ways in choice.items()}
        rows = [_comes_to(ways, strips[index], groups[index], motif=motif) for index, ways in plain.items()]
        key = frozenset(Counter(rows).items())
        if key not in known:
            known.add(key)
            yield plain


def _plain(ways: frozenset[Way], strip: Strip, *, motif: bool) -> frozenset[Way]:
    """Without turning over where the same can be had face up: on the same stripe the same way round, or, where a turn
    does not matter, on the same stripes any way round."""
    if not centred(strip):
        return ways
    up = frozenset(way for way in ways if not way.over)
    if not motif and {way.stripe for way in up} >= {way.stripe for way in ways}:
        return up
    return frozenset(way for way in ways if not way.over or replace(way, over=False) not in up)


def _comes_to(ways: frozenset[Way], strip: Strip, group: str, *, motif: bool) -> Any:
    """What a strip's ways come to on the cloth, whatever the strip is called."""
    same = replace(strip, id="", mirror=None, corner=(), outward=None, pair=None)
    if motif or not centred(strip):
        return same, group if motif else None, ways
    sides: dict[Any, set[int]] = defaultdict(set)
    for way in ways:
        sides[way.turned, way.over].add(way.stripe)
    return same, None, frozenset(frozenset(places) for places in sides.values())
