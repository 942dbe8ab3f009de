"""Even beats beside straight edges: ticks too soft or too faint to be seen one by one show together.

A ruler is a long straight strip. A band is sampled along each straight line of the picture, cut into narrow lanes, and
each lane into windows. Ticks make the spectra of neighbouring lanes peak sharply at one and the same period, over a
height of a few periods only, window after window. Summed over the ticks' height and over all ticks of a window, they
stand out long before any one of them does.

References: Schuster (1898), "On the investigation of hidden periodicities", for the periodogram; Grompone von Gioi et
al. (2012), "LSD: a line segment detector", doi:10.5201/ipol.2012.gjmr-lsd, for the lines.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.tick import Row

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Powers = NDArray[np.float32]

#: Lines are sought on the first level of at most so many pixels and on the coarser ones: there, blurred stripes no
#: longer cut the edge of what lies on them into pieces.
LINE_PIXELS, LINE_LEVELS = 1.1e6, 3
#: LSD's bound of the error of a grey level, which asks for a gradient of 2.6 times as much (its default; Grompone von
#: Gioi et al. 2012): light paper in a dark room, a yellow ruler on white stripes differ by less than the first; the
#: second is the rounding of a JPEG in the dark, halved by halving the picture.
PLAIN_STEP, FAINT_STEP = 2.0, 0.7
#: Shorter segments, px of their level, are letters and threads.
LEAST_SEGMENT_PX = 24.0
#: Segments are one line where they run alike, deg, and lie beside it by at most so much: px of the finest level looked
#: at, and this share of how far off they are.
ALIKE_DEG, BESIDE_PX, BESIDE_SHARE = 2.5, 1.5, 0.01
#: A line with many others nearly parallel to it, deg, is a print's: it comes after those that are alone, by this share
#: for each.
CROWD_DEG, CROWD = 6.0, 0.3
#: So many are looked at, at most: a ruler's edges are not the last of more.
MOST_LINES = 200
#: Half the height of the band sampled along a line, px of the level: a margin and the ticks beyond it.
HALF_BAND_PX = 48
#: Height of a lane, px of the level: ticks are longer, and lean less than would blur them over it.
LANE_PX = 4
#: Length of a window and the step to the next, px of the level: 14 ticks at least, and perspective has not yet changed
#: their spacing by more than the spectrum resolves.
WINDOW_PX, STEP_PX = 128, 64
#: Periods looked for, px of the level; wider ones are found on the next coarser level.
LEAST_PERIOD_PX, MOST_PERIOD_PX = 2.8, 11.0
#: Lanes are levelled by a running mean of this length, px of the level, so that light and lettering do not matter.
LEVELLING_PX = 25
#: Ticks lean by at most about this (shift along the line over height): perspective, and lines not quite along a ruler.
LEANS = (-0.3, -0.15, 0.0, 0.15, 0.3)
#: So many lanes at once: short ticks, and longer ones whose faintness needs more of their height.
HEIGHTS = (2, 4)
#: Rounding to whole grey levels leaves so much power a lane in a window, however flat the picture.
ROUNDING_POWER = 32.0
#: A beat stands out from the middle power of its spectrum by so many times; in the next window by less is enough.
LEAST_POWER, LEAST_NEXT = 8.0, 6.0
#: Power that counts as nothing: by chance one in fifty exceeds five times the middle one.
NO_POWER = 5.0
#: A beat reaches over the lanes that hold this share of its power ...
REACH_SHARE = 0.5
#: ... ticks not over more than so many periods, nor to the band's end: stripes do.
LONGEST = 12.0
#: Beats worth less than this share of the level's plainest are chance where that is a ruler's.
LEAST_SHARE = 0.25
#: Beats taken from each line and height.
PER_LINE = 6
#: The bands sampled on a level are at most so many pixels: what an answer in time allows.
MOST_SAMPLED_PX = 4.5e6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A straight line in the picture from ``start`` (2,) on along the unit vector ``axis`` for ``length``, in full-size
    pixels; ``edge_px`` of it are seen."""

    start: Floats
    axis: Floats
    length: float
    edge_px: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    """What is sampled along a line: ``lanes`` (B, U) of a level, levelled, and their spectra (B, windows, periods)."""

    line: Line
    lanes: Powers
    spectra: NDArray[np.complex64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Beat:
    """A peak of a band: from which to which lane it reaches, in which window, at which period, how it leans there."""

    worth: float
    band: _Band
    lanes: tuple[int, int]
    window: int
    period: int
    lean: float


def straight_lines(levels: Sequence[NDArray[np.uint8]], *, step: float = PLAIN_STEP) -> list[Line]:
    """Straight lines of a pyramid, those first that a ruler's edge may be: long ones that stand alone.

    ``step`` is how many grey levels are told apart: ``FAINT_STEP`` finds edges that hardly differ from what lies beside
    them, in pieces less than the plainer ones, and more that are none.
    """
    first = next((k for k, level in enumerate(levels) if level.size <= LINE_PIXELS), len(levels) - 1)
    found = []
    for level in range(first, min(first + LINE_LEVELS, len(levels))):
        segments = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD, quant=step).detect(levels[level])[0]
        if segments is not None:
            ends = np.asarray(segments, dtype=np.float64).reshape(-1, 2, 2)
            long = np.hypot(*(ends[:, 1] - ends[:, 0]).T) > LEAST_SEGMENT_PX
            found.append((ends[long] + 0.5) * 2.0**level - 0.5)
    lines = _joined(np.concatenate(found), 2.0**first) if found else []
    if not lines:
        return []
    axis = np.array([line.axis for line in lines])
    crowd = (np.abs(axis @ axis.T) > math.cos(math.radians(CROWD_DEG))).sum(axis=1)
    worth = np.array([line.edge_px for line in lines]) / (1 + CROWD * crowd)
    return [lines[k] for k in np.argsort(-worth, kind="stable")[:MOST_LINES]]


