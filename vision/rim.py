"""Where a straight side really runs: how far the cloth reaches all along it, tuft by tuft, and the line through that.

A contour goes round the tips of a frayed edge and past the notches between them; the share of cloth, line by line
across the edge, follows both, so that fraying tells as little of the direction as it can.
"""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np

from vision.colour import linear
from vision.edge import ClothEdge
from vision.estimate import Estimate
from vision.square import SquareOn
from vision.swatch import Doubles, Floats, Mask, folded_deg

#: Lines across the side begin so far out on the table, and end so far in on the cloth, mm; so far to either side of it
#: its tufts and notches reach (practice: fraying of two or three mm), and the table is learnt beyond.
_OUT_MM, _IN_MM, _FRAY_MM, _BEYOND_MM = 5.0, 7.0, 3.5, 2.5
#: They lie no closer than this, mm, nor their samples, mm, and px of the picture (time).
_LINES_MM, _SAMPLE_MM, _SAMPLE_PX = 0.5, 0.15, 0.5
#: What is only darker than the table by so much, or lighter, is its shadow or its grain, as shares of its light.
_SHADE, _SHINE = 0.7, 1.1
#: The table's colour is that of so much of its length, mm; cloth's is that of what lies so far in, and so far along.
_TABLE_MM, _CLOTH_FROM_MM, _CLOTH_STEP_MM = 8.0, 2.0, 1.5
_ALONG_MM = (-2.0, -1.0, 0.0, 1.0, 2.0)
#: A stripe that begins at the edge is sought so far in, mm (a repeat of most checks), among what is as unlike the table
#: as this share of the cloth just inside.
_FARTHER_MM, _PLAIN_SHARE = np.arange(9.0, 40.0, 2.0), 0.7
#: Shares of cloth below and above these are noise on bare table and on whole cloth.
_BARE, _WHOLE = 0.2, 0.8
#: A line counts in full where the cloth is unlike the table by the second of these times the table's own noise, and not
#: at all below the first.
_UNLIKE = (3.0, 8.0)
#: Where it is twice as unclear as elsewhere whether it shows cloth or table, a line counts by half; over so much, mm.
_UNCLEAR_MM = 3.0
#: Fraying is alike all along an edge. Where over so much, mm, it is smoother than this share of what most of the rest
#: shows, stripes of the print end and another begins that cannot be told from the table; that counts where the fraying
#: is so rough, mm, that it can be told.
_ROUGH_MM, _SMOOTH_SHARE, _LEAST_ROUGH_MM = 14.0, 0.45, 0.12
#: Tufts, stripes and the table's grain hang together over at most so much of an edge, mm (practice).
_TOGETHER_MM = 12.0
#: Nor is an edge known better than tufts so long, mm, leave it: from few lines what they share is found too small.
_TUFT_MM = 1.6
_FEWEST_LINES = 20
_PASSES = 2
#: No edge of cloth is straight to better than this, degrees (95 %).
_LEAST_U95_DEG = 0.04
#: Cloth that lies flat still rises here and there, and is seen so far out of its place at each end, mm (creases of half
#: a millimetre, seen at half of unit slope; practice).
_LIE_MM = 0.1
#: Fainter than this, as a share of white, is no noise that the eye or a sensor tells.
_LEAST_NOISE = 1e-4


def settled(edge: ClothEdge, light: Floats, shown: Mask, square: SquareOn) -> ClothEdge:
    """A side with its ends and direction by the share of cloth along it; as it was where cloth and table are too alike.

    ``light`` (H, W, 3) is the picture in linear light, ``shown`` (H, W) what nothing covers.
    """
    start, end = np.asarray(edge.start_mm), np.asarray(edge.end_mm)
    half = float(np.hypot(*(end - start))) / 2
    middle, unit = (start + end) / 2, (end - start) / (2 * half)
    out = np.array([unit[1], -unit[0]])
    out = out if out @ _FACING[edge.side] > 0 else -out
    fitted = None
    for _ in range(_PASSES):
        fitted = _line(middle, unit, out, half, (light, shown, square))
        if fitted is None:
            return edge
        inset, slope, u95, scatter = fitted
        middle = middle - inset * out
        unit = (unit - slope * out) / math.hypot(1.0, slope)
        out = np.array([unit[1], -unit[0]]) * (1 if np.array([unit[1], -unit[0]]) @ out > 0 else -1)
    lie = 2 * math.sqrt(2) * _LIE_MM / (2 * half)
    direction = folded_deg(math.degrees(math.atan2(-unit[1], unit[0])))
    ends = (middle - half * unit, middle + half * unit)
    return replace(
        edge,
        start_mm=(float(ends[0][0]), float(ends[0][1])),
        end_mm=(float(ends[1][0]), float(ends[1][1])),
        direction_deg=Estimate(direction, math.hypot(math.degrees(math.hypot(u95, lie)), _LEAST_U95_DEG)),
        scatter_mm=scatter,
    )


