"""What lies on a cloth or beside it and was taken for cloth: found because stripes are alike along themselves.

Every band of a family of stripes shows the same colours at the same phase of the repeat. Where some bands do and others
do not, the others show something else: a second ruler, a shadow, a corner of the table. They are left out. Where no
band does, it is print, and stays: so leaving out never makes a repeat of what is none.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from scipy.ndimage import minimum_filter1d

from vision.change import LASTING_MM, SAME_LOOK
from vision.colour import ciede2000
from vision.profile import Bands
from vision.repeat import RepeatFit, refine_repeat
from vision.swatch import TONE_SHIFT, Doubles, Mask

#: A place differs from its phase's usual look by this CIEDE2000 where it is something else: uneven light along the
#: stripes stays within once the light's own parabola is taken out (twice what passes for the same look).
OTHER_LOOK = 2 * SAME_LOOK
#: A place across the stripes is known by the bands that show its usual look; fewer than this share of them do not tell
#: it from print.
LEAST_ALIKE = 0.2
#: What lies on cloth hides one stretch of a line along the stripes, or two; a check's crossing stripes hide many.
MOST_STRETCHES = 2
#: Many stretches are parts of one thing where they all lie within this share of the line.
LONGEST_SHARE = 0.7
#: More than this share of what is seen is not hidden by rulers, a shadow or a corner (one ruler of our scenes hides
#: 0.15, two on a small cloth 0.37).
MOST_HIDDEN = 0.4
#: What lies on cloth has soft sides and a shadow, mm.
_SIDE_MM = 2.0
_MOST_SAMPLES = 400


def without_blemishes(bands: Bands, repeat_mm: float) -> Bands | None:
    """The bands less what does not look as the rest does at its phase of a supposed repeat; None where that is nothing,
    or more than what may lie on a cloth."""
    fit = refine_repeat(bands, repeat_mm)
    size = int(np.clip(round(fit.repeat.value / bands.step_mm), 12, _MOST_SAMPLES))
    places, phase, tones, seen = _laid_out(bands, fit, size)
    cells = tones.reshape(len(tones), -1, size, 3)
    covered = seen.reshape(*cells.shape[:3])
    usual = _usual(cells, covered)
    light = _light(bands, fit, places, tones, np.tile(usual, (cells.shape[1], 1)), seen)
    usual = _usual((tones / light[..., None]).reshape(cells.shape), covered)
    other = _differs(tones / light[..., None], np.tile(usual, (cells.shape[1], 1)), fit.repeat.value / size) & seen
    other = _lying_on(other, seen) | _ends(other, seen)[None, :]
    side = 2 * round(_SIDE_MM / fit.repeat.value * size) + 1
    grown = cv2.dilate(other.astype(np.uint8), np.ones((3, max(side, 1)), np.uint8)).astype(np.float64)
    hidden = np.stack([np.interp(phase[j], places, grown[j], left=0, right=0) > 0 for j in range(len(grown))])
    shown = bands.weight > 0
    if not 0 < (hidden & shown).sum() <= MOST_HIDDEN * shown.sum():
        return None
    return replace(bands, weight=np.asarray(bands.weight * ~hidden, dtype=np.float32))


def _lying_on(other: Mask, seen: Mask) -> Mask:
    """What (B, M) differs as a thing that lies on the cloth does, column by column: in few stretches, or (where a
    check's crossing stripes were taken out of the thing too, and it agrees by chance) within a part of the column."""
    inside = np.logical_or.accumulate(other, axis=0) & np.logical_or.accumulate(other[::-1], axis=0)[::-1]
    short = (inside & seen).sum(axis=0) <= LONGEST_SHARE * seen.sum(axis=0)
    few = (np.diff(np.pad(other.astype(np.int8), ((1, 0), (0, 0))), axis=0) > 0).sum(axis=0) <= MOST_STRETCHES
    thing = np.where(few[None, :], other, inside & short[None, :])
    alike = (seen & ~thing).sum(axis=0) >= LEAST_ALIKE * seen.sum(axis=0)
    return np.asarray(thing & alike[None, :])


def _ends(other: Mask, seen: Mask) -> Mask:
    """The places (M,) at either end where nearly all that is seen differs, as where the cloth has come to an end."""
    odd = (other & seen).sum(axis=0) > (1 - LEAST_ALIKE) * seen.sum(axis=0)
    odd_there = np.where(seen.any(axis=0), np.where(odd, 1.0, -1.0), 0.0)
    inside = np.ones(len(odd), bool)
    for way in (slice(None), slice(None, None, -1)):
        more = np.cumsum(odd_there[way])
        if more.max() > 0:
            inside[way][: int(np.argmax(more)) + 1] = False
    return ~inside


def _laid_out(bands: Bands, fit: RepeatFit, size: int) -> tuple[Doubles, Doubles, Doubles, Mask]:
    """Even places in the phase, ``size`` to a repeat; the bands' own phases; tone (B, M, 3) there and what is seen."""
    u, v = np.broadcast_arrays(bands.u_mm[None, :], bands.v_mm[:, None])
    phase = fit.phase(np.asarray(u), np.asarray(v))
    low, high = int(np.floor(phase.min())), int(np.ceil(phase.max()))
    places = low + (np.arange((high - low) * size) + 0.5) / size
    tones = np.empty((len(phase), len(places), 3))
    seen = np.zeros((len(phase), len(places)), bool)
    for j, weight in enumerate(bands.weight):
        seen[j] = np.interp(places, phase[j], (weight > 0).astype(np.float64), left=0, right=0) > 0.99
        for channel in range(3):
            tones[j, :, channel] = np.interp(places, phase[j], bands.tone[j, :, channel])
    return places, phase, tones, seen


def _usual(cells: Doubles, covered: Mask) -> Doubles:
    """The usual look (N, 3) of each phase: the median over bands and repeats of cells (B, K, N, 3)."""
    flat = np.where(covered[..., None], cells, np.nan).reshape(-1, *cells.shape[2:])
    bare = ~covered.any(axis=(0, 1))
    flat[0, bare] = 0.0
    return np.asarray(np.nanmedian(flat, axis=0), dtype=np.float64)


def _light(bands: Bands, fit: RepeatFit, places: Doubles, tones: Doubles, usual: Doubles, seen: Mask) -> Doubles:
    """The light (B, M) as a factor on tone: the exponential of a parabola in both ways, robustly fitted."""
    common, energy = (tones * usual).sum(-1), (usual * usual).sum(-1)
    ratio = np.log(np.clip(common / np.maximum(energy, 1e-9), 0.2, 5.0))
    x = np.broadcast_to(np.linspace(-1, 1, len(places))[None, :], seen.shape)
    y = np.broadcast_to(np.linspace(-1, 1, len(tones))[:, None], seen.shape)
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    rows, target = basis[seen][::7], ratio[seen][::7]
    weight = np.ones(len(target))
    solution = np.zeros(basis.shape[-1])
    for _ in range(6):
        normal = rows.T @ (rows * weight[:, None]) + 1e-6 * np.eye(basis.shape[-1])
        solution = np.linalg.solve(normal, rows.T @ (target * weight))
        rest = target - rows @ solution
        weight = 1 / (1 + (rest / (2.5 * float(np.median(np.abs(rest))) + 1e-6)) ** 2) ** 2
    return np.asarray(np.exp(basis @ solution), dtype=np.float64)


def _differs(tones: Doubles, usual: Doubles, step_mm: float) -> Mask:
    """Where (B, M) the tone differs lastingly from the usual look, a sample's play allowed at the edges."""
    change = np.full(tones.shape[:2], np.inf)
    for shift in (-1, 0, 1):
        moved = np.roll(usual, shift, axis=0) - TONE_SHIFT
        change = np.minimum(change, ciede2000(tones - TONE_SHIFT, np.broadcast_to(moved, tones.shape)))
    length = max(round(LASTING_MM / step_mm), 2)
    return np.asarray(minimum_filter1d(change, length, axis=1) > OTHER_LOOK)
