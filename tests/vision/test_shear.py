"""Tapes whose ticks stay parallel while their line bends, projected by a camera of our own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.harsh import draw
from tests.makers.shot import shoot
from tests.vision.test_measure import photo_of
from tests.vision.test_plane import FOCAL_PX, SIZE, camera, fitted, ruler, seen, true_scale
from vision.estimate import Estimate
from vision.measure import measure_photo
from vision.plane import fit_plane
from vision.reference.reading import Reading

Floats = NDArray[np.float64]


def slid(photo: Floats, bow_per_mm: float, slope: float, down_mm: float = 0.0, tick_mm: float = 4.0) -> Reading:
    """300 mm of a tape 16 mm wide whose columns were moved along themselves, its scale ``down_mm`` from its edge."""
    s = np.arange(301.0) - 150.0
    course = s * slope + bow_per_mm * s**2 / 2
    rng = np.random.default_rng(3)
    edges = [seen(photo, np.column_stack([s, course + y + 60.0])) for y in (down_mm, down_mm + tick_mm)]
    rims = [seen(photo, np.column_stack([s, course + y + 60.0])) for y in (0.0, 16.0)]
    return replace(
        ruler(photo),
        marks_mm=np.column_stack([s, 0 * s]),
        marks_px=edges[0] + rng.normal(0, 0.1, (s.size, 2)),
        marks_sigma_px=np.full(s.size, 0.1),
        ticks_px=np.stack(edges, axis=1) + rng.normal(0, 0.1, (s.size, 2, 2)),
        ticks_sigma_px=np.full(s.size, 0.1),
        names=("",) * s.size,
        outline_px=np.concatenate([rims[0][::10], rims[1][::-10]]),
    )


@pytest.mark.parametrize("tilt_deg", [2.0, 14.0])
@pytest.mark.parametrize(("bow_per_mm", "slope"), [(4e-4, 0.06), (-7e-4, 0.25)])
def test_a_tape_whose_ticks_stay_parallel_does_not_tilt_the_camera(
    bow_per_mm: float, slope: float, tilt_deg: float
) -> None:
    """300 mm of a tape seen from 680 mm, its columns moved along themselves so that its line bends by 4 to 8 mm and its
    ticks do not fan out. Tilt within a degree and a half, scale in the middle of the picture within half a per cent,
    both within what is stated."""
    photo = camera(tilt_deg, 40.0, 4.0)
    plane = fitted(slid(photo, bow_per_mm, slope))
    scale, true = plane.px_per_mm_at((SIZE[0] / 2, SIZE[1] / 2)), true_scale(photo, (SIZE[0] / 2, SIZE[1] / 2))
    assert plane.sheared
    assert plane.curled
    assert abs(plane.tilt_deg.value - tilt_deg) < min(1.5, 1.5 * plane.tilt_deg.u95)
    assert abs(scale.value - true) < min(0.005 * true, 1.5 * scale.u95)


def test_both_scales_of_a_tape_whose_ticks_stay_parallel_are_used() -> None:
    """Two scales along the edges of such a tape, a quarter longer along its line than square to its ticks: neither is
    left out for its length or for ticks that are not square to it."""
    photo = camera(6.0, 100.0, 4.0)
    both = [slid(photo, -7e-4, 0.25), slid(photo, -7e-4, 0.25, down_mm=16.0, tick_mm=-4.0)]
    plane = fit_plane(both, size_px=SIZE, focal_px=Estimate(FOCAL_PX, 0.05 * FOCAL_PX))
    assert len(plane.readings) == 2
    assert plane.tilt_deg.value == pytest.approx(6.0, abs=1.0)


def test_a_tape_that_only_an_impossible_lens_would_explain_gives_no_scale() -> None:
    """A short tape curls so that the best fit is a lens that bends lines by a fifth, and a scale 29 % off: no scale is
    given, and the tape is to be laid flat."""
    drawn = draw(99671)
    focal35_mm = round(drawn.shot.camera.focal35_mm) if drawn.shot.focal_known else None
    measured = measure_photo(photo_of(shoot(drawn.shot), focal35_mm)).measurement
    assert measured.scale is None
    assert any("straight and flat" in warning for warning in measured.warnings)
