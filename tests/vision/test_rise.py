"""A tape whose end stands up from the table, projected by a camera of our own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.test_plane import FOCAL_PX, MIDDLE, camera, fitted, ruler, seen, true_scale

Floats = NDArray[np.float64]


def seen_above(photo: Floats, mm: Floats) -> Floats:
    """Points (N, 3) with a height over the table, towards the camera, of the photo's main lens."""
    lens = np.array([[FOCAL_PX, 0, MIDDLE[0]], [0, FOCAL_PX, MIDDLE[1]], [0, 0, 1.0]])
    turn = np.linalg.inv(lens) @ photo
    away = lens @ np.cross(turn[:, 0], turn[:, 1])
    homogeneous = np.column_stack([mm[:, :2], np.ones(len(mm))]) @ photo.T - mm[:, 2:] * away
    return homogeneous[:, :2] / homogeneous[:, 2:]


@pytest.mark.parametrize("away_mm", [0.0, 60.0], ids=["below the lens", "aside of it"])
@pytest.mark.parametrize(("rise_mm", "reach_mm"), [(0.0, 90.0), (4.0, 60.0), (8.5, 90.0), (12.0, 120.0)])
def test_a_tape_whose_end_rises_is_noticed_and_allowed_for(rise_mm: float, reach_mm: float, away_mm: float) -> None:
    """200 mm of a tape seen from half a metre, straight along the table, its end up to 12 mm over it: its millimetres
    grow by up to 2.4 % there, and where the tape runs below the lens, it does not even bend sideways. Scale on the
    table beside it within 0.5 %, and within what is stated; a tape that lies flat is not said to rise."""
    photo = camera(12.0, 90.0, 6.0)
    s = np.arange(201.0) - 100.0
    share = np.clip((s - 100.0 + reach_mm) / reach_mm, 0, None)
    height = rise_mm * share**2
    x = np.concatenate([[0.0], np.cumsum(np.sqrt(1 - np.diff(height) ** 2))]) - 100.0
    ends = [seen_above(photo, np.column_stack([x, np.full(s.size, y), height])) for y in (away_mm, away_mm + 4.0)]
    body = np.array([[-100.0, -8.0], [100.0, -8.0], [100.0, 8.0], [-100.0, 8.0]])
    rng = np.random.default_rng(5)
    tape = replace(
        ruler(photo),
        marks_mm=np.column_stack([s, 0 * s]),
        marks_px=ends[0] + rng.normal(0, 0.1, (s.size, 2)),
        marks_sigma_px=np.full(s.size, 0.5),
        ticks_px=np.stack(ends, axis=1) + rng.normal(0, 0.1, (s.size, 2, 2)),
        ticks_sigma_px=np.full(s.size, 0.1),
        names=("",) * s.size,
        outline_px=seen(photo, body + np.array([0.0, away_mm])),
    )
    plane = fitted(tape)
    x_px, y_px = seen(photo, np.array([[0.0, away_mm - 60.0]]))[0]
    scale, true = plane.px_per_mm_at((x_px, y_px)), true_scale(photo, (x_px, y_px))
    assert plane.rises == (rise_mm > 0)
    assert scale.value == pytest.approx(true, rel=0.005)
    assert abs(scale.value - true) <= scale.u95
