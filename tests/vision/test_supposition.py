"""Cloth that fills a picture taken at a slant, which two clicked points leave unknown."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.camera import Camera, project
from tests.makers.cloth import Cloth, PlainPrint, StripePrint, Stripes
from tests.makers.harsh import draw
from tests.makers.scene import Scene, as_stored, render
from tests.makers.shot import shoot
from tests.makers.table import Table
from tests.vision.test_measure import photo_of
from vision.measure import Measured, measure_photo
from vision.photo import Photo
from vision.reference.clicks import Click
from vision.request import MeasureRequest

REPEAT_MM = 22.4
PRINT = StripePrint(across=Stripes(widths_mm=(5.6,) * 4, colours=("#a8401c", "#7c7a64", "#a8401c", "#8c8078")))
WOOD = Table(colour="#a58d6e", kind="wood", depth=0.3)


def clicked(tilt_deg: float, towards_deg: float, *cloths: Cloth, table: Table = WOOD) -> Measured:
    """Cloths on a table, the camera leaning some way over them, and two clicked points 100 mm apart."""
    camera = Camera(width_px=1000, height_px=750, tilt_deg=tilt_deg, azimuth_deg=towards_deg, distance_mm=700.0)
    photograph = render(Scene(camera=camera, table=table, cloths=cloths, seed=4))
    start, end = project(photograph.truth.photo_from_mm, np.array([[-50.0, 0.0], [50.0, 0.0]]))
    click = Click(start_px=(start[0], start[1]), end_px=(end[0], end[1]), length_mm=100.0)
    photo = Photo(name="scene.jpg", rgb=as_stored(photograph), focal35_mm=26.0, taken=None)
    return measure_photo(photo, MeasureRequest(clicks=(click,)))


@pytest.mark.parametrize(("tilt_deg", "towards_deg"), [(4.0, 0.0), (8.0, 0.0), (8.0, 90.0), (12.0, 90.0)])
def test_stripes_that_fan_out_fill_the_picture(tilt_deg: float, towards_deg: float) -> None:
    """Stripes all over a picture taken at a slant are one cloth from border to border, and repeat as they were drawn,
    to 2 %: parallel lines seen at a slant run together, which makes them no table."""
    found = clicked(tilt_deg, towards_deg, Cloth(print=PRINT, width_mm=3000.0, length_mm=3000.0, turn_deg=12.0))
    print_ = found.measurement.main.print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(REPEAT_MM, rel=0.02)
    assert found.evidence.cloths[0].region.touches_frame
    assert len(found.evidence.cloths) == 1


@pytest.mark.parametrize(("tilt_deg", "towards_deg"), [(8.0, 0.0), (8.0, 90.0)])
def test_faint_stripes_that_fan_out_fill_the_picture(tilt_deg: float, towards_deg: float) -> None:
    """The same of two pale stripes, the one hardly lighter than the other."""
    faint = StripePrint(across=Stripes(widths_mm=(6.0, 18.0), colours=("#e3ddc7", "#c9c3ad")))
    found = clicked(tilt_deg, towards_deg, Cloth(print=faint, width_mm=3000.0, length_mm=3000.0, turn_deg=12.0))
    print_ = found.measurement.main.print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(24.0, rel=0.02)


@pytest.mark.parametrize("tilt_deg", [0.0, 14.0])
def test_a_wooden_table_seen_at_a_slant_is_no_cloth(tilt_deg: float) -> None:
    """A wooden table alone, its grain in lines from border to border, is no cloth from wherever it is seen."""
    found = clicked(tilt_deg, 45.0)
    assert found.measurement.main.outline is None
    assert any("No cloth" in warning for warning in found.measurement.warnings)


@pytest.mark.parametrize("seed", [98064, 99457])
def test_a_corner_of_the_table_beside_stripes_is_no_cloth(seed: int) -> None:
    """Fine stripes on a cloth that leaves but a corner of the table free (1 and 2 % of the picture): they are the
    cloth, and repeat as they were drawn, to 1 %."""
    drawn = draw(seed, megapixels=3.1)
    photograph = shoot(drawn.shot)
    focal35_mm = round(drawn.shot.camera.focal35_mm) if drawn.shot.focal_known else None
    found = measure_photo(photo_of(photograph, focal35_mm)).measurement
    assert found.scraps == ()
    assert found.main.print is not None
    assert found.main.print.across is not None
    assert found.main.print.across.value == pytest.approx(photograph.truth.across_mm, rel=0.01)


@pytest.mark.parametrize("tilt_deg", [0.0, 14.0])
def test_a_remnant_at_the_corner_of_a_wooden_table_is_cloth(tilt_deg: float) -> None:
    """A plain scrap, of which a corner of the picture shows a part, is the cloth, and not the grain of the wood
    that it lies on: 260 by 200 mm at most."""
    scrap = Cloth(print=PlainPrint(colour="#7d1f2c"), width_mm=260.0, length_mm=200.0, x_mm=-430.0, y_mm=-320.0)
    found = clicked(tilt_deg, 45.0, scrap).measurement.main
    assert found.outline is not None
    assert found.outline.area_mm2 < 260.0 * 200.0
