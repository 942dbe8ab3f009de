"""A cloth's outline in another plane, against the points of the photo that it was seen at."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.laid import plane
from vision.cloth import ClothRegion
from vision.edge import ClothEdge
from vision.estimate import Estimate
from vision.transfer import bent_mm, carried

CORNERS = ((-100.0, -80.0), (140.0, -80.0), (140.0, 90.0), (-100.0, 90.0))


def _cloth() -> ClothRegion:
    top = ClothEdge(
        side="top", start_mm=CORNERS[0], end_mm=CORNERS[1], direction_deg=Estimate(0.0), length_mm=240.0, scatter_mm=0.1
    )
    return ClothRegion(
        mask=np.ones((2, 2), np.bool_),
        outline_mm=CORNERS,
        holes_mm=((CORNERS[0], CORNERS[1], CORNERS[2]),),
        u95_mm=0.5,
        edges=(top,),
        touches_frame=False,
    )


def test_a_carried_cloth_is_seen_where_it_was() -> None:
    """Carried into a plane that is tilted otherwise, outline, hole and side are at the same pixels of the photo."""
    before, after = plane(0.0, 0.0), plane(0.05, 0.0)
    there = carried(_cloth(), before, after)
    for old, new in ((CORNERS, there.outline_mm), (_cloth().holes_mm[0], there.holes_mm[0])):
        assert after.to_px(np.array(new)) == pytest.approx(before.to_px(np.array(old)), abs=1e-6)
    start, end = there.edges[0].start_mm, there.edges[0].end_mm
    drawn = np.degrees(np.arctan2(start[1] - end[1], end[0] - start[0]))
    assert there.edges[0].direction_deg.value == pytest.approx(drawn, abs=1e-9)


def test_a_tilt_bends_no_side_but_a_lens_does() -> None:
    """Straight lines stay straight in any homography (geometry); a lens with k1 of 0.05 bends one 80 mm off the
    picture's middle by the millimetres that its formula says."""
    assert bent_mm(_cloth(), plane(0.0, 0.0), plane(0.05, 0.0)) < 1e-6
    k1, focal_mm = 0.05, 480.0

    def straightened(x: float, y: float) -> np.ndarray:
        # to the first order in k1: p (1 - k1 r² / f²)
        return np.array([x, y]) * (1 - k1 * (x * x + y * y) / focal_mm**2)

    first, middle, last = straightened(-100, -80), straightened(20, -80), straightened(140, -80)
    along = (last - first) / np.hypot(*(last - first))
    sag = abs((middle - first)[0] * along[1] - (middle - first)[1] * along[0])
    assert sag > 0.2
    assert bent_mm(_cloth(), plane(0.0, 0.0), plane(0.0, k1)) == pytest.approx(sag, rel=0.05)
