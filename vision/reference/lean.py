"""How ticks lean: where each stands at several heights, and the slope of the line through these places."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from vision.reference.strip import sample, strip_level

Floats = NDArray[np.float64]

#: Places looked at across a tick, in spacings from where it is expected: as far as the gaps beside it.
_ACROSS = np.linspace(-0.42, 0.42, 17)
#: Ink fainter than this share of a tick's darkest is its soft edge, and tells nothing of its middle.
_FAINT_SHARE = 0.35
#: The tick itself lies among these of the places.
_OWN = slice(5, 12)
#: Ticks that stand so far apart, px, are parted from numbers beside them by a gap that is seen.
_WIDE_PX = 9.0
#: A tick's middle is not further than this from its usual place, in spacings; what is, is something else.
_FURTHEST = 0.2


class Leaning(NamedTuple):
    """``seen`` (N,) tells which ticks show ink at all heights; of those (M,): ``middle`` along the axis from where it
    was expected, px, and ``slope`` (px along the axis a px of height). ``noise_px``: standard error of a middle."""

    seen: NDArray[np.bool_]
    middle: Floats
    slope: Floats
    noise_px: float


def leaning(
    levels: Sequence[NDArray[np.uint8]],
    places_px: Floats,
    axis: Floats,
    tick: Floats,
    spacing_px: Floats,
    heights_px: Floats,
    dark: bool,
) -> Leaning:
    """How ticks at ``places_px`` (N, 2), ``spacing_px`` (N,) apart, lean against ``tick``, seen at ``heights_px`` (H,).

    By the middle of their ink at each height. A tick far from where ``tick`` points leaves the window at its ends, so
    that a first answer of more than a degree or two is too small: ask again with the direction mended.
    """
    points = (
        places_px[:, None, None, :]
        + (_ACROSS[None, None, :] * spacing_px[:, None, None])[..., None] * axis
        + heights_px[None, :, None, None] * tick
    )
    size = (len(places_px), heights_px.size, _ACROSS.size)
    level = strip_level(levels, float(np.median(spacing_px)))
    grey = sample(levels, level, points.reshape(size[0], -1, 2)).reshape(size).astype(np.float64)
    ink = -grey if dark else grey
    ink = ink - np.minimum(ink[..., :3].mean(-1), ink[..., -3:].mean(-1))[..., None]
    peak = ink[..., _OWN].max(axis=-1, keepdims=True)
    weight = np.clip(ink - _FAINT_SHARE * peak, 0, None)
    if float(np.median(spacing_px)) >= _WIDE_PX:
        weight = _own_ink(weight)
    total = weight.sum(-1)
    centre = (weight * _ACROSS).sum(-1) / np.maximum(total, 1e-9) * spacing_px[:, None]
    seen = np.asarray((total > 0).all(axis=1), dtype=np.bool_)
    centre, spacing_px = centre[seen], spacing_px[seen]
    middle = np.median(centre, axis=1)
    limit = _FURTHEST * spacing_px[:, None]
    bend = heights_px - heights_px.mean()
    slope = np.clip(centre - middle[:, None], -limit, limit) @ bend / float(bend @ bend)
    rough = np.abs(centre - middle[:, None] - slope[:, None] * bend)
    noise = 1.4826 * float(np.median(rough)) / np.sqrt(heights_px.size) * 1.3 if rough.size else 0.0
    return Leaning(seen=seen, middle=np.asarray(middle), slope=np.asarray(slope), noise_px=max(0.03, float(noise)))


def converging(u: Floats, slope: Floats) -> Floats:
    """The course of the ticks' slopes along the ruler: perspective changes it steadily."""
    keep = np.ones(u.size, np.bool_)
    course: Floats = np.zeros(u.size)
    for _ in range(4):
        course = np.asarray(np.polyval(np.polyfit(u[keep], slope[keep], 1), u), dtype=np.float64)
        off = np.abs(slope - course)
        keep = off <= max(3.0 * float(np.median(off)), 1e-3)
    return course


def _own_ink(weight: Floats) -> Floats:
    """Weights (..., 17) of the stroke that is darkest where the tick is: what a gap parts from it is a number's."""
    middle = weight[..., _OWN].argmax(axis=-1)[..., None] + _OWN.start
    place = np.arange(weight.shape[-1])
    bare = weight <= 0
    first = np.where(bare & (place < middle), place, -1).max(axis=-1, keepdims=True)
    last = np.where(bare & (place > middle), place, place.size).min(axis=-1, keepdims=True)
    return np.where((place > first) & (place < last), weight, 0.0)
