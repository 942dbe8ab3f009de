"""What comes round beside straight edges, whole after whole, where the ticks drown in noise or blur one by one.

A scale says the same again and again: the same ticks, and a number. Numbers are large and stay visible long after the
ticks have drowned; with them a strip of the picture beside a ruler's edge comes round at a period that its spectrum
shows. How the period changes along the strip, by perspective and by the lens, is told by how well all wholes laid on
one another agree. On their mean what stands on each of them stays; noise, glare and stains average out (epoch folding:
Leahy et al. 1983, ApJ 266, 160).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.beat import Line

Floats = NDArray[np.float64]
Grey = NDArray[np.float32]
Waves = NDArray[np.complex128]
Levels = Sequence[NDArray[np.uint8]]

#: The strip beside a line in which something may come round, px of the level, in rows of so many px.
BAND_PX, ROW_PX = 120, 3
#: Wholes looked for, px of the level: their numbers are a few px wide at least, longer ones show on the next level.
LEAST_WHOLE_PX, MOST_WHOLE_PX = 34.0, 112.0
#: ... on so many levels, the first of at most so many pixels, in at least so many wholes.
LEVELS, LEVEL_PIXELS, LEAST_WHOLES = 3, 4.5e6, 4
#: The period grows along the strip by at most this share of itself from its middle to an end (a tilt of 20 deg at arm's
#: length), tried once for each so many samples of the strip: longer ones show it more sharply.
MOST_GROWTH, GROWTH_SAMPLES = 0.44, 80
#: Harmonics of a period that speak for it: numbers are a third of a whole wide or less.
HARMONICS = 8
#: The spectrum is that of a strip so many times as long, bare beyond its end; periods are tried in steps, as a
#: logarithm, of so many samples over the strip's for each harmonic.
PADDED, STEP = 1.5, 18.0
#: One row counts up to so many times the usual power.
MOST_POWER = 30.0
#: A strip comes round where the roots of its harmonics' standard deviations add up to so much (of noise: to ten at
#: most); or these themselves, each counted to so many at most, so that stripes beside the ruler do not drown it, to so
#: many times as much.
LEAST_WORTH, MOST_SIGMAS, MILD = 12.0, 6.0, 2.0
#: Values farther from a row's usual one than so many of its deviations count as that: glare, edges.
MOST_OFF, GLARING = 3.0, 6.0
#: Where nothing is seen a row differs by this all the same, grey levels: the rounding of a picture.
ROUNDING = 0.3
#: Periods are one where they differ by less than this share.
ALIKE = 0.03
#: Of what comes round the first so many are folded, those of which the wholes agree by so many times as much as chance
#: has them do even before the period is known sharply.
MOST_ROUNDS, LEAST_AGREEMENT = 30, 1.5
#: Every so many frequencies the usual power is taken.
EVERY = 4
#: Wholes are laid on one another first blurred by these shares of one, then less and less ...
BLURS = (0.08, 0.03, 0.0)
#: ... by the logarithm of the period, of wholes a strip, and by both parts of the bend, first in steps of these, then
#: in finer ones, so many times each.
STEPS, TRIES, FINER = (0.3, 0.01, 0.004), 60, 4.0
#: By so much at most, as a logarithm, the period is another than the spectrum shows.
MOST_CHANGE = 0.1
#: The strip of which the wholes are folded is so many wholes high, px at most: numbers end there.
HIGH_SHARE, MOST_HIGH_PX = 2.2, 320


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """Something comes round on one side of a line (1: the way of its normal, -1: the other), every ``whole_px`` in its
    middle, full-size px. ``bend`` says how that grows: a place at t (-1 to 1 from end to end of the line, in equal
    wholes) lies at t + bend[0]·(t² - 1) + bend[1]·(t³ - t)."""

    line: Line
    side: int
    whole_px: float
    bend: tuple[float, float]

    @property
    def normal(self) -> Floats:
        """The unit vector (2,) from the line to the side."""
        return self.side * np.array([-self.line.axis[1], self.line.axis[0]])

    def along_px(self, wholes: Floats) -> Floats:
        """How far along the line, px, places (...) lie that are counted in wholes from the fold's first."""
        return np.asarray((_bent(_even(self, wholes), self.bend) + 1) * 0.5 * self._last, dtype=np.float64)

    @property
    def count(self) -> int:
        """How many wholes the line holds."""
        return int(self._last / self.whole_px)

    @property
    def _last(self) -> int:
        return int(self.line.length) - 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fold:
    """The wholes of a strip as waves: ``waves`` (rows, wholes, harmonics), grey levels times ``samples``, of rows a px
    apart from half a px beside the line outwards."""

    seen: Round
    waves: Waves
    samples: int

    @property
    def mean(self) -> Waves:
        """The waves (rows, harmonics) that all wholes share."""
        return np.asarray(self.waves.mean(axis=1), dtype=np.complex128)

    @property
    def noise(self) -> Floats:
        """The standard deviation (rows, harmonics) of one whole from the mean."""
        spread = np.abs(self.waves - self.mean[:, None]) ** 2
        return np.asarray(np.sqrt(spread.sum(axis=1) / max(self.waves.shape[1] - 1, 1)) + 1e-6, dtype=np.float64)


