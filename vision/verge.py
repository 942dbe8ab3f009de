"""The very verge of a cloth: its outline as finely as the photo shows it, once it is known about where it runs.

Cloths are found in a small picture. There an edge is averaged in the picture's own numbers, of which half is not half
the light, so that pale cloth on a dark table comes out small, and dark on pale large; and tufts of a frayed edge are
lost. So the outline is sought again in the photo's own pixels and in light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cloth import ClothRegion
from vision.colour import linear
from vision.edge import settled, signed_area, straight_edges
from vision.lookup import values_at
from vision.measurement import Point
from vision.plane import Plane, reduced
from vision.swatch import TONE_SHIFT, Doubles, Floats, Mask

#: Finer than this nothing is seen of an edge of cloth but its threads, px per mm; and most pixels (time).
FINEST_PX_PER_MM, _MOST_PIXELS = 5.0, 3.0e6
#: So far round the outline the picture is looked at, mm.
_ROUND_MM = 13.0
#: Noise is smoothed over so much, px.
_SOFT_PX = 0.8
#: Tufts longer than one reach of the search are found in the second pass.
_PASSES = 2
#: So near to what covers the cloth, mm, its contour may be that of what covers it or of its shadow.
_BESIDE_MM = 3.0
#: What covers the cloth is drawn so finely, mm a pixel; so near to the photo's border, px, nothing is said of an edge.
_HIDDEN_MM, _BORDER_PX = 0.5, 3.0
#: The outline is simplified by at most so much, mm: tufts show, threads do not.
SIMPLIFY_MM = 0.4
#: Notches narrower than the photo shows, and longer tufts than most, are left out: so much at 95 %, mm, and so many
#: times what four fifths of the outline stay within its own mean over so much of its length, mm (95 % of 166 torn and
#: cut scraps of our own scenes lie within, Hausdorff); the mean is taken at places so far apart, mm.
_LEAST_U95_MM, _TUFTS, _SHARE, _MEAN_MM, _EVERY_MM = 1.1, 5.2, 0.8, 8.0, 0.25
#: Whether cloth goes on where its edge is not clear is looked for so far out, mm, in such steps, mm. What is seen
#: between these depths inside, mm, is cloth, what is seen from so far out on, mm, the table: the first averaged over
#: so much of the rim, mm, to either side, the second over so much.
_DOUBT_MM, _STEP_MM, _INNER_MM, _TABLE_MM, _ALONG_MM, _WIDE_MM = 12.0, 0.5, (3.0, 1.0), 8.0, 3, 12
#: Cloth is faint that is no farther from the table than this, tone (what is farther has a clear edge); nearer than this
#: its edge cannot be seen, and it may go on for so much, mm (motifs on a ground of the table's colour, own scenes).
_FAINT, _SAME, _UNSEEN_MM = 8.0, 2.0, 20.0
#: A patch of shade stands out along less than this share of its rim (0.01 where one was taken for cloth; pale cloth on
#: a pale table along 0.2 and more, own scenes).
_SHADE = 0.08
#: Shorter stretches of the rim than this, mm, are a thread or a speck.
_SHORT_MM = 5
_LIGHT = linear(np.arange(256) / 255).astype(np.float32)


def trimmed(
    plane: Plane,
    region: ClothRegion,
    rgb: NDArray[np.uint8],
    covered_mm: Sequence[Doubles] = (),
    *,
    sides_anew: bool = False,
) -> ClothRegion:
    """The cloth with its outline and holes as fine as the photo ``rgb`` (H, W, 3) shows them, and how well that is.

    ``covered_mm`` are polygons (K, 2) of what lies on the cloth: beside them, and at the picture's border, the outline
    stays as it is. The straight sides stay as they are too, unless they are to be found anew: then the outline is one
    that was trimmed before and mended since, and only its sides and how well it is known are looked for.
    """
    if region.touches_frame and not region.edges:
        return region
    outline = np.asarray(region.outline_mm, dtype=np.float64)
    close = _close(plane, outline, rgb, covered_mm)
    fine, clear = _sought(close, outline, hole=False)
    holes = (_sought(close, np.asarray(hole, dtype=np.float64), hole=True)[0] for hole in region.holes_mm)
    doubt = _doubt_mm(close, fine, clear)
    u95 = max(math.hypot(_LEAST_U95_MM, _TUFTS * _roughness(fine)), doubt)
    free = ~close.fixed(close.places(fine))
    edges = straight_edges(fine, free) if sides_anew else region.edges
    return replace(
        region,
        outline_mm=_simplified(outline if sides_anew else fine),
        holes_mm=tuple(map(_simplified, holes)),
        edges=edges,
        u95_mm=u95,
        doubt_mm=doubt if doubt >= u95 else 0.0,
        clear=float(clear[free].mean()) if free.any() else 1.0,
    )


def told_apart(regions: Sequence[ClothRegion]) -> tuple[ClothRegion, ...]:
    """Cloths without what nowhere stands out from the table, where others do: that is a patch of shade on it."""
    clear = tuple(region for region in regions if region.clear >= _SHADE)
    return clear or tuple(regions)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Close:
    """The photo near a cloth, to be looked at along lines only (time). Places are px of a square-on picture that is
    never made, of ``px_per_mm``, from ``low_mm``. ``picture`` (H, W, 3) is the photo from the pixel ``corner_px`` on,
    averaged over ``shrink`` (x, y) pixels; ``hidden`` (H, W) what of the plane is covered, a pixel every ``hidden_mm``.
    """

    plane: Plane
    picture: NDArray[np.uint8]
    corner_px: tuple[int, int]
    shrink: tuple[float, float]
    low_mm: Doubles
    px_per_mm: float
    hidden: Mask
    hidden_mm: float

    def places(self, points_mm: Doubles) -> Doubles:
        """Points (N, 2) of the plane as places."""
        return np.asarray((points_mm - self.low_mm) * self.px_per_mm)

    def mm(self, places: Doubles) -> Doubles:
        """Places (N, 2) as points of the plane."""
        return np.asarray(self.low_mm + places / self.px_per_mm)

    def tone(self, x: Doubles, y: Doubles) -> Floats:
        """Tone (N, K, 3) along straight lines side by side, of K places (N, K) each, noise smoothed away."""
        first, last = (self._seen(np.stack([x[:, k], y[:, k]], axis=1)) for k in (0, -1))
        share = np.linspace(0, 1, x.shape[1], dtype=np.float32)
        seen = values_at(self.picture, first[:, None] + (last - first)[:, None] * share[:, None])
        # a line stands still where the outline runs out and back along itself, and so has no normal
        step = float(np.hypot(x[:, 1] - x[:, 0], y[:, 1] - y[:, 0]).max())
        light = cv2.GaussianBlur(_LIGHT[seen], (0, 0), _SOFT_PX / step, sigmaY=_SOFT_PX)
        return np.asarray(cv2.cvtColor(light, cv2.COLOR_LRGB2LAB) + TONE_SHIFT, dtype=np.float32)

    def fixed(self, places: Doubles) -> Mask:
        """At which places (N, 2) an outline says nothing of the cloth's own edge."""
        row, column = np.rint(places / (self.px_per_mm * self.hidden_mm)).astype(int).T[::-1]
        inside = (row >= 0) & (column >= 0) & (row < self.hidden.shape[0]) & (column < self.hidden.shape[1])
        hidden = self.hidden[np.where(inside, row, 0), np.where(inside, column, 0)] & inside
        seen, size = self._seen(places), np.array(self.picture.shape[1::-1])
        shown = ((seen >= _BORDER_PX) & (seen <= size - 1 - _BORDER_PX)).all(axis=1)
        return np.asarray(hidden | ~shown)

    def _seen(self, places: Doubles) -> Floats:
        """Where (N, 2) in the picture places (N, 2) are seen."""
        at = self.plane.to_px(self.mm(places)) - self.corner_px
        return np.asarray((at + 0.5) / self.shrink - 0.5, dtype=np.float32)


