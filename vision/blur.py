"""Boundaries between flat colours, fitted through the blur that lies over them, and what it was that was blurred.

A lens blurs light; what stores, sharpens and resamples a photograph blurs its numbers, which are about the 0.45th power
of light (IEC 61966-2-1). An edge between light and dark is symmetric in the power of light that was blurred, and in no
other, so the edges themselves tell it: told in too high a power, dark stripes come out too wide; in too low a one,
light ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from vision.swatch import Doubles

#: The power of light that a photograph's numbers are, about; residuals are compared in it, for noise is alike there.
STORED_POWER = 0.45
#: Powers that are tried, from the numbers to light itself.
POWERS = (0.40, 0.55, 0.70, 0.85, 1.00)
#: What is expected of the power before the edges are looked at, with its standard uncertainty: between both.
EXPECTED_POWER, EXPECTED_SPREAD = 0.75, 0.20
#: An edge shows over so many of its blur's sigmas. Only what is seen there tells the power; what is left over elsewhere
#: is no noise either, but what flat colours leave out (on own scenes widths are as sure as is said with it).
EDGE_BLURS = 6.0
_STEPS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """Flat colours with one blur between them, in ``power`` of light.

    ``boundaries_mm`` (M,) ascending; ``noise_u95_mm`` (M,) what noise leaves open of each, and ``power_u95_mm`` (M,)
    what is not known of the power; ``light`` (M, 3), linear, of the colour after each; ``blur_mm`` the blur's sigma.
    """

    boundaries_mm: Doubles
    noise_u95_mm: Doubles
    power_u95_mm: Doubles
    light: Doubles
    blur_mm: float
    power: float


def fit_edges(light: Doubles, step_mm: float, boundaries_mm: Doubles, samples_each: float) -> Edges:
    """The boundaries round a repeat, and the power of light in which its edges are symmetric.

    Parameters
    ----------
    light
        One repeat (N, 3) in linear light, at N even places ``step_mm`` apart, the first half a step from 0.
    boundaries_mm
        Where the boundaries (M,) are about, at least two, ascending over no more than one repeat; they stay in this
        order.
    samples_each
        How many neighbouring samples make one that is independent of the others.
    """
    fits = [_Fit.of(light, step_mm, boundaries_mm, samples_each, power) for power in POWERS]
    misfit = np.array([one.misfit for one in fits])
    expected = ((np.array(POWERS) - EXPECTED_POWER) / EXPECTED_SPREAD) ** 2
    edges_mm = len(boundaries_mm) * EDGE_BLURS * fits[len(fits) // 2].blur_mm
    told = 3 * max(len(boundaries_mm), min(edges_mm / step_mm, len(light)) / samples_each)
    costs = told * (misfit / misfit.min() - 1) + expected
    middle = int(np.clip(np.argmin(costs), 1, len(POWERS) - 2))
    step = POWERS[1] - POWERS[0]
    before, here, after = costs[middle - 1 : middle + 2]
    curve = max(float(before - 2 * here + after), 2 * (step / EXPECTED_SPREAD) ** 2)
    aside = float(np.clip((before - after) / (2 * curve), -1.0, 1.0)) * step
    best = _Fit.of(light, step_mm, boundaries_mm, samples_each, POWERS[middle] + aside)
    drift = (fits[middle + 1].boundaries_mm - fits[middle - 1].boundaries_mm) / (2 * step)
    return Edges(
        boundaries_mm=best.boundaries_mm,
        noise_u95_mm=best.noise_u95_mm,
        power_u95_mm=np.abs(drift) * 2 * step * math.sqrt(2 / curve),
        light=np.asarray(best.colours ** (1 / best.power), dtype=np.float64),
        blur_mm=best.blur_mm,
        power=best.power,
    )


def rough_edges(light: Doubles, step_mm: float, boundaries_mm: Doubles) -> tuple[Doubles, Doubles, float]:
    """The boundaries (M,) in the power that is expected, the linear light (M, 3) after each, and the blur, mm."""
    fit = _Fit.of(light, step_mm, boundaries_mm, 1.0, EXPECTED_POWER)
    return fit.boundaries_mm, np.asarray(fit.colours ** (1 / fit.power), dtype=np.float64), fit.blur_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    """The edges fitted in one power: ``colours`` (M, 3) in it, ``misfit`` the mean square left in stored numbers."""

    boundaries_mm: Doubles
    noise_u95_mm: Doubles
    colours: Doubles
    blur_mm: float
    power: float
    misfit: float

    @classmethod
    def of(cls, light: Doubles, step_mm: float, bounds: Doubles, samples_each: float, power: float) -> _Fit:
        """Least squares by Gauss-Newton over boundaries and blur, colours solved for in between."""
        shown, repeat = np.maximum(light, 0.0) ** power, len(light) * step_mm
        place = np.asarray((np.arange(len(light)) + 0.5) * step_mm, dtype=np.float64)
        bounds = np.asarray(bounds, dtype=np.float64)
        blur = max(0.25, 2 * step_mm)
        widest = 0.5 * float(np.diff(np.append(bounds, bounds[0] + repeat)).min())
        colours = np.zeros((len(bounds), 3))
        normal = np.eye(len(bounds) + 1)
        rest = np.zeros_like(shown)
        start = bounds.copy()
        for _ in range(_STEPS):
            cover = _covers(place, bounds, blur, repeat)
            gram = cover.T @ cover + 1e-9 * np.eye(len(bounds))
            colours = np.asarray(np.linalg.solve(gram, cover.T @ shown), dtype=np.float64)
            rest = shown - cover @ colours
            jumps = colours - np.roll(colours, 1, axis=0)
            away = (place[:, None] - bounds[None, :] + repeat / 2) % repeat - repeat / 2
            bell = np.exp(-0.5 * (away / blur) ** 2) / (blur * math.sqrt(2 * math.pi))
            by_blur = (-bell * away / blur) @ jumps
            # the normal equations of the derivatives -bell·jump (each boundary) and by_blur, from their parts
            normal[:-1, :-1] = (bell.T @ bell) * (jumps @ jumps.T)
            normal[:-1, -1] = normal[-1, :-1] = -((bell.T @ by_blur) * jumps).sum(axis=1)
            normal[-1, -1] = (by_blur * by_blur).sum()
            normal += 1e-9 * np.eye(len(normal))
            slopes = np.append(-((bell.T @ rest) * jumps).sum(axis=1), (by_blur * rest).sum())
            step = np.linalg.solve(normal, slopes)
            limit = max(blur, 2 * step_mm)
            moved = bounds + np.clip(step[:-1], -limit, limit)
            bounds = np.asarray(np.clip(moved, start - widest, start + widest), dtype=np.float64)
            blur = float(np.clip(blur + np.clip(step[-1], -0.3 * blur, 0.5 * blur), 0.3 * step_mm, 2.0 + widest))
        sigma = float(np.sqrt((rest**2).mean() * samples_each))
        noise = 2 * sigma * np.sqrt(np.clip(np.diag(np.linalg.inv(normal))[:-1], 0, None))
        stored = np.maximum(shown - rest, 0.0) ** (STORED_POWER / power) - np.maximum(light, 0.0) ** STORED_POWER
        return cls(
            boundaries_mm=bounds,
            noise_u95_mm=np.asarray(noise),
            colours=np.clip(colours, 0, 1),
            blur_mm=blur,
            power=power,
            misfit=float((stored**2).mean()) + 1e-12,
        )


def _covers(place: Doubles, bounds: Doubles, blur: float, repeat: float) -> Doubles:
    """How much (N, M) of each colour each place sees through the blur."""
    ends = np.append(bounds, bounds[0] + repeat)
    cover = np.zeros((len(place), len(bounds)))
    for turn in (-1, 0, 1):
        steps = ndtr((place[:, None] + turn * repeat - ends[None, :]) / blur)
        cover += steps[:, :-1] - steps[:, 1:]
    return cover
