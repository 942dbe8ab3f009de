"""What stands beyond a ruler's ticks, and after how many of them it comes round."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.test_ruler import draw
from vision.reference.comb import follow
from vision.reference.number import numbering
from vision.reference.tick import find_rows, pyramid
from vision.reference.unit import hear


@pytest.mark.parametrize("px_per_mm", [8.0, 9.0])
def test_long_ticks_are_no_numbers(px_per_mm: float) -> None:
    """A scale of thirty-seconds without a single number: its half inches and inches, which reach beyond the other
    ticks, do not pass for numbers that come round every eight or sixteen ticks."""
    grey = cv2.cvtColor(draw("thirty-seconds", px_per_mm, numbers=False), cv2.COLOR_RGB2GRAY)
    levels = pyramid(np.asarray(grey, dtype=np.uint8))
    period_px = px_per_mm * 25.4 / 32
    row = next(one for one in find_rows(levels[0], 0) if one.dark and abs(one.period_px / period_px - 1) < 0.05)
    comb = follow(levels, row)
    assert comb is not None
    side = int(np.std(comb.lengths(1)) > np.std(comb.lengths(0)))
    best = hear(comb.index, comb.lengths(side)).best
    assert best is not None
    evidence = numbering(levels, comb, side, longest=best.longest(comb.index))
    assert max(evidence.values(), default=0.0) < 2.0
