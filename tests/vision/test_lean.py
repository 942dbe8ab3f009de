"""The direction of a ruler's ticks, on which the tilt across it rests."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.vision.test_ruler import draw
from vision.reference.comb import follow
from vision.reference.tick import find_rows, pyramid

#: Ticks a sixteenth of an inch apart, at 5 px a millimetre.
PERIOD_PX = 5.0 * 25.4 / 16


@pytest.mark.parametrize("astray_deg", [-7.0, -4.0, 0.0, 4.0, 7.0])
@pytest.mark.parametrize("angle_deg", [4.0, 77.0])
def test_ticks_are_seen_square_however_the_first_strokes_pointed(angle_deg: float, astray_deg: float) -> None:
    """A ruler seen from straight above has its ticks square to it: they are found so within a tenth of a degree, even
    where the row was begun from strokes that point elsewhere."""
    grey = cv2.cvtColor(draw("sixteenths", 5.0, angle_deg=angle_deg), cv2.COLOR_RGB2GRAY)
    levels = pyramid(np.asarray(grey, dtype=np.uint8))
    row = next(one for one in find_rows(levels[0], 0) if one.dark and abs(one.period_px / PERIOD_PX - 1) < 0.05)
    turn = math.radians(astray_deg)
    tick = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) @ row.tick
    comb = follow(levels, replace(row, tick=tick))
    assert comb is not None
    ticks = (comb.ends_px[:, 1] - comb.ends_px[:, 0]).mean(axis=0)
    along = comb.places_px[-1] - comb.places_px[0]
    off = math.degrees(math.asin(float(ticks @ along) / float(np.hypot(*ticks) * np.hypot(*along))))
    assert abs(off) < 0.1


@pytest.mark.parametrize("scale", ["mm", "sixteenths", "thirty-seconds"])
def test_bases_lie_on_the_ruler_s_edge_and_not_at_the_ticks_tips(scale: str) -> None:
    """Ticks of every kind begin on one straight line, and only the shortest end on one: all bases lie on that line to
    half a pixel, on the side that the longest ticks do not point to."""
    levels = pyramid(np.asarray(cv2.cvtColor(draw(scale, 9.0, angle_deg=4.0), cv2.COLOR_RGB2GRAY), dtype=np.uint8))
    combs = (follow(levels, row) for row in find_rows(levels[0], 0) if row.dark)
    comb = next(one for one in combs if one is not None)
    bases, _ = comb.bases()
    normal = np.array([-comb.axis[1], comb.axis[0]])
    across = (bases - bases.mean(axis=0)) @ normal
    line = np.polyval(np.polyfit(comb.index, across, 1), comb.index)
    assert np.quantile(np.abs(across - line), 0.97) < 0.5
