"""Where cloth may go on beyond its outline: the stripe that would follow there looks like what the cloth lies on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.cloth import ClothRegion
from vision.colour import ciede2000, srgb_to_lab
from vision.edge import ClothEdge, Side
from vision.lookup import values_at
from vision.measurement import Print, Stripe
from vision.plane import Plane
from vision.swatch import Doubles, axes, folded_deg

#: Stripes run along a side within this, deg: cloth is cut along its stripes, and they lean by up to three (practice).
_ALONG_DEG = 6.0
#: A side lies on the border of a stripe within this, mm, with what fraying and a slight skew make.
_ON_BORDER_MM = 1.5
#: A stripe that follows and the table look alike up to this (CIE 142-2001: about 1 is the least difference seen; what
#: noise, wood and light make of a table is several times that, own scenes); within one stripe, up to the second: so
#: near to the table's colour no edge can be seen.
_ALIKE, _SAME = 8.0, 4.0
#: The table is looked at so far outside a side, mm, at places so far apart, mm, and this share of them must agree.
_OUTSIDE_MM, _APART_MM, _AGREED = (1.5, 4.5), 4.0, 0.5
#: A cloth without a known repeat is looked at from so far inside a side on, mm, in such steps, mm; a stripe is at least
#: so wide, mm.
_LEAST_IN_MM, _IN_STEP_MM, _LEAST_STRIPE_MM = 2.0, 0.5, 1.5
#: What is seen of a place is the mean over so much to all sides of it, mm.
_NEAR_MM = np.linspace(-0.8, 0.8, 5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beyond:
    """The side along which cloth may go on, and how far at most, mm."""

    side: Side
    width_mm: float


def beyond(plane: Plane, region: ClothRegion, print_: Print, rgb: NDArray[np.uint8]) -> tuple[Beyond, ...]:
    """The sides of a striped cloth that end in a stripe of the table's colour, or where one would or might begin.

    ``print_`` is the print in the light of the photo ``rgb`` (H, W, 3), counted from the plane's origin.
    """
    if print_.kind != "stripe" or print_.across_direction_deg is None:
        return ()
    run_deg = print_.across_direction_deg.value + 90.0
    sides = [edge for edge in region.edges if abs(folded_deg(edge.direction_deg.value - run_deg)) <= _ALONG_DEG]
    if not sides:
        return ()
    outline = np.asarray(region.outline_mm, dtype=np.float64)

    def looks(places_mm: Doubles) -> Doubles:
        return _looks(plane, rgb, places_mm)

    found = []
    for edge in sides:
        middle, out = _places(edge, outline.mean(axis=0))
        outside = np.mean([looks(middle + away * out) for away in _OUTSIDE_MM], axis=0)
        if print_.stripes:
            follows = _following(middle, out, print_, outside)
            width = 0.0 if follows is None else follows.width.value
        else:
            depths = np.arange(_LEAST_IN_MM, float(np.ptp((outline - edge.start_mm) @ out)) - _LEAST_IN_MM, _IN_STEP_MM)
            inside = looks((middle - depths[:, None, None] * out).reshape(-1, 2)).reshape(len(depths), -1, 3)
            width = _widest_alike(np.median(inside, axis=1), np.median(outside, axis=0))
        if width > 0:
            found.append(Beyond(side=edge.side, width_mm=width))
    return tuple(found)


def _widest_alike(inside: Doubles, outside: Doubles) -> float:
    """The width, mm, of the widest stripe that looks like the table (3,), of what is seen (K, 3) step by step further
    into a cloth of which no full repeat is known: such a one might follow anywhere. 0 where there is none."""
    alike = np.concatenate([[False], ciede2000(inside, outside) <= _SAME, [False]]).astype(int)
    starts, ends = np.flatnonzero(np.diff(alike) == 1), np.flatnonzero(np.diff(alike) == -1)
    widest = float(np.max(ends - starts, initial=0)) * _IN_STEP_MM
    return widest if widest >= _LEAST_STRIPE_MM else 0.0


def _places(edge: ClothEdge, inside_mm: Doubles) -> tuple[Doubles, Doubles]:
    """Places (N, 2) along a side, and the unit vector that leads out of the cloth there."""
    start, end = np.asarray(edge.start_mm), np.asarray(edge.end_mm)
    unit = (end - start) / math.dist(start, end)
    out = np.array([unit[1], -unit[0]])
    places = start + np.linspace(0, 1, max(round(edge.length_mm / _APART_MM), 8))[:, None] * (end - start)
    return places, out if out @ (start - inside_mm) > 0 else -out


def _looks(plane: Plane, rgb: NDArray[np.uint8], places_mm: Doubles) -> Doubles:
    """Lab (N, 3) of the photo (H, W, 3) near places (N, 2) of the plane; the border's beyond it."""
    around = np.stack(np.meshgrid(_NEAR_MM, _NEAR_MM), axis=-1).reshape(-1, 2)
    places_px = plane.to_px((places_mm[:, None] + around).reshape(-1, 2)).reshape(-1, len(around), 2)
    seen = values_at(rgb, places_px)
    return np.asarray(srgb_to_lab(np.asarray(seen, dtype=np.float32).mean(axis=1) / 255), dtype=np.float64)


def _following(places: Doubles, out: Doubles, print_: Print, outside: Doubles) -> Stripe | None:
    """The stripe that would go on or begin along most of a side, where it looks like what is seen there (N, 3)."""
    inner, outer = (_stripe_at(print_, places + away * out) for away in (-_ON_BORDER_MM, _ON_BORDER_MM))
    colours = np.array([[int(stripe.hex[k : k + 2], 16) / 255 for k in (1, 3, 5)] for stripe in print_.stripes])
    apart = ciede2000(np.asarray(srgb_to_lab(colours), dtype=np.float64)[outer], outside)
    alike = apart <= np.where(inner != outer, _ALIKE, _SAME)
    agreed = np.bincount(outer[alike], minlength=len(print_.stripes))
    best = int(np.argmax(agreed))
    return print_.stripes[best] if agreed[best] >= _AGREED * len(places) else None


def _stripe_at(print_: Print, places_mm: Doubles) -> NDArray[np.int64]:
    """Which stripe (N,) the print has at places (N, 2)."""
    assert print_.across is not None
    assert print_.across_direction_deg is not None
    n, _ = axes(print_.across_direction_deg.value)
    ends = np.cumsum([stripe.width.value for stripe in print_.stripes])
    phase = (places_mm @ n - (print_.origin_mm or 0.0)) % print_.across.value
    return np.asarray(np.searchsorted(ends, phase, side="right") % len(ends), dtype=np.int64)
