"""The lattice of a motif: the translations that bring a print onto itself, from its autocorrelation."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.measurement import LatticeKind
from vision.oblong import named_of
from vision.spectrum import Autocorrelation, autocorrelation, parabola
from vision.swatch import Doubles, Floats, Mask, Swatch

#: Pixels of the picture whose autocorrelation is taken, and of the window where the motif is too fine for that (time).
_LATTICE_PIXELS = 2.2e5
#: The middle of the cloth is looked at where it shows this share of cloth: a ruler or two lie on it, not more.
_LEAST_SHOWN = 0.7
#: A translation of the print correlates at least so well, noise and folds included (brick walls and gravel stay below).
LEAST_CORRELATION = 0.35
#: The nearest translations of a print correlate so well between them: printed motifs of our scenes 0.97 and more, a
#: real check with its weave 0.90, a coarse rib weave with uneven ribs 0.67.
PRINT_CORRELATION = 0.75
#: And at least this share of the best translation: less is a likeness between different motifs. Where many stripes that
#: cross are nearly as wide, a part of the repeat is more alike than that (0.86): if so nothing is found, more is asked.
LIKENESS, STRICT_LIKENESS = 0.80, 0.90
#: And the best are no more than this share of the translations found, where most of those are such likenesses.
_BEST_SHARE, _STRICT_BEST_SHARE = 0.1, 0.01
_LOOSELY, _STRICTLY = (LIKENESS, _BEST_SHARE), (STRICT_LIKENESS, _STRICT_BEST_SHARE)
#: Shares of predicted translations that must be there, and of those found that must be predicted (ribs of a mat: 0.88).
PRESENT_SHARE, EXPLAINED_SHARE = 0.80, 0.90
#: Translations are believed where this share of the cloth takes part in the comparison.
_LEAST_OVERLAP = 0.22
#: Correlation by which every second motif must fall behind to be another one (colour, or a mirror image): over all of
#: the cloth, and by half of that in this share of its cells, of each of which so much is compared at least. What lies
#: on the cloth changes those cells only that it hides. A translation is another than a lattice's from this share of it.
SECOND_MOTIF, _IN_MOST, _COMPARED, _OTHER_SHARE = 0.04, 0.75, 0.5, 0.12
#: A lattice fit is trusted no further than this share of the repeat: cloth does not lie flatter (practice).
_FLATNESS_RELATIVE_U95 = 0.0008
#: Slower than this share of the motif's longer translation is not the motif (its own first wave keeps nine tenths).
SLOW_SHARE = 0.6
_MOST_STARTS = 14
#: Between translations, at these shares of one, a motif is no more like itself than by this share of what it is at one.
_BETWEEN, _FALLEN = (0.35, 0.5, 0.65), 0.8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LatticeFit:
    """Vectors (x, y) in mm, y down. ``across_mm`` and ``along_mm`` span the smallest rectangular repeat; ``a_mm`` and
    ``b_mm`` the lattice. ``kind`` is None where the shift is another share than a half. ``repeats`` show each way.
    ``sure``: whether no other rectangle of the same lattice may be the print's own as well."""

    kind: LatticeKind | None
    a_mm: Doubles
    b_mm: Doubles
    across_mm: Doubles
    along_mm: Doubles
    u95_mm: float
    repeats: tuple[float, float]
    sure: bool = True


def find_lattice(swatch: Swatch, lying: float | None = None, angle_u95_deg: float = 0.0) -> LatticeFit | None:
    """The lattice of a swatch's print, None where no lattice explains what repeats.

    ``lying`` is how the cloth lies in the picture, deg (``lying_deg``), None where that is not known;
    ``angle_u95_deg`` what the picture leaves open of angles between directions about square to each other.
    """
    looks = [swatch.reduced(_LATTICE_PIXELS)]
    if looks[0] is not swatch:
        looks.append(_central(swatch, round(math.sqrt(_LATTICE_PIXELS))))
    for look in looks:
        found = look_for(look, lying, angle_u95_deg)
        if found is not None:
            return found
    return None


