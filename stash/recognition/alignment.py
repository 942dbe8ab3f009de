"""Lays what a scrap shows of its stripes on a fabric's repeat, at every place and either way round."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from stash.nearness import differences
from stash.recognition.impression import Floats, Run
from stash.recognition.light import Light, lab
from stash.recognition.portrait import Ring

#: Places of the repeat that are tried, mm apart, but no more of them than _MOST_PLACES.
_PLACE_MM: Final = 0.5
_MOST_PLACES: Final = 240
#: A run is looked at in at most so many places.
_MOST_LOOKS: Final = 110
#: How far a look is off as stored, a share of white (standard deviation): about 3 CIEDE2000.
LOOK_SPREAD: Final = 0.025
#: Cloth of one fabric is longer or shorter by this (repeats wander by 1/2 to 1 %, common practice): where no whole
#: repeat shows, so much is tried.
_WANDER: Final = (1.0, 0.985, 1.015)
#: A place differs no more than this from what it should show, in standard deviations: it may be dirt or a crease.
_MOST_OFF: Final = 5.0
#: Within this of where the look changes, colours are mixed, mm.
_MIXED_MM: Final = 0.5
#: How far an edge in a run is off, mm (standard deviation): a thread of coarse cloth, and the pixels of the picture.
EDGE_SPREAD_MM: Final = 0.35
#: An edge that is farther off than so many standard deviations is not there.
_LOST_EDGE: Final = 4.0
#: Edges count for no more looks than this: those of one stripe, repeat for repeat, are off alike.
_MOST_EDGES: Final = 8
#: Neighbours that differ by less, CIEDE2000, need show no edge; those that differ by less than the second show none.
_PLAIN_DE: Final = 9.0
_FAINT_DE: Final = 2.3
#: So near the cloth's rim an edge may be its shadow or its fray, mm (practice).
_RIM_MM: Final = 1.8
#: A way to lay a run is told from another where it is better by this (e^3 = 20 times likelier); two are the same where
#: they differ in less than this share of places.
_LEAD: Final = 3.0
_SAME_SHARE: Final = 0.06
#: Places of the repeat nearer than this are one, mm: stretched by 1.5 %, a hand's breadth moves by no more.
_NEIGHBOUR_MM: Final = 1.5
#: So many places are looked at closely, the best first.
_CLOSE: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alignment:
    """A run laid on a ring. ``start_mm`` is where in the ring its first place lies; ``reverse``: it runs against it.

    ``misfit``: half the sum of squares of what is off in colour, edges and light, in standard deviations. ``alone``: no
    other way to lay it is about as good and would have other stripes there or half a repeat beyond.
    """

    start_mm: float
    reverse: bool
    stretch: float
    misfit: float
    factor: Floats
    colour_de: float
    edges_off_mm: float
    alone: bool = False

    def place_mm(self, along_mm: Floats) -> Floats:
        """Where in the ring places (N,) of the run lie."""
        return self.start_mm + (-self.stretch if self.reverse else self.stretch) * along_mm


def align(run: Run, ring: Ring, light: Light, spread_de: float, looks: int) -> tuple[Alignment, ...]:
    """The best ways to lay a run on a ring, best first. ``looks`` is how many independent colours the run shows."""
    stretches = _WANDER if run.repeat is None else (ring.repeat.value / run.repeat.value,)
    rough = sorted(
        (
            found
            for reverse in (False, True)
            for stretch in stretches
            for found in _rough(run, ring, light, reverse, stretch, looks)
        ),
        key=lambda row: row[0],
    )
    close = [
        _close(run, ring, light, start, reverse, stretch, spread_de, looks)
        for _, start, reverse, stretch in _distinct(rough, ring)
    ]
    best, *others = sorted(close, key=lambda one: one.misfit)
    rivals = [one for one in others if one.misfit < best.misfit + _LEAD]
    return replace(best, alone=all(_same_stripes(run, ring, best, one) for one in rivals)), *others


def _distinct(rough: list[tuple[float, float, bool, float]], ring: Ring) -> list[tuple[float, float, bool, float]]:
    """The best places that are not one another's neighbours, or the same stretched a little."""
    kept: list[tuple[float, float, bool, float]] = []
    for row in rough:
        _, start, reverse, _ = row
        near = (
            abs(math.remainder(start - one[1], ring.repeat.value)) < _NEIGHBOUR_MM for one in kept if one[2] is reverse
        )
        if not any(near):
            kept.append(row)
        if len(kept) == _CLOSE:
            break
    return kept


def _same_stripes(run: Run, ring: Ring, one: Alignment, other: Alignment) -> bool:
    """Whether both lay the same stripes where the run is, and half a repeat beyond."""
    beyond = ring.repeat.value / 2
    places = np.arange(-beyond, run.length_mm + beyond, _PLACE_MM)
    labels = np.array([stripe.label for stripe in ring.stripes])
    first, second = (labels[_stripe_at(ring, laid.place_mm(places))] for laid in (one, other))
    return bool((first != second).mean() < _SAME_SHARE)


