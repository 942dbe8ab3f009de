"""An outline never crosses itself: loops are left out, judged by GEOS."""

from __future__ import annotations

import time

import numpy as np
import pytest
import shapely

from vision.verge import uncrossed


@pytest.mark.parametrize("seed", range(6))
def test_a_rough_outline_is_made_simple(seed: int) -> None:
    """A circle of 300 mm whose 400 corners were moved at random by up to 6 mm, so that sides cross, comes out as a
    simple polygon (GEOS), and differs from what GEOS makes valid of it by less than 1 % of its area."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ring = 300 * np.stack([np.cos(turn), np.sin(turn)], axis=1) + rng.uniform(-6, 6, (400, 2))
    ring = np.rint(ring * 64) / 64
    assert not shapely.Polygon(ring).is_valid
    mended = shapely.Polygon(uncrossed(ring))
    assert mended.is_valid
    whole = max(shapely.get_parts(shapely.make_valid(shapely.Polygon(ring))), key=lambda part: part.area)
    assert mended.symmetric_difference(whole).area < 0.01 * whole.area


def test_a_simple_outline_stays() -> None:
    """An outline that neither crosses nor touches itself is given back as it is."""
    ring = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 5.0], [5.0, 2.0], [0.0, 5.0]])
    assert np.array_equal(uncrossed(ring), ring)


def test_a_bow_tie_keeps_its_larger_half() -> None:
    """Of two loops that meet in a crossing the one that holds more is kept, with the crossing as its corner."""
    ring = np.array([[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [-2.0, 12.0]])
    assert shapely.Polygon(uncrossed(ring)).equals(shapely.Polygon([(0, 0), (5, 5), (-2, 12)]))


def test_a_very_ragged_outline_takes_no_time() -> None:
    """An outline of 2000 corners that crosses itself in hundreds of places is made simple (GEOS) in less than half a
    second of computing: a photograph may show a dozen such."""
    rng = np.random.default_rng(5)
    turn = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    ring = 300 * np.stack([np.cos(turn), 0.3 * np.sin(turn)], axis=1) + rng.uniform(-2, 2, (2000, 2))
    start = time.process_time()
    mended = uncrossed(ring)
    assert time.process_time() - start < 0.5
    assert len(mended) < 1900
    assert shapely.Polygon(mended).is_valid
