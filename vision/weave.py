"""The weave itself as a reference: the directions of warp and weft from a close-up in which single threads are seen.

Threads that cross over and under repeat both ways, so the spectrum of a close-up has peaks: of plain weave at (a, b)
and (a, -b), where a and b count threads across and along, often with those of the single threads at (2a, 0), (0, 2b).
The sum and the difference of the first two lie along the threads' own axes, whatever their densities.

Reference: Escofet et al. 2001, "Fourier analysis of fabrics and woven structures" (from memory): peaks of plain weave.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import srgb_to_lab
from vision.estimate import Estimate
from vision.square import SquareOn
from vision.swatch import Doubles, Mask, folded_deg

#: Side of the windows whose spectra are taken, px, and how many at most.
WINDOW_PX = 384
MOST_WINDOWS = 9
#: What repeats within fewer px than this may be a false pattern of the sensor's own grid: no answer.
LEAST_THREAD_PX = 2.5
#: Threads of cloth lie so far apart, mm (common practice: 60 to 3 threads a centimetre).
THREAD_MM = (0.15, 3.0)
#: A peak stands so many times above what is usual at its distance from the middle.
PEAK_TIMES = 12.0
#: Peaks kept, the strongest first.
_MOST_PEAKS = 12
#: Share of the windows that must see the same threads.
LEAST_AGREEING = 0.6
#: JPEG codes blocks of 8 px: what repeats exactly so, along the photo's axes, is not the cloth's (frequency, its play).
_BLOCK, _BLOCK_PLAY = 1 / 8, 0.006
#: Warp and weft are square to each other within this, deg, and the print lies along them within this, deg (practice).
SQUARE_PLAY_DEG, ASKEW_DEG = 8.0, 15.0
#: Windows must agree on a direction to this (one standard deviation), deg.
_AGREE_DEG = 0.5
#: No weave is straighter than this, deg at 95 % (practice).
_LEAST_U95_DEG = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Weave:
    """One of the cloth's two thread axes, degrees in (-90, 90], and how far apart the threads that cross it are, mm."""

    direction_deg: Estimate
    thread_mm: float


def read_weave(square: SquareOn, mask: Mask, axis_deg: float) -> Weave | None:
    """The thread axis nearest to ``axis_deg`` (the print's) in a square-on close-up at the photo's own resolution.

    None where no threads are seen apart surely. The u95 is that of the scatter between parts of the picture; it leaves
    out the plane's own error of angles.
    """
    angles, spacings = [], []
    windows = _windows(mask & square.valid)
    for row, column in windows:
        found = _threads(square.rgb[row : row + WINDOW_PX, column : column + WINDOW_PX], square.px_per_mm, axis_deg)
        if found is not None:
            angles.append(found[0])
            spacings.append(found[1])
    if len(angles) < max(3, LEAST_AGREEING * len(windows)):
        return None
    off = (np.asarray(angles) - axis_deg + 45.0) % 90.0 - 45.0
    middle = float(np.median(off))
    scatter = 1.4826 * float(np.median(np.abs(off - middle)))
    alike = np.abs(np.asarray(spacings) / np.median(spacings) - 1) < 0.05
    if scatter > _AGREE_DEG or alike.sum() < LEAST_AGREEING * len(windows):
        return None
    u95 = math.hypot(2 * 1.25 * scatter / math.sqrt(len(angles)), _LEAST_U95_DEG)
    return Weave(direction_deg=Estimate(folded_deg(axis_deg + middle), u95), thread_mm=float(np.median(spacings)))


def _windows(mask: Mask) -> list[tuple[int, int]]:
    """Corners (row, column) of windows that show nothing but cloth, spread over it."""
    height, width = mask.shape
    if height < WINDOW_PX or width < WINDOW_PX:
        return []
    total = np.pad(np.cumsum(np.cumsum(mask.astype(np.int64), axis=0), axis=1), ((1, 0), (1, 0)))
    rows = np.unique(np.linspace(0, height - WINDOW_PX, 5).astype(int))
    columns = np.unique(np.linspace(0, width - WINDOW_PX, 5).astype(int))
    whole = []
    for row, column in itertools.product(rows, columns):
        low, right = row + WINDOW_PX, column + WINDOW_PX
        if total[low, right] - total[row, right] - total[low, column] + total[row, column] == WINDOW_PX**2:
            whole.append((int(row), int(column)))
    step = max(1, math.ceil(len(whole) / MOST_WINDOWS))
    return whole[::step]


