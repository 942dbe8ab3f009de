"""A motif's cells followed one by one: where each lies against the mean cell, for the plane to be levelled by and the
repeat to be told by.

The picture is folded by the print's rectangular repeat into a mean cell; each cell's shift against it is the
least-squares one along the mean cell's own slopes (Lucas and Kanade 1981, from memory). What the shifts have in common
over the cloth, up to the second order, is put into the fold, and the mean cell becomes sharper.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.lattice import LatticeFit
from vision.repeat import FLATNESS_RELATIVE_U95
from vision.swatch import Doubles, Floats, Swatch

Masks = NDArray[np.bool_]

#: A mean cell has this many samples along its longer side, at most.
MOST_SAMPLES = 64
#: Passes: each finds what is left of the shifts.
PASSES = 4
#: A cell takes part where so much of it shows.
LEAST_SHOWN = 0.6
#: Nearer to the cloth's rim than so many times the blur the picture is blurred on one side only, and misleads.
RIM_BLURS = 1.5
#: Where the mean cell's slopes run one way only, it says nothing of a shift along that: least ratio of its two powers.
LEAST_ROUND = 0.02
#: Fewer cells say nothing of how they run together or crowd.
FEWEST_CELLS = 12
#: Cells further from their common course than so many standard deviations count less and less.
STRAY = 3.0
#: Cells that differ from the lattice they were sought by, by more than this share, are not its own.
ANOTHER_SHARE = 0.02
#: No shift is larger than this share of the smaller side: it would be another motif's.
MOST_SHIFT = 0.25


def cells_of(swatch: Swatch, across_mm: Doubles, along_mm: Doubles) -> tuple[Doubles, Doubles]:
    """Places (M, 4) of the cells' middles: x, y in the plane (mm), their order along ``across_mm`` (first) and along
    ``along_mm`` (second), and one standard deviation (mm); both empty where cells are too few or too plain to tell."""
    nothing = np.zeros((0, 4)), np.zeros((0, 4))
    basis = np.stack([across_mm, along_mm]) * swatch.px_per_mm
    blur_px = max(0.6 * swatch.px_per_mm, 0.8)
    tone = swatch.tone(blur_px)
    index, centre_px, shown = _shown_cells(swatch, basis, math.ceil(RIM_BLURS * blur_px))
    if len(index) < FEWEST_CELLS:
        return nothing
    grid = _samples(basis)
    course, found = _Course.of(centre_px, np.zeros_like(centre_px)), centre_px
    for _ in range(PASSES):
        cells = np.stack([_read(tone, at + grid + course.shift(at + grid)) for at in centre_px])
        mean = _mean_cell(cells, shown)
        slopes = _slopes(mean, basis)
        power = np.einsum("ijkc,ijkd->cd", slopes, slopes)
        small, large = np.linalg.eigvalsh(power)
        if small < LEAST_ROUND * large:
            return nothing
        found = course.shift(centre_px) + _shifts(cells, mean, slopes, shown)
        course = _Course.of(centre_px, found)
    rest = np.hypot(*(found - course.shift(centre_px)).T)
    usual = 1.4826 * float(np.median(rest)) / math.sqrt(math.log(4))
    kept = rest < min(4 * usual + 1e-6, MOST_SHIFT * float(np.hypot(*basis.T).min()))
    if kept.sum() < FEWEST_CELLS:
        return nothing
    mm = np.asarray(swatch.origin_mm) + (centre_px + found)[kept] / swatch.px_per_mm
    sigma = max(usual, 0.02) / swatch.px_per_mm / np.sqrt(shown.mean(axis=(1, 2))[kept])
    rows = [np.column_stack([mm, index[kept, k] + 0.5, sigma]) for k in (0, 1)]
    return rows[0], rows[1]


def _mean_cell(cells: Doubles, shown: Masks) -> Doubles:
    """The middle (A, B, C) of cells (N, A, B, C) where they are ``shown`` (N, A, B), all brought to one lightness."""
    whole = shown.all(axis=(1, 2))
    if whole.sum() >= FEWEST_CELLS:
        even = cells[whole]
        return np.asarray(np.median(even - even.mean(axis=(1, 2), keepdims=True), axis=0))
    seen, mean = shown[..., None], np.zeros_like(cells[0])
    for _ in range(2):  # what shows of a cell is as light as the same part of the mean
        off = ((cells - mean) * seen).sum(axis=(1, 2), keepdims=True) / seen.sum(axis=(1, 2), keepdims=True)
        mean = np.nan_to_num(np.nanmedian(np.where(seen, cells - off, np.nan), axis=0))
    return np.asarray(mean - mean.mean(axis=(0, 1)))


def _shifts(cells: Doubles, mean: Doubles, slopes: Doubles, shown: Masks) -> Doubles:
    """Each cell's shift (N, 2), px, against the mean, by what is shown of it."""
    whole = shown.all(axis=(1, 2))
    rest = mean - cells
    rest[whole] -= rest[whole].mean(axis=(1, 2), keepdims=True)
    power = np.einsum("ijkc,ijkd->cd", slopes, slopes)
    found = np.einsum("nijk,ijkc->nc", rest, slopes) @ np.linalg.inv(power)
    for n in np.flatnonzero(~whole):
        part, own = rest[n][shown[n]], slopes[shown[n]]
        part, own = part - part.mean(axis=0), own - own.mean(axis=0)
        found[n] = np.linalg.pinv(np.einsum("akc,akd->cd", own, own)) @ np.einsum("ak,akc->c", part, own)
    return np.asarray(found, dtype=np.float64)