def _central(swatch: Swatch, side_px: int) -> Swatch:
    """The window of that side in the middle, for which the picture's own uncertainty is stated; where it shows too
    little cloth, that with the most."""
    rows, columns = (slice(max(n - side_px, 0) // 2, (n + min(side_px, n)) // 2) for n in swatch.mask.shape)
    mask = swatch.mask[rows, columns]
    if mask.mean() < _LEAST_SHOWN:
        return swatch.middle(side_px)
    x, y = (first + at.start / swatch.px_per_mm for first, at in zip(swatch.origin_mm, (columns, rows), strict=True))
    return Swatch(rgb=swatch.rgb[rows, columns], mask=mask, px_per_mm=swatch.px_per_mm, origin_mm=(x, y))


def look_for(swatch: Swatch, lying: float | None, angle_u95_deg: float) -> LatticeFit | None:
    """The lattice of one picture of the cloth, looked at as it is, or less finely where it is large."""
    swatch = swatch.reduced(_LATTICE_PIXELS)
    shape = swatch.mask.shape
    field = _steady(swatch)
    correlation = autocorrelation(field, swatch.mask)
    basis = _basis(correlation, *_peaks(correlation))
    if basis is None:
        return None
    even = _without_slow(field, swatch.mask, SLOW_SHARE * float(np.hypot(*basis.T).max()))
    correlation = autocorrelation(even, swatch.mask)
    told = _told(correlation, even, swatch.mask)
    if told is None:
        return None
    basis, scatter_px = told
    named = named_of(basis, lying, angle_u95_deg)
    if named is None:
        return None
    kind, a, b, across, along, sure = named
    size = float(min(np.hypot(*across), np.hypot(*along)))
    u95 = float(np.hypot(2 * scatter_px, _FLATNESS_RELATIVE_U95 * size)) / swatch.px_per_mm
    repeats = (shape[1] / float(np.hypot(*across)), shape[0] / float(np.hypot(*along)))
    if min(repeats) < 1.3:
        return None
    a, b, across, along = (vector / swatch.px_per_mm for vector in (a, b, across, along))
    return LatticeFit(
        kind=kind, a_mm=a, b_mm=b, across_mm=across, along_mm=along, u95_mm=u95, repeats=repeats, sure=sure
    )


def _told(correlation: Autocorrelation, field: Floats, mask: Mask) -> tuple[Doubles, float] | None:
    """Two translations (2, 2) of what is a print, and the standard error of one, px; None where nothing is.

    ``correlation`` is that of the ``field`` (H, W, 3) within the mask.
    """
    peaks, heights = _peaks(correlation)
    for asked in (_LOOSELY, _STRICTLY):
        basis = _basis(correlation, peaks, heights, asked)
        if basis is not None:
            whole = _whole(correlation, basis)
            own = _not_coarser(correlation, field, mask, whole)
            if own is None:
                continue
            basis, scatter_px = _refined(correlation, own)
            # by near shifts what lies on the cloth may hide that the print is one, by far ones it does not
            alike = max(_nearest(correlation, vectors) for vectors in (basis, whole))
            if _crossed(correlation, basis) and alike >= PRINT_CORRELATION:
                return basis, scatter_px
    return None


def _steady(swatch: Swatch) -> Floats:
    """Tone less its parabola in x and y, 0 outside the mask."""
    tone = swatch.tone(0.8)
    ys, xs = np.mgrid[0 : tone.shape[0], 0 : tone.shape[1]]
    y, x = ys / tone.shape[0] * 2 - 1, xs / tone.shape[1] * 2 - 1
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    inside = swatch.mask
    solution, *_ = np.linalg.lstsq(basis[inside][::5], tone[inside][::5].astype(np.float64), rcond=None)
    return np.asarray((tone - basis @ solution) * inside[..., None], dtype=np.float32)


def _without_slow(field: Floats, mask: Mask, sigma_px: float) -> Floats:
    """The field less its mean round about: light and table in view make all near shifts alike, print or not."""
    cover = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), sigma_px)
    mean = cv2.GaussianBlur(field, (0, 0), sigma_px) / np.maximum(cover, 1e-3)[..., None]
    return np.asarray((field - mean) * mask[..., None], dtype=np.float32)


