"""Where the ticks of a ruler stand, however many are worn off there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.row import comb
from vision.reference.ruler import _standing

TICKS, STEEP, SCATTER_PX = 150, 0.07, 0.5


@pytest.mark.parametrize("stretches", [((0, 18), (30, 52)), ((54, 76), (120, 150)), ((0, 18), (132, 150))])
def test_ticks_stand_on_the_straight_edge_that_most_begin_at(stretches: tuple[tuple[int, int], ...]) -> None:
    """Ticks begin on a straight edge, 4 degrees off the line they are followed along, to half a pixel, but in two
    stretches, a third of all, up to 24 px inside it: all are taken to stand within 2 px of that edge, and the scatter
    that is told is that of the sound ones or little more, less than 1 px (the geometry drawn)."""
    rng = np.random.default_rng(4)
    index = np.arange(TICKS)
    feet = STEEP * (index - TICKS / 2) * 6.0 - 5 + rng.normal(0, SCATTER_PX, TICKS)
    edge = STEEP * (index - TICKS / 2) * 6.0 - 5
    tops = edge + np.where(index % 10 == 0, 70.0, np.where(index % 5 == 0, 55.0, 40.0))
    for first, last in stretches:
        feet[first:last] += rng.uniform(4, 24, last - first)
    row = replace(comb(TICKS), reach_px=np.stack([feet, tops], axis=1))
    stand, sigma_px = _standing(row)
    assert np.abs(stand[:, 1] - row.places_px[:, 1] - edge).max() < 4 * SCATTER_PX
    assert 0.7 * SCATTER_PX < sigma_px < 1.0


def test_ticks_that_run_on_into_stripes_beyond_the_edge_stand_on_it_all_the_same() -> None:
    """A sixth of the ticks go on 80 px beyond the edge that all stand on, as where light stripes lie beside a dark
    ruler: that edge counts, not the other ends, of which half, a quarter, an eighth lie farther out (sixteenths)."""
    rng = np.random.default_rng(4)
    index = np.arange(TICKS)
    feet = -5 + rng.normal(0, SCATTER_PX, TICKS)
    tops = 20 + 9.0 * sum(index % every == 0 for every in (2, 4, 8, 16))
    feet[2::6] -= 80
    row = replace(comb(TICKS), reach_px=np.stack([feet, tops], axis=1))
    stand, sigma_px = _standing(row)
    assert np.abs(stand[:, 1] - row.places_px[:, 1] + 5).max() < 4 * SCATTER_PX
    assert sigma_px < 1.0
