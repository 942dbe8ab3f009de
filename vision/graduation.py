"""A ruler or tape that was not read, lies by itself, and was taken for a cloth: it is longer than wide, and graduated.

Lines across it stand along one of its long sides at the distance of one of the divisions that rulers have, and go only
so far towards the other: stripes of a cloth, or its weave, would go all the way. That is seen where the marks are too
worn, or too few in sight, to be read one by one.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.covering import grown, long_box
from vision.lookup import values_at
from vision.plane import Plane
from vision.swatch import Doubles, Mask

#: Divisions of rulers, mm: finer ones have these between them, and where millimetres are too fine to be seen, half
#: centimetres are longer. The scale is known so well, as a share, where one lies.
DIVISIONS_MM, _KNOWN = (1.0, 25.4 / 16, 25.4 / 8, 5.0), 0.025
#: Rulers and tapes are so wide, mm, and, or what is seen of them, so many times as long (practice), and fill so much of
#: the rectangle round it.
_WIDTHS_MM, _LONGER, _FULL = (8.0, 60.0), 2.0, 0.6
#: It is looked at in lines along it so far apart, mm, at places so far apart, mm; and light is held against itself
#: over so much of a line, mm.
_LINES_MM, _PLACES_MM, _WINDOW_MM = 0.5, 0.1, 25.0
#: A line is graduated where light agrees with itself one division on and so many on (coefficients of correlation), and
#: half a division on does not.
_ON, _AGREES, _HALF = 4, 0.45, 0.3
#: So wide, mm, is the band of marks at least, for a seam's stitches make a line; so wide is what has none; both are
#: seen on this share of its length, looked at so often, mm.
_LEAST_BAND_MM, _LEAST_BARE_MM, _SHARE, _OFTEN_MM = 2.0, 2.0, 0.5, 2.0
#: Finer divisions than so many pixels are not seen (millimetres at 2.65 px are not: they beat with the pixels).
_LEAST_PX = 3.0


def graduated(
    plane: Plane, rgb: NDArray[np.uint8], found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]
) -> tuple[Doubles, ...]:
    """Rectangles (4, 2), mm, over those of what was found (polygons) in a photo (H, W, 3) that are rulers. Below what
    is covered (polygons) nothing is seen of them: a ruler that was read may lie on a strip of cloth."""
    hidden = tuple(map(grown, covered_mm))
    return tuple(box for outline in found_mm if (box := _ruler(plane, rgb, outline, hidden)) is not None)


def _ruler(plane: Plane, rgb: NDArray[np.uint8], outline: Doubles, hidden_mm: Sequence[Doubles]) -> Doubles | None:
    """The rectangle (4, 2) round what is a ruler; None round anything else."""
    box = long_box(outline)
    low, high = _WIDTHS_MM
    full = cv2.contourArea(outline.astype(np.float32)) >= _FULL * box.long * box.short
    if not (full and low <= box.short <= high and box.long >= _LONGER * box.short):
        return None
    along, across = (np.arange(-size / 2, size / 2, step) for size, step in
                     ((box.long, _PLACES_MM), (box.short, _LINES_MM)))  # fmt: skip
    places = box.middle + along[None, :, None] * box.axis + across[:, None, None] * box.across
    px = plane.to_px(places.reshape(-1, 2)).reshape(places.shape)
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    light = values_at(grey, px).astype(np.float32)
    middle = plane.to_px(box.middle[None])[0]
    per_mm = plane.px_per_mm_at((float(middle[0]), float(middle[1]))).value
    within = np.zeros(light.shape, np.uint8)
    for polygon, own in ((outline, 1), *((polygon, 0) for polygon in hidden_mm)):
        away = polygon - (box.middle - box.long / 2 * box.axis - box.short / 2 * box.across)
        ring = np.stack([away @ box.axis / _PLACES_MM, away @ box.across / _LINES_MM], axis=1)
        cv2.fillPoly(within, [np.rint(ring).astype(np.int32)], own)
    if not any(_is_graduated(light, within > 0, mm) for mm in DIVISIONS_MM if mm * per_mm >= _LEAST_PX):
        return None
    ends = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return np.array([box.middle + a * box.long / 2 * box.axis + b * box.short / 2 * box.across for a, b in ends])


def _is_graduated(light: NDArray[np.float32], within: Mask, division_mm: float) -> bool:
    """Whether lines (H, W) along what may be a ruler show marks at a division in a band, and elsewhere none, ``within``
    (H, W) what is seen of it."""
    step = division_mm / _PLACES_MM
    rest = light - cv2.blur(light, (2 * round(step) + 1, 1), borderType=cv2.BORDER_REFLECT)
    width = rest.shape[1] - _lags(_ON * step)[-1]
    if width * _PLACES_MM < _WINDOW_MM:
        return False
    once, often = (np.max([_agreeing(rest, lag, width) for lag in _lags(many * step)], axis=0) for many in (1, _ON))
    marks = (once >= _AGREES) & (often >= _AGREES) & (_agreeing(rest, round(step / 2), width) <= _HALF)
    often_px = round(_OFTEN_MM / _PLACES_MM)
    band, bare = (round(mm / _LINES_MM) for mm in (_LEAST_BAND_MM, _LEAST_BARE_MM))
    seen = [
        _longest(here & own) >= band and _longest(~here & own) >= bare
        for here, own in zip(marks.T[::often_px], within.T[:width:often_px], strict=True)
    ]
    return float(np.mean(seen)) >= _SHARE


def _lags(step: float) -> range:
    """Numbers of places about a distance of so many."""
    return range(round(step * (1 - _KNOWN)), round(step * (1 + _KNOWN)) + 1)


def _agreeing(rest: NDArray[np.float32], lag: int, width: int) -> NDArray[np.float32]:
    """How well (H, width) lines (H, W) agree with themselves so many places on, window by window (correlation)."""
    one, other = rest[:, :width], rest[:, lag : lag + width]
    size = (round(_WINDOW_MM / _PLACES_MM), 1)
    both, own, own2 = (cv2.blur(part, size) for part in (one * other, one * one, other * other))
    return np.asarray(both / np.sqrt(np.maximum(own * own2, 1e-6)), dtype=np.float32)


def _longest(flags: Mask) -> int:
    """The longest run of what holds."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return int(np.diff(ends)[::2].max(initial=0))
