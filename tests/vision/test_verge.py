"""The outline in the photo's own pixels, on rendered photographs of known cloths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.camera import project
from tests.makers.cloth import Cloth, Motif, MotifPrint, PlainPrint
from tests.makers.scene import Photograph, render
from tests.makers.table import Table
from tests.vision.laid import plane
from tests.vision.test_measure import SCENE, photo_of
from vision.cloth import ClothRegion
from vision.measure import Measured, measure_photo
from vision.swatch import Doubles, Floats
from vision.verge import told_apart, trimmed

NAVY, CREAM = "#1c2f55", "#f1eee4"


def _area(cloth: Cloth, table: str) -> float:
    photograph = render(replace(SCENE, cloths=(cloth,), table=Table(colour=table, depth=0.02)))
    outline = measure_photo(photo_of(photograph)).measurement.main.outline
    assert outline is not None
    return outline.area_mm2


def _farthest(measured: Measured, photograph: Photograph, rim: Doubles | Floats) -> float:
    """How far the largest cloth's outline and its true rim (N, 2) are apart, mm: Hausdorff's, over corners."""
    plane = measured.evidence.plane
    assert plane is not None
    seen = plane.to_px(np.asarray(measured.evidence.cloths[0].region.outline_mm))
    found = project(np.linalg.inv(photograph.truth.photo_from_mm).astype(np.float64), seen)
    one, other = found.astype(np.float32), rim.astype(np.float32)
    return max(
        abs(cv2.pointPolygonTest(ring[:, None], (float(x), float(y)), True))
        for points, ring in ((one, other), (other, one))
        for x, y in points
    )


def _small(colour: str) -> Cloth:
    print_ = PlainPrint(colour=colour)
    return Cloth(print=print_, width_mm=90.0, length_mm=60.0, x_mm=-95.0, turn_deg=7.0, edges=("cut",) * 4)


def _outlined(ring_mm: Sequence[tuple[float, float]]) -> ClothRegion:
    """A cloth of which nothing but its outline is known."""
    return ClothRegion(
        mask=np.ones((1, 1), bool),
        outline_mm=tuple(ring_mm),
        holes_mm=(),
        u95_mm=1.0,
        edges=(),
        touches_frame=False,
    )


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
    outline = measured.measurement.main.outline
    assert outline is not None
    rim = cloth.outline_mm().astype(np.float32)
    assert outline.area_mm2 == pytest.approx(cv2.contourArea(rim), rel=0.01)
    assert _farthest(measured, photograph, rim) <= 2.0


@pytest.mark.parametrize(
    ("ground", "table"), [("#c7c2b6", Table(colour="#d7d3c8", depth=0.08)), ("#36343a", Table(colour="#2a2a2c"))]
)
def test_where_the_rim_cannot_be_told_from_the_table_its_uncertainty_says_so(ground: str, table: Table) -> None:
    """A cloth with motifs on a ground almost of the table's colour, a pale one on a cloudy table and a black one: the
    stated uncertainty covers how far the outline is off (Hausdorff, over corners), and where that is more than 4 mm
    there is a word of it."""
    leaf = Motif(shape="square", colour="#47794f", radius=0.25)
    print_ = MotifPrint(ground=ground, motifs=(leaf,), column_mm=18.0, row_mm=15.0)
    cloth = Cloth(print=print_, width_mm=95.0, length_mm=75.0, x_mm=-95.0, turn_deg=-11.6, edges=("cut",) * 4)
    photograph = render(replace(SCENE, cloths=(cloth,), table=table))
    measured = measure_photo(photo_of(photograph))
    outline = measured.measurement.main.outline
    assert outline is not None
    off = _farthest(measured, photograph, cloth.outline_mm())
    assert off <= outline.u95_mm
    assert off <= 4.0 or any("told from the table" in warning for warning in measured.measurement.warnings)


def test_a_clear_rim_is_known_to_two_millimetres() -> None:
    """A navy scrap on a cream table: nothing is said of a rim that cannot be told, and its uncertainty is that of its
    threads."""
    measured = measure_photo(photo_of(render(replace(SCENE, cloths=(_small(NAVY),), table=Table(colour=CREAM)))))
    outline = measured.measurement.main.outline
    assert outline is not None
    assert outline.u95_mm <= 2.0
    assert not any("told from the table" in warning for warning in measured.measurement.warnings)


def test_a_patch_of_shade_is_told_from_cloth_by_cloths_that_stand_out() -> None:
    """What is nowhere clear at its rim is dropped where another cloth stands out; alone it may be pale cloth."""
    cloth = replace(_outlined([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)]), clear=0.3)
    shade = replace(cloth, clear=0.01)
    assert told_apart([shade, cloth]) == (cloth,)
    assert told_apart([shade]) == (shade,)


def test_an_outline_of_any_length_is_followed() -> None:
    """A cloth cut into strips all along, so that its outline has over 60,000 places in the photo's own pixels (OpenCV
    counts places in 16 bits), is trimmed to where it lies, to half a pixel in the middle (2 px are a millimetre)."""
    teeth, low, high = np.arange(60, 1500, 40), 50.0, 1450.0
    picture = np.full((1500, 1600, 3), 225, np.uint8)
    ring: list[tuple[float, float]] = []
    for left in teeth:
        picture[int(low) : int(high), left : left + 20] = (30, 40, 90)
        ring += [(left, high - 20), (left, low), (left + 20, low), (left + 20, high - 20)]
    picture[int(high) - 20 : int(high), teeth[0] : teeth[-1] + 20] = (30, 40, 90)
    ring += [(float(teeth[-1] + 20), high), (float(teeth[0]), high)]
    above = plane(0.0, 0.0, px_per_mm=2.0, size_px=(1600, 1500))
    region = _outlined([((x - 800) / 2, (y - 750) / 2) for x, y in ring])
    fine = above.to_px(np.asarray(trimmed(above, region, picture).outline_mm)).astype(np.float32)
    rims = [float(left + side) - 0.5 for left in teeth for side in (0, 20)]
    off = [abs(cv2.pointPolygonTest(fine[:, None], (rim, y), True)) for rim in rims for y in (300.0, 750.0, 1200.0)]
    assert max(off) < 0.75


def test_an_outline_that_begins_with_a_thread_is_followed() -> None:
    """The outline of a dark rectangle runs out along a thread of no width and back, from its first place on: it is
    trimmed all the same, and its area is that of the rectangle to 1 %."""
    picture = np.full((300, 400, 3), 225, np.uint8)
    picture[100:200, 100:300] = (30, 40, 90)
    ring = [
        (200.0, 60.0),
        (200.0, 100.0),
        (300.0, 100.0),
        (300.0, 200.0),
        (100.0, 200.0),
        (100.0, 100.0),
        (200.0, 100.0),
    ]
    above = plane(0.0, 0.0, px_per_mm=2.0, size_px=(400, 300))
    region = _outlined([((x - 200) / 2, (y - 150) / 2) for x, y in ring])
    assert trimmed(above, region, picture).area_mm2 == pytest.approx(100.0 * 50.0, rel=0.01)
