"""Millimetre paper: lines in two directions, a millimetre apart, each fifth and each tenth of them stronger.

Where fine lines cross, the spectrum of a small tile has two peaks square to each other and of one frequency. From there
the grid is followed. It counts as paper only where the strengths of its lines show the fives and the tens: cloth is
checked after other numbers, and a weave has no strong threads.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.body import outline_of_sheet
from vision.reference.foot import colours
from vision.reference.grid import PATCH, STRIDE, Grid, grow, lines_of, scatter_px
from vision.reference.reading import Reading
from vision.reference.unit import LEAST_EVIDENCE, LEAST_MARGIN, TICK_MM, Verdict, hear

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Paper's own error at 95 %: it swells and shrinks by some tenths of a per cent with the air (estimate of practice).
PAPER_RELATIVE_U95 = 0.003
#: Side of a tile, and the step from one to the next, px of the level.
TILE_PX, STEP_PX = 64, 32
#: Lines are sought that stand so far apart, px of the level.
CLOSEST_PX, WIDEST_PX = 3.6, 13.0
#: Both peaks of a tile stand out from the middle of its spectrum by so much (power); the best so many of each level are
#: followed, none within a tile's side of another.
LEAST_POWER, FOLLOWED = 20.0, 3
#: The two directions are square to this, deg, and of one spacing to this ratio: what a tilt of 25 deg leaves.
SQUARE_DEG, SPACING_RATIO = 22.0, 1.3
#: So many patches show whether it is paper; so many are followed at most; so many marks say where it lies.
ENOUGH, MOST, MARKS = 300, 4000, 300
#: The faintest ink that is told from none, as a share of what a faint line has, and by how much plain lines differ at
#: least (a logarithm, one standard deviation).
FAINTEST, LEAST_SPREAD = 0.4, 0.05
#: Its lines stand a millimetre apart, each fifth and tenth of them stronger (common practice): the fifths by so many
#: standard errors. Paper ruled in tenths of an inch has strong lines at the inch only.
LINE_MM, FIVES, TENS, SURELY = 1.0, 5, 10, 4.0
#: Two rows of crossings stand evenly whatever they are; a row has so many crossings at least, and this share of those
#: of the fullest: lines go all through paper, the grain of wood comes and goes.
FEWEST_ROWS, LEAST_ROW, FULL_ROW = 3, 2, 0.5
#: The sheet goes on beyond the lines followed where over so many mm more its lines come as well, at least this share of
#: theirs as plain; looked at over so much of a side, mm, at so many places a mm; to so far, mm (A3: 420 mm).
ONWARDS_MM, AS_PLAIN, ALONG_MM, FINE, FARTHEST_MM = 5, 0.4, 20.0, 8, 400
#: A place of a crossing is not known better than this, px.
LEAST_SIGMA_PX = 0.05


def read_paper(
    rgb: NDArray[np.uint8], levels: Sequence[NDArray[np.uint8]], near_px: Floats | None = None
) -> Reading | None:
    """Millimetre paper in an upright photo (H, W, 3) with its pyramid of grey pictures; None where none is sure.

    ``near_px`` (N, 2) are the places at which alone it is sought.
    """
    for level in range(len(levels) - 1, -1, -1):
        for place, basis in _crossings(levels[level], level, near_px):
            grid = grow(levels, place, basis, most=ENOUGH)
            if grid is None or _zero(grid) is None:
                continue
            whole = grow(levels, place, basis, most=MOST)
            zero = None if whole is None else _zero(whole)
            if whole is not None and zero is not None:
                return _reading(rgb, whole, zero)
    return None


def is_narrow(paper: Reading, tick_mm: float) -> bool:
    """Whether a reading of paper has fewer rows of crossings, one way or the other, than prove an even spacing; or none
    beyond the length of a scale's ticks."""
    for axis in (0, 1):
        places, marks = np.unique(paper.marks_mm[:, axis], return_counts=True)
        rows = places[marks >= max(LEAST_ROW, FULL_ROW * marks.max())]
        if rows.size < FEWEST_ROWS or np.ptp(rows) <= tick_mm:
            return True
    return False


