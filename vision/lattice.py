"""The lattice of a motif: the translations that bring a print onto itself, from its autocorrelation."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.measurement import LatticeKind
from vision.spectrum import Autocorrelation, autocorrelation, parabola
from vision.swatch import EDGE_MARGIN_MM, Doubles, Floats, Mask, Swatch

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
#: Share of predicted translations that must be there, and of those found that must be predicted (false lattices fail).
INLIER_SHARE = 0.80
#: Translations are believed where this share of the cloth takes part in the comparison.
_LEAST_OVERLAP = 0.22
#: Correlation by which every second motif must fall behind to be another one (colour, or a mirror image).
SECOND_MOTIF = 0.04
#: Degrees from square that two axes of a rectangular repeat may be: cloth is not pulled further askew.
SQUARE_PLAY_DEG = 5.0
#: Axes within this of square, deg, go before others that are not: no photograph is rectified worse (rendered scenes).
NEARLY_SQUARE_DEG = 1.5
#: A lattice near a hexagon holds three rectangles of one area and nearly one size (their sides as 1 to the root of 3).
#: Rectangles whose diagonals differ by less than this share are such rivals; the squarest that lies along the cloth is
#: the print's own: off square by about so much, deg (rectification, rendered scenes), askew in the photo by so much.
RIVAL_SHARE = 0.15
_SQUARE_SIGMA_DEG, _LEAN_SIGMA_DEG = 0.25, 12.0
#: Prints lie along their cloth within this, mostly (practice); a lattice far from that is a half-drop or brick.
_ALIGNED_DEG, _OBLIQUE_DEG = 15.0, 30.0
#: ... and along the photo within this where a person laid the cloth straight for it (practice). Where the picture does
#: not show how the cloth lies, no more than this tells a half-drop as wide as high from a square cell turned by half
#: a right angle; farther from it the smallest rectangle counts.
_LAID_DEG = 5.0
#: Cloth that fills so much of the rectangle round it is one itself: how others lie is not known.
_RECTANGLE_SHARE = 0.9
#: Cloth that fills so much of the picture has the picture's outline, but for a corner at most, and not its own.
_BEYOND_SHARE = 0.9
#: A lattice fit is trusted no further than this share of the repeat: cloth does not lie flatter (practice).
_FLATNESS_RELATIVE_U95 = 0.0008
#: Slower than this share of the motif's longer translation is not the motif (its own first wave keeps nine tenths).
SLOW_SHARE = 0.6
_MOST_STARTS = 14


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LatticeFit:
    """Vectors (x, y) in mm, y down. ``across_mm`` and ``along_mm`` span the smallest rectangular repeat; ``a_mm`` and
    ``b_mm`` the lattice. ``kind`` is None where the shift is another share than a half. ``repeats`` show each way."""

    kind: LatticeKind | None
    a_mm: Doubles
    b_mm: Doubles
    across_mm: Doubles
    along_mm: Doubles
    u95_mm: float
    repeats: tuple[float, float]


def find_lattice(swatch: Swatch, lying: float | None = None) -> LatticeFit | None:
    """The lattice of a swatch's print, None where no lattice explains what repeats.

    ``lying`` is how the cloth lies in the picture, deg (``lying_deg``), None where that is not known.
    """
    looks = [swatch.reduced(_LATTICE_PIXELS)]
    if looks[0] is not swatch:
        looks.append(_central(swatch, round(math.sqrt(_LATTICE_PIXELS))))
    for look in looks:
        found = look_for(look, lying)
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


def look_for(swatch: Swatch, lying: float | None) -> LatticeFit | None:
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
    sure = _sure(correlation)
    if sure is None:
        return None
    basis, scatter_px = sure
    named = _named(basis, lying)
    if named is None:
        return None
    kind, a, b, across, along = named
    size = float(min(np.hypot(*across), np.hypot(*along)))
    u95 = float(np.hypot(2 * scatter_px, _FLATNESS_RELATIVE_U95 * size)) / swatch.px_per_mm
    repeats = (shape[1] / float(np.hypot(*across)), shape[0] / float(np.hypot(*along)))
    if min(repeats) < 1.3:
        return None
    a, b, across, along = (vector / swatch.px_per_mm for vector in (a, b, across, along))
    return LatticeFit(kind=kind, a_mm=a, b_mm=b, across_mm=across, along_mm=along, u95_mm=u95, repeats=repeats)


def _sure(correlation: Autocorrelation) -> tuple[Doubles, float] | None:
    """Two translations (2, 2) of what is a print, and the standard error of one, px; None where nothing is."""
    peaks, heights = _peaks(correlation)
    for asked in (_LOOSELY, _STRICTLY):
        basis = _basis(correlation, peaks, heights, asked)
        if basis is not None:
            basis, scatter_px = _refined(correlation, _whole(correlation, basis))
            if _crossed(correlation, basis) and _nearest(correlation, basis) >= PRINT_CORRELATION:
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
    """Translations (N, 2) px in the right half plane that are local maxima, nearest first, and their correlation."""
    value = correlation.value
    top = cv2.dilate(value, np.ones((5, 5), np.uint8))
    usable = (value >= top) & (value > LEAST_CORRELATION) & (correlation.overlap > _LEAST_OVERLAP)
    usable &= _outside_centre(value, correlation.centre)
    rows, columns = np.nonzero(usable)
    row0, column0 = correlation.centre
    dx, dy = columns - column0, rows - row0
    half = (dx > 0) | ((dx == 0) & (dy > 0))
    points = np.stack([dx[half], dy[half]], axis=1).astype(np.float64)
    heights = value[rows[half], columns[half]].astype(np.float64)
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
        area = abs(first[0] * second[1] - first[1] * second[0])
        if area > 0.25 * float(np.hypot(*first) * np.hypot(*second)) and area > 16:
            pairs.append((area, np.stack([first, second])))
    for _, pair in sorted(pairs, key=lambda p: p[0]):
        pair = _short(pair)
        if _explained(kept, pair) >= INLIER_SHARE and _present(correlation, pair) >= INLIER_SHARE:
            return pair
    return None


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
    dx = parabola(float(value[r, c - 1]), float(value[r, c]), float(value[r, c + 1]))
    dy = parabola(float(value[r - 1, c]), float(value[r, c]), float(value[r + 1, c]))
    return np.array([c - column0 + dx, r - row0 + dy]), float(value[r, c])


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
    """Whether the correlation falls between translations both ways (along stripes it does not: they are no motif)."""
    row0, column0 = correlation.centre
    if (np.abs(basis) > np.array([column0, row0])).any():
        return False  # nothing was compared so far apart

    def at(shift: Doubles) -> float:
        return float(correlation.value[round(row0 + shift[1]), round(column0 + shift[0])])

    for vector in basis:
        between = min(at(vector * share) for share in (0.35, 0.5, 0.65))
        if between > 0.8 * at(vector):
            return False
    return True


def _nearest(correlation: Autocorrelation, basis: Doubles) -> float:
    """The median correlation of the nearest translations."""
    found = [_climbed(correlation, np.array(step) @ basis, basis) for step in ((0, 1), (1, 0), (1, 1), (1, -1))]
    return float(np.median([f[1] for f in found if f is not None] or [0.0]))


#: Cells, squared diagonal, lean (deg), across, along, whether far from square, and degrees off square.
_Rectangle = tuple[int, float, float, Doubles, Doubles, bool, float]


def lying_deg(swatch: Swatch, picture_mm2: float = math.inf) -> float | None:
    """How a rectangular cloth lies in the picture: the angle of a side, counter-clockwise as seen, in [-45, 45). None
    where its outline does not tell: it is no rectangle, or that of the picture, which shows ``picture_mm2``.

    Prints run along their cloth, however that lies.
    """
    rows = np.flatnonzero(swatch.mask.any(axis=1))
    if not len(rows):
        return None
    cloth = swatch.mask[rows]
    ends = np.concatenate([cloth.argmax(axis=1), cloth.shape[1] - 1 - cloth[:, ::-1].argmax(axis=1)])
    corners = cv2.convexHull(np.stack([ends, np.tile(rows, 2)], axis=1).astype(np.float32))
    area = cv2.contourArea(corners)
    _, size, angle = cv2.minAreaRect(corners)
    if area < _RECTANGLE_SHARE * size[0] * size[1]:
        return None
    shown_mm2 = area / swatch.px_per_mm**2 + EDGE_MARGIN_MM * cv2.arcLength(corners, True) / swatch.px_per_mm
    if shown_mm2 > _BEYOND_SHARE * picture_mm2:
        return None
    return (45.0 - angle) % 90.0 - 45.0


def _unlikely(rectangle: _Rectangle) -> float:
    """How unlikely it is that a print's own rectangle is so far off square and lies so askew (a chi-square)."""
    return (rectangle[6] / _SQUARE_SIGMA_DEG) ** 2 + (rectangle[2] / _LEAN_SIGMA_DEG) ** 2


