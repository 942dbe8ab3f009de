"""How much of the photo a ruler covers: from its ticks outwards as far as its own colour goes."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb
from vision.reference.course import Course
from vision.reference.foot import Ticks, colours, ink_of, reach_of
from vision.reference.reading import Reading
from vision.reference.unit import LEAST_TICK_MM

Floats = NDArray[np.float64]
Colour = Floats | NDArray[np.float32]

#: Rulers and tapes are not wider than this on either side of their ticks, mm (common practice: 12 to 60 mm wide).
WIDEST_MM = 45.0
#: Beyond the first and the last tick read a ruler goes on for at most this far where its colour does, mm.
BEYOND_MM = 60.0
#: ... and farther, to this, mm, where its colour, in the same light but for this factor, and both its edges are seen
#: again and again: what is beside it, so far to both sides of each edge, mm, is of another colour over so many mm; what
#: lies across it, as another ruler does, hides no more of it than the last, mm.
MOST_BEYOND_MM, MOST_CHANGE, EDGE_MM, EDGED_MM, ACROSS_MM = 600.0, 1.25, (1.5, 4.0), 5.0, 45.0
#: White, grey levels.
WHITE = 255.0
#: Steps that are looked at beyond the picture: a ruler's end may be cut off at a slant.
OUTSIDE = 60
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
#: line across them shows the ruler, and beyond them at least the second of what it shows before, over so many mm.
NUMBERS_MM, BETWEEN_NUMBERS, BARE_RULER, RETURNING_MM = 9.0, 0.1, 0.85, 2.0
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
#: A line across which less than this share of what the ruler shows of itself among its ticks has its colour is no
#: ruler's: a row of numbers, or a print.
PRINTED = 0.5
#: Added round the ruler for its shadow and thickness, mm.
RIM_MM = 1.5
#: A printed grid has a bare margin of paper round it, at most so wide, mm (common practice).
SHEET_MARGIN_MM = 25.0
STEP_MM = 0.5


def outline_of(
    rgb: NDArray[np.uint8], comb: Comb, course: Course, px_per_mm: float, longest: NDArray[np.bool_]
) -> Floats:
    """The polygon (K, 2), photo px, that the ruler of a comb covers; ``longest`` (M,) tells its longest ticks."""
    sides = _sides(rgb, course, px_per_mm, comb)
    sides = _by_the_base(Ticks(rgb, comb, course, longest), px_per_mm, sides)
    return course.band(_ends(rgb, course, px_per_mm, sides), sides)


def outline_of_sheet(rgb: NDArray[np.uint8], px_from_mm: Floats, box_mm: tuple[Floats, Floats]) -> Floats:
    """The sheet (4, 2), photo px, on which lines a millimetre apart fill a box (its least and greatest corner, mm).

    Its bare margin is the sheet's too, as far as its colour goes. ``px_from_mm`` (3, 3) maps the lines to the photo.
    """
    low, high = box_mm
    cells = np.stack(np.meshgrid(*(np.arange(a, b) + 0.5 for a, b in zip(low, high, strict=True))), axis=-1)
    ground = np.median(colours(rgb, _mapped(px_from_mm, cells))[0].reshape(-1, 3), axis=0)
    out = np.arange(0, SHEET_MARGIN_MM, STEP_MM)
    reach = np.zeros((2, 2))
    for axis in (0, 1):
        along = np.linspace(low[1 - axis], high[1 - axis], 41)
        for way, start in ((-1, low), (1, high)):
            points = np.empty((out.size, along.size, 2))
            points[..., axis], points[..., 1 - axis] = (start[axis] + way * out)[:, None], along
            seen, inside = colours(rgb, _mapped(px_from_mm, points))
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

    Two scales on one ruler share its body: where each outline holds the other's marks, the body lies within both. Tapes
    that bend are left as they are.
    """
    whole = [reading for reading in readings if len(reading.outline_px) >= 3]
    found = []
    for reading in whole:
        outline = reading.outline_px.astype(np.float32)
        for other in whole:
            theirs = other.outline_px.astype(np.float32)
            if other is reading or not (cv2.isContourConvex(outline) and cv2.isContourConvex(theirs)):
                continue
            if not (holds(outline, other.marks_px) and holds(theirs, reading.marks_px)):
                continue
            _, common = cv2.intersectConvexConvex(outline, theirs)
            if common is not None and len(common) >= 3:
                outline = np.asarray(common, dtype=np.float32).reshape(-1, 2)
        found.append(outline.astype(np.float64))
    return tuple(found)


