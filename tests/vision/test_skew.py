"""Skew: angle and percentage, and the print of a turned cloth against its own torn edge and selvage."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision.cloth import ClothRegion
from vision.edge import ClothEdge, Side
from vision.estimate import Estimate
from vision.measurement import Print
from vision.skew import between_deg, measure_skew, percent


@pytest.mark.parametrize(
    ("angle_deg", "expected"),
    [(0.5729387, 1.0), (1.7183580, 3.0), (2.8624052, 5.0), (1.0, 1.7455065)],
)
def test_percent(angle_deg: float, expected: float) -> None:
    """Skew % is deviation over width, 100 · tan: 1, 3 and 5 % are 0.5729, 1.7184 and 2.8624 degrees (ASTM D3882's
    calculation, from memory; the figures by trigonometry)."""
    assert percent(angle_deg) == pytest.approx(expected, abs=1e-5)


def test_percent_of_a_measured_cloth() -> None:
    """1.35 in over 45 in is 3 %, and 2 in over 60 in is 3.333 %."""
    assert percent(math.degrees(math.atan2(1.35, 45))) == pytest.approx(3.0)
    assert percent(math.degrees(math.atan2(2, 60))) == pytest.approx(10 / 3)


@pytest.mark.parametrize(
    ("print_deg", "grain_deg", "expected"),
    [(2.0, 0.5, 1.5), (0.0, 89.0, 1.0), (-88.0, 1.0, 1.0), (45.0, 0.0, 45.0), (-45.0, 0.0, 45.0), (10.0, -84.0, 4.0)],
)
def test_nearest_grain(print_deg: float, grain_deg: float, expected: float) -> None:
    """The print is compared with the nearer of the two grains, counter-clockwise positive, within (-45, 45]."""
    assert between_deg(print_deg, grain_deg) == pytest.approx(expected)


def _region(*edges: tuple[Side, float]) -> ClothRegion:
    return ClothRegion(
        mask=np.zeros((1, 1), bool),
        outline_mm=((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)),
        holes_mm=(),
        u95_mm=0.5,
        edges=tuple(
            ClothEdge(
                side=side,
                start_mm=(0.0, 0.0),
                end_mm=(100.0, 0.0),
                direction_deg=Estimate(direction, 0.1),
                length_mm=100.0,
                scatter_mm=0.3,
            )
            for side, direction in edges
        ),
        touches_frame=False,
    )


def test_torn_edge_counts_before_the_selvage() -> None:
    """With both references the torn edge counts; with the selvage alone, its own direction; with neither, nothing."""
    print_ = Print(kind="stripe", across_direction_deg=Estimate(3.0, 0.05))
    region = _region(("top", 1.0), ("right", -88.0))
    both = measure_skew(print_, region, torn="top", selvage="right")
    alone = measure_skew(print_, region, selvage="right")
    assert both is not None
    assert alone is not None
    assert (both.reference, both.angle.value) == ("torn", pytest.approx(2.0))
    assert (alone.reference, alone.angle.value) == ("selvage", pytest.approx(1.0))
    assert both.angle.u95 == pytest.approx(math.hypot(0.05, 0.1))
    assert both.percent == pytest.approx(100 * math.tan(math.radians(2.0)))
    assert measure_skew(print_, region) is None
    assert measure_skew(print_, region, torn="left") is None


def test_crosswise_stripes_compare_with_the_weft() -> None:
    """Stripes that run along the torn edge have their across axis square to it: the skew is the same."""
    print_ = Print(kind="stripe", across_direction_deg=Estimate(-87.0, 0.05))
    found = measure_skew(print_, _region(("bottom", 1.0)), torn="bottom")
    assert found is not None
    assert found.angle.value == pytest.approx(2.0)


def _ruler(turn_deg: float, middle_mm: tuple[float, float]) -> np.ndarray:
    """A ruler 300 by 30 mm about a middle, turned counter-clockwise as seen."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    corners = ((-150.0, -15.0), (150.0, -15.0), (150.0, 15.0), (-150.0, 15.0))
    return np.array([(middle_mm[0] + x * c + y * s, middle_mm[1] - x * s + y * c) for x, y in corners])


STRIPES = Print(kind="stripe", across=Estimate(50.0, 0.1), across_direction_deg=Estimate(1.5, 0.05))


def test_a_ruler_across_the_cloth_is_not_its_torn_edge() -> None:
    """Where a ruler cuts the cloth at 18 degrees, the cloth's other edges belie that its torn edge lies so."""
    region = _region(("bottom", 18.0), ("top", 0.2), ("left", -89.9))
    across = _ruler(18.1, (50.0, 25.0))
    assert measure_skew(STRIPES, region, torn="bottom") is not None
    assert measure_skew(STRIPES, region, torn="bottom", covered_mm=(across,)) is None


def test_a_ruler_beside_the_cloth_leaves_its_torn_edge_alone() -> None:
    """A ruler laid along the torn edge with a gap is usual: the edge counts where the cloth's other edges agree."""
    region = _region(("bottom", 0.3), ("top", 0.1), ("left", -89.0))
    found = measure_skew(STRIPES, region, torn="bottom", covered_mm=(_ruler(0.2, (50.0, 30.0)),))
    assert found is not None
    assert found.angle.value == pytest.approx(1.2)


def test_an_edge_against_the_ruler_is_the_ruler_s() -> None:
    """An edge that lies against the ruler, as straight as the ruler, says nothing of the threads."""
    region = _region(("bottom", 0.3), ("top", 0.1), ("left", -89.0))
    assert measure_skew(STRIPES, region, torn="bottom", covered_mm=(_ruler(0.3, (50.0, 16.5)),)) is None