def _rough(
    run: Run, ring: Ring, light: Light, reverse: bool, stretch: float, looks: int
) -> list[tuple[float, float, bool, float]]:
    """Misfit, start, way and stretch at the places where the run fits better than beside them."""
    every = max(1, len(run.colours) // _MOST_LOOKS)
    seen = run.colours[::every]
    count = int(np.clip(ring.repeat.value / _PLACE_MM, 24, _MOST_PLACES))
    step = ring.repeat.value / count
    table = ring.colours[_stripe_at(ring, np.linspace(step / 2, ring.repeat.value - step / 2, count))]
    way = -1 if reverse else 1
    steps = np.rint(np.arange(len(seen)) * every * run.step_mm * stretch * count / ring.repeat.value).astype(int)
    known = table[(np.arange(count)[:, None] + way * steps) % count]
    weight = _weight(run)[::every]
    each = np.broadcast_to(weight * looks / weight.sum(), known.shape[:2])
    factor = light.fitted(seen, known, each, LOOK_SPREAD)
    off = ((seen - np.clip(factor[:, None] * known, 0, 1)) ** 2).sum(axis=2)
    misfit = 0.5 * ((each * np.minimum(off / LOOK_SPREAD**2, 3 * _MOST_OFF**2)).sum(axis=1) + light.strain(factor))
    low = (misfit <= np.roll(misfit, 1)) & (misfit <= np.roll(misfit, -1))
    places = np.flatnonzero(low)
    places = places[np.argsort(misfit[places])][:_CLOSE]
    return [(float(misfit[k]), float((k + 0.5) / count * ring.repeat.value), reverse, stretch) for k in places]


def _close(
    run: Run, ring: Ring, light: Light, start: float, reverse: bool, stretch: float, spread_de: float, looks: int
) -> Alignment:
    """The same looked at place for place, by CIEDE2000 and by its edges, moved to where its edges fit."""
    way = -stretch if reverse else stretch
    start += _moved(run, ring, start, way)
    places = start + way * np.arange(len(run.colours)) * run.step_mm
    known = ring.colours[_stripe_at(ring, places)]
    weight = _weight(run)
    each = weight * looks / weight.sum()
    factor = light.fitted(run.colours, known, each, LOOK_SPREAD * max(1.0, spread_de / 3.0))
    off = differences(lab(run.colours), lab(np.clip(factor * known, 0, 1)))
    colour = float((each * np.minimum(off / spread_de, _MOST_OFF) ** 2).sum())
    edges, typical = _edges(run, ring, start, way)
    return Alignment(
        start_mm=start % ring.repeat.value,
        reverse=reverse,
        stretch=stretch,
        misfit=0.5 * (colour + edges + float(light.strain(factor))),
        factor=factor,
        colour_de=float((each * off).sum() / each.sum()),
        edges_off_mm=typical,
    )


def _stripe_at(ring: Ring, places_mm: NDArray[np.floating[Any]]) -> NDArray[np.intp]:
    """Which stripe lies at each place."""
    found = np.searchsorted(ring.ends_mm, places_mm % ring.repeat.value, side="right")
    return np.minimum(found, len(ring.stripes) - 1)


def _weight(run: Run) -> Floats:
    """1 (N,) where one colour shows, 0 beside an edge; 1 everywhere where there is hardly anything else."""
    places = np.arange(len(run.colours)) * run.step_mm
    if not len(run.edges_mm):
        return np.ones(len(places))
    away = np.abs(places[:, None] - run.edges_mm[None]).min(axis=1)
    clear = (away > _MIXED_MM).astype(np.float64)
    return clear if clear.mean() > 0.2 else np.ones(len(places))


def _boundaries(run: Run, ring: Ring, start: float, way: float, least_de: float) -> Floats:
    """Where (B,) along the run the ring's neighbours differ by more than that."""
    ends = ring.ends_mm[ring.steps_de > least_de]
    far = start + way * run.length_mm
    low, high = min(start, far), max(start, far)
    turns = np.arange(np.floor(low / ring.repeat.value) - 1, np.ceil(high / ring.repeat.value) + 1)
    places = (turns[:, None] * ring.repeat.value + ends[None]).ravel()
    return np.sort((places[(places > low) & (places < high)] - start) / way)


def _moved(run: Run, ring: Ring, start: float, way: float) -> float:
    """How much further along the ring the run fits by its edges."""
    expected = _boundaries(run, ring, start, way, _FAINT_DE)
    if not len(expected) or not len(run.edges_mm):
        return 0.0
    apart = run.edges_mm[:, None] - expected[None]
    nearest = apart[np.arange(len(run.edges_mm)), np.abs(apart).argmin(axis=1)]
    near = nearest[np.abs(nearest) < 3 * EDGE_SPREAD_MM]
    return -way * float(near.mean()) if len(near) else 0.0


def _edges(run: Run, ring: Ring, start: float, way: float) -> tuple[float, float]:
    """The squares of how far edges are off, seen against known and known against seen, and what is typical, mm."""
    plain = _boundaries(run, ring, start, way, _PLAIN_DE)
    rows = [
        _nearest(_inside(run, run.edges_mm), _boundaries(run, ring, start, way, _FAINT_DE)),
        _nearest(_inside(run, plain), run.edges_mm),
    ]
    total = 0.0
    for off in rows:
        if len(off):
            squares = np.minimum(off / EDGE_SPREAD_MM, _LOST_EDGE) ** 2
            total += float(squares.sum() * min(1.0, _MOST_EDGES / len(off)) / 2)
    both = np.concatenate(rows)
    return total, float(np.median(both)) if len(both) else 0.0


def _inside(run: Run, places: Floats) -> Floats:
    """Those that are not near an end of the run."""
    return places[(places > _RIM_MM) & (places < run.length_mm - _RIM_MM)]


def _nearest(places: Floats, others: Floats) -> Floats:
    """How far (P,) each place is from the nearest of the others; far where there is none."""
    if not len(others):
        return np.full(len(places), 99.0)
    return np.asarray(np.abs(places[:, None] - others[None]).min(axis=1)) if len(places) else np.zeros(0)