def _crossings(gray: NDArray[np.uint8], level: int, near_px: Floats | None) -> Iterator[tuple[Floats, Floats]]:
    """Places (2,) where fine lines seem to cross, the plainest first, each with the steps (2, 2) from line to line; in
    full-size px."""
    if min(gray.shape) < TILE_PX:
        return
    scale, half = 2.0**level, (TILE_PX - 1) / 2
    tiles = np.lib.stride_tricks.sliding_window_view(gray, (TILE_PX, TILE_PX))
    if near_px is None:
        x, y = np.meshgrid(np.arange(0, tiles.shape[1], STEP_PX), np.arange(0, tiles.shape[0], STEP_PX))
    else:
        # of a place near the picture's edge, the nearest tile that is whole
        most = np.array([tiles.shape[1], tiles.shape[0]]) - 1
        x, y = np.rint((near_px - (scale - 1) / 2) / scale - half).clip(0, most).astype(np.int64).T[:, None]
    found: list[tuple[float, Floats, Floats]] = []
    for columns, rows in zip(x, y, strict=True):
        worth, waves = _peaks(tiles[rows, columns])
        for k in np.flatnonzero(worth > LEAST_POWER).tolist():
            found.append((float(worth[k]), np.array([columns[k], rows[k]]) + half, waves[k]))
    found.sort(key=lambda one: -one[0])
    taken: list[Floats] = []
    for _, middle, wave in found:
        if any(np.abs(middle - other).max() < TILE_PX for other in taken):
            continue
        taken.append(middle)
        yield middle * scale + (scale - 1) / 2, _righthanded(np.asarray(np.linalg.inv(wave))) * scale
        if len(taken) == FOLLOWED:
            return


def _righthanded(basis: Floats) -> Floats:
    return basis if np.linalg.det(basis) > 0 else basis[:, ::-1]


_ROWS = np.fft.fftfreq(TILE_PX)[:, None]
_COLUMNS = np.fft.rfftfreq(TILE_PX)[None, :]
_RADIUS = np.hypot(_ROWS, _COLUMNS)
_BAND = np.argwhere((_RADIUS > 1 / WIDEST_PX) & (_RADIUS < 1 / CLOSEST_PX) & (_COLUMNS < 0.5))
_HANN = np.hanning(TILE_PX + 2)[1:-1].astype(np.float32)


def _partners() -> NDArray[np.bool_]:
    """Which waves of the band are the other family of lines to which (B, B)."""
    radius = _RADIUS[tuple(_BAND.T)]
    angle = np.degrees(np.arctan2(_ROWS[_BAND[:, 0], 0], _COLUMNS[0, _BAND[:, 1]]))
    turn = np.abs((angle[:, None] - angle[None, :] + 90) % 180 - 90)
    return np.asarray(
        (turn > 90 - SQUARE_DEG) & (np.abs(np.log(radius[:, None] / radius[None, :])) < math.log(SPACING_RATIO))
    )


_PARTNERS = _partners()


def _peaks(tiles: NDArray[np.uint8]) -> tuple[Floats, Floats]:
    """How far the lesser of two peaks stands out (N,), and both waves (N, 2, 2): cycles a px, (x, y) in each row."""
    grey = tiles.astype(np.float32)
    grey = (grey - grey.mean(axis=(1, 2), keepdims=True)) * (_HANN[:, None] * _HANN[None, :])
    power = np.abs(np.fft.rfft2(grey)) ** 2
    # weighed by the frequency: the few strong lines spread over all low ones
    band = power[:, _BAND[:, 0], _BAND[:, 1]] * _RADIUS[tuple(_BAND.T)] ** 2
    each = np.arange(len(tiles))
    first = band.argmax(axis=1)
    others = np.where(_PARTNERS[first], band, 0.0)
    second = others.argmax(axis=1)
    worth = np.minimum(band[each, first], others[each, second]) / np.maximum(np.median(band, axis=1), 1e-9)
    waves = np.stack([_refined(power, _BAND[first]), _refined(power, _BAND[second])], axis=1)
    return np.asarray(worth, dtype=np.float64), waves


