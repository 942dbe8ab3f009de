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
    peak = ink[..., 5:12].max(axis=-1, keepdims=True)
    weight = np.clip(ink - _FAINT_SHARE * peak, 0, None)
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
