"""The outline in the photo's own pixels, on rendered photographs of known cloths."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import Cloth, PlainPrint
from tests.makers.scene import render
from tests.makers.table import Table
from tests.vision.test_measure import SCENE, photo_of
from vision.measure import measure_photo

NAVY, CREAM = "#1c2f55", "#f1eee4"


def _area(cloth: Cloth, table: str) -> float:
    photograph = render(replace(SCENE, cloths=(cloth,), table=Table(colour=table, depth=0.02)))
    outline = measure_photo(photo_of(photograph)).measurement.main.outline
    assert outline is not None
    return outline.area_mm2


def _small(colour: str) -> Cloth:
    print_ = PlainPrint(colour=colour)
    return Cloth(print=print_, width_mm=90.0, length_mm=60.0, x_mm=-95.0, turn_deg=7.0, edges=("cut",) * 4)


def test_dark_on_pale_is_as_large_as_pale_on_dark() -> None:
    """A navy scrap of 90 by 60 mm on a cream table and a cream one on a navy table have one area, that of the
    rectangle to 0.8 % (geometry: a rim 0.15 mm too wide is 0.8 %), and differ by no more than 0.6 %."""
    dark, pale = _area(_small(NAVY), CREAM), _area(_small(CREAM), NAVY)
    assert dark == pytest.approx(90.0 * 60.0, rel=0.008)
    assert pale == pytest.approx(90.0 * 60.0, rel=0.008)
    assert abs(dark - pale) <= 0.006 * 90.0 * 60.0


def test_tufts_of_a_torn_edge_are_followed() -> None:
    """A scrap torn all round into tufts of a millimetre: its area is that within its tufts to 1 % and its outline
    nowhere farther from theirs than 2 mm (Hausdorff, over corners)."""
    cloth = replace(_small(NAVY), edges=("torn",) * 4, fray_mm=1.0, turn_deg=-12.0, x_mm=-60.0)
    photograph = render(replace(SCENE, cloths=(cloth,), table=Table(colour=CREAM, depth=0.02)))
    measured = measure_photo(photo_of(photograph))
    outline, plane = measured.measurement.main.outline, measured.evidence.plane
    assert outline is not None
    assert plane is not None
    rim = cloth.outline_mm().astype(np.float32)
    assert outline.area_mm2 == pytest.approx(cv2.contourArea(rim), rel=0.01)
