"""The repeat of stripes on which a shadow lies, against the repeat that they were drawn with.

A change of light scales L* + 16, a* and b* by the cube root of what is left of it (CIE 15).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vision.sequence import find_repeat

STEP_MM = 0.2
TEAL, NAVY, OCHRE, RUST = (96.0, -26.0, 4.0), (46.0, -4.0, -26.0), (74.0, 8.0, 44.0), (50.0, 30.0, 24.0)
CREAM, GREY = (106.0, 0.0, 8.0), (80.0, 0.0, 2.0)


def _striped(
    tones: tuple[tuple[float, float, float], ...], widths_mm: tuple[float, ...], turns: float
) -> NDArray[np.float64]:
    """A profile (N, 3) of so many repeats, its edges soft, its yarns uneven."""
    ends = np.cumsum(widths_mm)
    place = np.arange(0.0, turns * ends[-1], STEP_MM) % ends[-1]
    sharp = np.asarray(tones)[np.searchsorted(ends, place, side="right").clip(0, len(ends) - 1)]
    return gaussian_filter1d(sharp, 0.25 / STEP_MM, axis=0) + np.random.default_rng(7).normal(0, 0.3, sharp.shape)


def _shaded(
    profile: NDArray[np.float64], middle: float, half_mm: float, rim_mm: float, left: float
) -> NDArray[np.float64]:
    """The profile with a shadow about a share of its length: so much of the light is left in it, its rims soft."""
    far = np.abs(np.arange(len(profile)) - middle * len(profile)) * STEP_MM
    dark = gaussian_filter1d((far < half_mm).astype(np.float64), rim_mm / STEP_MM, mode="nearest")
    return np.asarray(profile * np.cbrt(1 - (1 - left) * dark)[:, None])


@pytest.mark.parametrize("middle", [0.15, 0.4, 0.55, 0.8])
@pytest.mark.parametrize(("half_mm", "rim_mm"), [(20.0, 5.0), (30.0, 12.0), (45.0, 18.0)])
@pytest.mark.parametrize("left", [0.35, 0.6])
def test_a_hand_s_shadow_hides_no_repeat(middle: float, half_mm: float, rim_mm: float, left: float) -> None:
    """Five repeats of 33 mm, over a part of which a shadow takes up to two thirds of the light, are of 33 mm."""
    profile = _striped((TEAL, NAVY, TEAL, OCHRE, RUST, NAVY), (11.0, 4.2, 3.8, 8.0, 1.8, 4.2), 5.3)
    shaded = _shaded(profile, middle, half_mm, rim_mm, left)
    assert find_repeat(shaded, np.ones(len(shaded)), STEP_MM) == pytest.approx(33.0, rel=0.005)


@pytest.mark.parametrize("middle", np.linspace(0.1, 0.9, 9).tolist())
@pytest.mark.parametrize("share", [0.88, 1.12])
@pytest.mark.parametrize("other", [0, 1])
def test_a_shadow_does_not_make_two_shades_one(middle: float, share: float, other: int) -> None:
    """A B A′ B of 44 mm, A′ lighter or darker than A as a shadow would make it (CIEDE2000 of 7 and more), on which a
    shadow lies besides that takes a quarter of the light: the repeat is of four stripes or not to be told, never of
    two (22 mm)."""
    tones = [CREAM, GREY, CREAM, GREY]
    tones[other] = (tones[other][0] * share, tones[other][1] * share, tones[other][2] * share)
    profile = _striped(tuple(tones), (13.0, 9.0, 13.0, 9.0), 4.6)
    shaded = _shaded(profile, middle, 25.0, 10.0, 0.75)
    found = find_repeat(shaded, np.ones(len(shaded)), STEP_MM)
    assert found is None or found == pytest.approx(44.0, rel=0.01)


def test_two_repeats_in_a_shadow_are_not_told() -> None:
    """Of little more than two repeats nothing tells a shadow's rim from a stripe of another shade seen once."""
    profile = _striped((TEAL, NAVY, TEAL, OCHRE, RUST, NAVY), (11.0, 4.2, 3.8, 8.0, 1.8, 4.2), 2.3)
    shaded = _shaded(profile, 0.3, 20.0, 6.0, 0.4)
    found = find_repeat(shaded, np.ones(len(shaded)), STEP_MM)
    assert found is None
