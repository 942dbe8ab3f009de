"""What is no print, and must neither hide a repeat nor make one: the cloth's border, a speck, a ruler across it."""

from __future__ import annotations

import numpy as np
import pytest

from vision.family import Family, measured
from vision.profile import Bands
from vision.sequence import find_repeat
from vision.swatch import Swatch

TONES = {
    "A": (40.0, 30.0, 10.0),
    "B": (90.0, 0.0, 0.0),
    "C": (60.0, -20.0, 20.0),
    "d": (27.0, 0.0, 0.0),
    "e": (56.0, 35.0, 35.0),
}
#: Two colours in twelve stripes, said forwards and back: many long lags come near to a repeat.
TO_AND_FRO = (6.6, 6.4, 5.6, 5.7, 4.7, 6.0, 5.4, 6.0, 4.7, 5.7, 5.6, 6.4)
_STEP_MM = 0.25


def _printed(widths_mm: tuple[float, ...], letters: str, length_mm: float, start_mm: float = 0.0) -> np.ndarray:
    """The profile (N, 3) of a print without noise."""
    ends = np.cumsum(widths_mm)
    place = (np.arange(round(length_mm / _STEP_MM)) * _STEP_MM + start_mm) % ends[-1]
    return np.array([TONES[letters[k]] for k in np.searchsorted(ends, place, side="right")])


def _found(profile: np.ndarray, same_look: float = 2.25) -> float | None:
    noisy = profile + np.random.default_rng(5).normal(0, 0.2, profile.shape)
    return find_repeat(noisy, np.ones(len(noisy)), _STEP_MM, same_look)


@pytest.mark.parametrize("end", [slice(0, 8), slice(-8, None)])
def test_a_border_of_another_colour_does_not_hide_the_repeat(end: slice) -> None:
    """Three repeats of three stripes, the last 2 mm the shadow that lies along a cloth's end."""
    profile = _printed((6.0, 6.0, 7.0), "ABC", 56.0)
    profile[end] *= 0.8
    assert _found(profile) == pytest.approx(19.0, rel=0.01)


def test_a_stripe_at_the_border_that_is_wider_than_a_fringe_counts() -> None:
    """Six millimetres of another colour at the end are a stripe: the three before it are no whole repeat."""
    profile = _printed((6.0, 6.0, 7.0), "ABC", 56.0)
    profile[-24:] = (20.0, 0.0, -40.0)
    assert _found(profile) is None


def test_a_speck_does_not_hide_the_repeat() -> None:
    """Two colours three and a half times, a millimetre near the end slightly darker, by CIEDE2000 3: no stripe is so
    narrow, and nothing can show whether it comes back."""
    profile = _printed((16.0, 18.7), "AB", 119.0)
    profile[394:398] *= 0.94
    assert _found(profile) == pytest.approx(34.7, rel=0.01)


def _under_a_ruler(
    from_mm: float, to_mm: float, bands: slice, length_mm: float, start_mm: float, yellow: float
) -> Bands:
    """Thirty-two bands of the stripes to and fro, on some of which something light lies."""
    one = _printed(TO_AND_FRO, "de" * 6, length_mm, start_mm)
    tone = np.repeat(one[None], 32, axis=0) + np.random.default_rng(3).normal(0, 0.3, (32, *one.shape))
    tone[bands, round(from_mm / _STEP_MM) : round(to_mm / _STEP_MM)] = (90.0, -yellow / 4, yellow)
    u_mm = np.arange(len(one)) * _STEP_MM
    return Bands(
        tone=tone.astype(np.float32),
        weight=np.full(tone.shape[:2], 6, np.float32),
        u_mm=u_mm - u_mm.mean(),
        v_mm=(np.arange(32) - 15.5) * 10,
        step_mm=_STEP_MM,
        height_mm=10.0,
        centre_mm=(0.0, 0.0),
        direction_deg=0.0,
    )


@pytest.mark.parametrize(
    "bands",
    [
        _under_a_ruler(200.0, 300.0, slice(2, 30), 480.0, 0.0, 5.0),
        _under_a_ruler(178.9, 250.6, slice(11, 28), 374.5, 14.4, 31.0),
    ],
)
def test_what_lies_across_the_middle_makes_no_long_repeat(bands: Bands) -> None:
    """A long lag compares the middle with nothing, and allows edges so much play that it need not even be a whole
    number of repeats: of 68.8 mm that, or none, is told, and never 264 or 344 mm."""
    nothing = Swatch(rgb=np.zeros((1, 1, 3), np.uint8), mask=np.zeros((1, 1), bool), px_per_mm=1.0, origin_mm=(0, 0))
    fit = measured(bands, Family(direction_deg=0.0, variance=1.0, look=nothing)).fit
    assert fit is None or fit.repeat.value == pytest.approx(sum(TO_AND_FRO), rel=0.01)
