"""Bow: stripes drawn as arcs of a known depth."""

from __future__ import annotations

import numpy as np
import pytest

from vision.bow import measure_bow
from vision.print import measure_print
from vision.square import SquareOn

WIDTH_MM, HEIGHT_MM, SCALE = 300, 400, 3.0
REPEAT_MM = 30.0


def bowed(depth_mm: float, *, seed: int = 4) -> SquareOn:
    """Stripes down the picture whose middle lies ``depth_mm`` to the right of their ends, on a parabola."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0 : HEIGHT_MM * SCALE, 0 : WIDTH_MM * SCALE] / SCALE
    place = x - depth_mm * (1 - ((y - HEIGHT_MM / 2) / (HEIGHT_MM / 2)) ** 2)
    part = (place / REPEAT_MM) % 1.0
    tone = np.select([part < 0.3, part < 0.5], [70.0, 190.0], 130.0)
    grey = np.clip(np.rint(tone + rng.normal(0, 3, tone.shape)), 0, 255).astype(np.uint8)
    return SquareOn(
        rgb=np.repeat(grey[..., None], 3, axis=2), valid=np.ones(grey.shape, bool), px_per_mm=SCALE,
        origin_mm=(0.0, 0.0), length_relative_u95=0.003, angle_u95_deg=0.05,
    )  # fmt: skip


@pytest.mark.parametrize("depth_mm", [0.0, 3.0, -5.0])
def test_bow_is_depth_over_length(depth_mm: float) -> None:
    """Arcs 400 mm long and 3 mm deep bow by 0.75 %: found within 0.1 % and within the stated uncertainty."""
    picture = bowed(depth_mm)
    finding = measure_print(picture, picture.valid)
    assert finding.print is not None
    assert finding.print.across_direction_deg is not None
    bow = measure_bow(finding.evidence.crossings_mm, finding.print.across_direction_deg.value)
    assert bow is not None
    assert bow.value == pytest.approx(100 * depth_mm / HEIGHT_MM, abs=0.1)
    assert abs(bow.value - 100 * depth_mm / HEIGHT_MM) <= bow.u95


def test_too_few_repeats_tell_no_bow() -> None:
    """Two repeats, or none, may bend for any reason."""
    places = np.array([[30.0 * k, y, float(k), 0.1] for k in range(2) for y in range(0, 200, 10)])
    assert measure_bow(places, 0.0) is None
    assert measure_bow(np.zeros((0, 4)), 0.0) is None