def _close(plane: Plane, outline: Doubles, rgb: NDArray[np.uint8], covered_mm: Sequence[Doubles]) -> _Close:
    """The photo near the cloth, no finer than it shows it."""
    low, high = outline.min(axis=0) - _ROUND_MM, outline.max(axis=0) + _ROUND_MM
    middle = plane.to_px(((low + high) / 2)[None])[0]
    native = plane.px_per_mm_at((float(middle[0]), float(middle[1]))).value
    most = math.sqrt(_MOST_PIXELS / float(np.prod(high - low)))
    per_mm = min(native, FINEST_PX_PER_MM, most)
    at = plane.to_px(outline)
    size = np.array(rgb.shape[1::-1])
    first = np.clip(at.min(axis=0) - _ROUND_MM * native, 0, size - 1).astype(int)
    last = np.clip(at.max(axis=0) + _ROUND_MM * native, first, size - 1).astype(int) + 1
    picture, shrink = reduced(rgb[first[1] : last[1], first[0] : last[0]], native / per_mm)
    return _Close(
        plane=plane,
        picture=picture,
        corner_px=(int(first[0]), int(first[1])),
        shrink=shrink,
        low_mm=low,
        px_per_mm=per_mm,
        hidden=_hidden(low, high, covered_mm),
        hidden_mm=_HIDDEN_MM,
    )


