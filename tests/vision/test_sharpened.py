"""What does not repeat leads no search for a repeat astray."""

from __future__ import annotations

import numpy as np
import pytest

from vision import sequence
from vision.profile import Bands
from vision.repeat import refine_repeat


@pytest.mark.parametrize("seed", range(8))
def test_noise_keeps_its_lag(seed: int) -> None:
    """The multiples of a lag that a difference without any repeat leads away from it by less than a sample, and the
    search comes to an end."""
    draw = np.random.default_rng(seed)
    lag = int(draw.integers(2, 12))
    assert abs(sequence._sharpened(draw.random(3000), lag) - lag) <= 1


def test_stripes_that_crowd_keep_their_repeat() -> None:
    """Stripes that crowd towards one side and fan out, as a camera far aslant shows them, have no one repeat: a fit to
    them makes the one that was asked for neither twice as long nor half as short. (One of 4,000 such drawings.)"""
    draw = np.random.default_rng(2544)
    count, length = int(draw.integers(2, 9)), int(draw.integers(200, 800))
    repeat_mm = float(draw.uniform(10, 40))
    u_mm, v_mm = np.arange(length) * 0.5, np.arange(count) * 20.0
    crowding, fanning = draw.uniform(0.3, 3), draw.uniform(-1, 1)
    place = (u_mm / u_mm[-1]) ** crowding * u_mm[-1] * (1 + fanning * v_mm[:, None] / v_mm[-1])
    phase = place / repeat_mm * draw.uniform(0.5, 2) % 1
    light = np.where(phase < 0.3, 60, np.where(phase < 0.7, 160, 220))
    tone = light[..., None] * np.array([1.0, 0.8, 0.6]) + draw.normal(0, 3, (count, length, 3))
    bands = Bands(
        tone=tone.astype(np.float32),
        weight=np.ones((count, length), np.float32),
        u_mm=u_mm,
        v_mm=v_mm,
        step_mm=0.5,
        height_mm=20.0,
        direction_deg=0.0,
        centre_mm=(0.0, 0.0),
    )
    assert repeat_mm / 2 < refine_repeat(bands, repeat_mm).repeat.value < repeat_mm * 2