def rounds(levels: Levels, lines: Sequence[Line]) -> Iterator[Round]:
    """What comes round beside each line, its period and bend those at which all wholes agree best."""
    first = next((k for k, level in enumerate(levels) if level.size <= LEVEL_PIXELS), len(levels) - 1)
    count = 0
    for line in lines:
        tried: list[Round] = []
        for level in range(first, min(first + LEVELS, len(levels))):
            if line.length < LEAST_WHOLES * LEAST_WHOLE_PX * 2**level:
                break
            for seen in _beside(levels[level], line, 2.0**level):
                if any(_alike(seen, other) for other in tried):
                    continue
                tried.append(seen)
                rows = _levelled(_strip(levels[0], line, seen.side, 1.0, round(seen.whole_px)), seen.whole_px)
                if _agreement(rows, seen) < LEAST_AGREEMENT * float((rows**2).sum()) / rows.shape[1]:
                    continue
                sharp = _sharpened(rows, seen)
                if sharp.count >= LEAST_WHOLES:
                    yield sharp
                count += 1
                if count == MOST_ROUNDS:
                    return


def _beside(level: NDArray[np.uint8], line: Line, scale: float) -> Iterator[Round]:
    """What comes round on either side of a line as one level of the pyramid shows it."""
    for side in (-1, 1):
        rows = _levelled(_strip(level, line, side, scale, BAND_PX), MOST_WHOLE_PX)
        for whole, growth in _come_round(rows):
            yield Round(line=line, side=side, whole_px=whole * scale, bend=(growth, 0.0))


def _alike(one: Round, other: Round) -> bool:
    return one.side == other.side and abs(math.log(one.whole_px / other.whole_px)) < ALIKE


def _sharpened(rows: Grey, seen: Round) -> Round:
    """The same with the period and the bend at which all wholes of rows agree best."""
    from scipy.optimize import minimize

    best = np.array([0.0, *seen.bend])
    steps = np.array(STEPS) * [2 * seen.whole_px / rows.shape[1], 1.0, 1.0]
    for blur in BLURS:
        soft = cv2.GaussianBlur(rows, (0, 0), max(blur * seen.whole_px, 0.3), sigmaY=0.1)

        def apart(values: Floats, soft: NDArray[Any] = soft) -> float:
            return -_agreement(soft, _changed(seen, values))

        simplex = np.vstack([best, best + np.diag(steps)])
        best = minimize(apart, best, method="Nelder-Mead", options={"initial_simplex": simplex, "maxfev": TRIES}).x
        steps = steps / FINER
    return _changed(seen, best)


def _changed(seen: Round, values: Floats) -> Round:
    """The same with its period changed by so much (as a logarithm), and of such a bend."""
    by = float(np.clip(values[0], -MOST_CHANGE, MOST_CHANGE))
    return replace(seen, whole_px=seen.whole_px * math.exp(by), bend=(float(values[1]), float(values[2])))


def folded(picture: NDArray[np.uint8], seen: Round) -> Fold:
    """The wholes beside a line laid on one another."""
    high = min(round(HIGH_SHARE * seen.whole_px), MOST_HIGH_PX)
    laid, samples = _unrolled(_strip(picture, seen.line, seen.side, 1.0, high), seen)
    laid = laid - cv2.blur(laid, (samples | 1, 1), borderType=cv2.BORDER_REFLECT)
    usual = 1.4826 * np.median(np.abs(laid), axis=1, keepdims=True) + ROUNDING
    laid = np.clip(laid, -GLARING * usual, GLARING * usual)
    waves = np.fft.rfft(laid.reshape(len(laid), -1, samples).astype(np.float64), axis=2)
    return Fold(seen=seen, waves=waves, samples=samples)