def _named(
    basis: Doubles, lying: float | None = None
) -> tuple[LatticeKind | None, Doubles, Doubles, Doubles, Doubles] | None:
    """Kind, a, b and the sides of the smallest rectangular repeat, across nearer the x axis; None where none is square.

    ``lying``: how the cloth lies, deg; where that is not known it is taken to lie along the photo, more or less. A
    half-drop's and a brick's lattices are the same when turned: the wider rectangle is called a half-drop.
    """
    found: list[_Rectangle] = []
    whole = [(i, j) for i in range(-4, 5) for j in range(-4, 5) if (i, j) > (0, 0) and math.gcd(i, j) == 1]
    for p, q in itertools.combinations(whole, 2):
        index = abs(p[0] * q[1] - p[1] * q[0])
        if not 1 <= index <= 4:
            continue
        first, second = np.array(p) @ basis, np.array(q) @ basis
        cosine = float(first @ second) / float(np.hypot(*first) * np.hypot(*second))
        off_square = abs(math.degrees(math.asin(np.clip(cosine, -1, 1))))
        if off_square > SQUARE_PLAY_DEG:
            continue
        nearer = abs(first[0]) * np.hypot(*second) >= abs(second[0]) * np.hypot(*first)
        across, along = (first, second) if nearer else (second, first)
        across, along = across * (1 if across[0] > 0 else -1), along * (1 if along[1] > 0 else -1)
        lean = abs((math.degrees(math.atan2(-across[1], across[0])) - (lying or 0.0) + 45) % 90 - 45)
        askew = off_square > NEARLY_SQUARE_DEG or index > 2
        found.append((index, float(across @ across + along @ along), lean, across, along, askew, off_square))
    if not found:
        return None
    found.sort(key=lambda f: (f[5], f[0], f[1]))
    least = found[0]
    rivals = [f for f in found if (f[5], f[0]) == (least[5], least[0]) and f[1] < (1 + RIVAL_SHARE) ** 2 * least[1]]
    best = min(rivals, key=_unlikely)
    upright = [f for f in found if f[0] == 2 and f[2] <= (_LAID_DEG if lying is None else _ALIGNED_DEG)]
    if best[0] == 1 and best[2] > _OBLIQUE_DEG and upright and _unlikely(upright[0]) < _unlikely(best):
        best = upright[0]
    index, across, along = best[0], best[3], best[4]
    if index == 1:
        return "straight", across, along, across, along
    middle = (across + along) / 2
    if index == 2 and np.hypot(*across) >= np.hypot(*along):
        return "half_drop", middle, along, across, along
    if index == 2:
        return "brick", across, middle, across, along
    return None, basis[0], basis[1], across, along