def holds(outline: Floats | NDArray[np.float32], points: Floats) -> bool:
    """Whether nearly all points (N, 2) lie in a polygon (K, 2): most marks of a second scale on a ruler's body do."""
    ring = outline.astype(np.float32)
    inside = [cv2.pointPolygonTest(ring, (float(x), float(y)), False) >= 0 for x, y in points]
    return sum(inside) >= 0.8 * len(inside)


def _by_the_base(ticks: Ticks, px_per_mm: float, sides: tuple[float, float]) -> tuple[float, float]:
    """The sides, brought in where the ticks stand on the ruler's edge: on the side where long and short ones end alike.
    On the other, where the longest point to, the ruler goes on as far as it is bare there.

    A ruler on a table of its own colour would otherwise seem to go on over the cloth beside it, and one whose ticks are
    too fine to show it bare between them, to end with them. What is shorter than ticks are is their tips, and tells of
    no edge.
    """
    vs = np.arange(-REACH_MM, REACH_MM + 0.1, 0.25) * px_per_mm
    if min(ticks.longest.sum(), (~ticks.longest).sum()) < FEWEST_LONG:
        return sides
    ink, closer = ink_of(ticks, vs, 0.5), ink_of(ticks, vs, 0.25)
    most, longest = (reach_of(np.median(ink[:, chosen], axis=1), vs) for chosen in (~ticks.longest, ticks.longest))
    # where finer ticks stand between those followed, they go on among these
    foot = reach_of(np.median(closer[:, ~ticks.longest], axis=1), vs)
    if most is None or longest is None or most[1] - most[0] < LEAST_TICK_MM * px_per_mm:
        return sides
    beyond = ((most[0] - longest[0]) / px_per_mm, (longest[1] - most[1]) / px_per_mm)
    feet = most if foot is None else (min(most[0], foot[0]), max(most[1], foot[1]))
    edge = MARGIN_MM * px_per_mm
    if beyond[0] < ALIKE_MM <= LONGER_MM < beyond[1]:
        far = _bare_end(ticks, px_per_mm, (most, longest[1]), 1)
        return max(sides[0], feet[0] - edge), _inner_side(sides[1], far, px_per_mm)
    if beyond[1] < ALIKE_MM <= LONGER_MM < beyond[0]:
        far = _bare_end(ticks, px_per_mm, (most, longest[0]), -1)
        return -_inner_side(-sides[0], None if far is None else -far, px_per_mm), min(sides[1], feet[1] + edge)
    return sides


def _inner_side(side: float, far: float | None, px_per_mm: float) -> float:
    """The side that the longest ticks point to: as far as the ruler is bare, where that is further than its colour was
    followed from its ticks, or where that found no end at all."""
    if far is None:
        return side
    return far if side >= (WIDEST_MM - STEP_MM) * px_per_mm else max(side, far)


def _bare_end(
    ticks: Ticks,
    px_per_mm: float,
    reach: tuple[tuple[float, float], float],
    way: int,
) -> float | None:
    """How far (px across) the ruler is bare beyond its longest ticks, a rim included; None where it is not
    bare there, or no end of it is seen. ``reach``: where the other ticks begin and end, and where the longest end."""
    us = np.linspace(0, ticks.course.length, 241)
    out = np.arange(0, WIDEST_MM, STEP_MM) * px_per_mm
    seen, inside = colours(ticks.rgb, ticks.course.at(us, (reach[1] + way * out)[:, None]))
    rows = np.median(seen, axis=1)
    beside = (out >= BESIDE_MM[0] * px_per_mm) & (out <= BESIDE_MM[1] * px_per_mm)
    bare = np.median(rows[beside], axis=0)
    within = np.linspace(0.2, 0.8, 9) * (reach[0][1] - reach[0][0]) + reach[0][0]
    marked = colours(ticks.rgb, ticks.course.at(us, within[:, None]))[0].reshape(-1, 3)
    dark, light = np.quantile(marked, (GAPS, 1 - GAPS), axis=0)
    gaps, ink = (light, dark) if np.abs(bare - light).sum() <= np.abs(bare - dark).sum() else (dark, light)
    away = gaps - ink
    share = float(np.clip((bare - gaps) @ away / max(float(away @ away), 1.0), 0.0, MOST_MIXED))
    # where ticks are too fine to be parted, it shows between the long ones, beyond the short
    short = reach[0][1] if way > 0 else reach[0][0]
    between = np.linspace(0.3, 0.8, 6) * (reach[1] - short) + short
    among = np.median(colours(ticks.rgb, ticks.course.at(us, between[:, None]))[0].reshape(-1, 3), axis=0)
    if min(np.abs(bare - gaps - share * away).sum(), np.abs(bare - among).sum()) > OTHER_COLOUR:
        return None
    off = np.abs(rows - bare).sum(axis=1)
    shown = (np.abs(seen - bare).sum(axis=2) <= OTHER_COLOUR).mean(axis=1)
    off[(inside.mean(axis=1) < 0.3) | (shown < PRINTED * shown[beside].mean())] = np.inf
    end = _walk(off, out, int(np.searchsorted(out, BESIDE_MM[1] * px_per_mm)), 1)
    return None if end >= out[-1] - STEP_MM * px_per_mm else reach[1] + way * (end + RIM_MM * px_per_mm)


