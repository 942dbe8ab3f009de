"""Thin straight strokes in a picture, and rows of them that stand evenly side by side: where a ruler might be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]

#: Blur before second derivatives, px of the level: narrow enough to part ticks that stand 3.3 px apart.
RIDGE_SIGMA_PX = 0.8
#: On coarser levels less is needed: halving has smoothed them.
COARSE_SIGMA_PX = 0.6
#: A stroke must be darker (lighter) than its flanks by about twice this many grey levels ...
LEAST_CURVATURE = 5.0
#: ... in a quiet picture by less: so many times its usual curvature, but not under the second.
OVER_NOISE, FAINTEST = 5.0, 2.0
#: Grey levels are counted in so many steps while curvatures are taken.
FINER = 4
#: At most this share of a picture is looked at: in rough textures only the strongest strokes count ...
LARGEST_SHARE = 0.12
#: ... told for tiles of about this side, px of the level ...
TILE_PX = 160
#: ... but so many pixels always: small levels cost nothing, and one bright rim must not hide their ticks.
ALWAYS_PX = 1000000
#: Directions are sorted into half-overlapping fans this wide, deg: ticks of one ruler differ by a few degrees only.
FAN_DEG = 45.0
#: Shorter strokes than this many level pixels have no direction.
LEAST_STROKE_PX = 4
#: Neighbours looked at for each stroke when evenly spaced rows are built.
NEIGHBOURS = 8
#: A stroke's two neighbours are evenly spaced if they miss by at most this share of their distance, plus some px.
EVEN_SHARE = 0.12
EVEN_PX = 0.7
#: Ticks stand square to their row; perspective and slanted photographs leave them within this angle, deg.
SQUARE_DEG = 25.0
#: Ticks are not longer than this many spacings (half millimetres: 4 mm is 8); stripes of cloth are.
LONGEST_TICK = 12.0
#: Rows shorter than this are chance.
LEAST_ROW = 6
#: Rows are of one kind if their periods (as a logarithm) and directions, deg, differ by no more than this.
KIN_PERIOD, KIN_DEG = 0.1, 8.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strokes:
    """Straight strokes of one polarity: ``ends_px`` (N, 2, 2) in the level's pixels, first end the one with less v."""

    ends_px: Floats
    dark: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Row:
    """Evenly spaced strokes with their bases on a line, in full-size pixels; ``tick`` points from the base inwards."""

    bases_px: Floats
    axis: Floats
    tick: Floats
    period_px: float
    length_px: float
    dark: bool
    level: int

    @property
    def weight(self) -> float:
        """How much of a row this is: rows with many strokes come first."""
        return float(len(self.bases_px))