def _threads(rgb: np.ndarray, px_per_mm: float, axis_deg: float) -> tuple[float, float] | None:
    """The thread axis nearest to ``axis_deg`` in one window, degrees, and the threads' distance, mm."""
    tone = srgb_to_lab(np.ascontiguousarray(rgb))[..., 0].astype(np.float64)
    for direction in (axis_deg, axis_deg + 90.0):
        tone = _without_stripes(tone, direction)
    peaks = _peaks(tone, px_per_mm)
    best: tuple[float, float, float] | None = None
    for one, other in itertools.combinations(peaks, 2):
        for first, second in ((one[0], other[0]), (one[0] + other[0], one[0] - other[0])):
            sizes = np.hypot(*first), np.hypot(*second)
            if min(sizes) < 1e-6:
                continue
            cosine = abs(float(first @ second)) / float(sizes[0] * sizes[1])
            turns = [math.degrees(math.atan2(-v[1], v[0])) for v in (first, second)]
            off = [(turn - axis_deg + 45.0) % 90.0 - 45.0 for turn in turns]
            quarter = [abs(folded_deg(turn - axis_deg)) > 45.0 for turn in turns]
            if cosine > math.sin(math.radians(SQUARE_PLAY_DEG)) or quarter[0] == quarter[1]:
                continue
            if max(abs(o) for o in off) > ASKEW_DEG:
                continue
            near = quarter.index(False)
            strength = min(one[1], other[1])
            if best is None or strength > best[2]:
                best = (axis_deg + off[near], 1 / float(sizes[near]) / px_per_mm, strength)
    return None if best is None else (best[0], best[1])


def _without_stripes(tone: Doubles, across_deg: float) -> Doubles:
    """The window less its mean along a direction: what the print's stripes do to it, and nothing askew of them."""
    size = tone.shape[0]
    turn = math.radians(across_deg)
    y, x = np.mgrid[0:size, 0:size]
    place = x * math.cos(turn) - y * math.sin(turn)
    place = place - place.min()
    low = np.floor(place).astype(np.int64)
    share = place - low
    count = int(low.max()) + 2
    weight = np.bincount(low.ravel(), (1 - share).ravel(), count) + np.bincount(low.ravel() + 1, share.ravel(), count)
    total = np.bincount(low.ravel(), (tone * (1 - share)).ravel(), count)
    total = total + np.bincount(low.ravel() + 1, (tone * share).ravel(), count)
    mean = total / np.maximum(weight, 1e-9)
    return np.asarray(tone - (mean[low] * (1 - share) + mean[low + 1] * share), dtype=np.float64)


def _peaks(tone: Doubles, px_per_mm: float) -> list[tuple[Doubles, float]]:
    """The strongest frequencies (x, y down, cycles a px) that threads may have, each with how far it stands out."""
    size = tone.shape[0]
    bell = np.hanning(size)
    power = np.abs(np.fft.rfft2((tone - tone.mean()) * bell[:, None] * bell[None, :])) ** 2
    fy, fx = np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)[None, :]
    radius = np.hypot(fx, fy)
    ring = (radius * size / 4).astype(int)
    usual = np.array([np.median(power[ring == k]) for k in range(ring.max() + 1)])
    out = power / np.maximum(usual[ring], 1e-9)
    low, high = 1 / (THREAD_MM[1] * px_per_mm) / 2, 1 / LEAST_THREAD_PX
    usable = (radius > max(low, 0.02)) & (radius < high * math.sqrt(2)) & (np.maximum(np.abs(fx), np.abs(fy)) < high)
    usable &= ~(_on_blocks(fx) & _on_blocks(fy))
    found: list[tuple[Doubles, float]] = []
    taken = np.zeros_like(usable)
    for flat in np.argsort(np.where(usable, -out, 0.0), axis=None)[: 40 * _MOST_PEAKS]:
        i, j = divmod(int(flat), power.shape[1])
        if taken[i, j] or out[i, j] < PEAK_TIMES or len(found) >= _MOST_PEAKS:
            continue
        for di, dj in itertools.product(range(-3, 4), repeat=2):
            taken[(i + di) % size, min(max(j + dj, 0), power.shape[1] - 1)] = True
        if 0 < j < power.shape[1] - 1:
            found.append((_refined(power, i, j) / size, float(out[i, j])))
    return found


def _on_blocks(frequency: NDArray[np.floating]) -> Mask:
    return np.asarray(np.abs(frequency / _BLOCK - np.rint(frequency / _BLOCK)) < _BLOCK_PLAY / _BLOCK)


def _refined(power: Doubles, i: int, j: int) -> Doubles:
    """A peak's place in bins, x and y, by parabolas through the logarithm (a bell's is one)."""
    size = power.shape[0]

    def shift(left: float, middle: float, right: float) -> float:
        a, b, c = (math.log(max(v, 1e-30)) for v in (left, middle, right))
        bend = a - 2 * b + c
        return 0.0 if bend >= 0 else min(0.5, max(-0.5, 0.5 * (a - c) / bend))

    dy = shift(float(power[(i - 1) % size, j]), float(power[i, j]), float(power[(i + 1) % size, j]))
    dx = shift(float(power[i, j - 1]), float(power[i, j]), float(power[i, j + 1]))
    row = i if i < size / 2 else i - size
    return np.array([j + dx, row + dy])