_FACING = {"top": (0.0, -1.0), "bottom": (0.0, 1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}


def linear_light(rgb: np.ndarray) -> Floats:
    """Linear light (..., 3), 1 for white, of sRGB (..., 3) uint8."""
    return np.asarray(linear(np.arange(256) / 255).astype(np.float32)[rgb])


def _line(
    middle: Doubles, unit: Doubles, out: Doubles, half: float, seen: tuple[Floats, Mask, SquareOn]
) -> tuple[float, float, float, float] | None:
    """How far the edge lies inwards of the middle, mm, its slope inwards, the slope's u95 and the scatter, mm."""
    light, shown, square = seen
    q = square.px_per_mm
    step = max(1 / q, _LINES_MM)
    along, across = np.arange(-half, half, step), np.arange(-_OUT_MM, _IN_MM, max(_SAMPLE_PX / q, _SAMPLE_MM))

    def at(inwards: Doubles) -> Floats:
        place = middle + along[:, None, None] * unit - inwards[None, :, None] * out
        return np.moveaxis(((place - np.asarray(square.origin_mm)) * q).astype(np.float32), 2, 0)

    def seen_at(inwards: Doubles) -> Floats:
        x, y = at(inwards)
        seen = cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(seen, dtype=np.float32)

    x, y = at(across)
    colour = seen_at(across)
    free = cv2.remap(shown.astype(np.uint8), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0) > 0
    bare: Mask = np.asarray(free[:, (across > -_OUT_MM + 0.5) & (across < _CLOTH_FROM_MM + 1)].all(axis=1))
    if bare.sum() < _FEWEST_LINES:
        return None
    narrow, wide, contrast = _shares(colour, seen_at(_FARTHER_MM), across, step)
    low, high = _UNLIKE
    weight = np.clip((contrast - low) / (high - low), 0, 1) * bare
    if (weight > 0).sum() < _FEWEST_LINES:
        return None
    one = _through(narrow, weight, along, across)
    other = _through(wide, weight, along, across)
    apart = abs(one[1] - other[1])
    if apart <= one[2]:
        return one
    return (one[0] + other[0]) / 2, (one[1] + other[1]) / 2, math.hypot(one[2], apart), one[3]


def _through(share: Doubles, weight: Doubles, along: Doubles, across: Doubles) -> tuple[float, float, float, float]:
    """The line to which lines (N,) with shares of cloth (N, J) near the edge reach: as told by ``_line``."""
    step, sample = float(along[1] - along[0]), float(across[1] - across[0])
    inset = _FRAY_MM - share.sum(axis=1) * sample
    unclear = _mean_along((share * (1 - share)).sum(axis=1, keepdims=True) * sample, _UNCLEAR_MM / step)[:, 0]
    weight = weight / (1 + (unclear / (2 * float(np.median(unclear[weight > 0])) + 1e-3)) ** 4)
    return _slope(along, inset, weight * _frayed(inset, weight, step), step)


def _shares(colour: Floats, farther: Floats, across: Doubles, step: float) -> tuple[Doubles, Doubles, Doubles]:
    """The share of cloth (N, J) in each sample near the edge of lines (N, K, 3), and how unlike the table (N,) cloth
    is, in standard deviations of the table's. ``farther`` (N, M, 3) is what the lines show deep in the cloth.

    A sample between table and cloth is as far from both as there is of the other in it: light mixes in proportion.
    It mixes with one of the colours just inside; where a stripe along the edge only begins there, with one of those
    deeper in. Which, cannot always be told: the first share is for the first, the second for either.
    """
    beyond = across < -_BEYOND_MM
    table = _mean_along(np.median(colour[:, beyond], axis=1), _TABLE_MM / step)[:, None].astype(np.float32)
    factor = np.clip((colour * table).sum(2) / np.maximum((table * table).sum(2), 1e-9), _SHADE, _SHINE)
    rest = colour - factor[..., None] * table
    from_table = np.sqrt((rest * rest).sum(2))
    sample = float(across[1] - across[0])
    inner = np.flatnonzero(across > _CLOTH_FROM_MM)[:: max(round(_CLOTH_STEP_MM / sample), 1)]
    near = np.abs(across) <= _FRAY_MM
    edge, edge_from_table = colour[:, near], from_table[:, near]
    nearest = np.full(edge_from_table.shape, np.inf, np.float32)
    lines = np.arange(len(colour))
    for shift in _ALONG_MM:
        beside = colour[np.clip(lines + round(shift / step), 0, len(lines) - 1)]
        for index in inner:
            away = edge - beside[:, index, None]
            np.minimum(nearest, np.einsum("nkc,nkc->nk", away, away), out=nearest)
    noise = float(np.median(from_table[:, beyond])) + _LEAST_NOISE
    inside = (across > 1.0) & (across < _OUT_MM)
    usual = np.median(from_table[:, inside], axis=1)
    narrow = _whole_share(edge_from_table, nearest)
    for deep in np.moveaxis(farther, 1, 0):
        away = edge - deep[:, None]
        plain = np.linalg.norm(deep - table[:, 0], axis=1) < np.maximum(_PLAIN_SHARE * usual, _UNLIKE[1] * noise)
        away[plain] = np.inf
        np.minimum(nearest, np.einsum("nkc,nkc->nk", away, away), out=nearest)
    return narrow, _whole_share(edge_from_table, nearest), usual / noise


def _whole_share(from_table: Floats, nearest: Floats) -> Doubles:
    """The share of cloth (N, K) by how far samples are from the table, and, squared, from the cloth."""
    share = from_table / (from_table + np.sqrt(nearest) + 1e-9)
    return np.asarray(np.clip((share - _BARE) / (_WHOLE - _BARE), 0, 1), dtype=np.float64)


def _frayed(inset: Doubles, weight: Doubles, step: float) -> Mask:
    """Where (N,) an edge is as rough as the most of it."""
    apart = np.abs(inset - _mean_along(inset[:, None], _UNCLEAR_MM / step)[:, 0])
    rough = _mean_along(apart[:, None], _ROUGH_MM / step)[:, 0]
    usual = float(np.quantile(rough[weight > 0], 0.75))
    return np.asarray((rough >= _SMOOTH_SHARE * usual) | (usual < _LEAST_ROUGH_MM))


def _mean_along(values: Doubles | Floats, lines: float) -> Doubles:
    """The mean of values (N, C) over so many lines."""
    size = int(lines) | 1
    mean = cv2.blur(values.astype(np.float64), (1, size), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(mean, dtype=np.float64).reshape(len(values), -1)


def _slope(along: Doubles, inset: Doubles, weight: Doubles, step: float) -> tuple[float, float, float, float]:
    """The robust line through (N,) insets at its middle, its slope, the slope's u95, and the scatter about it.

    Neighbours, ``step`` mm apart, are not independent: what they share is counted as it is found.
    """
    used, trust = weight > 0, weight
    level = slope = scatter = 0.0
    rest, centred = inset, along
    for _ in range(8):
        centred = along - np.average(along, weights=trust)
        level = float(np.average(inset, weights=trust))
        slope = float((trust * centred * inset).sum() / max((trust * centred * centred).sum(), 1e-12))
        rest = inset - level - slope * centred
        scatter = 1.4826 * float(np.median(np.abs(rest[used]))) + 0.02
        trust = weight / (1 + (rest / (3 * scatter)) ** 2) ** 2
    together = round(_TOGETHER_MM / step)
    pull = trust * centred
    push = rest * pull
    own = total = float(push @ push)
    for lag in range(1, min(together, len(push) - 1)):
        total += 2 * (1 - lag / together) * float(push[lag:] @ push[:-lag])
    tufts = scatter**2 * float(pull @ pull) * max(_TUFT_MM / step, 1.0)
    u95 = 2 * math.sqrt(max(total, own, tufts)) / max(float(pull @ centred), 1e-12)
    return level - slope * float(np.average(along, weights=trust)), slope, u95, scatter