def _sides(across: Doubles, along: Doubles) -> tuple[Doubles, Doubles] | None:
    """The repeat's two sides (2, 2), mm, as cells (M, 4) of ``cells_of`` say, and one standard error of each (2,).

    They are those at the middle of the cells: what crowds or bends the cells evenly over the cloth is left out. None
    where the cells are too few for that, or lie in one line.
    """
    places, index = across[:, :2], np.column_stack([across[:, 2], along[:, 2]])
    if len(places) < FEWEST_CELLS:
        return None
    i, j = (index - index.mean(axis=0)).T
    design = _second_order(np.column_stack([i, j]))
    size = np.maximum(np.abs(design).max(axis=0), 1e-9)
    scaled, weight = design / size, np.ones(len(i))
    if np.linalg.matrix_rank(scaled, tol=1e-3 * math.sqrt(len(i))) < design.shape[1]:
        return None
    for _ in range(4):
        root = np.sqrt(weight)[:, None]
        course = np.linalg.lstsq(scaled * root, places * root, rcond=None)[0]
        rest = np.hypot(*(places - scaled @ course).T)
        weight = 1 / (1 + (rest / (STRAY * float(np.median(rest)) + 1e-6)) ** 2) ** 2
    freedom = max(float(weight.sum()) - design.shape[1], 1.0)
    spread = np.linalg.inv((scaled * weight[:, None]).T @ scaled) * float(weight @ rest**2) / 2 / freedom
    return (course / size[:, None])[1:3], np.sqrt(np.diag(spread)[1:3]) / size[1:3]


def as_followed(lattice: LatticeFit, cells: tuple[Doubles, Doubles]) -> LatticeFit:
    """The lattice as its cells have it, one by one, where they tell it better than its translations do."""
    found = _sides(*cells)
    if found is None:
        return lattice
    sides, error = found
    old = np.stack([lattice.across_mm, lattice.along_mm])
    size = float(np.hypot(*old.T).min())
    u95 = math.hypot(2 * float(error.max()), FLATNESS_RELATIVE_U95 * size)
    if u95 > lattice.u95_mm or np.hypot(*(sides - old).T).max() > ANOTHER_SHARE * size:
        return lattice
    a, b = np.stack([lattice.a_mm, lattice.b_mm]) @ np.linalg.inv(old) @ sides
    return replace(lattice, a_mm=a, b_mm=b, across_mm=sides[0], along_mm=sides[1], u95_mm=u95)


