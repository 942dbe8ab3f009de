"""The physical floor: how well a repeat could be known at best from one photo (Cramér–Rao) and one ruler.

Reference: S. M. Kay, *Fundamentals of Statistical Signal Processing: Estimation Theory* (1993), section 3.5: the
variance of an unbiased estimate of a parameter of a known signal in white noise of variance σ² is no less than
σ² / Σ (∂s/∂parameter)². The parameter is a stretch about the middle, for which ∂s/∂ε = x s'(x).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from tests.makers.camera import Floats
from tests.makers.cloth import AnyPrint, CheckPrint, Cloth, MotifPrint, StripePrint
from tests.makers.colour import encoded
from tests.makers.fact import Facts, contrast_grey, seen_mm
from tests.makers.ruler import divisions
from tests.makers.shot import Shot, middle_of_visible, visible
from vision.reference.ruler import RULER_RELATIVE_U95
from vision.reference.target import PRINT_RELATIVE_U95, SQUARE_MM, SQUARES

#: Variance of rounding to whole grey levels.
_ROUNDING = 1 / 12
#: Every so many pixels each way stands for its neighbours in the sum over the cloth.
_STEP_PX = 8
#: Grey levels between the target's white and black (as the maker prints it).
_TARGET_GREY = 215.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """Standard deviations as shares: of the period in pixels, of the scale in pixels, of the reference itself; and of
    the direction of a line through the torn edge, degrees: the edge's own irregularity lets nobody know it better."""

    period: float
    scale: float
    tolerance: float
    torn_deg: float

    @property
    def total(self) -> float:
        """All three."""
        return math.hypot(self.period, self.scale, self.tolerance)


def floor_of(shot: Shot, facts: Facts) -> Floor:
    """The floor of a shot's first repeat."""
    variance = shot.noise**2 + _ROUNDING
    u95 = PRINT_RELATIVE_U95 if facts.reference == "target" else RULER_RELATIVE_U95
    return Floor(
        period=_period(shot, variance),
        scale=_scale(shot, facts, variance),
        tolerance=u95 / 1.96,
        torn_deg=torn_sd_deg(shot.cloths[0]),
    )


def torn_sd_deg(cloth: Cloth) -> float:
    """Standard deviation of the slope of a straight line fitted to the lower edge as the maker tears it: a point every
    0.8 mm, off by half the fray (least squares: σ over the root of n times the spread)."""
    count = max(3, int(cloth.width_mm / 0.8))
    return math.degrees(cloth.fray_mm / 2 / (math.sqrt(count / 12) * cloth.width_mm))


def stretch_sd(spread: float, slope_power: float, variance: float) -> float:
    """Standard deviation of a stretch: ``spread`` Σ x² about the middle, ``slope_power`` the mean of s'² (same unit
    of length), ``variance`` that of the noise."""
    information = spread * slope_power / variance
    return 1 / math.sqrt(information) if information > 0 else math.inf


def _period(shot: Shot, variance: float) -> float:
    cloth, lens = shot.cloths[0], shot.lens
    polygon = visible(cloth.corners_mm(), lens)
    if len(polygon) < 3:
        return math.inf
    size = (shot.camera.width_px // _STEP_PX, shot.camera.height_px // _STEP_PX)
    mask = np.zeros((size[1], size[0]), dtype=np.uint8)
    cv2.fillPoly(mask, [np.rint(lens.seen(polygon) / _STEP_PX).astype(np.int32)], 1)
    rows, columns = mask.nonzero()
    places = lens.table_mm(np.column_stack([columns, rows]) * float(_STEP_PX))
    a = math.radians(cloth.turn_deg + cloth.skew_deg)
    x = places @ np.array([math.cos(a), -math.sin(a)])
    px_mm = 1 / lens.px_per_mm(middle_of_visible(cloth.corners_mm(), lens))
    power = print_slope_power(cloth.print, px_mm, shot)
    return stretch_sd(float(((x - x.mean()) ** 2).sum()) * _STEP_PX**2, power, variance)


def print_slope_power(print_: AnyPrint, px_mm: float, shot: Shot) -> float:
    """Mean of (ds/dx)², summed over red, green and blue, in grey levels per mm, after pixels and blur."""
    if isinstance(print_, StripePrint):
        across, along, rows = print_.across.repeat_mm, 1.0, 1
    elif isinstance(print_, CheckPrint):
        across, along, rows = print_.across.repeat_mm, print_.along.repeat_mm, 64
    elif isinstance(print_, MotifPrint):
        (across, along), rows = print_.repeat_mm, 256
    else:
        return 0.0
    count = 1024
    x, y = np.arange(count) * across / count, np.arange(rows) * along / rows
    x, y = np.meshgrid(x, y)
    light = print_.light(x, y, px_mm) * np.float32(shot.exposure) * np.float32(shot.tint)
    blur_mm = shot.blur_px * px_mm
    keep_x = np.exp(-2 * (np.pi * np.fft.fftfreq(count, across / count) * blur_mm) ** 2)
    keep_y = np.exp(-2 * (np.pi * np.fft.fftfreq(rows, along / rows) * blur_mm) ** 2)
    soft = np.fft.ifft2(np.fft.fft2(light, axes=(0, 1)) * (keep_y[:, None] * keep_x)[..., None], axes=(0, 1)).real
    grey = encoded(soft.astype(np.float32)).astype(float)
    slope = (np.roll(grey, -1, axis=1) - np.roll(grey, 1, axis=1)) * count / (2 * across)
    return float((slope**2).mean(axis=(0, 1)).sum())


def _scale(shot: Shot, facts: Facts, variance: float) -> float:
    """From marks side by side, each as sharp as the blur leaves it."""
    if shot.rulers:
        ruler = shot.rulers[0]
        density = shot.lens.px_per_mm(middle_of_visible(ruler.corners_mm(), shot.lens))
        step = divisions("mm" if ruler.unit == "both" else ruler.unit)[0]
        places = np.arange(0, seen_mm(shot, ruler), step) * density
        length_px = (ruler.tick_mm[0] + ruler.tick_mm[2]) / 2 * density
        profile = _mark(ruler.tick_width_mm * density, shot.blur_px) * contrast_grey(shot, ruler) * (1 - ruler.wear)
    elif facts.reference == "target":
        density = shot.lens.px_per_mm(np.array([shot.sheets[0].x_mm, shot.sheets[0].y_mm]))
        places = np.arange(SQUARES[0] + 1) * SQUARE_MM * density
        length_px = SQUARES[1] * SQUARE_MM * density
        profile = _mark(SQUARE_MM * density, shot.blur_px) * _TARGET_GREY
        profile = profile[: len(profile) // 2]  # one edge
    else:
        return 0.0
    if len(places) < 2:
        return math.inf
    power = float((np.gradient(profile, _FINE_PX) ** 2).sum() * _FINE_PX) * 3 * length_px
    return stretch_sd(float(((places - places.mean()) ** 2).sum()), power, variance)


_FINE_PX = 0.05


def _mark(width_px: float, blur_px: float) -> Floats:
    """Cover of a mark along a line across it, after the pixel's own width and the blur, every ``_FINE_PX``."""
    far = width_px / 2 + 4 * blur_px + 1
    x = np.arange(-far, far, _FINE_PX)
    soft = math.hypot(blur_px, math.sqrt(1 / 12))
    step = np.vectorize(math.erf)
    return np.asarray((step((x + width_px / 2) / soft / 2**0.5) - step((x - width_px / 2) / soft / 2**0.5)) / 2)
