"""A piece: one length or remnant of a fabric, its outline, and where it lies in the repeat."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

Point = tuple[float, float]
Polygon = tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One piece of cloth, mm, right side up, x right, y down, lengthwise grain along y.

    Stripes run along d = (sin s, cos s), s = ``stripe_direction_deg``, and are counted along n = (cos s, -sin s): a
    stripe's centre lines are the p with p·n = ``stripe_origin_mm`` + centre + k·across, k any integer; the print along
    the stripes starts at p·d = ``along_origin_mm`` + k·along. A None direction on a striped fabric is "not known".
    """

    id: str
    fabric: str
    outline_mm: Polygon
    outline_u95_mm: float = 0.0
    holes_mm: tuple[Polygon, ...] = ()
    flaws_mm: tuple[Polygon, ...] = ()
    stripe_direction_deg: float | None = 0.0
    stripe_origin_mm: float = 0.0
    along_origin_mm: float = 0.0
    extra: Mapping[str, Any] = field(default_factory=dict)


def along_axis(direction_deg: float) -> Point:
    """d, the unit vector along the stripes."""
    s = math.radians(direction_deg)
    return math.sin(s), math.cos(s)


def across_axis(direction_deg: float) -> Point:
    """n, the unit vector across the stripes, along which they are counted."""
    s = math.radians(direction_deg)
    return math.cos(s), -math.sin(s)
