"""How a cloth lies to its threads: what shows them in the picture, and the two angles that follow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.cloth import ClothRegion
from vision.estimate import Estimate
from vision.grain import read_grains
from vision.measurement import Print, Skew
from vision.plane import Floats, Plane
from vision.reference.clicks import click_sigma_px
from vision.request import MeasureRequest, Side, Thread
from vision.skew import measure_skew, measure_weft
from vision.swatch import folded_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class Lie:
    """The print against the grain, the weft against square to the selvage, and the side of the upright photo along
    which the reference of the first runs; None where the picture does not show them."""

    skew: Skew | None = None
    weft: Skew | None = None
    side: Side | None = None


def lie_of(
    plane: Plane,
    region: ClothRegion,
    print_: Print | None,
    request: MeasureRequest,
    covered_mm: Sequence[Floats] = (),
) -> Lie:
    """The angles of one cloth. ``covered_mm`` are polygons (K, 2) of rulers, whose edges are not the cloth's."""
    outline = np.asarray(region.outline_mm, dtype=np.float64)
    thread = None if request.thread is None else thread_direction(plane, outline, request.thread)
    grains = read_grains(
        region, torn=request.torn, selvage=request.selvage, thread_deg=thread, covered_mm=covered_mm
    )
    skew = None if print_ is None else measure_skew(print_, grains)
    at = plane.to_px(((outline.min(axis=0) + outline.max(axis=0)) / 2)[None])[0]
    weft = measure_weft(grains, plane.angle_u95_deg_at((float(at[0]), float(at[1]))))
    return Lie(skew=skew, weft=weft, side=None if skew is None else _side(skew, request, thread))


def _side(skew: Skew, request: MeasureRequest, thread: Estimate | None) -> Side | None:
    if thread is not None and skew.reference == "thread":
        return "bottom" if abs(thread.value) <= 45.0 else "right"
    return request.torn if skew.reference == "torn" else request.selvage


def thread_direction(plane: Plane, outline_mm: Floats, thread: Thread) -> Estimate | None:
    """The direction of a thread that two points mark, where it lies on the cloth of an outline (N, 2); else None.

    Degrees in (-90, 90], counter-clockwise as seen; the u95 is that of placing the points.
    """
    ends = plane.to_mm(np.asarray(thread.ends_px, dtype=np.float64))
    x, y = (float(v) for v in ends.mean(axis=0))
    if cv2.pointPolygonTest(outline_mm.astype(np.float32), (x, y), False) < 0:
        return None
    along = ends[1] - ends[0]
    placed = 2 * math.sqrt(2) * click_sigma_px(plane.size_px) / math.dist(*thread.ends_px)
    return Estimate(folded_deg(math.degrees(math.atan2(-float(along[1]), float(along[0])))), math.degrees(placed))