def find_beats(levels: Sequence[NDArray[np.uint8]], level: int, lines: Sequence[Line]) -> Iterator[Row]:
    """Rows of ticks beside lines as one level of the pyramid shows them, the plainest first."""
    if min(levels[level].shape) < WINDOW_PX:
        return
    found = []
    for line in spread(lines, level):
        band = _band(levels[level], level, line)
        for height, (power, lean) in zip(HEIGHTS, _powers(band.spectra), strict=True):
            found += _beats(band, height, power, lean)
    best = max((beat.worth for beat in found), default=0.0)
    for beat in sorted(found, key=lambda beat: -beat.worth):
        if beat.worth > LEAST_SHARE * best:
            yield _row(beat, level)


def _joined(ends: Floats, unit: float) -> list[Line]:
    """Segments (N, 2, 2) with those that continue them, the longest first; each belongs to one line."""
    step = ends[:, 1] - ends[:, 0]
    length = np.hypot(step[:, 0], step[:, 1])
    axis, middle = step / length[:, None], ends.mean(axis=1)
    free = np.ones(len(ends), np.bool_)
    lines = []
    for k in np.argsort(-length, kind="stable"):
        if not free[k]:
            continue
        own, centre = axis[k], middle[k]
        for _ in range(2):
            off = middle - centre
            far, across = np.abs(off @ own), np.abs(off @ np.array([-own[1], own[0]]))
            member = free & (np.abs(axis @ own) > _ALIKE)
            member &= across < BESIDE_PX * unit + BESIDE_SHARE * far
            member[k] = True
            points, weight = ends[member].reshape(-1, 2), np.repeat(length[member], 2)
            centre = weight @ points / weight.sum()
            _, _, turn = np.linalg.svd((points - centre) * np.sqrt(weight)[:, None], full_matrices=False)
            own = turn[0]
        along = (points - centre) @ own
        edge = float(length[member].sum())
        lines.append(Line(start=centre + along.min() * own, axis=own, length=float(np.ptp(along)), edge_px=edge))
        free &= ~member
    return lines


def spread(lines: Sequence[Line], level: int) -> list[Line]:
    """The lines whose bands show something that those of earlier lines do not, as many as there is time for."""
    scale = 2.0**level
    kept: list[Line] = []
    sampled = 0.0
    for line in lines:
        points = line.start + np.arange(0.0, line.length + 1, 8 * scale)[:, None] * line.axis
        covered = np.zeros(len(points), np.bool_)
        for other in kept:
            x, y = other.axis
            if abs(float(x * line.axis[0] + y * line.axis[1])) < _ALIKE:
                continue
            off = points - other.start
            along, across = off @ other.axis, off @ np.array([-y, x])
            spare = WINDOW_PX / 4 * scale
            covered |= (np.abs(across) < 0.4 * HALF_BAND_PX * scale) & (along > -spare) & (along < other.length + spare)
        if covered.mean() < 0.6:
            kept.append(line)
            sampled += 2 * HALF_BAND_PX * (line.length / scale + WINDOW_PX)
        if sampled > MOST_SAMPLED_PX:
            break
    return kept


