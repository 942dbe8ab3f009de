"""A motif's cells followed one by one: where each lies against the mean cell, for the plane to be levelled by and the
repeat to be told by.

The picture is folded by the print's rectangular repeat into a mean cell; each cell's shift against it is the
least-squares one along the mean cell's own slopes (Lucas and Kanade 1981, from memory). What the shifts have in common
over the cloth, up to the second order, is put into the fold, and the mean cell becomes sharper.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import cv2
import numpy as np

from vision.lattice import LatticeFit
from vision.repeat import FLATNESS_RELATIVE_U95
from vision.swatch import Doubles, Floats, Swatch

#: A mean cell has this many samples along its longer side, at most.
MOST_SAMPLES = 64
#: Passes: each finds what is left of the shifts.
PASSES = 4
#: A cell takes part where so much of it shows.
LEAST_SHOWN = 0.98
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
    tone = swatch.tone(max(0.6 * swatch.px_per_mm, 0.8))
    middle = np.array(swatch.mask.shape[::-1]) / 2
    index, centre_px = _whole_cells(swatch, basis, middle)
    if len(index) < FEWEST_CELLS:
        return nothing
    grid = _samples(basis)
    shift = np.zeros_like(centre_px)
    found = shift
    for _ in range(PASSES):
        cells = np.stack([_read(tone, at + grid) for at in centre_px + shift])
        cells -= cells.mean(axis=(1, 2), keepdims=True)
        mean = np.median(cells, axis=0)
        slopes = _slopes(mean, basis)
        power = np.einsum("ijkc,ijkd->cd", slopes, slopes)
        small, large = np.linalg.eigvalsh(power)
        if small < LEAST_ROUND * large:
            return nothing
        found = shift + np.einsum("nijk,ijkc->nc", mean - cells, slopes) @ np.linalg.inv(power)
        shift = _common(centre_px, found)
    rest = np.hypot(*(found - shift).T)
    usual = 1.4826 * float(np.median(rest)) / math.sqrt(math.log(4))
    kept = rest < min(4 * usual + 1e-6, MOST_SHIFT * float(np.hypot(*basis.T).min()))
    if kept.sum() < FEWEST_CELLS:
        return nothing
    mm = np.asarray(swatch.origin_mm) + (centre_px + found)[kept] / swatch.px_per_mm
    sigma = np.full(len(mm), max(usual, 0.02) / swatch.px_per_mm)
    rows = [np.column_stack([mm, index[kept, k] + 0.5, sigma]) for k in (0, 1)]
    return rows[0], rows[1]


def _sides(across: Doubles, along: Doubles) -> tuple[Doubles, Doubles] | None:
    """The repeat's two sides (2, 2), mm, as cells (M, 4) of ``cells_of`` say, and one standard error of each (2,).

    They are those at the middle of the cells: what crowds or bends the cells evenly over the cloth is left out. None
    where the cells are too few for that, or lie in one line.
    """
    places, index = across[:, :2], np.column_stack([across[:, 2], along[:, 2]])
    if len(places) < FEWEST_CELLS:
        return None
    i, j = (index - index.mean(axis=0)).T
    design = np.column_stack([i, j, np.ones_like(i), i * i, i * j, j * j])
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
    return (course / size[:, None])[:2], np.sqrt(np.diag(spread)[:2]) / size[:2]


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


def _whole_cells(swatch: Swatch, basis: Doubles, middle: Doubles) -> tuple[Doubles, Doubles]:
    """Indices (N, 2) and middles (N, 2), px, of the cells that show whole."""
    height, width = swatch.mask.shape
    corners = (np.array([[0, 0], [width, 0], [width, height], [0, height]]) - middle) @ np.linalg.inv(basis)
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int)
    index = np.array(list(itertools.product(range(low[0], high[0]), range(low[1], high[1]))), dtype=np.float64)
    centre = middle + index @ basis
    mask = swatch.mask.astype(np.float32)
    grid = _samples(basis)[::4, ::4]
    shown = [float(_read(mask, at + grid).mean()) for at in centre]
    whole = np.array(shown) >= LEAST_SHOWN
    return index[whole], centre[whole]


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


def _common(places_px: Doubles, shift: Doubles) -> Doubles:
    """The shifts' course over the cloth, to the second order, stray ones left out (bisquare weights)."""
    scaled = (places_px - places_px.mean(axis=0)) / max(float(np.ptp(places_px)) / 2, 1.0)
    x, y = scaled.T
    design = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    weight, course = np.ones(len(x)), shift
    for _ in range(4):
        course = design @ np.linalg.lstsq(design * weight[:, None], shift * weight[:, None], rcond=None)[0]
        rest = np.hypot(*(shift - course).T)
        weight = np.clip(1 - (rest / (4 * float(np.median(rest)) + 1e-6)) ** 2, 0, 1)
    return np.asarray(course, dtype=np.float64)
