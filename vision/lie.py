"""How a cloth lies to its threads: what shows them in the picture, and the two angles that follow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cloth import ClothRegion
from vision.edge import ClothEdge, reaching
from vision.estimate import Estimate
from vision.grain import Grain, read_grains, torn_alike
from vision.measurement import Print, Skew
from vision.plane import Floats, Plane
from vision.reference.clicks import click_sigma_px
from vision.request import MeasureRequest, Side, Thread
from vision.rim import confirmed, overrun, seen_cloth, settled
from vision.skew import measure_skew, measure_weft
from vision.swatch import folded_deg
from vision.weave import read_weave

#: Side of the part of the cloth in which the weave is looked for, px of the photo.
CLOSE_PX = 1600.0
#: Pixels at most of the picture in which a side is followed (time), and how much of the table round it is seen, mm.
RIM_PIXELS, ROUND_MM = 2.5e6, 8.0
#: Lines so long, mm, stand for the directions at a place; the plane's parameters are moved by so much to see what they
#: change.
_LINE_MM, _STEP = 10.0, 1e-5


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
    rgb: NDArray[np.uint8],
    covered_mm: Sequence[Floats] = (),
    hidden_mm: Sequence[Floats] = (),
    weave_deg: Estimate | None = None,
) -> Lie:
    """The angles of one cloth, seen in the photo ``rgb`` (H, W, 3).

    ``covered_mm`` are polygons (K, 2) of rulers, whose edges are not the cloth's, ``hidden_mm`` the same with their
    shadows; ``weave_deg`` is an axis of the weave, with the picture's own uncertainty of angles left out.
    """
    outline = np.asarray(region.outline_mm, dtype=np.float64)
    region, sure = _with_rims(plane, region, print_, request, rgb, hidden_mm)
    thread = None if request.thread is None else thread_direction(plane, outline, request.thread)
    grains = read_grains(
        region,
        torn=request.torn,
        selvage=request.selvage,
        thread_deg=thread,
        weave_deg=weave_deg,
        covered_mm=covered_mm,
        sure=sure,
    )
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    skew = None if print_ is None else measure_skew(print_, grains, partial(_doubt_deg, plane, middle))
    at = plane.to_px(middle[None])[0]
    weft = measure_weft(grains, plane.angle_u95_deg_at((float(at[0]), float(at[1]))))
    shown = {"thread": thread, "weave": weave_deg}
    return Lie(skew=skew, weft=weft, side=None if skew is None else _side(skew, request, shown.get(skew.reference)))


def _doubt_deg(plane: Plane, middle_mm: Floats, axis: Estimate, line_deg: float, grain: Grain) -> float:
    """What is known (95 %, deg) of the angle between a print's axis and a grain, the grain's own doubt left out.

    The plane's error of angles, which ``axis`` contains, turns lines that are square to each other, but hardly the one
    against the other where both run the same way.
    """
    x, y = plane.to_px(middle_mm[None])[0]
    own = axis.u95**2 - plane.angle_u95_deg_at((float(x), float(y))) ** 2
    place = middle_mm if grain.at_mm is None else np.asarray(grain.at_mm)
    lines_px = plane.to_px(np.concatenate([_line(middle_mm, line_deg), _line(place, grain.direction_deg.value)]))
    turns = []
    for step in _STEP * np.eye(len(plane.params)):
        ahead, behind = (_apart_deg(plane.moved(plane.params + s).to_mm(lines_px)) for s in (step, -step))
        turns.append(folded_deg(ahead - behind) / (2 * _STEP))
    common = float(np.asarray(turns) @ plane.covariance @ np.asarray(turns))
    return math.sqrt(max(own, 0.0) + 4 * max(common, 0.0))


def _line(middle_mm: Floats, direction_deg: float) -> Floats:
    """The two ends of a short line through a place of the plane, mm."""
    turn = math.radians(direction_deg)
    half = _LINE_MM / 2 * np.array([math.cos(turn), -math.sin(turn)])
    return np.stack([middle_mm - half, middle_mm + half])


def _apart_deg(ends_mm: Floats) -> float:
    """The angle between two lines (4, 2: end after end)."""
    along = ends_mm[1::2] - ends_mm[::2]
    turns = np.degrees(np.arctan2(-along[:, 1], along[:, 0]))
    return float(turns[0] - turns[1])


def _with_rims(
    plane: Plane,
    region: ClothRegion,
    print_: Print | None,
    request: MeasureRequest,
    rgb: NDArray[np.uint8],
    hidden_mm: Sequence[Floats],
) -> tuple[ClothRegion, tuple[ClothEdge, ...] | None]:
    """The cloth with the sides that matter followed along their rim, as fine as the photo (H, W, 3) shows it, and
    without those at which no cloth ends, or beyond which it goes on, or, where it can hardly be told from the table,
    none that the print tells of; and those at which it surely ends, None where that was not looked at."""
    asked = [edge for edge in region.edges if edge.side in (request.torn, request.selvage)]
    asked += [edge for edge in torn_alike(region.edges, request.torn) if edge not in asked]
    if print_ is None or not asked:
        return region, None
    outline = np.asarray(region.outline_mm, dtype=np.float64)
    low, high = outline.min(axis=0) - ROUND_MM, outline.max(axis=0) + ROUND_MM
    at = plane.to_px(((low + high) / 2)[None])[0]
    native = plane.px_per_mm_at((float(at[0]), float(at[1]))).value
    fine = min(native, math.sqrt(RIM_PIXELS / float(np.prod(high - low))))
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    seen = seen_cloth(plane.square_on(rgb, px_per_mm=fine, region_mm=box), outline, hidden_mm)
    edges, sure = [edge for edge in region.edges if edge not in asked], []
    for edge in asked:
        cloth = confirmed(edge, seen, print_)
        followed = settled(reaching(edge, outline), seen, print_) or settled(edge, seen, print_)
        if cloth is False or (followed is None and (region.doubt_mm or overrun(edge, seen, print_))):
            continue
        edges.append(followed or edge)
        sure += [edges[-1]] if cloth else []
    return replace(region, edges=tuple(edges)), tuple(sure)


def _side(skew: Skew, request: MeasureRequest, shown: Estimate | None) -> Side | None:
    if shown is not None:
        return "bottom" if abs(shown.value) <= 45.0 else "right"
    return request.torn if skew.reference == "torn" else request.selvage


def weave_direction(
    plane: Plane, rgb: NDArray[np.uint8], region: ClothRegion, print_: Print, covered_mm: Sequence[Floats] = ()
) -> Estimate | None:
    """The axis of the weave nearest to a print's, from the middle of the cloth as fine as the photo (H, W, 3) shows it.

    ``covered_mm`` are polygons (K, 2) of what hides the cloth. None where no single threads are seen.
    """
    if print_.across_direction_deg is None:
        return None
    outline = np.asarray(region.outline_mm, dtype=np.float64)
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    at = plane.to_px(middle[None])[0]
    native = plane.px_per_mm_at((float(at[0]), float(at[1]))).value
    half = np.minimum(np.ptp(outline, axis=0) / 2, CLOSE_PX / 2 / native)
    low, high = middle - half, middle + half
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    close = plane.square_on(rgb, px_per_mm=native, region_mm=box)
    mask = np.zeros(close.valid.shape, dtype=np.uint8)
    for polygon, shown in ((outline, 1), *((np.asarray(polygon), 0) for polygon in covered_mm)):
        cv2.fillPoly(mask, [np.rint((polygon - np.asarray(close.origin_mm)) * native).astype(np.int32)], shown)
    woven = read_weave(close, mask > 0, print_.across_direction_deg.value)
    return None if woven is None else woven.direction_deg


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
