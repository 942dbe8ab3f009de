"""The plain ways, to be measured beside: one scale for the whole photo, the highest peak of a Fourier transform,
the strongest lines of a Hough transform. All of them are given what the tool has to find: where cloth and ruler are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.makers.camera import Floats
from tests.makers.cloth import CheckPrint, MotifPrint, StripePrint
from tests.makers.drawer import nominal_mm
from tests.makers.fact import Facts
from tests.makers.relief import UnevenCloth
from tests.makers.scene import Photograph, folded
from tests.makers.shot import Shot, visible

#: Side of the padded transform; the peak is then placed to a fraction of the crop's own resolution.
_TRANSFORM = 2048
_LARGEST_CROP = 1024
_SAME_LINE_PX = 4.0
_SAME_DIRECTION_DEG = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Rivals:
    """Errors of the plain ways: of repeats as shares of the true one, of directions in degrees; None: no answer."""

    one_scale: float | None
    fft_repeat: float | None
    fft_direction_deg: float | None
    hough_repeat: float | None
    hough_direction_deg: float | None


def rivals_of(photograph: Photograph, rgb: NDArray[np.uint8], facts: Facts) -> Rivals:
    """All plain answers for a photo (H, W, 3) of one cloth."""
    shot = photograph.scene
    assert isinstance(shot, Shot)
    scale = ruler_px_per_mm(shot, facts)
    crop = _crop(rgb, shot)
    if scale is None or crop is None:
        return Rivals(one_scale=_one_scale(shot, scale), fft_repeat=None, fft_direction_deg=None, hough_repeat=None,
                      hough_direction_deg=None)  # fmt: skip
    fft, hough = fft_peak(crop), hough_lines(crop)
    return Rivals(
        one_scale=_one_scale(shot, scale),
        fft_repeat=_repeat_error(fft, scale, photograph),
        fft_direction_deg=_direction_error(fft, photograph),
        hough_repeat=_repeat_error(hough, scale, photograph),
        hough_direction_deg=_direction_error(hough, photograph),
    )


def ruler_px_per_mm(shot: Shot, facts: Facts) -> float | None:
    """Pixels per millimetre as counted on the reference from one end in view to the other, with its own error."""
    if shot.rulers:
        ruler = shot.rulers[0]
        seen = visible(ruler.corners_mm(), shot.lens)
        if len(seen) < 3:
            return None
        middle, axis = np.array([ruler.x_mm, ruler.y_mm]), ruler.axis
        along = (seen - middle) @ axis
        ends, said = middle + np.outer([along.min(), along.max()], axis), np.ptp(along) / (1 + facts.reference_error)
    else:
        sheet = shot.sheets[0]
        corners = sheet.corners_mm()
        axis = (corners[1] - corners[0]) / np.hypot(*(corners[1] - corners[0]))
        ends = np.array([sheet.x_mm, sheet.y_mm]) + np.outer([-0.5, 0.5], axis) * sheet.width_mm
        said = nominal_mm(facts.reference)[0]
    seen_px = shot.lens.seen(ends)
    return float(np.hypot(*(seen_px[1] - seen_px[0])) / said)


def _one_scale(shot: Shot, scale: float | None) -> float | None:
    """Error of the repeat counted over as many whole repeats as the picture shows, clicked without any error, and
    divided by the one scale."""
    cloth = shot.cloths[0]
    repeat = _repeats(cloth.print)[0]
    seen = visible(cloth.corners_mm(), shot.lens)
    if scale is None or repeat is None or len(seen) < 3:
        return None
    a = math.radians(cloth.turn_deg + cloth.skew_deg)
    axis, middle = np.array([math.cos(a), -math.sin(a)]), seen.mean(axis=0)
    low, high = _span(seen, middle, axis)
    whole = max(1, int((high - low) / repeat)) * repeat
    ends = middle + np.outer([(low + high - whole) / 2, (low + high + whole) / 2], axis)
    if isinstance(cloth, UnevenCloth):
        ends = cloth.relief.on_table(ends)
    ends_px = shot.lens.seen(ends)
    return float(np.hypot(*(ends_px[1] - ends_px[0])) / scale / whole - 1)


def _span(polygon: Floats, middle: Floats, axis: Floats) -> tuple[float, float]:
    """Where a line through a point leaves a convex polygon (N, 2), on either side."""
    across = np.array([-axis[1], axis[0]])
    places = []
    for p, q in zip(polygon - middle, np.roll(polygon, -1, axis=0) - middle, strict=True):
        u, v = p @ across, q @ across
        if (u > 0) != (v > 0):
            places.append(float((p + (q - p) * u / (u - v)) @ axis))
    return min(places), max(places)


def _crop(rgb: NDArray[np.uint8], shot: Shot) -> NDArray[np.uint8] | None:
    """The largest upright square about the middle of the cloth's visible part, grey."""
    polygon = shot.lens.seen(visible(shot.cloths[0].corners_mm(), shot.lens)).astype(np.float32)
    if len(polygon) < 3:
        return None
    middle = polygon.mean(axis=0)
    inner = cv2.pointPolygonTest(polygon, (float(middle[0]), float(middle[1])), True)
    half = min(_LARGEST_CROP / 2, abs(inner) / math.sqrt(2))
    x, y, h = int(middle[0]), int(middle[1]), int(half)
    crop = rgb[max(0, y - h) : y + h, max(0, x - h) : x + h]
    return cv2.cvtColor(crop, cv2.COLOR_RGB2GRAY) if min(crop.shape[:2]) > 32 else None