def _shown_cells(swatch: Swatch, basis: Doubles, rim_px: int) -> tuple[Doubles, Doubles, Masks]:
    """Indices (N, 2) and middles (N, 2), px, of the cells that show for the most part, and where (N, A, B) they do:
    further than ``rim_px`` from what is no cloth."""
    height, width = swatch.mask.shape
    middle = np.array([width, height]) / 2
    corners = (np.array([[0, 0], [width, 0], [width, height], [0, height]]) - middle) @ np.linalg.inv(basis)
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int)
    index = np.array(list(itertools.product(range(low[0], high[0]), range(low[1], high[1]))), dtype=np.float64)
    centre = middle + index @ basis
    disc = np.ones((2 * rim_px + 1, 2 * rim_px + 1), np.uint8)
    mask = cv2.erode(swatch.mask.astype(np.uint8), disc, borderValue=0).astype(np.float32)
    grid = _samples(basis)
    rough = np.array([float(_read(mask, at + grid[::4, ::4]).mean()) for at in centre])
    index, centre = index[rough >= LEAST_SHOWN / 2], centre[rough >= LEAST_SHOWN / 2]
    shown = np.array([_read(mask, at + grid) > 0.99 for at in centre], dtype=np.bool_).reshape(-1, *grid.shape[:2])
    most = shown.mean(axis=(1, 2)) >= LEAST_SHOWN
    return index[most], centre[most], shown[most]


def _samples(basis: Doubles) -> Doubles:
    """Places (A, B, 2) of a cell's samples about its middle, px: A along the second side, B along the first."""
    sizes = np.hypot(*basis.T)
    step = max(1.0, float(sizes.max()) / MOST_SAMPLES)
    counts = [max(8, round(float(size) / step)) for size in sizes]
    along, across = (((np.arange(count) + 0.5) / count - 0.5) for count in (counts[1], counts[0]))
    return np.asarray(across[None, :, None] * basis[0] + along[:, None, None] * basis[1], dtype=np.float64)


def _read(picture: Floats, places: Doubles) -> Doubles:
    """The picture (H, W) or (H, W, C) at places (A, B, 2), 0 outside it."""
    x, y = places[..., 0].astype(np.float32), places[..., 1].astype(np.float32)
    out = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(out, dtype=np.float64)


def _slopes(mean: Doubles, basis: Doubles) -> Doubles:
    """How the mean cell (A, B, C) changes by px to the right and down: (A, B, C, 2). It goes on where it began."""
    by_step = [(np.roll(mean, -1, axis=axis) - np.roll(mean, 1, axis=axis)) / 2 * mean.shape[axis] for axis in (1, 0)]
    return np.asarray(np.stack(by_step, axis=-1) @ np.linalg.inv(basis).T, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Course:
    """The cells' shifts over the cloth, to the second order."""

    middle_px: Doubles
    size_px: float
    turns: Doubles

    @classmethod
    def of(cls, places_px: Doubles, shift: Doubles) -> _Course:
        """What shifts (N, 2) at places (N, 2) have in common, stray ones left out (bisquare weights)."""
        middle, size = places_px.mean(axis=0), max(float(np.ptp(places_px)) / 2, 1.0)
        design = _second_order((places_px - middle) / size)
        weight = np.ones(len(shift))
        turns: Doubles = np.zeros((design.shape[1], 2))
        for _ in range(4):
            weighted = design * weight[:, None], shift * weight[:, None]
            turns = np.asarray(np.linalg.lstsq(*weighted, rcond=None)[0], dtype=np.float64)
            rest = np.hypot(*(shift - design @ turns).T)
            weight = np.clip(1 - (rest / (4 * float(np.median(rest)) + 1e-6)) ** 2, 0, 1)
        return cls(middle_px=middle, size_px=size, turns=turns)

    def shift(self, places_px: Doubles) -> Doubles:
        """The shift (..., 2), px, at places (..., 2)."""
        return np.asarray(_second_order((places_px - self.middle_px) / self.size_px) @ self.turns, dtype=np.float64)


def _second_order(scaled: Doubles) -> Doubles:
    """Terms (..., 6) of places (..., 2) up to the second order."""
    x, y = scaled[..., 0], scaled[..., 1]
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
