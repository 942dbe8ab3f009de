"""A ruler lying on printed cloth is read, however many even rows the print has; its numbers tell inches apart."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.makers import harsh
from tests.makers.camera import project
from tests.makers.scene import as_stored, render
from tests.makers.shot import shoot
from tests.makers.variety import draw
from vision.reference.ruler import read_rulers
from vision.reference.tick import Row, fairly


def row(count: int, period_px: float, x_px: float, y_px: float, *, length_px: float) -> Row:
    """A level row of evenly spaced dark strokes that hang down from (x, y)."""
    bases = np.stack([x_px + period_px * np.arange(count), np.full(count, y_px)], axis=1)
    return Row(
        bases_px=bases,
        axis=np.array([1.0, 0.0]),
        tick=np.array([0.0, 1.0]),
        period_px=period_px,
        length_px=length_px,
        dark=True,
        level=0,
    )


def test_rows_of_a_print_do_not_come_before_the_ruler() -> None:
    """A print has many rows of one kind, one above the other; ticks stand in one row. So a row of 12 ticks is looked at
    before the third of twenty rows of 30 stripes' ends, however much longer those are."""
    print_rows = [row(30, 60.0, 10.0, 100.0 + 80.0 * k, length_px=30.0) for k in range(20)]
    ticks = row(12, 6.0, 400.0, 905.0, length_px=15.0)
    assert any(one is ticks for one in fairly([*print_rows, ticks])[:3])


@pytest.mark.parametrize("seed", [20021, 20040, 20078, 20101])
def test_long_eighths_and_crossed_cloth_do_not_hide_the_ruler(seed: int) -> None:
    """Scenes whose cloth has hundreds of even rows, whose eighths have ticks as long as two sixteenths', told apart
    by a number at each inch, or whose centimetres make a row of their own: the marks' places on the ruler are the
    true ones to 0.1 % (the maker's geometry)."""
    scene = draw(seed)
    readings = read_rulers(as_stored(render(scene)))
    assert readings, "no ruler was read"
    ruler = scene.rulers[0]
    angle = np.radians(ruler.turn_deg)
    on_table = project(np.linalg.inv(scene.camera.photo_from_mm), readings[0].marks_px)
    along = on_table @ np.array([np.cos(angle), -np.sin(angle)])
    slope = np.polyfit(readings[0].marks_mm[:, 0], along, 1)[0]
    assert abs(slope) == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("seed", [98414, 98038])
def test_ticks_are_found_where_plainer_beats_take_in_what_lies_beside_them(seed: int) -> None:
    """A wooden ruler on stripes and a plastic one on motifs, whose ticks are a few pixels long, while the plainest even
    beats there reach far into the ruler: the ticks are read all the same, to 0.2 % (the maker's geometry)."""
    shot = harsh.draw(seed, megapixels=3.1).shot
    (reading,) = read_rulers(as_stored(shoot(shot)))
    first, last = shot.lens.table_mm(reading.marks_px[[0, -1]])
    assert reading.unit == "inch"
    assert np.hypot(*(last - first)) == pytest.approx(abs(np.ptp(reading.marks_mm[:, 0])), rel=2e-3)


@pytest.mark.parametrize(("period_px", "bar_px"), [(23, 3), (40, 6)])
def test_a_windowpane_check_of_five_is_no_ruler(period_px: int, bar_px: int) -> None:
    """A check whose every fifth bar is darker cuts its bars to lengths like those of millimetre ticks, in row above
    row; rulers have their ticks in one row or two, so it sets no scale."""
    cloth = np.full((800, 1100), 200.0)
    for k in range(1100 // period_px + 1):
        shade = 60.0 if k % 5 == 0 else 120.0
        cloth[:, k * period_px : k * period_px + bar_px] = shade
        cloth[k * period_px : k * period_px + bar_px] = shade
    soft = cv2.GaussianBlur(cloth, (0, 0), 0.8) + np.random.default_rng(1).normal(0, 1.5, cloth.shape)
    assert read_rulers(np.repeat(np.clip(soft, 0, 255).astype(np.uint8)[..., None], 3, axis=2)) == ()
