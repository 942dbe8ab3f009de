"""How a strip looks: which stripes show over its finished width, from its left to its right with the start on top.

A segment laid as it is shows the stripes in the order in which they are counted along n. Turned end for end, or turned
over (where both faces are alike), its sides change places; turned both ways they are back. A look that reads the same
both ways is its own mirror: the axis lies on the shown stripe, or no other stripe shows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from stash.fabric import Fabric, Print
from stash.garment.part import Strip

EQUAL_MM = 0.01
"""mm. Lengths that differ by no more are equal (the contract)."""

Band = tuple[float, float, str]
Look = tuple[Band, ...]
"""Bands (from, to, label) over the finished width, mm from the middle of the shown stripe, left to right."""


@dataclass(frozen=True, slots=True, order=True)
class Way:
    """One way to lay a segment: about which stripe of the repeat, turned end for end or not, turned over or not."""

    turned: bool
    over: bool
    stripe: int

    @property
    def swapped(self) -> bool:
        """Whether its left side lies where p·n is greatest."""
        return self.turned != self.over


Ways = Mapping[str, frozenset[Way]]
"""Strip id -> the ways in which its segments may lie. Strips that are not named may lie as they like."""


def centred(strip: Strip) -> bool:
    """Whether the stripe runs down the middle of what is cut, so that both halves are alike."""
    return abs(strip.cut_width_mm - 2 * strip.stripe_at_mm) <= EQUAL_MM


def half_shown_mm(strip: Strip) -> float:
    """How far beside the middle of its stripe a strip shows: half its finished width; binding shows on both faces."""
    return strip.width_mm if strip.make == "bound" else strip.width_mm / 2


def look_on_cloth(print_: Print, stripe: int, half_mm: float) -> Look:
    """What shows within ``half_mm`` of the middle of the stripe with that place in the repeat."""
    assert print_.across is not None
    repeat, count = print_.across.value, len(print_.stripes)
    middle = print_.stripes[stripe].centre_mm
    laps = int(half_mm // repeat) + 2
    bands: list[Band] = []
    for step in range(-laps * count, laps * count + 1):
        lap, index = divmod(stripe + step, count)
        other = print_.stripes[index]
        centre = other.centre_mm + lap * repeat - middle
        low, high = max(-half_mm, centre - other.width_mm / 2), min(half_mm, centre + other.width_mm / 2)
        if high - low <= EQUAL_MM and step:
            continue
        if bands and bands[-1][2] == other.label:
            bands[-1] = (bands[-1][0], high, other.label)
        else:
            bands.append((low, high, other.label))
    return tuple(bands)


def mirrored(look: Look) -> Look:
    """The look in a mirror."""
    return tuple((-high, -low, label) for low, high, label in reversed(look))


def within(look: Look, half_mm: float) -> Look:
    """What of the look shows within ``half_mm`` of the middle of its stripe."""
    near = ((max(low, -half_mm), min(high, half_mm), label) for low, high, label in look)
    return tuple((low, high, label) for low, high, label in near if high - low > EQUAL_MM)


def outer_half(look: Look) -> Look:
    """The right half of a look, from the middle of the shown stripe."""
    return tuple((max(0.0, low), high, label) for low, high, label in look if high > EQUAL_MM)


def look_alike(one: Look, other: Look, slack_mm: float) -> bool:
    """Whether two looks show the same as far as both reach, but for edges that differ by no more than ``slack_mm``."""
    half = min(one[-1][1], other[-1][1])
    one, other = within(one, half), within(other, half)
    edges = sorted({edge for look in (one, other) for low, high, _ in look for edge in (low, high)})
    differs = 0.0
    for low, high in pairwise(edges):
        middle = (low + high) / 2
        differs = differs + high - low if _at(one, middle) != _at(other, middle) else 0.0
        if differs > slack_mm:
            return False
    return True


def _at(look: Look, place_mm: float) -> str | None:
    return next((label for low, high, label in look if low <= place_mm <= high), None)


def slack_mm(print_: Print) -> float:
    """How far the edges of a stripe may be off and still be the same: what is equal, or was measured no closer."""
    measured = max((stripe.width_u95_mm for stripe in print_.stripes), default=0.0)
    return 2 * EQUAL_MM + measured + (print_.across.u95 if print_.across is not None else 0.0)


def worn(on_cloth: Look, way: Way) -> Look:
    """What the strip shows, its start on top, when a segment with that look on the cloth is laid that way."""
    return mirrored(on_cloth) if way.swapped else on_cloth


def ways_of(fabric: Fabric, strip: Strip) -> tuple[Way, ...]:
    """Every way in which the fabric lets a segment of the strip lie, the plainest first."""
    turns = (False,) if fabric.one_way else (False, True)
    faces = (False, True) if fabric.both_faces else (False,)
    places = [index for index, stripe in enumerate(fabric.print.stripes) if stripe.label == strip.stripe]
    return tuple(Way(turned, over, place) for over in faces for turned in turns for place in places)


def ways_laid(fabric: Fabric, strip: Strip) -> tuple[Way, ...]:
    """As ``ways_of``; for a strip of which something is cut those that show what that shows, turned as it is."""
    laid, print_ = strip.laid, fabric.print
    if laid is None:
        return ways_of(fabric, strip)
    half, slack = half_shown_mm(strip), slack_mm(print_)
    cut = worn(look_on_cloth(print_, laid.stripe, half), Way(laid.turned, laid.over, laid.stripe))
    places = [index for index, stripe in enumerate(print_.stripes) if stripe.label == strip.stripe]
    ways = (Way(laid.turned, laid.over, place) for place in places)
    return tuple(way for way in ways if look_alike(worn(look_on_cloth(print_, way.stripe, half), way), cut, slack))


def classes(looks: Sequence[Look], slack: float) -> list[int]:
    """For each look the number of the first one that it is like."""
    firsts: list[int] = []
    out = []
    for index, look in enumerate(looks):
        like = next((first for first in firsts if look_alike(looks[first], look, slack)), None)
        if like is None:
            firsts.append(index)
        out.append(index if like is None else like)
    return out