def _refined(power: Floats, peak: Ints) -> Floats:
    """Peaks (N, 2) of spectra (N, H, W), by (row, column), as waves (x, y) to a fraction of a step."""
    each, logs = np.arange(len(peak)), np.log(power + 1e-9)
    row, column = peak[:, 0], peak[:, 1]
    here = logs[each, row, column]
    parts = []
    for axis, size in ((1, TILE_PX // 2 + 1), (0, TILE_PX)):
        ahead = [(peak[:, axis] + way) % size for way in (-1, 1)]
        before, after = (logs[each, row, one] if axis else logs[each, one, column] for one in ahead)
        curve = np.minimum(before + after - 2 * here, -1e-6)
        parts.append(np.clip(0.5 * (before - after) / curve, -0.5, 0.5) / TILE_PX)
    return np.stack([_COLUMNS[0, column] + parts[0], _ROWS[row, 0] + parts[1]], axis=1)


def _zero(grid: Grid) -> Floats | None:
    """The place (2,), in lines, of a crossing of tens, where the strengths of the lines prove that it is millimetre
    paper; of a family too short to tell, that of any line.

    Both families are heard together: they have one spacing.
    """
    lines = [lines_of(grid, family) for family in (0, 1)]
    heard = [hear(number, TICK_MM * (1 + _strength(ink)), worn=False) for number, ink in lines]
    costs = [{verdict.division.base_mm: verdict.cost for verdict in one.verdicts} for one in heard]
    total = sorted(
        (sum(cost.get(base, one.alike) for cost, one in zip(costs, heard, strict=True)), base)
        for base in {*costs[0], *costs[1]}
    )
    if not total or total[0][1] != LINE_MM:
        return None
    margin = total[1][0] - total[0][0] if len(total) > 1 else math.inf
    evidence = sum(one.alike for one in heard) - total[0][0]
    best = [next((verdict for verdict in one.verdicts if verdict.division.base_mm == LINE_MM), None) for one in heard]
    fives = [
        _fives(*line, one) for line, one in zip(lines, best, strict=True) if one is not None and one.division.top == 10
    ]
    if max(fives, default=0.0) < SURELY or margin < LEAST_MARGIN or evidence < LEAST_EVIDENCE:
        return None
    return np.array([verdict.phase if verdict is not None else 0 for verdict in best], dtype=np.float64)


def _strength(ink: Floats) -> Floats:
    """How strong lines (N,) are: the logarithm of their ink over that of the faint ones. It is heard as lengths are."""
    faint = max(float(np.quantile(ink, 0.2)), 1e-9)
    return np.asarray(np.log(np.maximum(ink / faint, FAINTEST)), dtype=np.float64)


def _fives(number: Ints, ink: Floats, verdict: Verdict) -> float:
    """By how many standard errors the fifth lines are stronger than plain ones; 0 where the tens are not told."""
    if verdict.division.top != TENS:
        return 0.0
    place, strength = (number - verdict.phase) % TENS, _strength(ink)
    plain, fives = strength[place % FIVES != 0], strength[place == FIVES]
    if min(plain.size, fives.size) < 2:
        return 0.0
    spread = max(1.4826 * float(np.median(np.abs(plain - np.median(plain)))), LEAST_SPREAD)
    return float(fives.mean() - plain.mean()) / (spread * math.sqrt(1 / fives.size + 1 / plain.size))


def _reading(rgb: NDArray[np.uint8], grid: Grid, zero: Floats) -> Reading:
    lines = grid.node - zero
    every = math.ceil(math.sqrt(len(lines) / MARKS))
    kept = (grid.node // STRIDE % every == 0).all(axis=1)
    sigma = max(LEAST_SIGMA_PX, scatter_px(grid))
    px_from_mm = np.asarray(cv2.findHomography(lines, grid.place_px)[0], dtype=np.float64)
    box = (lines.min(axis=0) - PATCH / 2, lines.max(axis=0) + PATCH / 2)
    return Reading(
        source="ruler",
        unit="mm",
        marks_px=grid.place_px[kept],
        marks_mm=lines[kept],
        marks_sigma_px=np.full(np.count_nonzero(kept), sigma),
        ticks_px=np.zeros((0, 2, 2)),
        ticks_sigma_px=np.zeros(0),
        tolerance_relative_u95=PAPER_RELATIVE_U95,
        names=("",) * np.count_nonzero(kept),
        outline_px=outline_of_sheet(rgb, px_from_mm, _whole_box(rgb, px_from_mm, box)),
    )


def _whole_box(rgb: NDArray[np.uint8], px_from_mm: Floats, box_mm: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """The box (its least and greatest corner, mm), as far as lines a millimetre apart go on beyond those followed; on a
    side that the picture cuts off, no further than they were."""
    low, high = np.floor(box_mm[0]), np.ceil(box_mm[1])
    middle = (low + high) / 2
    for axis in (0, 1):
        for way, corner in ((-1.0, low), (1.0, high)):
            plain = AS_PLAIN * _plainness(rgb, px_from_mm, axis, corner[axis], -way, middle[1 - axis])
            far = corner[axis] + way * FARTHEST_MM
            while corner[axis] != far and 0 < plain <= _plainness(
                rgb, px_from_mm, axis, corner[axis], way, middle[1 - axis]
            ):
                corner[axis] += way * ONWARDS_MM
    return low, high


def _plainness(
    rgb: NDArray[np.uint8], px_from_mm: Floats, axis: int, start_mm: float, way: float, middle_mm: float
) -> float:
    """How plain (grey levels) lines a millimetre apart are from a start on, one way along an axis, about a middle of
    the other: the size of their wave; 0 outside the picture."""
    out = start_mm + way * (np.arange(ONWARDS_MM * FINE) + 0.5) / FINE
    along = middle_mm + np.linspace(-0.5, 0.5, round(ALONG_MM * FINE / 2)) * ALONG_MM
    points = np.empty((out.size, along.size, 2))
    points[..., axis], points[..., 1 - axis] = out[:, None], along
    seen, inside = colours(rgb, np.asarray(cv2.perspectiveTransform(points, px_from_mm), dtype=np.float64))
    profile = seen.mean(axis=(1, 2)).astype(np.float64)
    return float(np.abs(np.exp(-2j * np.pi * out / LINE_MM) @ profile)) / out.size if inside.all() else 0.0