def _hidden(low: Doubles, high: Doubles, covered_mm: Sequence[Doubles]) -> Mask:
    """Where (H, W) what covers the cloth lies, and what lies so near that an outline there may be its own."""
    columns, rows = np.ceil((high - low) / _HIDDEN_MM).astype(int) + 1
    hidden = np.zeros((rows, columns), np.uint8)
    for polygon in covered_mm:
        cv2.fillPoly(hidden, [np.rint((polygon - low) / _HIDDEN_MM).astype(np.int32)], 1)
    size = 2 * round(_BESIDE_MM / _HIDDEN_MM) + 1
    return np.asarray(cv2.dilate(hidden, np.ones((size, size), np.uint8)) > 0)


def _sought(close: _Close, ring_mm: Doubles, *, hole: bool) -> tuple[Doubles, Mask]:
    """A closed outline (N, 2), mm, brought to where the light changes from the table's to the cloth's, and where (N,)
    it does so clearly."""
    ring, clear = close.places(ring_mm), np.zeros(len(ring_mm), bool)
    for _ in range(_PASSES):
        ring = _dense(ring)
        fixed = close.fixed(ring)
        moved, clear = settled(close.tone, ring, hole=hole)
        ring, clear = np.where(fixed[:, None], ring, moved), clear | fixed
    return close.mm(ring), clear


def _doubt_mm(close: _Close, outline_mm: Doubles, clear: Mask) -> float:
    """How far, mm, cloth of almost the table's colour may go on beyond a closed outline (N, 2): as far as the picture
    stays nearer to what is just inside than to the table, where the edge is not ``clear`` (N,); 0 where it is."""
    ring, marks = close.places(outline_mm), _marks(outline_mm)
    unclear = ~clear[marks]
    if unclear.sum() <= _SHORT_MM:
        return 0.0
    turn = np.roll(ring[marks], -4, axis=0) - np.roll(ring[marks], 4, axis=0)
    out = np.stack([turn[:, 1], -turn[:, 0]], axis=1) * (1 if signed_area(ring) > 0 else -1)
    out /= np.maximum(np.hypot(*out.T), 1e-9)[:, None]
    away = np.arange(-_INNER_MM[0], _DOUBT_MM + _STEP_MM / 2, _STEP_MM)
    x, y = (ring[marks, k, None] + out[:, k, None] * away * close.px_per_mm for k in (0, 1))
    tone = close.tone(x, y)
    near = _along_the_ring(tone, _ALONG_MM)
    cloth = near[:, away <= -_INNER_MM[1]].mean(axis=1)
    table = _along_the_ring(tone[:, away >= _TABLE_MM].mean(axis=1, keepdims=True), _WIDE_MM)[:, 0]
    span = cloth - table
    apart = np.sqrt((span * span).sum(axis=1))
    share = ((near - table[:, None]) * span[:, None]).sum(axis=2) / np.maximum(apart, 1e-6)[:, None] ** 2
    past = share[:, away >= 0] < 0.5
    reach = np.where(past.any(axis=1), past.argmax(axis=1) * _STEP_MM, _DOUBT_MM)
    reach = np.where(apart < _SAME, _UNSEEN_MM, reach)
    doubtful = np.sort(reach[unclear & (apart < _FAINT)])[::-1]
    return float(doubtful[_SHORT_MM]) if len(doubtful) > _SHORT_MM else 0.0


