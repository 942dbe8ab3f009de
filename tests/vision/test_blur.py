"""Stripes whose edges are blurred in light, in stored numbers, or in between: none comes out wider for it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from vision.blur import fit_edges
from vision.colour import encoded, srgb_to_lab
from vision.estimate import Estimate
from vision.stripes import Fold, cut, to_stripes
from vision.swatch import TONE_SHIFT, Doubles

REPEAT_MM, SAMPLES = 9.0, 240
DARK, PALE = (0.02, 0.03, 0.08), (0.80, 0.78, 0.70)


def _blurred(power: float, dark_mm: float, blur_mm: float) -> Doubles:
    """One repeat (N, 3) in linear light: a dark stripe from 2 mm on pale cloth, blurred in a power of light.

    A step that is blurred by a Gaussian is the error function of its distance (Abramowitz, Stegun, 7.1, from memory).
    """
    place = (np.arange(SAMPLES) + 0.5) * REPEAT_MM / SAMPLES
    dark = 0.5 * (erf((place - 2) / (blur_mm * 2**0.5)) - erf((place - 2 - dark_mm) / (blur_mm * 2**0.5)))
    first, second = np.array(DARK) ** power, np.array(PALE) ** power
    noise = np.random.default_rng(3).normal(0, 0.002, (SAMPLES, 3))
    shown = (second + dark[:, None] * (first - second)) ** (0.45 / power) + noise
    return np.asarray(np.maximum(shown, 0) ** (1 / 0.45))


@pytest.mark.parametrize("power", [0.45, 0.6, 0.8, 1.0])
def test_edges_tell_what_was_blurred(power: float) -> None:
    """The power of light in which edges are symmetric is the one that was blurred, to a tenth."""
    edges = fit_edges(_blurred(power, 4.0, 0.3), REPEAT_MM / SAMPLES, np.array([2.2, 5.7]), 1.0)
    assert edges.power == pytest.approx(power, abs=0.1)
    assert edges.blur_mm == pytest.approx(0.3, rel=0.05)


@pytest.mark.parametrize("power", [0.45, 1.0])
@pytest.mark.parametrize("dark_mm", [2.0, 4.0])
def test_widths_hold_whatever_was_blurred(power: float, dark_mm: float) -> None:
    """A dark stripe on pale cloth is as wide as it is, to a seventh of the blur and to its uncertainty, whether a lens
    blurred the light or a program the numbers."""
    lab = srgb_to_lab((encoded(_blurred(power, dark_mm, 0.35)) * 255).astype(np.float32) / 255)
    sequence = cut(Fold(tone=lab + TONE_SHIFT, step_mm=REPEAT_MM / SAMPLES, repeat_mm=REPEAT_MM))
    assert sequence is not None
    stripes, _ = to_stripes(sequence, Estimate(REPEAT_MM, 0.0))
    assert len(stripes) == 2
    width = stripes[1].width  # the widest comes first
    assert abs(width.value - dark_mm) < min(0.05, 1.2 * width.u95)