def _peaks(correlation: Autocorrelation) -> tuple[Doubles, Doubles]:
    """Translations (N, 2) in the right half plane that are local maxima, to a part of a pixel, nearest first, and their
    correlation."""
    value = correlation.value
    top = cv2.dilate(value, np.ones((5, 5), np.uint8))
    usable = (value >= top) & (value > LEAST_CORRELATION) & (correlation.overlap > _LEAST_OVERLAP)
    usable &= _outside_centre(value, correlation.centre)
    usable[[0, -1]] = usable[:, [0, -1]] = False  # whose neighbours are not seen
    row0, column0 = correlation.centre
    tops = [(row, column) for row, column in np.argwhere(usable) if (column, row) > (column0, row0)]
    points = np.array([_summit(value, *top) for top in tops]).reshape(-1, 2) - (column0, row0)
    heights = np.array([value[top] for top in tops], dtype=np.float64)
    order = np.argsort(np.hypot(points[:, 0], points[:, 1]))
    return points[order], heights[order]


def _outside_centre(value: Floats, centre: tuple[int, int]) -> NDArray[np.bool_]:
    """What is not part of the hill about no shift: the connected region above the least correlation."""
    _, labels = cv2.connectedComponents((value > LEAST_CORRELATION).astype(np.uint8))
    return np.asarray(labels != labels[centre])


def _basis(
    correlation: Autocorrelation, peaks: Doubles, heights: Doubles, asked: tuple[float, float] = _LOOSELY
) -> Doubles | None:
    """Two translations (2, 2), the smallest cell that explains the peaks and whose own translations are all there."""
    if len(peaks) < 2:
        return None
    likeness, share = asked
    kept = peaks[heights >= likeness * float(np.sort(heights)[-max(int(len(heights) * share), 1)])]
    starts = kept[:_MOST_STARTS]
    pairs = []
    for first, second in itertools.combinations(starts, 2):
        pair = np.stack([first, second])
        if _is_cell(pair):
            pairs.append((abs(float(np.linalg.det(pair))), pair))
    for _, pair in sorted(pairs, key=lambda p: p[0]):
        pair = _short(pair)
        if _explained(kept, pair) >= EXPLAINED_SHARE and _present(correlation, pair) >= PRESENT_SHARE:
            return pair
    return None


def _is_cell(sides: Doubles) -> bool:
    """Whether two sides (2, 2), px, make a cell that is neither too flat nor too small to be seen."""
    return abs(float(np.linalg.det(sides))) > max(0.25 * float(np.hypot(*sides.T).prod()), 16.0)


def _explained(kept: Doubles, basis: Doubles) -> float:
    """Share of translations found near (within six pixels' worth of cell) that the lattice has."""
    near = kept[np.hypot(kept[:, 0], kept[:, 1]) < 4 * np.hypot(*basis.T).max()]
    steps = near @ np.linalg.inv(basis)
    return float((np.abs(steps - np.rint(steps)).max(axis=1) < 0.12).mean()) if len(near) else 0.0


def _present(correlation: Autocorrelation, basis: Doubles) -> float:
    """Share of the lattice's near translations at which the correlation has a maximum."""
    steps = [(i, j) for i in range(-2, 3) for j in range(-2, 3) if (i, j) > (0, 0)]
    seen = [_climbed(correlation, np.array(step) @ basis, basis) for step in steps]
    known = [s for s in seen if s is not None]
    return sum(s[1] > LEAST_CORRELATION for s in known) / len(known) if len(known) >= 3 else 0.0


def _climbed(correlation: Autocorrelation, shift: Doubles, basis: Doubles) -> tuple[Doubles, float] | None:
    """The maximum next to a shift, to a part of a pixel, and its height; height 0 where it lies on the search's rim.

    None where too little of the cloth takes part to say."""
    row0, column0 = correlation.centre
    reach = max(2, round(0.12 * float(np.hypot(*basis.T).min())))
    column, row = round(column0 + shift[0]), round(row0 + shift[1])
    height, width = correlation.value.shape
    margin = reach + 1
    if not (margin <= row < height - margin and margin <= column < width - margin):
        return None
    if correlation.overlap[row, column] < _LEAST_OVERLAP:
        return None
    patch = correlation.value[row - reach : row + reach + 1, column - reach : column + reach + 1]
    i, j = np.unravel_index(int(patch.argmax()), patch.shape)
    r, c = row - reach + int(i), column - reach + int(j)
    value = correlation.value
    if i in (0, 2 * reach) or j in (0, 2 * reach):
        return shift, 0.0
    return _summit(value, r, c) - (column0, row0), float(value[r, c])


