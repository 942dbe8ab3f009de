"""Rulers that nobody read, lying by themselves: they are no cloth; slender cloths are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.makers.cloth import AnyPrint, CheckPrint, Cloth, PlainPrint, StripePrint, Stripes
from tests.makers.ruler import Ruler, RulerUnit
from tests.makers.scene import render
from tests.makers.table import Table
from tests.vision.laid import plane
from tests.vision.test_measure import SCENE, photo_of
from vision.graduation import graduated
from vision.measure import measure_photo

_SCRAP = Cloth(print=PlainPrint(colour="#8f1f2a"), width_mm=120.0, length_mm=90.0, x_mm=-75.0, y_mm=30.0)
_SLATE = Table(colour="#50555c")
_INCH = 25.4


def _fine(repeat_mm: float) -> Stripes:
    return Stripes(widths_mm=(repeat_mm / 2, repeat_mm / 2), colours=("#23426f", "#f1eee4"))


@pytest.mark.parametrize(("unit", "wide_px"), [("mm", 2600), ("mm", 1400), ("inch8", 2600), ("inch16", 2600)])
def test_a_ruler_beside_the_cloth_is_no_second_cloth(unit: RulerUnit, wide_px: int) -> None:
    """The printed target gives the scale, a ruler lies beside the cloth, its millimetres too fine for the smallest of
    the pictures: one cloth is found, of 120 by 90 mm, its area to 1 %, and no ruler for a second."""
    ruler = Ruler(unit=unit, length_mm=230.0, width_mm=24.0, x_mm=-70.0, y_mm=-90.0, turn_deg=2.0)
    camera = replace(SCENE.camera, width_px=wide_px, height_px=wide_px * 3 // 4)
    scene = replace(SCENE, camera=camera, cloths=(_SCRAP,), table=_SLATE, rulers=(ruler,))
    measured = measure_photo(photo_of(render(scene))).measurement
    assert measured.scraps == ()
    assert measured.main.outline is not None
    assert measured.main.outline.area_mm2 == pytest.approx(120.0 * 90.0, rel=0.01)


@pytest.mark.parametrize(
    ("print_", "size_mm", "turn_deg"),
    [
        (StripePrint(across=_fine(_INCH / 8)), (230.0, 24.0), 2.0),
        (CheckPrint(across=_fine(_INCH / 8), along=_fine(_INCH / 8)), (230.0, 24.0), 2.0),
        (StripePrint(across=_fine(8.0)), (24.0, 230.0), 92.0),
    ],
    ids=["ticking", "gingham", "lengthwise"],
)
def test_a_slender_scrap_is_cloth(print_: AnyPrint, size_mm: tuple[float, float], turn_deg: float) -> None:
    """A strip of cloth of a ruler's size, whose stripes or checks repeat every eighth of an inch, or run along it,
    stays a cloth beside the other one: 230 by 24 mm, its area to 3 %."""
    strip = Cloth(print=print_, width_mm=size_mm[0], length_mm=size_mm[1], x_mm=-70.0, y_mm=-90.0, turn_deg=turn_deg)
    camera = replace(SCENE.camera, width_px=2600, height_px=1950)
    scene = replace(SCENE, camera=camera, cloths=(_SCRAP, strip), table=_SLATE)
    scraps = measure_photo(photo_of(render(scene))).measurement.scraps
    assert len(scraps) == 2
    assert scraps[1].outline is not None
    assert scraps[1].outline.area_mm2 == pytest.approx(230.0 * 24.0, rel=0.03)
    assert np.ptp(np.asarray(scraps[1].outline.points_mm), axis=0).max() == pytest.approx(230.0, rel=0.02)


def test_a_strip_of_cloth_below_the_ruler_that_was_read_is_cloth() -> None:
    """The ruler that gives the scale lies along a strip of plain cloth of 240 by 56 mm: the strip is found, its area to
    3 %, though marks are seen all along it."""
    strip = Cloth(print=PlainPrint(colour="#8f1f2a"), width_mm=240.0, length_mm=56.0)
    ruler = Ruler(unit="inch16", length_mm=200.0, width_mm=22.0, y_mm=-10.0)
    camera = replace(SCENE.camera, width_px=2600, height_px=1950)
    scene = replace(SCENE, camera=camera, cloths=(strip,), table=_SLATE, rulers=(ruler,), sheets=())
    outline = measure_photo(photo_of(render(scene))).measurement.main.outline
    assert outline is not None
    assert outline.area_mm2 == pytest.approx(240.0 * 56.0, rel=0.03)


@pytest.mark.parametrize(("longest_mm", "ruler"), [(9.0, True), (24.0, False)])
def test_the_end_of_a_ruler_is_told_from_a_remnant(longest_mm: float, ruler: bool) -> None:
    """Of a ruler a piece of 66 by 24 mm shows, its sixteenths of an inch worn: it is one all the same, less than three
    times as long as wide. A remnant of that size with lines as close right across is none."""
    rng, per_mm = np.random.default_rng(4), 8.0
    picture = np.full((600, 800), 52.0)
    left, top, right, bottom = (round(at * per_mm) for at in (17.0, 26.0, 83.0, 50.0))
    picture[top:bottom, left:right] = 38.0
    for number in range(42):
        long = longest_mm * (1.0 if number % 8 == 0 else 0.65 if number % 2 == 0 else 0.5) if ruler else longest_mm
        at = left + round((0.5 + number * _INCH / 16) * per_mm)
        picture[top : top + round(long * per_mm), at : at + 3] += 12.0 * rng.uniform(0.6, 1.0)
    rgb = np.repeat(np.clip(picture + rng.normal(0, 2, picture.shape), 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    above = plane(0.0, 0.0, px_per_mm=per_mm, size_px=(800, 600))
    corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)], dtype=np.float64)
    assert len(graduated(above, rgb, [above.to_mm(corners)], ())) == int(ruler)
