"""A selvage, or another band along a straight edge of the cloth, that is no part of its print.

Print goes on up to the cloth's edge, and its colours come again. A band along an edge that looks as nothing else of the
cloth does is the selvage, with its writing, or a hem, or a strip of the table that was taken for cloth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.change import SAME_LOOK, step_places
from vision.colour import ciede2000
from vision.measurement import Print
from vision.profile import band_profiles, sharpest_direction
from vision.swatch import TONE_SHIFT, Doubles, Mask, Swatch, axes, folded_deg

#: A selvage is at most an inch wide, mm, and this share of the cloth (common practice: a quarter to three quarters of
#: an inch, with writing up to an inch).
WIDEST_MM, MOST_SHARE = 25.4, 0.25
#: It is told from the print where this share of its width looks as nothing beyond it does; its inner edge, where both
#: mix, is left out for so many mm.
UNLIKE_SHARE, MIXED_MM = 0.8, 1.0
#: An edge is straight within so many mm (a fringe reaches farther in some places than in others), and a side of the
#: cloth where it is this share of the root of its area; a selvage runs along it within so many degrees.
_STRAIGHT_MM, _SIDE_SHARE, _ALONG_DEG = 6.0, 0.4, 3.0
#: A place of the profile counts where it shows this share of the cloth's usual width.
_SHOWN = 0.2
#: Looks are compared at places so many mm apart (time); a profile of fewer samples shows none.
_PLACES_MM, _LEAST_PLACES = 0.5, 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Selvage:
    """A band along the edge that faces a side (``top right bottom left``) of the picture, and its width."""

    side: str
    width_mm: float

    def __str__(self) -> str:
        """What is to be said of it."""
        return (
            f"A band of {self.width_mm:.0f} mm along the cloth's {self.side} edge looks as nothing else of it does, "
            "and was taken for its selvage, which is no part of the print."
        )

    def ends(self, print_: Print | None) -> bool:
        """Whether it hides what of a print would come next; what it only crosses goes on beside it."""
        if print_ is None or print_.kind != "stripe" or print_.across_direction_deg is None:
            return print_ is not None
        upright = abs(folded_deg(print_.across_direction_deg.value)) > 45
        return upright == (self.side in ("top", "bottom"))


def without_selvages(swatch: Swatch, coarse: Swatch) -> tuple[Swatch, tuple[Selvage, ...]] | None:
    """The swatch less the bands along its edges that are none of its print, looked for in a ``coarse`` picture of it;
    None where there is none."""
    mask, found = swatch.mask, []
    for side in _sides(coarse):
        outwards = _as_it_runs(coarse, side)
        end = _inner_edge(coarse, outwards)
        if end is None:
            continue
        edge_mm, width_mm = end
        mask = mask & (_along(swatch, outwards) < edge_mm - MIXED_MM)
        found.append(Selvage(side=_side_of(outwards), width_mm=width_mm))
    return (replace(swatch, mask=mask), tuple(found)) if found and mask.any() else None


def _sides(swatch: Swatch) -> list[Doubles]:
    """The unit vectors (x, y) that stand on the cloth's straight sides, outwards."""
    contours, _ = cv2.findContours(swatch.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return []
    hull = cv2.approxPolyDP(cv2.convexHull(max(contours, key=cv2.contourArea)), _STRAIGHT_MM * swatch.px_per_mm, True)
    corners = hull[:, 0].astype(np.float64)
    along = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(*along.T)
    middle = corners.mean(axis=0)
    sides = []
    for corner, way, length in zip(corners, along, lengths, strict=True):
        if length >= _SIDE_SHARE * math.sqrt(float(np.count_nonzero(swatch.mask))):
            normal = np.array([way[1], -way[0]]) / length
            sides.append(normal if normal @ (corner - middle) > 0 else -normal)
    return sides


def _as_it_runs(swatch: Swatch, side: Doubles) -> Doubles:
    """The unit vector outwards on what runs along a side: the band where the colours of the cloth's rim change most."""
    along = _along(swatch, side)
    rim = swatch.mask & (along > along[swatch.mask].max() - 2 * WIDEST_MM)
    direction, _ = sharpest_direction(replace(swatch, mask=rim), _direction_deg(side), within_deg=_ALONG_DEG)
    return axes(direction)[0]


def _direction_deg(way: Doubles) -> float:
    """Of a vector (x, y), y down, counter-clockwise as seen."""
    return math.degrees(math.atan2(-way[1], way[0]))


def _inner_edge(swatch: Swatch, outwards: Doubles) -> tuple[float, float] | None:
    """How far out (mm along the normal, from the plane's origin) a side's selvage begins, and how wide it is; None
    where the side has none."""
    direction = _direction_deg(outwards)
    bands = band_profiles(swatch, direction)
    tone, weight = bands.sheared(0.0)
    seen = np.flatnonzero(weight > _SHOWN * float(np.median(weight[weight > 0]))) if weight.any() else np.zeros(0, int)
    if len(seen) < _LEAST_PLACES:
        return None
    profile, end = np.asarray(tone[: seen[-1] + 1], dtype=np.float64), int(seen[-1]) + 1
    extent_mm = (end - int(seen[0])) * bands.step_mm
    most = min(WIDEST_MM, MOST_SHARE * extent_mm)
    every, mixed = max(round(_PLACES_MM / bands.step_mm), 1), round(MIXED_MM / bands.step_mm)
    shown = seen[::every]
    looks = profile[shown] - TONE_SHIFT
    n, _ = axes(direction)
    for step in step_places(profile[seen[0] :], bands.step_mm) + seen[0]:
        width_mm = (end - step) * bands.step_mm
        outer, inner = looks[shown > step + mixed], looks[shown < step - mixed]
        if width_mm <= most and len(outer) and len(inner) and _unlike(outer, inner).mean() >= UNLIKE_SHARE:
            return float(np.asarray(bands.centre_mm) @ n + bands.u_mm[step]), float(width_mm)
    return None


def _unlike(outer: Doubles, inner: Doubles) -> Mask:
    """Which looks (N, 3), in CIELAB, none of the others (M, 3) is like."""
    near = [float(ciede2000(np.broadcast_to(look, inner.shape), inner).min()) for look in outer]
    return np.asarray(np.array(near) > SAME_LOOK)


def _along(swatch: Swatch, way: Doubles) -> Doubles:
    """How far along a unit vector (mm, from the plane's origin) each pixel (H, W) lies."""
    height, width = swatch.mask.shape
    start = float(np.asarray(swatch.origin_mm) @ way)
    return np.asarray(start + (np.arange(width) * way[0] + np.arange(height)[:, None] * way[1]) / swatch.px_per_mm)


def _side_of(outwards: Doubles) -> str:
    x, y = outwards
    if abs(x) > abs(y):
        return "right" if x > 0 else "left"
    return "bottom" if y > 0 else "top"