def fft_peak(crop: NDArray[np.uint8]) -> tuple[float, float] | None:
    """Period (px) and direction (degrees, counter-clockwise as seen) of the highest peak of the Fourier transform."""
    height, width = crop.shape
    window = np.outer(np.hanning(height), np.hanning(width))
    light = crop.astype(np.float32)
    power = np.abs(np.fft.rfft2((light - light.mean()) * window, (_TRANSFORM, _TRANSFORM)))
    fy, fx = np.fft.fftfreq(_TRANSFORM)[:, None], np.fft.rfftfreq(_TRANSFORM)[None, :]
    power[np.hypot(fy, fx) < 1.5 / min(height, width)] = 0
    row, column = np.unravel_index(int(power.argmax()), power.shape)
    y, x = float(fy[row, 0]), float(fx[0, column])
    return 1 / math.hypot(x, y), folded(-math.degrees(math.atan2(y, x)))


def hough_lines(crop: NDArray[np.uint8]) -> tuple[float, float] | None:
    """Twice the usual distance of neighbouring lines (a stripe has two edges), and the direction across them."""
    edges = cv2.Canny(cv2.GaussianBlur(crop, (0, 0), 1.5), 30, 90)
    found = cv2.HoughLines(edges, 1, math.pi / 720, int(0.35 * min(crop.shape)))
    if found is None:
        return None
    lines = found.reshape(-1, 2)[:400]
    strongest = math.degrees(lines[0, 1])
    off = np.array([folded(math.degrees(theta) - strongest) for theta in lines[:, 1]])
    near = np.abs(off) < _SAME_DIRECTION_DEG
    direction = folded(-(strongest + float(np.median(off[near]))))
    rho = np.sort(np.where(np.abs(np.degrees(lines[near, 1]) - strongest) > 90, -lines[near, 0], lines[near, 0]))
    apart = np.diff(rho)
    apart = apart[apart > _SAME_LINE_PX]
    return (2 * float(np.median(apart)), direction) if len(apart) else None


def _repeats(print_: object) -> tuple[float | None, float | None]:
    if isinstance(print_, StripePrint):
        return print_.across.repeat_mm, None
    if isinstance(print_, CheckPrint):
        return print_.across.repeat_mm, print_.along.repeat_mm
    return print_.repeat_mm if isinstance(print_, MotifPrint) else (None, None)


def _repeat_error(found: tuple[float, float] | None, scale: float, photograph: Photograph) -> float | None:
    """Against the nearer of both repeats: a plain way does not say which it found."""
    truth = photograph.truth
    true = [r for r in (truth.across_mm, truth.along_mm) if r]
    if found is None or not true:
        return None
    return min((found[0] / scale / r - 1 for r in true), key=abs)


def _direction_error(found: tuple[float, float] | None, photograph: Photograph) -> float | None:
    truth = photograph.truth
    if found is None or truth.across_direction_deg is None:
        return None
    ways = [0.0] if truth.along_mm is None else [0.0, 90.0]
    return min((folded(found[1] - truth.across_direction_deg - way) for way in ways), key=abs)