def _summit(value: Floats, row: int, column: int) -> Doubles:
    """Where (x, y) a local maximum lies, to a part of a pixel."""
    near = value[row - 1 : row + 2, column - 1 : column + 2].astype(np.float64).tolist()
    return np.array([column + parabola(*near[1]), row + parabola(*(three[1] for three in near))])


def _short(basis: Doubles) -> Doubles:
    """The shortest two vectors of the same lattice (Gauss's reduction)."""
    a, b = basis
    while True:
        if a @ a > b @ b:
            a, b = b, a
        step = round(float(a @ b) / float(a @ a))
        if step == 0:
            return np.stack([a, b])
        b = b - step * a


def _whole(correlation: Autocorrelation, basis: Doubles) -> Doubles:
    """The lattice itself, or the twofold one whose translations correlate better than those it leaves out, at whatever
    distance: what lies beside the print in view, a ruler for one, makes only the nearest worse."""
    best, gain = basis, SECOND_MOTIF
    steps = [(i, j) for i in range(-4, 5) for j in range(-4, 5) if (i, j) > (0, 0)]
    seen = [(step, _climbed(correlation, np.array(step) @ basis, basis)) for step in steps]
    known = [(step, found[1]) for step, found in seen if found is not None and found[1] > 0]
    a, b = basis
    for (p, q), twofold in (((1, 0), (2 * a, b)), ((0, 1), (a, 2 * b)), ((1, 1), (a + b, a - b))):
        heights = [[h for (i, j), h in known if abs(p * i + q * j) == off] for off in range(9)]
        behind = [
            float(np.median(heights[off - 1] + heights[off + 1]) - np.median(heights[off]))
            for off in (1, 3, 5, 7)
            if min(len(heights[off]), len(heights[off - 1] + heights[off + 1])) >= 2
        ]
        if behind and min(behind) > gain:
            best, gain = _short(np.stack(twofold)), min(behind)
    return best


def _not_coarser(correlation: Autocorrelation, field: Floats, mask: Mask, basis: Doubles) -> Doubles | None:
    """The lattice, or the two or three times as fine one by whose step the print goes on in most of its cells; None
    where it is not sure which, or where the print goes on as well by what is no part of it.

    What lies on the cloth spoils the comparison by near shifts, and not that by far ones, which take it beyond the
    cloth: a print then seems to repeat every second or third time only.
    """
    a, b = basis
    for times in (2, 3):
        for whole, other in ((a, b), (b, a), (a + b, a), (a - b, a)):
            cell = np.stack([whole / times, other])
            step = _climbed(correlation, whole / times, cell)
            if step is None or step[1] <= LEAST_CORRELATION or not _is_cell(np.stack([step[0], other])):
                continue
            goes_on = _goes_on(correlation, field, mask, cell, step[0], whole)
            if goes_on is None:
                return None
            if goes_on:
                return _not_coarser(correlation, field, mask, _short(np.stack([step[0], other])))
    longest = float(np.hypot(*basis.T).max())
    for step in _peaks(correlation)[0][:_MOST_STARTS]:
        off = step @ np.linalg.inv(basis)
        if np.hypot(*step) < longest and np.abs(off - np.rint(off)).max() >= _OTHER_SHARE:
            cell = np.stack([step, np.array([-step[1], step[0]])])
            if _off(field, mask, step, cell) <= SECOND_MOTIF:
                return None
    return basis


def _goes_on(
    correlation: Autocorrelation, field: Floats, mask: Mask, sides: Doubles, step: Doubles, whole: Doubles
) -> bool | None:
    """Whether the print is like itself a ``step`` (x, y), px, on in most of the cells with two ``sides`` (2, 2), as it
    is a ``whole`` of several on; None where it is not much alike by either."""
    far = _climbed(correlation, whole, sides)
    once, later = (_off(field, mask, shift, sides) for shift in (step, whole if far is None else far[0]))
    if not math.isfinite(once + later) or once - later >= SECOND_MOTIF / 2:
        return False
    return True if once <= SECOND_MOTIF else None


def _off(field: Floats, mask: Mask, step: Doubles, sides: Doubles) -> float:
    """By which correlation the print falls behind itself a ``step`` (x, y), px, on in most of the cells with two
    ``sides`` (2, 2); infinite where that is not seen."""
    change, own = _changes(field, mask, step, sides), _by_cell(field, mask, sides)
    if not (len(change) and len(own)):
        return math.inf
    return float(np.quantile(change, 1 - _IN_MOST)) / (2 * float(np.median(own)))


