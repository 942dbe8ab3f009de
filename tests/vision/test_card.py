"""A card that only its hue tells from the table, against pictures made with OpenCV's own geometry."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.test_target import FOCAL_PX, camera, card_drawing, seen
from vision.reference import card
from vision.reference.reading import Reading

TEAL, BROWN = (0, 111, 130), (118, 72, 38)


def _as_light_as_the_table(radius_mm: float) -> NDArray[np.uint8]:
    """A teal card on a brown table, of the same luma to 2 of 255: 0.299 R + 0.587 G + 0.114 B (ITU-R BT.601)."""
    drawn = seen(card_drawing(12, radius_mm), 12, camera(8, 70, 420), 90).astype(np.float64)
    share = ((drawn[..., 0] - 90) / (215 - 90))[..., None]
    picture = np.asarray(BROWN) + share * (np.asarray(TEAL) - np.asarray(BROWN))
    return np.asarray(np.clip(picture + np.random.default_rng(1).normal(0, 2, picture.shape), 0, 255), dtype=np.uint8)


def _off_px(reading: Reading) -> float:
    """How far a card's corners are off at most, px: the drawing tells neither end nor side apart."""
    mm = (reading.marks_mm - np.array(card.CARD_MM) / 2)[None]
    true = cv2.perspectiveTransform(mm, camera(8, 70, 420))[0]
    return min(
        float(np.abs(np.roll(true[::step], turn, axis=0) - reading.marks_px).max())
        for step in (1, -1)
        for turn in range(4)
    )


def test_a_card_as_light_as_the_table_is_found() -> None:
    """The ideal corners of an ID-1 card (85.60 x 53.98 mm, ISO/IEC 7810) are found to a pixel, though a picture in
    grey does not show it."""
    luma = np.array([0.299, 0.587, 0.114])
    assert luma @ TEAL == pytest.approx(luma @ BROWN, abs=2)
    reading = card.read_card(_as_light_as_the_table(3.18), FOCAL_PX)
    assert reading is not None
    assert _off_px(reading) < 1.0


def test_a_sharp_cornered_rectangle_of_the_tables_lightness_is_no_card() -> None:
    """Nor does a patch of cloth set a scale where only its hue shows it."""
    assert card.read_card(_as_light_as_the_table(0.2), FOCAL_PX) is None


def _on_a_rough_table(seed: int) -> NDArray[np.uint8]:
    """A purple card on a brown table of straw or matting, dark and light in places of a few millimetres, its shadow
    falling beside it; pale blue cloth, the lightest of all in every channel, comes into view."""
    rng = np.random.default_rng(seed)
    drawn = seen(card_drawing(12, 3.18), 12, camera(8, 70, 420), 90).astype(np.float64)
    share = ((drawn[..., 0] - 90) / (215 - 90))[..., None]
    rough = rng.normal(0, 1, (share.shape[0] // 10 + 1, share.shape[1] // 30 + 1)).astype(np.float32)
    rough = cv2.resize(rough, share.shape[1::-1], interpolation=cv2.INTER_CUBIC)[..., None]
    shadow = cv2.GaussianBlur(np.roll(share[..., 0], (4, 4), (0, 1)), (0, 0), 4.0)[..., None]
    table = np.array([118.0, 84.0, 70.0]) * (1 + 0.3 * rough) * (1 - 0.35 * shadow)
    table[:, : np.flatnonzero(share[..., 0].any(axis=0))[0] - 20] = (150.0, 190.0, 230.0)
    picture = table + share * (np.array([90.0, 40.0, 105.0]) - table)
    return np.asarray(np.clip(picture + rng.normal(0, 2, picture.shape), 0, 255), dtype=np.uint8)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_card_on_a_rough_table_is_found(seed: int) -> None:
    """Straw hides a card's edges in light and in every channel, its hue does not: the ideal corners of an ID-1 card are
    found to two pixels (0.4 mm), though its shadow makes edges too."""
    reading = card.read_card(_on_a_rough_table(seed), FOCAL_PX)
    assert reading is not None
    assert _off_px(reading) < 2.0
