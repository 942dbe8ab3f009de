"""What the cloth lies on: the colour that rings the picture, its shading and grain, and how unlike it a pixel is."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.swatch import Doubles, Floats, Mask

#: Width of the ring along the picture's border in which the table is looked for, as a share of the short side.
_RING_SHARE = 0.04
#: Colours in the ring are sorted into this many heaps, and heaps nearer than this in tone are one surface's.
_HEAPS = 7
_HEAP_APART = 9.0
#: A heap with less of the ring than this is no table.
_LEAST_SHARE = 0.12
#: Least spread of a table's colour, in tone: noise of the photo and dust.
_LEAST_SIGMA = 1.6
#: A pixel belongs to the table up to this many standard deviations (three coordinates: 0.3 % of table lies beyond).
SURELY_ELSE = 3.8
_PASSES = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """A candidate: its share of the ring, and for each pixel (H, W) how many standard deviations it is from it."""

    share: float
    unlike: Floats


def candidates(tone: Floats, usable: Mask) -> tuple[Table, ...]:
    """Surfaces that may be the table, the most of the ring first. ``usable``: neither covered nor outside the photo."""
    height, width = usable.shape
    ring = usable & ~_inner(usable, max(round(_RING_SHARE * min(height, width)), 2))
    colours = tone[ring].reshape(-1, 3)
    if len(colours) < 50:
        return ()
    cv2.setRNGSeed(1)
    sample = np.ascontiguousarray(colours[:: max(len(colours) // 4000, 1)], dtype=np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.3)
    heaps = min(_HEAPS, len(sample))
    _, label, centre = cv2.kmeans(sample, heaps, np.empty(0, np.int32), criteria, 2, cv2.KMEANS_PP_CENTERS)
    shares = np.bincount(np.ravel(np.asarray(label)), minlength=heaps) / len(sample)
    surfaces = _surfaces(np.asarray(centre, dtype=np.float32), shares)
    found = []
    for share, members in surfaces:
        if share < _LEAST_SHARE:
            continue
        near = np.min([np.abs(tone - centre[m]).sum(2) for m in members], axis=0) < 2 * _HEAP_APART
        found.append(Table(share=share, unlike=_unlike(tone, usable, near & ring)))
    return tuple(found)


def _inner(usable: Mask, margin: int) -> Mask:
    kernel = np.ones((2 * margin + 1, 2 * margin + 1), np.uint8)
    framed = np.ones(usable.shape, np.uint8)
    return np.asarray(cv2.erode(framed, kernel, borderValue=0) > 0)


def _surfaces(centre: Floats, shares: Doubles) -> list[tuple[float, list[int]]]:
    """Heaps joined where they are near, with their shares, the largest first."""
    left, groups = set(range(len(centre))), []
    while left:
        group = [left.pop()]
        for member in group:
            near = [k for k in left if float(np.linalg.norm(centre[k] - centre[member])) < _HEAP_APART]
            group.extend(near)
            left.difference_update(near)
        groups.append((float(sum(shares[k] for k in group)), group))
    return sorted(groups, key=lambda g: -g[0])


def _unlike(tone: Floats, usable: Mask, seeds: Mask) -> Floats:
    """Fit colour, slow shading and spread to the seeds, then to all that turns out alike and hangs on the ring."""
    height, width = usable.shape
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    full = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    alike = seeds
    distance = np.zeros(usable.shape, dtype=np.float32)
    for turn in range(_PASSES):
        terms = 1 if turn == 0 else (3 if turn == 1 or alike.sum() < 0.2 * alike.size else 6)
        basis = full[..., :terms]
        rows = alike.nonzero()
        thin = slice(None, None, max(len(rows[0]) // 20000, 1))
        values, design = tone[alike][thin].astype(np.float64), basis[alike][thin]
        ridge = np.diag([0.0] + [2e-3 * len(design)] * (terms - 1))
        solution = np.linalg.solve(design.T @ design + ridge + 1e-9 * np.eye(terms), design.T @ values)
        rest = values - design @ solution
        keep = np.abs(rest).sum(1) <= 4 * np.median(np.abs(rest).sum(1)) + 1e-6
        spread = np.cov(rest[keep].T) + _LEAST_SIGMA**2 * np.eye(3)
        away = tone - (basis @ solution).astype(np.float32)
        whiten = np.linalg.cholesky(np.linalg.inv(spread)).astype(np.float32)
        distance = np.sqrt(((away @ whiten) ** 2).sum(2)).astype(np.float32)
        alike = _hanging_on(usable & (distance < SURELY_ELSE), seeds)
        if alike.sum() < 30:
            alike = seeds
            break
    return distance


def _hanging_on(alike: Mask, seeds: Mask) -> Mask:
    """The parts of ``alike`` that reach the seeds."""
    _, labels = cv2.connectedComponents(alike.astype(np.uint8), connectivity=4)
    reached = np.unique(labels[seeds & alike])
    return np.asarray(np.isin(labels, reached[reached > 0]))