def pyramid(gray: NDArray[np.uint8], *, smallest_px: int = 60) -> list[NDArray[np.uint8]]:
    """The picture at full size, half, quarter ... until its shorter side is under ``smallest_px``."""
    levels = [gray]
    while min(levels[-1].shape) // 2 >= smallest_px and len(levels) < 6:
        height, width = levels[-1].shape
        half = cv2.resize(levels[-1], (width // 2, height // 2), interpolation=cv2.INTER_AREA)
        levels.append(np.asarray(half, dtype=np.uint8))
    return levels


def find_rows(gray: NDArray[np.uint8], level: int) -> list[Row]:
    """Rows of evenly spaced strokes, dark ones and light ones, the longest first; places in full-size pixels."""
    finer = gray.astype(np.int16) * np.int16(FINER)
    smooth = cv2.GaussianBlur(finer, (0, 0), RIDGE_SIGMA_PX if level == 0 else COARSE_SIGMA_PX)
    xx = np.asarray(cv2.Sobel(smooth, cv2.CV_16S, 2, 0, ksize=3), dtype=np.int16)
    yy = np.asarray(cv2.Sobel(smooth, cv2.CV_16S, 0, 2, ksize=3), dtype=np.int16)
    xy = np.asarray(cv2.Sobel(smooth, cv2.CV_16S, 1, 1, ksize=3), dtype=np.int16)
    rows: list[Row] = []
    for sign in (1, -1):
        for strokes in _strokes(xx, yy, xy, sign):
            rows.extend(_rows(strokes, level))
    short = [row for row in rows if row.length_px < LONGEST_TICK * row.period_px]
    return sorted(short, key=lambda row: -row.weight)


def fairly(rows: Sequence[Row]) -> list[Row]:
    """The rows in the order in which they are worth following: long ones first, but a cloth's print with its many rows
    of one kind side by side does not come before a ruler, whose ticks stand alone."""
    if not rows:
        return []
    axis = np.array([row.axis for row in rows])
    middle = np.array([row.bases_px.mean(axis=0) for row in rows])
    period = np.array([row.period_px for row in rows])
    dark = np.array([row.dark for row in rows])
    weight = np.array([row.weight for row in rows])
    worth = np.empty(len(rows))
    seen = np.zeros(len(rows))
    for k, row in enumerate(rows):
        kin = (np.abs(np.log(period / period[k])) < KIN_PERIOD) & (dark == dark[k])
        kin &= np.abs(axis @ axis[k]) > np.cos(np.radians(KIN_DEG))
        across = np.abs((middle - middle[k]) @ np.array([-axis[k, 1], axis[k, 0]]))
        beside = kin & (across > 2.0 * row.length_px + row.period_px)
        worth[k] = weight[k] / ((1.0 + beside.sum()) * (1.0 + seen[k]))
        seen[kin] += 1
    return [rows[k] for k in np.argsort(-worth, kind="stable")]


def _strokes(xx: NDArray[np.int16], yy: NDArray[np.int16], xy: NDArray[np.int16], sign: int) -> list[Strokes]:
    height, width = xx.shape
    zero = np.zeros_like(xx)
    bound = np.asarray(cv2.add(cv2.max(sign * xx, zero), cv2.max(sign * yy, zero)), dtype=np.int16)
    floor = _floor(bound)
    flat = np.flatnonzero(bound.ravel() > floor.ravel())
    if flat.size < LEAST_STROKE_PX:
        return []
    a = sign * xx.ravel()[flat].astype(np.float32)
    b = sign * yy.ravel()[flat].astype(np.float32)
    c = sign * xy.ravel()[flat].astype(np.float32)
    half, mean = 0.5 * (a - b), 0.5 * (a + b)
    root = np.sqrt(half * half + c * c)
    strength = mean + root
    keep = (strength > floor.ravel()[flat]) & (mean - root < 0.5 * strength)
    flat, strength, angle = flat[keep], strength[keep], 0.5 * np.arctan2(c[keep], half[keep])
    # ``angle`` is across the stroke, in (-90, 90] deg from x
    dense = np.zeros(height * width, np.float32)
    dense[flat] = strength
    step_x = np.rint(np.cos(angle)).astype(np.int64)
    step_y = np.rint(np.sin(angle)).astype(np.int64)
    step = step_y * width + step_x
    inside = (flat > width + 1) & (flat < height * width - width - 2)
    flat, strength, angle, step = flat[inside], strength[inside], angle[inside], step[inside]
    peak = (strength >= dense[flat + step]) & (strength > dense[flat - step])
    flat, strength, angle, step = flat[peak], strength[peak], angle[peak], step[peak]
    before, after = dense[flat - step], dense[flat + step]
    curve = before + after - 2 * strength
    shift = np.where(curve < 0, 0.5 * (before - after) / np.where(curve < 0, curve, -1), 0)
    reach = np.hypot(step_x[inside][peak], step_y[inside][peak])
    x = flat % width + shift * reach * np.cos(angle)
    y = flat // width + shift * reach * np.sin(angle)
    degrees = np.degrees(angle) % 180
    fans = []
    for k in range(int(360 / FAN_DEG)):
        middle = k * FAN_DEG / 2
        off = (degrees - middle + 90) % 180 - 90
        chosen = np.abs(off) <= FAN_DEG / 2
        if chosen.sum() >= LEAST_ROW * LEAST_STROKE_PX:
            strokes = _linked(flat[chosen], x[chosen], y[chosen], off[chosen], middle, (height, width), sign > 0)
            if strokes is not None:
                fans.append(strokes)
    return fans


def _floor(bound: NDArray[np.int16]) -> NDArray[np.int16]:
    """The curvature a stroke must have at each place: above the noise there, and in each tile only the strongest share
    of pixels counts, so that rough cloth does not hide a faint ruler beside it."""
    height, width = bound.shape
    most = max(LARGEST_SHARE, min(0.5, ALWAYS_PX / bound.size))
    rows, columns = max(1, round(height / TILE_PX)), max(1, round(width / TILE_PX))
    tiles = np.empty((rows, columns), np.int16)
    for i in range(rows):
        for j in range(columns):
            down = slice(i * height // rows, (i + 1) * height // rows, 3)
            sample = bound[down, j * width // columns : (j + 1) * width // columns : 3].ravel()
            middle, strong = int(sample.size / 2), int(sample.size * (1 - most))
            ordered = np.partition(sample, (middle, strong))
            # Sobel kernels of second order carry a gain of 4 (the mixed one: 4 as well)
            least = np.clip(OVER_NOISE * ordered[middle] / (4 * FINER), FAINTEST, LEAST_CURVATURE)
            tiles[i, j] = min(max(4 * FINER * least, ordered[strong]), np.iinfo(np.int16).max)
    return np.asarray(cv2.resize(tiles, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.int16)


def _linked(
    flat: NDArray[np.int64],
    x: Floats,
    y: Floats,
    off: Floats,
    middle_deg: float,
    shape: tuple[int, int],
    dark: bool,
) -> Strokes | None:
    """Connected ridge pixels of one fan, each as a straight stroke; those that straddle the fan's rim are left out."""
    mask = np.zeros(shape, np.uint8)
    mask.ravel()[flat] = 1
    count, labels = cv2.connectedComponents(mask, connectivity=8, ltype=cv2.CV_32S)
    label = np.asarray(labels, dtype=np.int64).ravel()[flat]
    n = np.bincount(label, minlength=count).astype(np.float64)
    n[0] = 0
    good = n >= LEAST_STROKE_PX
    safe = np.maximum(n, 1)
    mx, my = np.bincount(label, x, count) / safe, np.bincount(label, y, count) / safe
    dx, dy = x - mx[label], y - my[label]
    sxx = np.bincount(label, dx * dx, count) / safe
    syy = np.bincount(label, dy * dy, count) / safe
    sxy = np.bincount(label, dx * dy, count) / safe
    along = 0.5 * np.arctan2(2 * sxy, sxx - syy)
    root = np.hypot(0.5 * (sxx - syy), sxy)
    long2, thin2 = 0.5 * (sxx + syy) + root, 0.5 * (sxx + syy) - root
    # the stroke runs across the ridge normal; its own direction must agree with the fan's middle
    normal = np.degrees(along) + 90
    astray = (normal - middle_deg + 90) % 180 - 90
    good &= (thin2 < 0.5 + 0.003 * long2) & (np.abs(astray) <= FAN_DEG / 4 + 2) & (long2 > 1.2)
    if good.sum() < LEAST_ROW:
        return None
    index = np.flatnonzero(good)
    tick_deg = middle_deg + 90
    direction = np.stack([np.cos(along), np.sin(along)], axis=1)
    flip = direction @ np.array([np.cos(np.radians(tick_deg)), np.sin(np.radians(tick_deg))]) < 0
    direction[flip] *= -1
    reach = dx * direction[label, 0] + dy * direction[label, 1]
    low, high = np.zeros(count), np.zeros(count)
    np.minimum.at(low, label, reach)
    np.maximum.at(high, label, reach)
    centre = np.stack([mx, my], axis=1)
    ends = np.stack([centre + (low - 0.5)[:, None] * direction, centre + (high + 0.5)[:, None] * direction], axis=1)
    return Strokes(ends_px=ends[index], dark=dark)


def _rows(strokes: Strokes, level: int) -> list[Row]:
    rows = []
    for end in (0, 1):
        rows.extend(_rows_from(strokes, end, level))
    return rows


def _rows_from(strokes: Strokes, end: int, level: int) -> list[Row]:
    base = strokes.ends_px[:, end]
    inward = strokes.ends_px[:, 1 - end] - base
    length = np.hypot(inward[:, 0], inward[:, 1])
    inward = inward / length[:, None]
    count = len(base)
    if count < LEAST_ROW:
        return []
    tree = cKDTree(base)
    near = min(NEIGHBOURS + 1, count)
    _, hood = tree.query(base, k=near)
    hood = hood[:, 1:]
    step = base[hood] - base[:, None, :]
    distance = np.hypot(step[..., 0], step[..., 1])
    with np.errstate(invalid="ignore", divide="ignore"):
        lean = np.abs((step * inward[:, None, :]).sum(-1)) / np.maximum(distance, 1e-9)
    turn = np.abs((inward[hood] * inward[:, None, :]).sum(-1))
    fit = (lean < np.sin(np.radians(SQUARE_DEG))) & (turn > np.cos(np.radians(8.0))) & (distance > 2.0)
    fit &= distance < 4.0 * np.maximum(length[hood], length[:, None])
    best = np.full(count, np.inf)
    left = np.full(count, -1)
    right = np.full(count, -1)
    k = hood.shape[1]
    for i in range(k):
        for j in range(i + 1, k):
            both = fit[:, i] & fit[:, j]
            if not both.any():
                continue
            miss = step[:, i] + step[:, j]
            size = 0.5 * (distance[:, i] + distance[:, j])
            even = both & (np.hypot(miss[:, 0], miss[:, 1]) < EVEN_SHARE * size + EVEN_PX) & (size < best)
            best[even] = size[even]
            left[even] = hood[even, i]
            right[even] = hood[even, j]
    return _chained(base, inward, length, best, left, right, strokes.dark, level)


def _chained(
    base: Floats,
    inward: Floats,
    length: Floats,
    period: Floats,
    left: NDArray[np.int64],
    right: NDArray[np.int64],
    dark: bool,
    level: int,
) -> list[Row]:
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    own = np.flatnonzero(left >= 0)
    if own.size < LEAST_ROW - 2:
        return []
    start = np.concatenate([own, own])
    stop = np.concatenate([left[own], right[own]])
    reach = np.concatenate([period[own], period[own]])
    # a link counts where the other stroke has the same period, or none of its own
    other = period[stop]
    same = ~np.isfinite(other) | (np.abs(other - reach) < EVEN_SHARE * reach + EVEN_PX)
    start, stop = start[same], stop[same]
    n = len(base)
    graph = coo_matrix((np.ones(start.size), (start, stop)), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    members = np.bincount(label)
    scale = float(2**level)
    rows = []
    for group in np.flatnonzero(members >= LEAST_ROW):
        index = np.flatnonzero(label == group)
        points = base[index]
        centre = points.mean(axis=0)
        _, size, turn = np.linalg.svd(points - centre, full_matrices=False)
        axis = turn[0]
        spread = np.abs((points - centre) @ turn[1])
        step = float(np.median(period[index][np.isfinite(period[index])]))
        if np.median(spread) > 0.35 * step + 0.5 or size[0] < 3 * size[1]:
            continue
        tick = np.median(inward[index], axis=0)
        tick = tick / np.hypot(*tick)
        order = np.argsort((points - centre) @ axis)
        rows.append(
            Row(
                bases_px=points[order] * scale + (scale - 1) / 2,
                axis=axis,
                tick=tick,
                period_px=step * scale,
                length_px=float(np.quantile(length[index], 0.2)) * scale,
                dark=dark,
                level=level,
            )
        )
    return rows
