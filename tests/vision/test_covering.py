"""What lies on cloth: the end of a tape that was taken for cloth, against rectangles laid down by hand."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.covering import tails, with_rests
from vision.swatch import Doubles


def _laid(along: tuple[float, float], across: tuple[float, float], turn_deg: float) -> Doubles:
    """A rectangle (4, 2) from and to so many mm along and across a line through the origin."""
    a = np.radians(turn_deg)
    axis, normal = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    corners = [(along[0], across[0]), (along[1], across[0]), (along[1], across[1]), (along[0], across[1])]
    return np.array([u * axis + v * normal for u, v in corners])


@pytest.mark.parametrize("turn_deg", [0.0, 37.0, 118.0])
def test_what_goes_on_in_line_with_a_tape_is_its_tail(turn_deg: float) -> None:
    """A tape read over 200 mm goes on for 90; that piece, with a bulge of cloth at its side, is covered whole."""
    tape = _laid((0.0, 200.0), (-8.0, 8.0), turn_deg)
    tail = _laid((205.0, 295.0), (-8.0, 11.0), turn_deg)
    found = tails([tape], [tail])
    assert len(found) == 1
    inside = [cv2.pointPolygonTest(found[0].astype(np.float32), (float(x), float(y)), True) for x, y in tail]
    assert min(inside) > -0.1


def test_cloth_beside_or_below_a_ruler_is_no_tail() -> None:
    """Cloth that a ruler lies across, cloth beside it, and a strip far along its line are cloth; so is whatever goes on
    from a card, which is not long enough to be a tape."""
    ruler, card = _laid((0.0, 200.0), (-15.0, 15.0), 20.0), _laid((0.0, 85.6), (-27.0, 27.0), 20.0)
    below, beside = _laid((50.0, 400.0), (-150.0, 150.0), 20.0), _laid((0.0, 300.0), (16.0, 60.0), 20.0)
    far = _laid((260.0, 400.0), (-15.0, 15.0), 20.0)
    assert not tails([ruler], [below, beside, far])
    assert not tails([card], [_laid((90.0, 160.0), (-20.0, 20.0), 20.0)])


@pytest.mark.parametrize("turn_deg", [0.0, 37.0, 118.0])
def test_a_ruler_is_covered_with_its_other_half(turn_deg: float) -> None:
    """Of a ruler 200 mm by 30 the scale alone was known, 9 mm of it; the other 20 mm, found as a second cloth flush
    with it, are covered too, and the cloth is not."""
    scale, rest = _laid((0.0, 200.0), (0.0, 9.0), turn_deg), _laid((-2.0, 199.0), (10.0, 30.0), turn_deg)
    cloth = _laid((20.0, 220.0), (-170.0, -5.0), turn_deg)
    (whole,) = with_rests([scale], [cloth, rest])
    for points, inside in ((rest, True), (scale, True), (cloth, False)):
        held = [cv2.pointPolygonTest(whole.astype(np.float32), (float(x), float(y)), True) > -2.1 for x, y in points]
        assert all(held) if inside else not any(held)


def test_a_strip_of_cloth_beside_a_ruler_is_no_half_of_it() -> None:
    """A strip that ends elsewhere than the ruler, one laid a finger's breadth away, one too wide to be a ruler's, and
    the only cloth there is are no part of the ruler."""
    ruler, cloth = _laid((0.0, 200.0), (0.0, 25.0), 20.0), _laid((0.0, 220.0), (-170.0, -20.0), 20.0)
    longer, away = _laid((0.0, 230.0), (27.0, 50.0), 20.0), _laid((0.0, 200.0), (40.0, 58.0), 20.0)
    wide, alone = _laid((0.0, 200.0), (27.0, 90.0), 20.0), _laid((0.0, 200.0), (27.0, 50.0), 20.0)
    for found in ([cloth, longer], [cloth, away], [cloth, wide], [alone]):
        assert with_rests([ruler], found)[0] is ruler
