"""A photograph that does not tell its lens, taken with one much longer than a phone's: the ticks may tell it."""

from __future__ import annotations

import math

import pytest

from tests.vision.test_plane import FOCAL_PX, MIDDLE, SIZE, camera, ruler, true_scale
from vision.photo import ASSUMED_FOCAL_35MM
from vision.plane import Plane, fit_plane

ASSUMED_PX = ASSUMED_FOCAL_35MM * (math.hypot(*SIZE) / 43.2666)


def _plane(focal35_mm: float, tilt_deg: float, azimuth_deg: float) -> tuple[Plane, float]:
    """The plane of a ruler, seen through a lens that nothing tells of, and the scale that is true in the middle of the
    picture."""
    photo = camera(tilt_deg, azimuth_deg, 6.0, focal_px=FOCAL_PX * focal35_mm / 26)
    reading = ruler(photo, place_mm=(-150.0, 120.0), noise_px=0.2, tolerance=0.001)
    return fit_plane([reading], size_px=SIZE, focal_px=ASSUMED_PX), true_scale(photo, MIDDLE)


@pytest.mark.parametrize("azimuth_deg", [20.0, 70.0])
@pytest.mark.parametrize("focal35_mm", [26.0, 55.0, 70.0])
def test_ticks_aslant_to_the_tilt_tell_the_lens(focal35_mm: float, azimuth_deg: float) -> None:
    """What stands square on a plane looks askew by its tilt, and what is evenly apart closes up by tilt over focal
    length: where both are seen, the tilt comes out to 0.8° and the scale to 0.3 %, whatever the lens."""
    plane, scale = _plane(focal35_mm, 16.0, azimuth_deg)
    assert plane.tilt_deg.value == pytest.approx(16.0, abs=0.8)
    assert plane.px_per_mm_at(MIDDLE).value == pytest.approx(scale, rel=0.003)


def test_without_evidence_a_phone_is_believed() -> None:
    """Marks seen from straight above say nothing of the lens: it is the one that phones have, to its usual spread."""
    plane, scale = _plane(45.0, 0.0, 0.0)
    assert math.exp(plane.params[3]) == pytest.approx(ASSUMED_PX.value, rel=0.02)
    assert math.sqrt(plane.covariance[3, 3]) == pytest.approx(ASSUMED_PX.relative_u95 / 2, rel=0.1)
    assert plane.px_per_mm_at(MIDDLE).value == pytest.approx(scale, rel=0.01)
