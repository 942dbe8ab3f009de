"""The picture sampled along a comb: how far ticks stand out from what lies beside them, and how far they reach."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import find_objects, label

from vision.lookup import values_at

Floats = NDArray[np.float64]

#: Samples a tick period in the strip along the comb.
SAMPLES = 10
#: A tick weaker than this share of its neighbours' usual strength counts as missing.
LEAST_STRENGTH = 0.35
#: A flank is inked where it differs from the other by this share of what ticks stand out by; at most the second share
#: of all are where numbers stand beside ticks: more are something the ruler lies on.
BESET_SHARE, MOST_BESET = 0.5, 0.4
#: A tick ends where its contrast has fallen under this share of its own.
END_SHARE = 0.45


def strip_level(levels: Sequence[NDArray[np.uint8]], period: float) -> int:
    """Which level of a pyramid shows ticks that are ``period`` px apart just finely enough."""
    return int(np.clip(math.floor(math.log2(max(period, 1.0) / SAMPLES)), 0, len(levels) - 1))


def sample(levels: Sequence[NDArray[np.uint8]], level: int, points_px: Floats) -> NDArray[np.float32]:
    """Grey values (linear between pixels) of a level at full-size places (..., 2)."""
    scale = float(2**level)
    return values_at(levels[level], (points_px - (scale - 1) / 2) / scale).astype(np.float32, copy=False)


def span_inside(shape: tuple[int, int], origin: Floats, axis: Floats) -> tuple[float, float]:
    """The range of u for which origin + u·axis lies in the picture."""
    low, high = -math.inf, math.inf
    for at, step, size in ((origin[0], axis[0], shape[1]), (origin[1], axis[1], shape[0])):
        if abs(step) < 1e-9:
            continue
        a, b = (0 - at) / step, (size - 1 - at) / step
        low, high = max(low, min(a, b)), min(high, max(a, b))
    return low, high


def ridge_matrix(
    levels: Sequence[NDArray[np.uint8]],
    track_places: Floats,
    axis: Floats,
    tick: Floats,
    vs: Floats,
    period: Floats,
    dark: bool,
) -> Floats:
    """How much each tick stands out from both its flanks at each height: (N ticks, V heights), grey levels."""
    centre, left, right = _inks(levels, track_places, axis, tick, vs, period, dark)
    return centre - np.maximum(left, right)


def standing_out(
    levels: Sequence[NDArray[np.uint8]],
    track_places: Floats,
    axis: Floats,
    tick: Floats,
    vs: Floats,
    period: Floats,
    dark: bool,
    band: NDArray[np.bool_],
) -> tuple[Floats, float]:
    """As ``ridge_matrix``, and how much ticks mostly stand out in the ``band`` (V,) of heights that all of them share.

    Where one flank alone is inked, at a height at which most flanks are bare, a number stands right beside the tick,
    which then counts as far as it stands out from the other.
    """
    centre, left, right = _inks(levels, track_places, axis, tick, vs, period, dark)
    barer, other = np.minimum(left, right), np.maximum(left, right)
    ridge = centre - other
    usual = float(np.median(np.median(ridge[:, band], axis=1))) if band.any() else 0.0
    beset = other - barer > BESET_SHARE * usual
    beset &= beset.mean(axis=0) <= MOST_BESET
    return np.where(beset, np.minimum(centre - barer, usual), ridge), usual


def _inks(
    levels: Sequence[NDArray[np.uint8]],
    track_places: Floats,
    axis: Floats,
    tick: Floats,
    vs: Floats,
    period: Floats,
    dark: bool,
) -> tuple[Floats, Floats, Floats]:
    """The ink (N ticks, V heights) of each tick's middle and of its two flanks, grey levels."""
    level = strip_level(levels, float(np.median(period)))
    offsets = np.array([-0.5, -0.42, -0.1, 0.0, 0.1, 0.42, 0.5])
    points = (
        track_places[:, None, None, :]
        + (offsets[None, None, :] * period[:, None, None])[..., None] * axis
        + vs[None, :, None, None] * (tick if tick.ndim == 1 else tick[:, None, None, :])
    )
    grey = sample(levels, level, points.reshape(len(track_places), -1, 2)).reshape(len(track_places), len(vs), 7)
    ink = (-grey if dark else grey).astype(np.float64)
    return ink[..., 2:5].mean(axis=-1), ink[..., :2].mean(axis=-1), ink[..., 5:].mean(axis=-1)


def reaches(ink: Floats, vs: Floats, middle: float, usual: float) -> Floats:
    """How far each tick goes from the middle of its band to either side, (N, 2) in v; NaN for ticks not seen there."""
    smooth = cv2.blur(ink.astype(np.float32), (3, 1), borderType=cv2.BORDER_REFLECT)
    at = int(np.argmin(np.abs(vs - middle)))
    strength = np.median(smooth[:, max(0, at - 2) : at + 3], axis=1)
    limit = END_SHARE * np.maximum(strength, 0.5 * usual)
    present = smooth >= limit[:, None]
    # one sample missing inside a stroke is a scratch, not its end
    bridged = present.copy()
    bridged[:, 1:-1] |= present[:, :-2] & present[:, 2:]
    out = np.full((ink.shape[0], 2), np.nan)
    for side, way in ((0, -1), (1, 1)):
        part = bridged[:, at::way] if way > 0 else bridged[:, at::-1]
        run = np.where(part.all(axis=1), part.shape[1], np.argmin(part, axis=1))
        last = np.clip(at + way * (run - 1), 0, len(vs) - 1)
        following = np.clip(last + way, 0, len(vs) - 1)
        a, b = smooth[np.arange(len(run)), last], smooth[np.arange(len(run)), following]
        part_way = np.clip((a - limit) / np.maximum(a - b, 1e-6), 0.0, 1.0)
        out[:, side] = np.where(run > 0, vs[last] + part_way * (vs[following] - vs[last]), np.nan)
    out[strength < LEAST_STRENGTH * usual] = np.nan
    return out


def stretches(flag: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """All stretches of true values (N,): the first place of each, and the place after its last."""
    return [(one.start, one.stop) for (one,) in find_objects(label(flag)[0])]