def _sides(rgb: NDArray[np.uint8], course: Course, px_per_mm: float, comb: Comb) -> tuple[float, float]:
    us = np.linspace(0, course.length, 241)
    vs = np.arange(-WIDEST_MM, WIDEST_MM + 0.1, STEP_MM) * px_per_mm
    seen, inside = colours(rgb, course.at(us, vs[:, None]))
    rows = np.median(seen, axis=1)
    near = np.abs(vs) <= 0.6 * comb.band_px + px_per_mm
    marked = seen[near].reshape(-1, 3)
    ground, gaps = np.median(marked, axis=0), _gaps(rgb, comb)
    off = _off(rows, ground, gaps)
    off[inside.mean(axis=1) < 0.3] = np.inf
    start = len(vs) // 2
    stay = 0.5 * comb.band_px + 1.0 * px_per_mm
    bare = (_off(seen.reshape(-1, 3), ground, gaps) <= OTHER_COLOUR).reshape(seen.shape[:2]).mean(axis=1)
    # lines of a print may be like the ruler in their middle colour, and in hardly any place
    other = np.where(bare < PRINTED * bare[near].mean(), np.inf, off)
    low = _past_numbers(off, bare, vs, _walk(other, vs, start, -1), -1, px_per_mm)
    high = _past_numbers(off, bare, vs, _walk(other, vs, start, 1), 1, px_per_mm)
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
    # a ruler that is stained or in noise shows no more of itself before its numbers
    before = bare[max(min(first, len(at) // 2), 0) : max(first, len(at) // 2) + 1]
    least = BARE_RULER * float(np.median(before))
    for index in range(first, first + way * round(NUMBERS_MM / STEP_MM), way):
        beyond = np.arange(index, index + way * round(RETURNING_MM / STEP_MM), way)
        if beyond.min() < 0 or beyond.max() >= len(at) or (index != first and bare[index - way] < BETWEEN_NUMBERS):
            return end
        if index != first and (off[beyond] <= OTHER_COLOUR).all() and (bare[beyond] >= least).all():
            return _walk(off, at, int(beyond[-1]), way)
    return end


def _off(rows: NDArray[np.float32], ground: Colour, gaps: Colour) -> Floats:
    """How far each row's colour (V, 3) is from the ruler's, known only where it is marked: that of the ``ground`` there
    and of the ``gaps`` between the ticks, (3,) each.

    Between fine ticks the blur mixes ink into the ground, so that the bare ruler is farther from the ink than most of
    what is seen there: its colour is sought from the marked part's middle away from the ink, a little beyond the gaps'.
    """
    apart = gaps - ground
    way = apart * max(BARE, OTHER_COLOUR / max(float(np.abs(apart).sum()), 1.0))
    along = np.clip((rows - ground) @ way / max(float(way @ way), 1.0), 0.0, 1.0)
    return np.asarray(np.abs(rows - ground - along[:, None] * way).sum(axis=1), dtype=np.float64)


def _gaps(rgb: NDArray[np.uint8], comb: Comb) -> Colour:
    """The colour (3,) half-way between neighbouring ticks: what noise makes of it elsewhere is none of the ruler's."""
    beside = np.flatnonzero(np.diff(comb.index) == 1)
    middle = (comb.places_px[beside] + comb.places_px[beside + 1]) / 2
    heights = comb.band_px * np.linspace(-0.35, 0.35, 7)
    seen, _ = colours(rgb, middle[None] + heights[:, None, None] * comb.lean[beside])
    return np.asarray(np.median(seen.reshape(-1, 3), axis=0), dtype=np.float64)


def _ends(rgb: NDArray[np.uint8], course: Course, px_per_mm: float, sides: tuple[float, float]) -> tuple[float, float]:
    us = np.arange(-MOST_BEYOND_MM, course.length / px_per_mm + MOST_BEYOND_MM, STEP_MM) * px_per_mm
    at = course.at(us, np.full(us.shape, (sides[0] + sides[1]) / 2))
    inside = (at >= 0).all(axis=1) & (at < rgb.shape[1::-1]).all(axis=1) | (us >= 0) & (us <= course.length)
    first, last = np.flatnonzero(inside)[[0, -1]]
    us = us[max(first - OUTSIDE, 0) : last + OUTSIDE]  # no more need be looked at (time)
    inset = 0.2 * (sides[1] - sides[0])
    vs = np.linspace(sides[0] + inset, sides[1] - inset, 25)
    seen, inside = colours(rgb, course.at(us[:, None], vs))
    columns = np.median(seen, axis=1)
    middle = (us > 0) & (us < course.length)
    ground = np.median(columns[middle], axis=0)
    columns[inside.mean(axis=1) < 0.3] = np.inf
    start, end = int(np.searchsorted(us, 0.0)), int(np.searchsorted(us, course.length))
    before = _walk(_as_lit(columns, ground, start, -1), us, start, -1)
    after = _walk(_as_lit(columns, ground, end, 1), us, end, 1)
    own = _alike(columns, ground, start, end) & _edged(rgb, course, us, px_per_mm, sides)
    before = -_as_far(-us[::-1], own[::-1], -before, px_per_mm)
    after = course.length + _as_far(us - course.length, own, after - course.length, px_per_mm)
    rim = RIM_MM * px_per_mm
    return min(before, 0.0) - rim, max(after, course.length) + rim


def _alike(columns: NDArray[np.float32], ground: NDArray[np.float32], start: int, end: int) -> NDArray[np.bool_]:
    """Which columns (N, 3) have the ruler's colour, in about its light or that of the nearer end of its ticks, with
    whatever glare: that of a lamp is white, and the ticks may end in it."""
    seen = np.where(np.isfinite(columns), columns, 0)
    light = seen @ ground / float(ground @ ground)
    first, last = (float(np.median(light[place - 5 : place + 6])) for place in (start, end))
    lit = np.where(np.arange(len(columns)) < (start + end) // 2, first, last)
    share = np.clip(light, np.minimum(lit, 1.0) / MOST_CHANGE, np.maximum(lit, 1.0) * MOST_CHANGE)
    bare = np.minimum(share[:, None] * ground, WHITE)
    glare = ((seen - bare) * (WHITE - bare)).sum(axis=1) / np.maximum(((WHITE - bare) ** 2).sum(axis=1), 1.0)
    bare += np.clip(glare, 0.0, 1.0)[:, None] * (WHITE - bare)
    return np.asarray(np.abs(columns - bare).sum(axis=1) <= OTHER_COLOUR)


def _edged(
    rgb: NDArray[np.uint8], course: Course, us: Floats, px_per_mm: float, sides: tuple[float, float]
) -> NDArray[np.bool_]:
    """Where along a ruler (N,) what lies beside it is of another colour than it is, on both of its sides."""
    beside = np.arange(*EDGE_MM, STEP_MM) * px_per_mm
    edged = np.ones(len(us), np.bool_)
    for side, way in ((sides[0] + RIM_MM * px_per_mm, -1), (sides[1] - RIM_MM * px_per_mm, 1)):
        out, own = (np.median(colours(rgb, course.at(us[:, None], side + w * beside))[0], axis=1) for w in (way, -way))
        edged &= np.abs(out - own).sum(axis=1) > OTHER_COLOUR
    return edged


def _as_far(out: Floats, own: NDArray[np.bool_], end: float, px_per_mm: float) -> float:
    """How far beyond its ticks a ruler goes whose colour goes on to an ``end``: no farther than is usual; but on from
    there where its colour and both its edges are seen (N,), at places ``out``, again and again. All px."""
    known = min(end, BEYOND_MM * px_per_mm)
    lasting = np.ones(round(EDGED_MM / STEP_MM))
    runs = np.convolve(np.convolve(own, lasting, "same") >= lasting.size, lasting, "same") > 0
    for place in out[(out > known) & runs]:
        if place > known + ACROSS_MM * px_per_mm:
            break
        known = float(place)
    return known


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