def _marks(outline_mm: Doubles) -> NDArray[np.intp]:
    """Which points of a closed outline (N, 2) are a millimetre apart."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(outline_mm, axis=0).T))])
    return np.asarray(np.searchsorted(along, np.arange(max(int(along[-1]), 1))))


def _along_the_ring(values: Floats, half_mm: int) -> Floats:
    """Values (N, K, 3) averaged over so many on either side along a closed line."""
    half = min(half_mm, len(values) // 2)
    rows = cv2.copyMakeBorder(values, half, half, 0, 0, cv2.BORDER_WRAP)
    return np.asarray(cv2.blur(rows, (1, 2 * half + 1))[half : half + len(values)], dtype=np.float32)


def _dense(ring: Doubles) -> Doubles:
    """A closed line (N, 2) with a point at every pixel of its length."""
    steps = np.roll(ring, -1, axis=0) - ring
    counts = np.maximum(np.hypot(*steps.T).astype(int), 1)
    first = np.repeat(np.arange(len(ring)), counts)
    place = (np.arange(len(first)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[first]
    return np.asarray(ring[first] + place[:, None] * steps[first])


def _roughness(outline_mm: Doubles) -> float:
    """Within how much of its own mean most of a closed outline (N, 2) stays, mm."""
    ring = _dense(outline_mm / _EVERY_MM) * _EVERY_MM
    half = min(round(_MEAN_MM / 2 / _EVERY_MM), len(ring) // 4)
    long = np.concatenate([ring[len(ring) - half :], ring, ring[:half]])
    total = np.cumsum(np.concatenate([np.zeros((1, 2)), long]), axis=0)
    mean = (total[2 * half + 1 :] - total[: -2 * half - 1]) / (2 * half + 1)
    along = np.roll(mean, -4, axis=0) - np.roll(mean, 4, axis=0)
    off = (ring - mean)[:, 0] * along[:, 1] - (ring - mean)[:, 1] * along[:, 0]
    return float(np.quantile(np.abs(off) / np.maximum(np.hypot(*along.T), 1e-9), _SHARE))


def _simplified(points_mm: Doubles) -> tuple[Point, ...]:
    fine = np.rint(points_mm * 64).astype(np.int32).reshape(-1, 1, 2)
    ring = uncrossed(cv2.approxPolyDP(fine, SIMPLIFY_MM * 64, True).reshape(-1, 2).astype(np.float64) / 64)
    return tuple((float(x), float(y)) for x, y in ring)


def uncrossed(ring: Doubles) -> Doubles:
    """A closed line (N, 2) without the loops in which it crosses or touches itself: of the two loops at such a place
    the one that holds less is left out. Tufts whose sides were moved over each other make such loops."""
    for _ in range(len(ring)):
        meetings = _meetings(ring)
        if not len(meetings):
            break
        ring = _without_repeats(_without_loops(ring, meetings))
    return ring


def _without_loops(ring: Doubles, meetings: NDArray[np.intp]) -> Doubles:
    """A closed line (N, 2) without those loops at which its sides meet (M, 2) that lie one after the other: what is
    left may still meet itself, where loops lie within each other."""
    kept, taken = [], -1
    for first, second in meetings:
        if first <= taken:
            continue
        place = _place(ring, first, second)[None]
        inner = np.concatenate([place, ring[first + 1 : second + 1]])
        if _area(inner) > _area(np.concatenate([ring[: first + 1], place, ring[second + 1 :]])):
            return inner
        kept += [ring[taken + 1 : first + 1], place]
        taken = second
    return np.concatenate([*kept, ring[taken + 1 :]])


def _meetings(ring: Doubles) -> NDArray[np.intp]:
    """The pairs (M, 2) of sides of a closed line (N, 2) that meet but are no neighbours, in their order along it."""
    ends = np.roll(ring, -1, axis=0)
    along = ends - ring
    first, second = _near(np.minimum(ring, ends), np.maximum(ring, ends))

    def side(of: NDArray[np.intp], point: Doubles) -> Doubles:
        step = point - ring[of]
        return np.asarray(np.sign(along[of, 0] * step[:, 1] - along[of, 1] * step[:, 0]))

    meets = (side(first, ring[second]) * side(first, ends[second]) <= 0) & (
        side(second, ring[first]) * side(second, ends[first]) <= 0
    )
    pairs = np.stack([first[meets], second[meets]], axis=1)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]


def _near(low: Doubles, high: Doubles) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The pairs of a closed line's sides whose boxes (N, 2) touch but which are no neighbours, the earlier first: along
    the way in which the line is longer each box is held against those only that begin before it ends (time)."""
    count = len(low)
    way = int(np.argmax(np.ptp(low, axis=0))) if count else 0
    order = np.argsort(low[:, way], kind="stable")
    past = np.searchsorted(low[order, way], high[order, way], side="right")
    many = past - np.arange(count) - 1
    one = np.repeat(np.arange(count), many)
    other = one + 1 + np.arange(len(one)) - np.repeat(np.cumsum(many) - many, many)
    one, other = order[one], order[other]
    first, second = np.minimum(one, other), np.maximum(one, other)
    across = 1 - way
    touch = (low[first, across] <= high[second, across]) & (low[second, across] <= high[first, across])
    apart = (second - first > 1) & ~((first == 0) & (second == count - 1))
    return first[touch & apart], second[touch & apart]


def _place(ring: Doubles, first: int, second: int) -> Doubles:
    """Where (2,) two sides of a closed line (N, 2) meet; a corner of one where they lie in line."""
    one, other = (ring[(k + 1) % len(ring)] - ring[k] for k in (first, second))
    cross = one[0] * other[1] - one[1] * other[0]
    if cross == 0:
        return np.asarray(ring[second])
    step = ring[second] - ring[first]
    return np.asarray(ring[first] + (step[0] * other[1] - step[1] * other[0]) / cross * one)


def _without_repeats(ring: Doubles) -> Doubles:
    return np.asarray(ring[(ring != np.roll(ring, 1, axis=0)).any(axis=1)])


def _area(ring: Doubles) -> float:
    x, y = ring.T if len(ring) else (np.zeros(1), np.zeros(1))
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
