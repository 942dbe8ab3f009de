"""How much of the photo a ruler covers: from its ticks outwards as far as its own colour goes."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb

Floats = NDArray[np.float64]

#: Rulers and tapes are not wider than this on either side of their ticks, mm (common practice: 12 to 60 mm wide).
WIDEST_MM = 45.0
#: Beyond the first and the last tick read a ruler goes on for at most this far where its colour does, mm.
BEYOND_MM = 60.0
#: A colour this far from the ruler's ground, in grey levels over three channels, is no longer the ruler.
OTHER_COLOUR = 36.0
#: The gaps between ticks make up this share of what is seen about them; the bare ruler's colour lies this many times
#: as far from the middle colour as theirs (own rendered scenes, 3 to 8 px a tick; more takes in the cloth beside it).
GAPS, BARE = 0.15, 1.6
#: The ruler's edge is passed when the other colour lasts this long, mm: a printed line or a row of digits does not.
LASTING_MM = 2.0
#: Added round the ruler for its shadow and thickness, mm.
RIM_MM = 1.5
STEP_MM = 0.5


def outline_of(rgb: NDArray[np.uint8], comb: Comb, px_per_mm: float) -> Floats:
    """The rectangle (4, 2), photo px, that the ruler of a comb covers."""
    first, last = comb.places_px[0], comb.places_px[-1]
    axis = (last - first) / np.hypot(*(last - first))
    normal = np.array([-axis[1], axis[0]])
    length = float((last - first) @ axis)
    middle = first
    low, high = _sides(rgb, middle, axis, normal, length, px_per_mm, comb.band_px)
    before, after = _ends(rgb, middle, axis, normal, length, px_per_mm, (low, high))
    return np.array(
        [
            middle + before * axis + low * normal,
            middle + after * axis + low * normal,
            middle + after * axis + high * normal,
            middle + before * axis + high * normal,
        ]
    )


def _colours(rgb: NDArray[np.uint8], points: Floats) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    at = points.astype(np.float32)
    picture = rgb if rgb.ndim == 3 else np.repeat(rgb[..., None], 3, axis=2)
    seen = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = rgb.shape[:2]
    inside = (at[..., 0] >= 0) & (at[..., 0] <= width - 1) & (at[..., 1] >= 0) & (at[..., 1] <= height - 1)
    return seen.astype(np.float32), inside


def _sides(
    rgb: NDArray[np.uint8],
    origin: Floats,
    axis: Floats,
    normal: Floats,
    length: float,
    px_per_mm: float,
    band_px: float,
) -> tuple[float, float]:
    us = np.linspace(0, length, 241)
    vs = np.arange(-WIDEST_MM, WIDEST_MM + 0.1, STEP_MM) * px_per_mm
    seen, inside = _colours(rgb, origin + us[None, :, None] * axis + vs[:, None, None] * normal)
    rows = np.median(seen, axis=1)
    near = np.abs(vs) <= 0.6 * band_px + px_per_mm
    off = _off(rows, seen[near].reshape(-1, 3))
    off[inside.mean(axis=1) < 0.3] = np.inf
    start = len(vs) // 2
    stay = 0.5 * band_px + 1.0 * px_per_mm
    low = _walk(off, vs, start, -1, px_per_mm)
    high = _walk(off, vs, start, 1, px_per_mm)
    rim = RIM_MM * px_per_mm
    return min(low, -stay) - rim, max(high, stay) + rim


def _off(rows: NDArray[np.float32], marked: NDArray[np.float32]) -> Floats:
    """How far each row's colour (V, 3) is from the ruler's, known only where it is marked (N, 3).

    Between fine ticks the blur mixes ink into the ground, so that the bare ruler is farther from the ink than most of
    what is seen there: its colour is sought from the marked part's middle away from the ink, a little beyond the gaps'.
    """
    darkest, dark, ground, bright, brightest = np.quantile(marked, (GAPS, 0.25, 0.5, 0.75, 1 - GAPS), axis=0)
    gaps = brightest if np.abs(bright - ground).sum() <= np.abs(ground - dark).sum() else darkest
    way = BARE * (gaps - ground)
    along = np.clip((rows - ground) @ way / max(float(way @ way), 1.0), 0.0, 1.0)
    return np.asarray(np.abs(rows - ground - along[:, None] * way).sum(axis=1), dtype=np.float64)


def _ends(
    rgb: NDArray[np.uint8],
    origin: Floats,
    axis: Floats,
    normal: Floats,
    length: float,
    px_per_mm: float,
    sides: tuple[float, float],
) -> tuple[float, float]:
    us = np.arange(-BEYOND_MM, length / px_per_mm + BEYOND_MM, STEP_MM) * px_per_mm
    inset = 0.2 * (sides[1] - sides[0])
    vs = np.linspace(sides[0] + inset, sides[1] - inset, 25)
    seen, inside = _colours(rgb, origin + us[:, None, None] * axis + vs[None, :, None] * normal)
    columns = np.median(seen, axis=1)
    middle = (us > 0) & (us < length)
    ground = np.median(columns[middle], axis=0)
    off = np.abs(columns - ground).sum(axis=1)
    off[inside.mean(axis=1) < 0.3] = np.inf
    before = _walk(off, us, int(np.searchsorted(us, 0.0)), -1, px_per_mm)
    after = _walk(off, us, int(np.searchsorted(us, length)), 1, px_per_mm)
    rim = RIM_MM * px_per_mm
    return min(before, 0.0) - rim, max(after, length) + rim


def _walk(off: Floats | NDArray[np.float32], at: Floats, start: int, way: int, px_per_mm: float) -> float:
    """From a start outwards to where another colour begins to last."""
    need = round(LASTING_MM / STEP_MM)
    run = 0
    index = start
    while 0 <= index < len(at):
        run = run + 1 if off[index] > OTHER_COLOUR else 0
        if run >= need:
            return float(at[index - way * need])
        index += way
    return float(at[max(0, min(len(at) - 1, index - way))])