def _band(picture: NDArray[np.uint8], level: int, line: Line) -> _Band:
    scale = 2.0**level
    count = max(1, math.ceil((line.length / scale - WINDOW_PX / 2) / STEP_PX) + 1)
    x, y = _places(line, scale, (count - 1) * STEP_PX + WINDOW_PX)
    grey = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lanes = np.asarray(grey, dtype=np.float32).reshape(-1, LANE_PX, x.shape[1]).mean(axis=1)
    lanes -= cv2.blur(lanes, (LEVELLING_PX, 1), borderType=cv2.BORDER_REFLECT)
    windows = np.lib.stride_tricks.sliding_window_view(lanes, WINDOW_PX, axis=1)[:, ::STEP_PX]
    spectra = np.fft.rfft(windows * _TAPER, axis=2)[..., _PERIODS]
    return _Band(line=line, lanes=lanes, spectra=np.asarray(spectra, dtype=np.complex64))


def _places(line: Line, scale: float, size: int) -> tuple[Powers, Powers]:
    """Where a band is sampled, in the level's pixels: x and y, (2·HALF_BAND_PX, size) each."""
    middle = (line.start + 0.5 * line.length * line.axis - (scale - 1) / 2) / scale
    along = (np.arange(size) - (size - 1) / 2).astype(np.float32)
    across = (np.arange(-HALF_BAND_PX, HALF_BAND_PX) + 0.5).astype(np.float32)[:, None]
    x, y = line.axis.astype(np.float32)
    return np.float32(middle[0]) + along * x - across * y, np.float32(middle[1]) + along * y + across * x


def _beats(band: _Band, height: int, power: Powers, lean: Ints) -> list[_Beat]:
    """The strongest beats of a band that reach over ``height`` lanes, from ``_powers``."""
    ratio = _standing(power, ROUNDING_POWER * height)
    out = []
    for _ in range(PER_LINE):
        lane, window, k = (int(i) for i in np.unravel_index(int(np.argmax(ratio)), ratio.shape))
        if ratio[lane, window, k] < LEAST_POWER:
            break
        low, high = _reach(power[:, window, k - 1 : k + 2].max(axis=1), lane)
        periods = (high - low + height) * LANE_PX * _FREQUENCY[k]
        if low > 0 and high < len(power) - 1 and periods < LONGEST:
            out.append(
                _Beat(
                    worth=_worth(ratio, lane, window, k),
                    band=band,
                    lanes=(low, high + height),
                    window=window,
                    period=k,
                    lean=LEANS[int(lean[lane, window, k])],
                )
            )
        ratio[max(0, lane - height) : lane + height + 1, :, max(0, k - 3) : k + 4] = 0
    return out


def _powers(spectra: NDArray[np.complex64]) -> list[tuple[Powers, Ints]]:
    """For each of ``HEIGHTS``: the power (B, windows, periods) of so many lanes together, and which of ``LEANS`` makes
    most of it."""
    shapes = [(len(spectra) - height + 1, *spectra.shape[1:]) for height in HEIGHTS]
    out = [(np.full(shape, -1, np.float32), np.zeros(shape, np.int64)) for shape in shapes]
    for number, lean in enumerate(LEANS):
        turn = np.exp(2j * np.pi * _FREQUENCY * lean * LANE_PX).astype(np.complex64)
        total = spectra.copy()
        for j in range(1, max(HEIGHTS)):
            total = total[:-1]
            total += spectra[j:] * turn**j if lean else spectra[j:]
            if j + 1 in HEIGHTS:
                power, best = out[HEIGHTS.index(j + 1)]
                fresh = total.real**2 + total.imag**2
                np.copyto(best, number, where=fresh > power)
                np.maximum(power, fresh, out=power)
    return out


def _standing(power: Powers, least: float) -> Powers:
    """By how many times each peak exceeds the mean of all but its own neighbourhood; 0 where no peak is."""
    before, here, after = power[..., :-2], power[..., 1:-1], power[..., 2:]
    rest = (power.sum(axis=2, keepdims=True) - before - here - after) / (power.shape[2] - 3) + np.float32(least)
    ratio = np.zeros_like(power)
    ratio[..., 1:-1] = np.where((here >= before) & (here > after), here / rest, 0)
    return ratio