def _strip(picture: NDArray[np.uint8], line: Line, side: int, scale: float, high: int) -> Grey:
    """Grey values (high, U) of a level beside a line, from the line outwards, a px of the level apart."""
    along = np.arange(int(line.length / scale), dtype=np.float32)
    out = side * (np.arange(high, dtype=np.float32) + 0.5)[:, None]
    start, (x, y) = (line.start - (scale - 1) / 2) / scale, line.axis
    at_x = np.float32(start[0]) + along * np.float32(x) - out * np.float32(y)
    at_y = np.float32(start[1]) + along * np.float32(y) + out * np.float32(x)
    return np.asarray(cv2.remap(picture, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _levelled(strip: Grey, whole_px: float) -> Grey:
    """Rows of a strip, several px each, against their running mean, in their usual deviations."""
    rows = strip[: len(strip) // ROW_PX * ROW_PX].reshape(-1, ROW_PX, strip.shape[1]).mean(axis=1)
    off = rows - cv2.blur(rows, (int(whole_px) | 1, 1), borderType=cv2.BORDER_REFLECT)
    usual = 1.4826 * np.median(np.abs(off), axis=1, keepdims=True) + ROUNDING
    return np.asarray(np.clip(off / usual, -MOST_OFF, MOST_OFF), dtype=np.float32)


def _come_round(rows: Grey) -> list[tuple[float, float]]:
    """At which periods, samples, the nearer half of rows (R, U) and all of them come round most plainly, by either
    measure, and by how much each grows; none where they do not."""
    from scipy.fft import next_fast_len, rfft

    size = rows.shape[1]
    count = next_fast_len(int(PADDED * size), real=True)
    step = STEP / HARMONICS / size
    whole = np.exp(np.arange(math.log(LEAST_WHOLE_PX), math.log(min(MOST_WHOLE_PX, size / LEAST_WHOLES)), step))
    if whole.size < 2:
        return []
    at = np.arange(1, HARMONICS + 1)[:, None] * count / whole
    first = at.astype(np.int64)
    part = at - first
    taper = np.hanning(size).astype(np.float32)
    usual: Grey | None = None
    best: dict[tuple[int, int], tuple[float, float, float]] = {}
    growths = np.linspace(-0.5 * MOST_GROWTH, 0.5 * MOST_GROWTH, 2 * (size // GROWTH_SAMPLES // 2) + 3)
    for growth in sorted(growths, key=abs):
        laid = _laid(rows, _bent(np.linspace(-1, 1, size), (float(growth), 0.0)))
        power = np.abs(rfft(laid * taper, count, axis=1)[:, : int(at.max()) + 2]) ** 2
        if usual is None:
            usual = _usual(power, count)
        above = np.cumsum(np.minimum(power / usual, MOST_POWER) - 1, axis=0)
        for high in (len(rows) // 2, len(rows)):
            row = above[high - 1] / math.sqrt(high)
            told = row[first] * (1 - part) + row[first + 1] * part
            for measure, worth in enumerate((np.sqrt(np.maximum(told, 0)), np.clip(told, -1, MOST_SIGMAS) / MILD)):
                k = int(np.argmax(worth.sum(axis=0)))
                here = float(worth[:, k].sum()), float(whole[k]), float(growth)
                best[high, measure] = max(best.get((high, measure), (LEAST_WORTH, 0.0, 0.0)), here)
    return [(at, growth) for worth, at, growth in best.values() if worth > LEAST_WORTH]


def _usual(power: Grey, count: int) -> Grey:
    """The mean power (R, F) of noise round about each frequency, by the middle of a stretch longer than the longest
    whole's harmonics are apart."""
    from scipy.ndimage import median_filter

    coarse = median_filter(power[:, ::EVERY], size=(1, max(3, int(2 * count / MOST_WHOLE_PX) // EVERY)))
    return np.asarray(np.repeat(coarse, EVERY, axis=1)[:, : power.shape[1]] / math.log(2) + 1e-9, dtype=np.float32)


def _bent(t: Floats, bend: tuple[float, float]) -> Floats:
    """Where places ``t`` in equal wholes lie on the line, both from -1 to 1."""
    return np.asarray(t + bend[0] * (t * t - 1) + bend[1] * (t**3 - t), dtype=np.float64)


def _even(seen: Round, wholes: Floats) -> Floats:
    """Places counted in wholes from the fold's first, from -1 to 1."""
    return np.asarray((wholes - 0.5 * seen.count) * 2 * seen.whole_px / seen._last, dtype=np.float64)


def _laid(rows: Grey, t: Floats) -> Grey:
    """Rows (R, U) sampled at places ``t`` (N,) from -1 to 1."""
    at = np.clip((t + 1) / 2 * (rows.shape[1] - 1), 0, rows.shape[1] - 1.001)
    first = at.astype(np.int64)
    part = (at - first).astype(np.float32)
    return np.asarray(rows[:, first] * (1 - part) + rows[:, first + 1] * part, dtype=np.float32)


def _unrolled(rows: Grey, seen: Round) -> tuple[Grey, int]:
    """Rows (R, wholes·Q) in equal wholes of Q samples, and Q."""
    samples = math.ceil(2 * seen.whole_px)
    wholes = np.arange(seen.count * samples) / samples
    return _laid(rows, _bent(_even(seen, wholes), seen.bend)), samples


def _agreement(rows: Grey, seen: Round) -> float:
    """How much of what rows show, all wholes show."""
    laid, samples = _unrolled(rows, seen)
    wholes = laid.reshape(len(rows), -1, samples)
    return float((wholes.mean(axis=1) ** 2).sum() / samples * wholes.shape[1])