def _changes(field: Floats, mask: Mask, shift: Doubles, sides: Doubles) -> Doubles:
    """How much (K,) the print differs from that one shift (x, y), px, on, in each cell with two ``sides`` (2, 2)."""
    size = (mask.shape[1], mask.shape[0])
    move = np.array([[1, 0, shift[0]], [0, 1, shift[1]]])
    there = cv2.warpAffine(field, move, size, flags=cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR)
    shown = cv2.warpAffine(mask.astype(np.float32), move, size, flags=cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR)
    return _by_cell(field - there, np.asarray(mask & (shown > 0.99)), sides)


def _by_cell(field: Floats, mask: Mask, sides: Doubles) -> Doubles:
    """The variance (K,) of a field in each cell with two ``sides`` (2, 2), px, of which enough is seen: what a cell has
    in common, as its light, is left out."""
    y, x = np.nonzero(mask)
    cell = np.floor(np.column_stack([x, y]) @ np.linalg.inv(sides)).astype(int)
    _, cell = np.unique(cell @ np.array([10**4, 1]), return_inverse=True)
    count = np.maximum(np.bincount(cell), 1)
    values = field[y, x].astype(np.float64)
    spread = np.bincount(cell, (values**2).sum(axis=1)) / count
    spread -= sum((np.bincount(cell, channel) / count) ** 2 for channel in values.T)
    return np.asarray(spread[count >= _COMPARED * abs(float(np.linalg.det(sides)))], dtype=np.float64)


def _refined(correlation: Autocorrelation, basis: Doubles) -> tuple[Doubles, float]:
    """Least squares over all maxima that show, widening outwards; the basis and the standard error of a vector, px."""
    scatter = 0.5
    for reach in (1, 2, 4, 8):
        steps, places = [], []
        for i, j in itertools.product(range(-reach, reach + 1), repeat=2):
            if (i, j) <= (0, 0):
                continue
            found = _climbed(correlation, np.array([i, j]) @ basis, basis)
            if found is not None and found[1] > LEAST_CORRELATION:
                steps.append((i, j))
                places.append(found[0])
        if len(steps) < 3:
            continue
        design, target = np.asarray(steps, dtype=np.float64), np.asarray(places)
        weight = np.ones(len(design))
        for _ in range(3):
            solution, *_ = np.linalg.lstsq(design * weight[:, None], target * weight[:, None], rcond=None)
            rest = np.hypot(*(target - design @ solution).T)
            weight = 1 / (1 + (rest / (2.5 * float(np.median(rest)) + 1e-6)) ** 2)
        basis = np.asarray(solution, dtype=np.float64)
        spread = np.linalg.pinv((design * weight[:, None]).T @ (design * weight[:, None]))
        scatter = float(np.sqrt(np.average(rest**2, weights=weight) * np.diag(spread).max())) + 0.02
    return basis, scatter


def _crossed(correlation: Autocorrelation, basis: Doubles) -> bool:
    """Whether the correlation falls between translations, and any other way (along stripes it does not: no motif)."""
    row0, column0 = correlation.centre
    if (np.abs(basis) > np.array([column0, row0])).any():
        return False  # nothing was compared so far apart
    turns = np.radians(np.arange(180.0))
    ways = min(2 * float(np.hypot(*basis.T).min()), column0, row0) * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    shifts = np.array([*_BETWEEN, 1.0])[:, None, None] * np.concatenate([basis, ways])
    rows, columns = np.moveaxis(np.rint(shifts[..., ::-1] + correlation.centre).astype(int), -1, 0)
    seen = correlation.value[rows, columns]
    peaks = np.append(seen[-1, : len(basis)], np.full(len(ways), _nearest(correlation, basis)))
    return bool((seen[:-1].min(axis=0) <= _FALLEN * peaks).all())


def _nearest(correlation: Autocorrelation, basis: Doubles) -> float:
    """The median correlation of the nearest translations."""
    found = [_climbed(correlation, np.array(step) @ basis, basis) for step in ((0, 1), (1, 0), (1, 1), (1, -1))]
    return float(np.median([f[1] for f in found if f is not None] or [0.0]))