def _reach(power: Powers, lane: int) -> tuple[int, int]:
    """The first and last of the lanes around one that hold a fair share of its power."""
    strong = power > REACH_SHARE * power[lane]
    below, above = np.flatnonzero(~strong[:lane]), np.flatnonzero(~strong[lane:])
    return (int(below[-1]) + 1 if below.size else 0), (lane + int(above[0]) - 1 if above.size else len(power) - 1)


def _worth(ratio: Powers, lane: int, window: int, k: int) -> float:
    """How plainly a beat shows in all windows in which it goes on; its period may change a little between them."""
    worth = math.log(ratio[lane, window, k] / NO_POWER)
    for way in (1, -1):
        at, here = k, window + way
        while 0 <= here < ratio.shape[1]:
            first = max(0, at - 2)
            near = ratio[max(0, lane - 1) : lane + 2, here, first : at + 3].max(axis=0)
            if near.max() < LEAST_NEXT:
                break
            at = first + int(np.argmax(near))
            worth += math.log(near.max() / NO_POWER)
            here += way
    return worth


def _row(beat: _Beat, level: int) -> Row:
    """A beat as a row of strokes over one window, in the polarity of the narrower extremes: ticks are narrower than the
    gaps between them."""
    scale = 2.0**level
    band, lanes, window, k = beat.band, beat.lanes, beat.window, beat.period
    axis = band.line.axis
    middle = (lanes[0] + lanes[1]) // 2
    spectrum = np.abs(band.spectra[max(lanes[0], middle - 1) : middle + 1, window]).sum(axis=0)
    before, here, after = np.log(spectrum[k - 1 : k + 2] + 1e-6)
    curve = before + after - 2 * here
    shift = float(np.clip(0.5 * (before - after) / curve, -0.5, 0.5)) if curve < 0 else 0.0
    frequency = float(_FREQUENCY[k]) + shift / WINDOW_PX
    first = window * STEP_PX
    at = np.arange(WINDOW_PX)
    line = band.lanes[max(lanes[0], middle - 1) : middle + 1, first : first + WINDOW_PX].mean(axis=0)
    phase = float(np.angle((line * _TAPER) @ np.exp(-2j * np.pi * frequency * at)))
    dark = bool((line**3).sum() <= 0)
    start = ((math.pi if dark else 0.0) - phase) / (2 * math.pi) % 1.0 / frequency
    along = first + np.arange(start, WINDOW_PX - 1, 1 / frequency) - (band.lanes.shape[1] - 1) / 2
    normal = np.array([-axis[1], axis[0]])
    base = band.line.start + 0.5 * band.line.length * axis + (lanes[0] * LANE_PX - HALF_BAND_PX) * scale * normal
    lean = _lean(beat, frequency)
    tick = normal + lean * axis
    # the beat's places are those of its middle lanes; the bases lie where the lean leads from there
    back = lean * (middle - lanes[0]) * LANE_PX
    return Row(
        bases_px=base + (along - back)[:, None] * scale * axis,
        axis=axis,
        tick=tick / np.hypot(*tick),
        period_px=scale / frequency,
        length_px=(lanes[1] - lanes[0]) * LANE_PX * scale,
        dark=dark,
        level=level,
    )


def _lean(beat: _Beat, frequency: float) -> float:
    """How far a beat's places shift along the line for each px across it: from the turn of phase from lane to lane,
    of the turns that look alike the one nearest to the lean that made most power."""
    lanes = beat.band.spectra[beat.lanes[0] : beat.lanes[1], beat.window, beat.period]
    turn = float(np.angle((lanes[1:] * lanes[:-1].conj()).sum()))
    once = 1 / (frequency * LANE_PX)
    lean = -turn / (2 * math.pi) * once
    return lean + round((beat.lean - lean) / once) * once


_ALIKE = math.cos(math.radians(ALIKE_DEG))
_TAPER = np.hanning(WINDOW_PX + 2)[1:-1].astype(np.float32)
# one more at either end: a peak is higher than both its neighbours
_PERIODS = slice(int(WINDOW_PX / MOST_PERIOD_PX) - 1, int(WINDOW_PX / LEAST_PERIOD_PX) + 2)
_FREQUENCY = np.fft.rfftfreq(WINDOW_PX)[_PERIODS]
