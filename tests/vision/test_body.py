"""How much of the picture a ruler covers: from its first edge to its last, numbers and all."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.camera import Camera, project
from tests.makers.ruler import Ruler
from tests.makers.scene import Scene, as_stored, render
from tests.makers.table import Table
from vision.reference.body import _before_table, _ends
from vision.reference.course import Course
from vision.reference.ruler import read_rulers


@pytest.mark.parametrize("in_millimetres", [False, True], ids=["numbers apart", "numbers crowded"])
def test_a_tape_is_covered_from_edge_to_edge(in_millimetres: bool) -> None:
    """A tape 26 mm wide, its numbers so large and so many that they run into each other ("100110120"): the outline
    takes in its whole width, to 2 mm, beyond the numbers too."""
    tape = Ruler(
        length_mm=700.0,
        width_mm=26.0,
        zero_mm=0.0,
        x_mm=-60.0,
        body="#f3e9a5",
        ink="#111111",
        material="tape",
        turn_deg=4.0,
        face=1,
        tick_mm=(4.7, 7.8, 10.9),
        digit_mm=5.2,
        digit_gap_mm=1.0,
        in_millimetres=in_millimetres,
        seed=3,
    )
    camera = Camera(width_px=1600, height_px=1200, distance_mm=26 * 2000 / 43.2666 / 4.6)
    photograph = render(Scene(camera=camera, table=Table(colour="#50555c", depth=0.03), rulers=(tape,), seed=5))
    reading = read_rulers(as_stored(photograph))[0]
    corners = project(camera.photo_from_mm, tape.corners_mm())
    across = (corners[3] - corners[0]) / np.hypot(*(corners[3] - corners[0]))
    px_per_mm = photograph.truth.px_per_mm
    outline = np.asarray(reading.outline_px) @ across / px_per_mm
    truth = corners @ across / px_per_mm
    middle = (outline.min() + outline.max()) / 2
    assert np.ptp(outline) == pytest.approx(26.0, abs=4.5)
    assert middle == pytest.approx(truth.mean(), abs=2.0)


@pytest.mark.parametrize(("table", "end"), [(21.0, 15.0), (9.0, 45.0), (11.5, 45.0)], ids=["other", "same", "hardly"])
def test_a_table_nearly_of_the_rulers_colour_ends_it(table: float, end: float) -> None:
    """Where a surface 12 grey levels off the bare ruler's, even to the end of what is seen, begins 15 mm from the
    ticks, there the ruler ends; where it is the bare ruler's own or but 2 levels off, nothing is known of an end."""
    at = np.arange(-45.0, 45.1, 0.5)
    away = np.abs(at)
    off = np.where(away < 3, 25.0, np.where(away <= 15, 9.0, table)) + 0.5 * np.sin(7 * at)
    assert _before_table(off, at, 45.0, 1, 1.0, 3.0) == pytest.approx(end, abs=0.6)
    assert _before_table(off, at, -45.0, -1, 1.0, 3.0) == pytest.approx(-end, abs=0.6)


@pytest.mark.parametrize("way", [1, -1], ids=["darker", "lighter"])
def test_a_ruler_in_uneven_light_ends_where_it_ends(way: int) -> None:
    """A ruler from x = 20 to 180 mm whose light falls by 40 % along it, read from 60 to 120 mm: it is covered from end
    to end, to 2 mm and the rim for its shadow, and not on the table beyond, which is of another colour."""
    px_per_mm = 4.0
    x = np.arange(0, 800) / px_per_mm
    light = (1 - 0.4 * np.clip((x - 20) / 160, 0, 1))[::way]
    row = np.where(((x >= 20) & (x <= 180))[:, None], np.array([210, 195, 170.0]), np.array([95, 70, 50.0]))
    picture = np.broadcast_to((row * light[:, None]).astype(np.uint8), (80, 800, 3)).copy()
    first, axis, normal = np.array([240.0, 40.0]), np.array([1.0, 0.0]), np.array([0.0, 1.0])
    course = Course(origin=first, axis=axis, normal=normal, length=60 * px_per_mm)
    before, after = _ends(picture, course, px_per_mm, (-30.0, 30.0))
    assert (60 + before / px_per_mm, 60 + after / px_per_mm) == pytest.approx((20.0, 180.0), abs=3.5)


@pytest.mark.parametrize("at", [50.0, 130.0], ids=["before", "behind"])
def test_a_ruler_whose_ticks_end_in_glare_goes_on_beyond_it(at: float) -> None:
    """A yellow ruler from x = 20 to 180 mm, read from 60 to 120 mm, on cloth striped along it; a lamp's glare of 25 mm
    and more is white where its ticks end. It is covered from end to end, to 2 mm and the rim for its shadow."""
    px_per_mm = 4.0
    x = np.arange(0, 800) / px_per_mm
    row = np.where(((x >= 20) & (x <= 180))[:, None], np.array([197, 169, 61.0]), np.array([125, 121, 113.0]))
    picture = np.broadcast_to(row, (120, 800, 3)).copy()
    picture[:24] = picture[-24:] = np.array([60.0, 52.0, 80.0])
    glare = np.clip(2.0 * np.exp(-(((x - at) / 14.0) ** 2)), 0, 1) * ((x >= 20) & (x <= 180))
    picture[24:-24] += glare[:, None] * (255 - picture[24:-24])
    axis, normal = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    course = Course(origin=np.array([240.0, 60.0]), axis=axis, normal=normal, length=60 * px_per_mm)
    before, after = _ends(picture.astype(np.uint8), course, px_per_mm, (-42.0, 42.0))
    assert (60 + before / px_per_mm, 60 + after / px_per_mm) == pytest.approx((20.0, 180.0), abs=3.5)


def test_a_ruler_with_fine_ticks_is_covered_beyond_them() -> None:
    """Millimetre ticks half a millimetre broad leave no bare place between them at 4.6 px a millimetre, so the ruler's
    colour is known only beyond them: the outline takes in its whole width, numbers and all, to 3.5 mm."""
    ruler = Ruler(
        length_mm=305.0,
        width_mm=16.0,
        zero_mm=10.0,
        body="#f6f4ee",
        ink="#3a3f45",
        turn_deg=-2.5,
        tick_mm=(3.1, 4.8, 6.5),
        tick_width_mm=0.48,
        digit_mm=3.5,
        digit_gap_mm=0.6,
        face=2,
        seed=9,
    )
    camera = Camera(width_px=1600, height_px=1200, focal35_mm=24.0, distance_mm=24 * 2000 / 43.2666 / 4.6)
    table = Table(colour="#2a2a2c", kind="speckled", depth=0.036)
    photograph = render(Scene(camera=camera, table=table, rulers=(ruler,), blur_px=1.1, exposure=0.74, seed=9))
    reading = read_rulers(as_stored(photograph))[0]
    corners = project(camera.photo_from_mm, ruler.corners_mm())
    across = (corners[3] - corners[0]) / np.hypot(*(corners[3] - corners[0]))
    outline = np.asarray(reading.outline_px) @ across / photograph.truth.px_per_mm
    truth = corners @ across / photograph.truth.px_per_mm
    assert truth.min() - 3.5 < outline.min() < truth.min()
    assert truth.max() < outline.max() < truth.max() + 3.5
