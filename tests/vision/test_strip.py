"""Grey values at places of a pyramid. Truth: a picture whose grey is known at every place."""

from __future__ import annotations

import numpy as np
import pytest

from vision.reference.strip import sample


@pytest.mark.parametrize("shape", [(40_000,), (3, 40_000), (40_000, 3), (200, 7)])
def test_however_many_places_each_has_its_own_grey(shape: tuple[int, ...]) -> None:
    """A grey ramp from left to right, 2 levels a pixel, looked at wherever, even at more places than a side can have:
    each shows twice its column."""
    ramp = np.repeat(2 * np.arange(100, dtype=np.uint8)[None], 20, axis=0)
    places = np.random.default_rng(1).uniform((0.0, 0.0), (99.0, 19.0), (*shape, 2))
    seen = sample([ramp], 0, places)
    assert seen.shape == shape
    assert np.abs(seen - 2 * places[..., 0]).max() < 0.6  # OpenCV rounds places to 1/32 px, and greys to whole ones
