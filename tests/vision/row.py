"""A row of ticks as it is followed, of which tests change what they are about."""

from __future__ import annotations

import numpy as np

from vision.reference.comb import Comb


def comb(ticks: int) -> Comb:
    """Ticks 6 px apart along a row of the picture."""
    index = np.arange(ticks)
    places = np.stack([6.0 * index, np.full(ticks, 100.0)], axis=1)
    down = np.tile([0.0, 1.0], (ticks, 1))
    return Comb(
        index=index,
        places_px=places,
        ends_px=np.stack([places - 5 * down, places + 5 * down], axis=1),
        reach_px=np.tile([-5.0, 5.0], (ticks, 1)),
        lean=down,
        spacing_px=np.full(ticks, 6.0),
        axis=np.array([1.0, 0.0]),
        tick=np.array([0.0, 1.0]),
        period_px=6.0,
        middle_px=0.0,
        band_px=10.0,
        sigma_px=0.1,
        evenness=0.01,
        contrast=40.0,
        dark=True,
    )
