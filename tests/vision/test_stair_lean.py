"""How ticks lean in a scale that is read whole by whole: as the camera's tilt has it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.test_stair import EIGHTHS, FIRST, KEYSTONE, MILLIMETRES, TOP, WIDE, picture, stairs

HIGH = 260
#: Where numbers stand beside the ends of the wholes' ticks, and where marks do beside those of every half.
NUMBERS, MARKS = "numbers", "marks"


def _off_deg(ticks: dict[int, int], whole_px: float, lean_deg: float, beside: str | None = None) -> list[float]:
    """By how many degrees the ticks of each scale that is found are read askew of square to the ruler, on its face;
    the ruler is shown so that its ticks lean."""
    face = cv2.warpPerspective(picture(ticks, whole_px), np.linalg.inv(KEYSTONE), (WIDE, HIGH), flags=cv2.INTER_CUBIC)
    end = TOP + max(ticks.values())
    for k, x in enumerate(np.arange(FIRST, WIDE, whole_px if beside == NUMBERS else whole_px / 2)):
        if beside == NUMBERS:
            cv2.putText(face, str(k % 10), (int(x) + 3, end), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 150.0, 1, cv2.LINE_AA)
        elif beside == MARKS:
            cv2.rectangle(face, (round(x) + 2, end - 19), (round(x) + 3, end + 1), 165.0, -1)
    shown = np.array([[1.0, np.tan(np.radians(lean_deg)), 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]) @ KEYSTONE
    seen = cv2.warpPerspective(face, shown, (WIDE, HIGH), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return [_askew(stair.comb.ends_px, shown) for stair in stairs(np.asarray(seen, dtype=np.uint8))]


def _askew(ends_px: NDArray[np.float64], shown: NDArray[np.float64]) -> float:
    face = cv2.perspectiveTransform(ends_px.reshape(1, -1, 2), np.linalg.inv(shown)).reshape(-1, 2, 2)
    across, along = (face[:, 1] - face[:, 0]).mean(axis=0)
    return float(np.degrees(np.arctan2(abs(across), abs(along))))


@pytest.mark.parametrize("beside", [None, NUMBERS])
@pytest.mark.parametrize("lean_deg", [-9.0, 9.0])
def test_ticks_lean_as_they_are_shown(lean_deg: float, beside: str | None) -> None:
    """Millimetre ticks stand square to the ruler on its face, however they lean in the picture: a place that is told by
    some rows more than by others is that of the rows that tell it."""
    found = _off_deg(MILLIMETRES, 60.0, lean_deg, beside)
    assert found, "nothing was read"
    assert max(found) < 0.25


@pytest.mark.parametrize("lean_deg", [-6.0, 6.0])
def test_what_stands_beside_long_ticks_does_not_turn_them(lean_deg: float) -> None:
    """Eighths whose longer ticks have marks of their own close beside their ends lean as all their feet do."""
    found = _off_deg(EIGHTHS, 96.0, lean_deg, MARKS)
    assert found, "nothing was read"
    assert max(found) < 1.0
