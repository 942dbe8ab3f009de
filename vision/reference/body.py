"""How much of the photo a ruler covers: from its ticks outwards as far as its own colour goes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb
from vision.reference.reading import Reading

Floats = NDArray[np.float64]

#: Rulers and tapes are not wider than this on either side of their ticks, mm (common practice: 12 to 60 mm wide).
WIDEST_MM = 45.0
#: Beyond the first and the last tick read a ruler goes on for at most this far where its colour does, mm.
BEYOND_MM = 60.0
#: A colour this far from the ruler's ground, in grey levels over three channels, is no longer the ruler.
OTHER_COLOUR = 36.0
#: Light changes slowly along a ruler: it is followed over so many mm of what was last walked over, and no farther than
#: to this share of the read part's light or its inverse (shading of half, rendered scenes; a lamp at the side).
LIGHT_MM, MOST_LIGHT = 12.0, 0.45
#: The gaps between ticks make up this share of what is seen about them; the bare ruler's colour lies this many times
#: as far from the middle colour as theirs (own rendered scenes, 3 to 8 px a tick; more takes in the cloth beside it).
GAPS, BARE = 0.15, 1.6
#: The ruler's edge is passed when the other colour lasts this long, mm: a printed line or a row of digits does not.
LASTING_MM = 2.0
#: A table so like the ruler that its edge is not seen as another colour differs by at least so much, grey levels over
#: three channels (rows are medians of hundreds of pixels), and is even over at least so much, mm.
TABLE_STEP, EVEN_MM = 7.0, 15.0
#: A row of numbers is at most so high, mm (common practice: 2 to 7 mm); between them at least the first share of each
#: line across them shows the ruler, and beyond them at least the second over so many mm.
NUMBERS_MM, BETWEEN_NUMBERS, BARE_RULER, RETURNING_MM = 9.0, 0.1, 0.8, 2.0
#: Ticks stand on the ruler's edge or at most this far inside it, mm (common practice).
MARGIN_MM = 3.0
#: They stand there where the longest reach no farther than the others by the first length, mm, and on the other side
#: by more than the second; for that, so many long ones must be seen. They are looked at so far from their middle, mm.
ALIKE_MM, LONGER_MM = 0.8, 1.2
FEWEST_LONG = 4
REACH_MM = 14.0
#: Beyond its longest ticks a ruler is bare from the first to the second of these, mm, before its numbers come.
BESIDE_MM = (0.75, 2.25)
#: Its colour there lies beyond that of the gaps, away from the ink, by at most this share of the way between the two.
MOST_MIXED = 1.0
#: Added round the ruler for its shadow and thickness, mm.
RIM_MM = 1.5
#: A printed grid has a bare margin of paper round it, at most so wide, mm (common practice).
SHEET_MARGIN_MM = 25.0
STEP_MM = 0.5


def outline_of(rgb: NDArray[np.uint8], comb: Comb, px_per_mm: float, longest: NDArray[np.bool_]) -> Floats:
    """The rectangle (4, 2), photo px, that the ruler of a comb covers; ``longest`` (M,) tells its longest ticks."""
    first, last = comb.places_px[0], comb.places_px[-1]
    axis = (last - first) / np.hypot(*(last - first))
    normal = np.array([-axis[1], axis[0]])
    length = float((last - first) @ axis)
    middle = first
    low, high = _sides(rgb, middle, axis, normal, length, px_per_mm, comb.band_px)
    low, high = _by_the_base(_Ticks(rgb, comb, longest), first, normal, px_per_mm, (low, high))
    before, after = _ends(rgb, middle, axis, normal, length, px_per_mm, (low, high))
    return np.array(
        [
            middle + before * axis + low * normal,
            middle + after * axis + low * normal,
            middle + after * axis + high * normal,
            middle + before * axis + high * normal,
        ]
    )


def outline_of_sheet(rgb: NDArray[np.uint8], px_from_mm: Floats, box_mm: tuple[Floats, Floats]) -> Floats:
    """The sheet (4, 2), photo px, on which lines a millimetre apart fill a box (its least and greatest corner, mm).

    Its bare margin is the sheet's too, as far as its colour goes. ``px_from_mm`` (3, 3) maps the lines to the photo.
    """
    low, high = box_mm
    cells = np.stack(np.meshgrid(*(np.arange(a, b) + 0.5 for a, b in zip(low, high, strict=True))), axis=-1)
    ground = np.median(_colours(rgb, _mapped(px_from_mm, cells))[0].reshape(-1, 3), axis=0)
    out = np.arange(0, SHEET_MARGIN_MM, STEP_MM)
    reach = np.zeros((2, 2))
    for axis in (0, 1):
        along = np.linspace(low[1 - axis], high[1 - axis], 41)
        for way, start in ((-1, low), (1, high)):
            points = np.empty((out.size, along.size, 2))
            points[..., axis], points[..., 1 - axis] = (start[axis] + way * out)[:, None], along
            seen, inside = _colours(rgb, _mapped(px_from_mm, points))
            off = np.abs(np.median(seen, axis=1) - ground).sum(axis=1)
            off[inside.mean(axis=1) < 0.3] = np.inf
            reach[(way + 1) // 2, axis] = way * (_walk(off, out, 0, 1) + RIM_MM)
    (x0, y0), (x1, y1) = low + reach[0], high + reach[1]
    return np.asarray(_mapped(px_from_mm, np.array([[[x0, y0], [x1, y0], [x1, y1], [x0, y1]]]))[0])


def _mapped(matrix: Floats, points: Floats) -> Floats:
    """Points (M, N, 2) mapped by a homography (3, 3)."""
    return np.asarray(cv2.perspectiveTransform(points.astype(np.float64), matrix), dtype=np.float64)


def bodies(readings: Sequence[Reading]) -> tuple[Floats, ...]:
    """What the references hide, one polygon (K, 2) each, photo px.

    Two scales on one ruler share its body: where each outline holds the other's marks, the body lies within both.
    """
    whole = [reading for reading in readings if len(reading.outline_px) >= 3]
    found = []
    for reading in whole:
        outline = reading.outline_px.astype(np.float32)
        for other in whole:
            theirs = other.outline_px.astype(np.float32)
            if other is reading or not (_holds(outline, other.marks_px) and _holds(theirs, reading.marks_px)):
                continue
            _, common = cv2.intersectConvexConvex(outline, theirs)
            if common is not None and len(common) >= 3:
                outline = np.asarray(common, dtype=np.float32).reshape(-1, 2)
        found.append(outline.astype(np.float64))
    return tuple(found)


def _holds(outline: NDArray[np.float32], points: Floats) -> bool:
    """Whether nearly all points (N, 2) lie in a polygon."""
    inside = [cv2.pointPolygonTest(outline, (float(x), float(y)), False) >= 0 for x, y in points]
    return sum(inside) >= 0.8 * len(inside)


class _Ticks(NamedTuple):
    """The ticks of one scale in their photo."""

    rgb: NDArray[np.uint8]
    comb: Comb
    longest: NDArray[np.bool_]


def _by_the_base(
    ticks: _Ticks, origin: Floats, normal: Floats, px_per_mm: float, sides: tuple[float, float]
) -> tuple[float, float]:
    """The sides, brought in where the ticks stand on the ruler's edge: on the side where long and short ones end alike.
    On the other, where the longest point to, the ruler goes on as far as it is bare there.

    A ruler on a table of its own colour would otherwise seem to go on over the cloth beside it, and one whose ticks are
    too fine to show it bare between them, to end with them.
    """
    vs = np.arange(-REACH_MM, REACH_MM + 0.1, 0.25) * px_per_mm
    if min(ticks.longest.sum(), (~ticks.longest).sum()) < FEWEST_LONG:
        return sides
    comb = ticks.comb
    ink = _ink(ticks.rgb, comb, normal, vs)
    most, longest = (_reach(np.median(ink[:, chosen], axis=1), vs) for chosen in (~ticks.longest, ticks.longest))
    if most is None or longest is None:
        return sides
    beyond = ((most[0] - longest[0]) / px_per_mm, (longest[1] - most[1]) / px_per_mm)
    offset = float(np.median((comb.places_px - origin) @ normal))
    edge = MARGIN_MM * px_per_mm
    if beyond[0] < ALIKE_MM <= LONGER_MM < beyond[1]:
        far = _bare_end(ticks, origin, normal, px_per_mm, (most, offset + longest[1]), 1)
        return max(sides[0], offset + most[0] - edge), _inner_side(sides[1], far, px_per_mm)
    if beyond[1] < ALIKE_MM <= LONGER_MM < beyond[0]:
        far = _bare_end(ticks, origin, normal, px_per_mm, (most, offset + longest[0]), -1)
        return -_inner_side(-sides[0], None if far is None else -far, px_per_mm), min(sides[1], offset + most[1] + edge)
    return sides


def _inner_side(side: float, far: float | None, px_per_mm: float) -> float:
    """The side that the longest ticks point to: as far as the ruler is bare, where that is further than its colour was
    followed from its ticks, or where that found no end at all."""
    if far is None:
        return side
    return far if side >= (WIDEST_MM - STEP_MM) * px_per_mm else max(side, far)


def _bare_end(
    ticks: _Ticks,
    origin: Floats,
    normal: Floats,
    px_per_mm: float,
    reach: tuple[tuple[float, float], float],
    way: int,
) -> float | None:
    """How far (px along ``normal``) the ruler is bare beyond its longest ticks, a rim included; None where it is not
    bare there, or no end of it is seen. ``reach``: where the other ticks begin and end, and where the longest end."""
    comb = ticks.comb
    axis = comb.places_px[-1] - comb.places_px[0]
    us = np.linspace(0, 1, 241)[None, :, None] * axis
    offset = float(np.median((comb.places_px - origin) @ normal))
    out = np.arange(0, WIDEST_MM, STEP_MM) * px_per_mm
    seen, inside = _colours(ticks.rgb, origin + us + (reach[1] + way * out)[:, None, None] * normal)
    rows = np.median(seen, axis=1)
    beside = (out >= BESIDE_MM[0] * px_per_mm) & (out <= BESIDE_MM[1] * px_per_mm)
    bare = np.median(rows[beside], axis=0)
    within = np.linspace(0.2, 0.8, 9) * (reach[0][1] - reach[0][0]) + reach[0][0] + offset
    marked = _colours(ticks.rgb, origin + us + within[:, None, None] * normal)[0].reshape(-1, 3)
    dark, light = np.quantile(marked, (GAPS, 1 - GAPS), axis=0)
    gaps, ink = (light, dark) if np.abs(bare - light).sum() <= np.abs(bare - dark).sum() else (dark, light)
    away = gaps - ink
    share = float(np.clip((bare - gaps) @ away / max(float(away @ away), 1.0), 0.0, MOST_MIXED))
    if np.abs(bare - gaps - share * away).sum() > OTHER_COLOUR:
        return None
    off = np.abs(rows - bare).sum(axis=1)
    off[inside.mean(axis=1) < 0.3] = np.inf
    end = _walk(off, out, int(np.searchsorted(out, BESIDE_MM[1] * px_per_mm)), 1)
    return None if end >= out[-1] - STEP_MM * px_per_mm else reach[1] + way * (end + RIM_MM * px_per_mm)


def _ink(rgb: NDArray[np.uint8], comb: Comb, normal: Floats, vs: Floats) -> Floats:
    """How much each tick (M,) differs from the ground on both sides of it, at each place (V,) along it: (V, M).

    Places count the way ``normal`` points.
    """
    down = comb.ends_px[:, 1] - comb.ends_px[:, 0]
    down = down / np.where(down @ normal < 0, -1, 1)[:, None] / np.maximum(np.hypot(*down.T), 1e-9)[:, None]
    step = np.gradient(comb.places_px, axis=0) / np.gradient(comb.index.astype(np.float64))[:, None]
    points = comb.places_px[None] + vs[:, None, None] * down[None]
    tick, left, right = (_colours(rgb, points + share * step)[0].sum(axis=2) for share in (0.0, -0.5, 0.5))
    ink = (left + right) / 2 - tick
    middle = np.median(ink[np.abs(vs) <= np.abs(vs).min() + 1e-9])
    return np.asarray(ink * (1 if middle >= 0 else -1), dtype=np.float64)


def _reach(ink: Floats, vs: Floats) -> tuple[float, float] | None:
    """From where to where, about 0, there is at least half of the ink of the middle; None where there is no end."""
    start = len(vs) // 2
    there = ink >= 0.5 * np.median(ink[start - 2 : start + 3])
    if not there[start] or there[:start].all() or there[start:].all():
        return None
    low = start - int(np.argmin(there[start::-1])) + 1
    high = start + int(np.argmin(there[start:])) - 1
    return float(vs[low]), float(vs[high])


def _colours(rgb: NDArray[np.uint8], points: Floats) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    at = points.astype(np.float32)
    picture = rgb if rgb.ndim == 3 else np.repeat(rgb[..., None], 3, axis=2)
    seen = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = rgb.shape[:2]
    inside = (at[..., 0] >= 0) & (at[..., 0] <= width - 1) & (at[..., 1] >= 0) & (at[..., 1] <= height - 1)
    return seen.astype(np.float32), inside


def _sides(
    rgb: NDArray[np.uint8],
    origin: Floats,
    axis: Floats,
    normal: Floats,
    length: float,
    px_per_mm: float,
    band_px: float,
) -> tuple[float, float]:
    us = np.linspace(0, length, 241)
    vs = np.arange(-WIDEST_MM, WIDEST_MM + 0.1, STEP_MM) * px_per_mm
    seen, inside = _colours(rgb, origin + us[None, :, None] * axis + vs[:, None, None] * normal)
    rows = np.median(seen, axis=1)
    near = np.abs(vs) <= 0.6 * band_px + px_per_mm
    off = _off(rows, seen[near].reshape(-1, 3))
    off[inside.mean(axis=1) < 0.3] = np.inf
    start = len(vs) // 2
    stay = 0.5 * band_px + 1.0 * px_per_mm
    bare = (_off(seen.reshape(-1, 3), seen[near].reshape(-1, 3)) <= OTHER_COLOUR).reshape(seen.shape[:2]).mean(axis=1)
    low = _past_numbers(off, bare, vs, _walk(off, vs, start, -1), -1, px_per_mm)
    high = _past_numbers(off, bare, vs, _walk(off, vs, start, 1), 1, px_per_mm)
    low = _before_table(off, vs, low, -1, px_per_mm, stay)
    high = _before_table(off, vs, high, 1, px_per_mm, stay)
    rim = RIM_MM * px_per_mm
    return min(low, -stay) - rim, max(high, stay) + rim


def _before_table(off: Floats, at: Floats, end: float, way: int, px_per_mm: float, ticks: float) -> float:
    """The end (px) of a walk outwards that found none, brought in to where a surface begins that is hardly unlike the
    ruler but even as far as it is seen, and nowhere seen on the ruler beyond its ticks (px): the table."""
    if abs(end) < (WIDEST_MM - LASTING_MM - 2 * STEP_MM) * px_per_mm:
        return end
    start = int(np.abs(at - way * ticks).argmin()) + way
    outwards = off[start::way]
    table = float(np.median(outwards[-round(EVEN_MM / STEP_MM) :]))
    same = np.abs(outwards - table) <= TABLE_STEP / 2
    inside = np.flatnonzero(~same)
    first = int(inside[-1]) + 1 if len(inside) else 0
    need = round(LASTING_MM / STEP_MM)
    ruler = outwards[:first]
    if len(outwards) - first < round(EVEN_MM / STEP_MM) or len(ruler) < need or same[:first].any():
        return end
    unlike = abs(float(np.median(ruler)) - table)
    return float(at[start + way * (first - 1)]) if unlike >= TABLE_STEP else end


def _past_numbers(off: Floats, bare: Floats, at: Floats, end: float, way: int, px_per_mm: float) -> float:
    """The end (px) of a walk outwards, carried on where it ended at a row of numbers so crowded that most of it is ink.

    Between numbers the ruler shows (``bare``, its share of each row), and beyond them there is nothing but the ruler.
    """
    first = int(np.abs(at - end).argmin()) + way
    for index in range(first, first + way * round(NUMBERS_MM / STEP_MM), way):
        beyond = np.arange(index, index + way * round(RETURNING_MM / STEP_MM), way)
        if beyond.min() < 0 or beyond.max() >= len(at) or (index != first and bare[index - way] < BETWEEN_NUMBERS):
            return end
        if index != first and (off[beyond] <= OTHER_COLOUR).all() and (bare[beyond] >= BARE_RULER).all():
            return _walk(off, at, int(beyond[-1]), way)
    return end


def _off(rows: NDArray[np.float32], marked: NDArray[np.float32]) -> Floats:
    """How far each row's colour (V, 3) is from the ruler's, known only where it is marked (N, 3).

    Between fine ticks the blur mixes ink into the ground, so that the bare ruler is farther from the ink than most of
    what is seen there: its colour is sought from the marked part's middle away from the ink, a little beyond the gaps'.
    """
    darkest, dark, ground, bright, brightest = np.quantile(marked, (GAPS, 0.25, 0.5, 0.75, 1 - GAPS), axis=0)
    gaps = brightest if np.abs(bright - ground).sum() <= np.abs(ground - dark).sum() else darkest
    way = BARE * (gaps - ground)
    along = np.clip((rows - ground) @ way / max(float(way @ way), 1.0), 0.0, 1.0)
    return np.asarray(np.abs(rows - ground - along[:, None] * way).sum(axis=1), dtype=np.float64)


def _ends(
    rgb: NDArray[np.uint8],
    origin: Floats,
    axis: Floats,
    normal: Floats,
    length: float,
    px_per_mm: float,
    sides: tuple[float, float],
) -> tuple[float, float]:
    us = np.arange(-BEYOND_MM, length / px_per_mm + BEYOND_MM, STEP_MM) * px_per_mm
    inset = 0.2 * (sides[1] - sides[0])
    vs = np.linspace(sides[0] + inset, sides[1] - inset, 25)
    seen, inside = _colours(rgb, origin + us[:, None, None] * axis + vs[None, :, None] * normal)
    columns = np.median(seen, axis=1)
    middle = (us > 0) & (us < length)
    ground = np.median(columns[middle], axis=0)
    columns[inside.mean(axis=1) < 0.3] = np.inf
    start, end = int(np.searchsorted(us, 0.0)), int(np.searchsorted(us, length))
    before = _walk(_as_lit(columns, ground, start, -1), us, start, -1)
    after = _walk(_as_lit(columns, ground, end, 1), us, end, 1)
    rim = RIM_MM * px_per_mm
    return min(before, 0.0) - rim, max(after, length) + rim


def _as_lit(columns: NDArray[np.float32], ground: NDArray[np.float32], start: int, way: int) -> Floats:
    """How far each column's colour (N, 3) is from the ruler's, in the light of what lies before it on a walk from
    ``start``: a ruler's far end in shade is not another thing."""
    light = np.where(np.isfinite(columns), columns, 0) @ ground / float(ground @ ground)
    span = round(LIGHT_MM / STEP_MM)
    off = np.full(len(columns), np.inf)
    index = start
    while 0 <= index < len(columns):
        before = np.median(light[min(index, index - way * span) : max(index, index - way * span) + 1])
        share = float(np.clip(before, MOST_LIGHT, 1 / MOST_LIGHT))
        off[index] = np.abs(columns[index] - share * ground).sum()
        index += way
    return off


def _walk(off: Floats | NDArray[np.float32], at: Floats, start: int, way: int) -> float:
    """From a start outwards to where another colour begins to last."""
    need = round(LASTING_MM / STEP_MM)
    run = 0
    index = start
    while 0 <= index < len(at):
        run = run + 1 if off[index] > OTHER_COLOUR else 0
        if run >= need:
            return float(at[max(0, min(len(at) - 1, index - way * need))])
        index += way
    return float(at[max(0, min(len(at) - 1, index - way))])
