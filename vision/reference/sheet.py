"""How far the paper goes that a pattern is printed on: to where another colour begins all along a side of it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.foot import colours
from vision.reference.reading import Floats

#: The paper is looked at in such steps, mm, from so far outside the pattern on, mm (a soft picture mixes its black in),
#: to so far, mm: on A4, 30 mm of it lie beside the board, 43.5 above and below. At so many places along each side.
_STEP_MM, _FIRST_MM, _LAST_MM, _PLACES = 0.5, 1.5, 46.0, 61
#: What is seen over so much, mm, is held against what was seen over so much, mm, before it, with so much, mm, left out
#: between them, and against what is seen next to the pattern: a thin line on the paper lasts less, and shade falls off
#: more slowly.
_AHEAD_MM, _BEFORE_MM, _APART_MM = 2.0, 3.0, 1.5
#: Grey levels over three channels by which another colour differs at least; and at which share of the places that are
#: seen it does so: some of what lies round it may have the paper's colour. So many places must be seen. What gives way
#: to the paper's colour again within so much, mm, is a line of writing.
_OTHER, _LEAST_SHARE, _LEAST_SEEN, _WRITING_MM = 36.0, 0.75, 0.3, 6.0
#: Added for the shadow of a sheet that is glued to stiff card, and for a picture whose lines a lens bends, mm.
_RIM_MM = 3.0


def paper_round(
    rgb: NDArray[np.uint8], px_from_mm: Floats, size_mm: tuple[float, float], usual_mm: tuple[float, float]
) -> Floats:
    """The paper's corners (4, 2), photo px, round a pattern of a size (x, y), mm, whose corner is the origin.

    ``px_from_mm`` (3, 3) maps the pattern to the photo. Where no end of the paper is seen it goes on for ``usual_mm``
    (x, y), or to the picture's border, where that is nearer.
    """
    out = np.arange(_FIRST_MM, _LAST_MM, _STEP_MM)
    low, high = np.zeros(2), np.array(size_mm)
    for axis in (0, 1):
        along = np.linspace(0.0, size_mm[1 - axis], _PLACES)
        for way, start, corner in ((-1.0, 0.0, low), (1.0, size_mm[axis], high)):
            points = np.empty((out.size, along.size, 2))
            points[..., axis], points[..., 1 - axis] = (start + way * out)[:, None], along
            seen, inside = colours(rgb, np.asarray(cv2.perspectiveTransform(points, px_from_mm), np.float64))
            corner[axis] = start + way * _end_mm(seen, inside, out, usual_mm[axis])
    box = np.array([[low, (high[0], low[1]), high, (low[0], high[1])]])
    return np.asarray(cv2.perspectiveTransform(box, px_from_mm)[0], dtype=np.float64)


def _end_mm(seen: NDArray[np.float32], inside: NDArray[np.bool_], out: Floats, usual_mm: float) -> float:
    """How far the paper goes at one side, of what is seen there (K, N, 3) and where that is ``inside`` the picture
    (K, N), at so far ``out`` (K,), mm."""
    before, ahead, apart, lasting = (
        round(length / _STEP_MM) for length in (_BEFORE_MM, _AHEAD_MM, _APART_MM, _WRITING_MM)
    )
    near = slice(0, before)
    for first in range(before + apart, len(out) - ahead):
        known = inside[first + ahead - 1]
        if known.mean() < _LEAST_SEEN:
            break
        own = [np.median(seen[part, known], axis=0) for part in (slice(first - apart - before, first - apart), near)]
        other = [
            np.min(
                [np.abs(np.median(seen[then : then + ahead, known], axis=0) - one).sum(axis=1) for one in own], axis=0
            )
            >= _OTHER
            for then in (first, *range(first + ahead, min(first + lasting, len(out) - ahead), ahead))
        ]
        if other[0].mean() >= _LEAST_SHARE and all(one.mean() > 1 - _LEAST_SHARE for one in other):
            return min(float(out[first]) + _RIM_MM, _LAST_MM)
    return usual_mm
