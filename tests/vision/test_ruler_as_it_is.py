"""Rulers as they are: close up and speckled, short of ticks, faint, dark, oblique, beside other things."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from vision.reference.reading import Reading
from vision.reference.ruler import read_rulers

Picture = NDArray[np.uint8]


def px_per_mm_of(reading: Reading) -> float:
    span_px = np.hypot(*(reading.marks_px[-1] - reading.marks_px[0]))
    return float(span_px / abs(reading.marks_mm[-1, 0] - reading.marks_mm[0, 0]))


def as_photo(grey: NDArray[np.float64], *, blur_px: float = 0.7, noise: float = 1.5) -> Picture:
    """A picture (H, W, 3) of light and dark (0 to 255), softened and with noise."""
    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), blur_px)
    soft += np.random.default_rng(2).normal(0, noise, soft.shape)
    return np.repeat(np.clip(np.rint(soft), 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def test_thirteen_ticks_on_speckled_steel_are_read() -> None:
    """A close-up of a steel rule shows 13 ticks, a burnt-out bevel above them and grains as rough as ticks are wide;
    the fifth and tenth are longer, so the spacing drawn, 73 px, is a millimetre."""
    rng = np.random.default_rng(5)
    face = 115 + 220 * cv2.GaussianBlur(rng.normal(0, 1, (768, 1024)), (0, 0), 1.6)
    for k in range(13):
        tall = {1: 245, 6: 300, 11: 245}.get(k, 185)
        face[200 : 200 + tall, 70 + 73 * k : 88 + 73 * k] = 25
    face[60:197] = 250
    face[:60] = 25
    turn = cv2.getRotationMatrix2D((512, 384), 4.0, 1.0)
    picture = as_photo(cv2.warpAffine(face, turn, (1024, 768), borderMode=cv2.BORDER_REFLECT))
    readings = read_rulers(picture)
    assert readings, "no ruler was read"
    assert px_per_mm_of(readings[0]) == pytest.approx(73.0, rel=5e-3)
