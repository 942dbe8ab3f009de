"""The marks of a reference: where a ruler that bends has them, and how far off they are seen."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import inverse, mapped
from vision.reference.body import holds
from vision.reference.reading import Reading

Floats = NDArray[np.float64]

#: Marks that are left of a reading from which a fit only starts.
FEW_MARKS = 32
#: A tape that bends has its middle at least so far off the line through its ends, mm: by less lie the worn ticks of
#: straight rules of a few centimetres (0.08 mm on a real one), and no ticks on its edge are said to be straighter.
LEAST_SAGITTA_MM = 0.15


def mean_px_per_mm(reading: Reading) -> float:
    """Mean pixels per mm along a reading between its outermost marks."""
    order = np.argsort(reading.marks_mm[:, 0] + 1e-3 * reading.marks_mm[:, 1])
    first, last = order[0], order[-1]
    px = float(np.hypot(*(reading.marks_px[last] - reading.marks_px[first])))
    return px / float(np.hypot(*(reading.marks_mm[last] - reading.marks_mm[first])))


def to_the_middle_mm(reading: Reading) -> float:
    """How far from its marks the middle line of a ruler lies, counted the way that y counts on it."""
    if reading.source != "ruler" or len(reading.outline_px) < 3:
        return 0.0
    axis = reading.marks_px[-1] - reading.marks_px[0]
    axis = axis / np.hypot(*axis) * np.sign(reading.marks_mm[-1, 0] - reading.marks_mm[0, 0])
    away = reading.outline_px - reading.marks_px.mean(axis=0)
    across = away[:, 1] * axis[0] - away[:, 0] * axis[1]
    if len(away) > 4:  # the outline bends as its marks do
        marks = reading.marks_px - reading.marks_px.mean(axis=0)
        course = np.polyfit(marks @ axis, marks[:, 1] * axis[0] - marks[:, 0] * axis[1], 2)
        across = across - np.polyval(course, away @ axis)
    return float(across.min() + across.max()) / 2 / mean_px_per_mm(reading)


def bowed(reading: Reading, bow: float, middle_mm: float) -> Floats:
    """Where marks (N, 2) of a ruler lie that runs along a circle with this curvature (1/mm), level in its middle.

    A tape bent in its plane keeps the length of its middle line, ``middle_mm`` from the marks; its outer edge is
    stretched and its inner one pressed together (as any bent beam: Euler and Bernoulli).
    """
    if reading.source != "ruler":
        return reading.marks_mm
    middle = float(reading.marks_mm[:, 0].mean())
    s = (reading.marks_mm[:, 0] - middle) * (1 + bow * middle_mm)
    turn = bow * s
    along = s * (1 - turn**2 / 6)
    across = s * turn / 2 * (1 - turn**2 / 12)
    return np.stack([middle + along, reading.marks_mm[:, 1] + across], axis=1)


def bent(reading: Reading, bow: float, least_per_mm: float) -> bool:
    """Whether a bow (1/mm) is more than ``least_per_mm`` and more than its marks' own faults (LEAST_SAGITTA_MM)."""
    sagitta_mm = abs(bow) * float(np.ptp(reading.marks_mm[:, 0])) ** 2 / 8
    return abs(bow) > least_per_mm and sagitta_mm > LEAST_SAGITTA_MM


def mark_residual(off_px: Floats, seen_px: Floats, reading: Reading) -> Floats:
    """How far marks (N, 2) lie off, in standard deviations: in x and y, or along and across a ruler that knows both."""
    if reading.across_sigma_px is None:
        return np.asarray((off_px / reading.marks_sigma_px[:, None]).ravel(), dtype=np.float64)
    axis = np.gradient(seen_px, axis=0)
    axis /= np.hypot(axis[:, 0], axis[:, 1])[:, None]
    along = (off_px * axis).sum(axis=1) / reading.marks_sigma_px
    across = (off_px[:, 1] * axis[:, 0] - off_px[:, 0] * axis[:, 1]) / reading.across_sigma_px
    return np.stack([along, across], axis=1).ravel()


def tick_residual(whole: Floats, ticks_px: Floats, reading: Reading, bow: float) -> Floats:
    """How far a tick's two ends lie off a line square to the ruler, against each other, in standard deviations."""
    sigma_px = reading.ticks_sigma_px
    inner, outer = ticks_px[:, 0], ticks_px[:, 1]
    back = inverse(whole)
    middle_mm = mapped(back, (inner + outer) / 2)
    turn = bow * (middle_mm[:, 0] - float(reading.marks_mm[:, 0].mean()))
    square = np.stack([-np.sin(turn), np.cos(turn)], axis=1)
    ahead = mapped(whole, middle_mm + square) - mapped(whole, middle_mm - square)
    ahead /= np.hypot(ahead[:, 0], ahead[:, 1])[:, None]
    span = outer - inner
    across = span[:, 0] * ahead[:, 1] - span[:, 1] * ahead[:, 0]
    return np.asarray(across / (math.sqrt(2) * sigma_px), dtype=np.float64)


def beside(one: Reading, other: Reading) -> bool:
    """Whether two scales stand on one ruler: the body of either holds most marks of the other."""
    return one is other or any(
        len(body.outline_px) >= 3 and holds(body.outline_px, marks.marks_px)
        for body, marks in ((one, other), (other, one))
    )


def thinned(reading: Reading) -> Reading:
    """The reading with marks all along it, but few."""
    size = len(reading.marks_px)
    if size <= FEW_MARKS:
        return reading
    kept = np.unique(np.linspace(0, size - 1, FEW_MARKS).round().astype(np.int64))
    ticks = kept if len(reading.ticks_px) == size else np.arange(len(reading.ticks_px))
    return replace(
        reading,
        marks_px=reading.marks_px[kept],
        marks_mm=reading.marks_mm[kept],
        marks_sigma_px=reading.marks_sigma_px[kept],
        ticks_px=reading.ticks_px[ticks],
        ticks_sigma_px=reading.ticks_sigma_px[ticks],
    )


def as_noisy(reading: Reading, noise_px: float) -> Reading:
    """A ruler whose marks are known along it as well as neighbours agree, and no better than before across it."""
    sigma_px = reading.marks_sigma_px * (noise_px / float(np.median(reading.marks_sigma_px)))
    across = reading.across_sigma_px
    return replace(
        reading,
        marks_sigma_px=sigma_px,
        across_sigma_px=float(np.median(reading.marks_sigma_px)) if across is None else across,
    )
