"""Skew: angle and percentage, and the print of a turned cloth against its own torn edge and selvage."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from vision.cloth import ClothRegion
from vision.edge import ClothEdge, Side
from vision.estimate import Estimate
from vision.grain import read_grains
from vision.lie import lie_of
from vision.measurement import Print, Skew
from vision.plane import fit_plane
from vision.reference.reading import Reading
from vision.request import MeasureRequest, Thread
from vision.skew import between_deg, measure_weft, percent
from vision.skew import measure_skew as against


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


def measure_skew(print_: Print, region: ClothRegion, **known: Any) -> Skew | None:
    """The skew against what is known of a region's grain."""
    return against(print_, read_grains(region, **known))


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


@pytest.mark.parametrize("askew_deg", [7.5, 33.0, -41.0])
def test_an_edge_far_askew_of_the_print_is_not_the_cloth_s(askew_deg: float) -> None:
    """No cloth is pulled by 7.5 degrees (13 %): a ruler's side that was taken for the torn edge tells no skew, and
    where the selvage shows as well, that counts; an edge 5 degrees askew (9 %) is believed, and of a print laid on by
    30 degrees every edge is, where the others agree with it."""
    print_ = Print(kind="stripe", across_direction_deg=Estimate(3.0, 0.05))
    assert measure_skew(print_, _region(("left", 3.0 - askew_deg)), torn="left") is None
    both = measure_skew(print_, _region(("left", 3.0 - askew_deg), ("top", 1.0)), torn="left", selvage="top")
    assert both is not None
    assert (both.reference, both.angle.value) == ("selvage", pytest.approx(2.0))
    pulled = measure_skew(print_, _region(("left", -2.0)), torn="left")
    assert pulled is not None
    assert pulled.angle.value == pytest.approx(5.0)
    square = _region(("left", -27.0), ("top", 63.0), ("right", -27.2), ("bottom", 62.5))
    diagonal = measure_skew(print_, square, torn="left")
    assert diagonal is not None
    assert diagonal.angle.value == pytest.approx(30.0)


def test_crosswise_stripes_compare_with_the_weft() -> None:
    """Stripes that run along the torn edge have their across axis square to it: the skew is the same."""
    print_ = Print(kind="stripe", across_direction_deg=Estimate(-87.0, 0.05))
    found = measure_skew(print_, _region(("bottom", 1.0)), torn="bottom")
    assert found is not None
    assert found.angle.value == pytest.approx(2.0)


def _torn_both_ways(across_deg: float, scatter_mm: float) -> Estimate:
    """The grain by a bottom edge at 1 degree, known to 0.1, and a top edge that runs and frays otherwise."""
    bottom, top = _region(("bottom", 1.0), ("top", across_deg)).edges
    top = replace(top, scatter_mm=scatter_mm)
    region = replace(_region(), edges=(bottom, top))
    return read_grains(region, torn="bottom", sure=region.edges)[0].direction_deg


def test_both_torn_edges_of_a_cloth_count() -> None:
    """Two torn edges follow threads of one weft: parallel and frayed alike, they are known better together than either
    (by the root of two, and by what they differ by less); a side that runs or frays otherwise was cut, and says
    nothing."""
    both = _torn_both_ways(1.06, 0.35)
    assert both.value == pytest.approx(1.03)
    assert both.u95 == pytest.approx(math.hypot(0.1 / math.sqrt(2), 0.03))
    for cut in (_torn_both_ways(1.3, 0.35), _torn_both_ways(1.06, 0.1)):
        assert (cut.value, cut.u95) == (1.0, 0.1)


def test_the_side_across_counts_where_no_ruler_runs_along_it() -> None:
    """A small cloth lies so near a ruler that nowhere the picture shows cloth that is surely none of it. A ruler that
    crosses at a slant cannot have been taken for either torn edge, so both count; one laid along them can."""
    bottom, top = _region(("bottom", 1.0), ("top", 1.06)).edges
    region = replace(_region(), edges=(bottom, top))

    def known_deg(turn_deg: float) -> float:
        covers = (_ruler(turn_deg, (50.0, 60.0)),)
        return read_grains(region, torn="bottom", covered_mm=covers, sure=())[0].direction_deg.u95

    assert known_deg(31.0) == pytest.approx(math.hypot(0.1 / math.sqrt(2), 0.03))
    assert known_deg(1.0) == 0.1


def test_of_a_check_pulled_askew_the_lines_along_the_grain_count() -> None:
    """Lines of a check that are square to each other tell one skew, and the surer ones tell it; in cloth pulled askew
    they tell two, and the torn edge is held against the lines that run along it."""
    grain = read_grains(_region(("bottom", 1.0)), torn="bottom")

    def told(across: Estimate, along: Estimate) -> Estimate:
        print_ = Print(kind="check", across_direction_deg=across, along_direction_deg=along)
        skew = against(print_, grain, lambda axis, line_deg, grain: axis.u95)
        assert skew is not None
        return skew.angle

    square = told(Estimate(2.0, 0.05), Estimate(-87.8, 0.3))
    pulled = told(Estimate(5.0, 0.05), Estimate(-87.8, 0.3))
    assert (square.value, square.u95) == (pytest.approx(1.0), pytest.approx(math.hypot(0.05, 0.1)))
    assert (pulled.value, pulled.u95) == (pytest.approx(1.2), pytest.approx(math.hypot(0.3, 0.1)))


def _ruler(turn_deg: float, middle_mm: tuple[float, float]) -> np.ndarray:
    """A ruler 300 by 30 mm about a middle, turned counter-clockwise as seen."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    corners = ((-150.0, -15.0), (150.0, -15.0), (150.0, 15.0), (-150.0, 15.0))
    return np.array([(middle_mm[0] + x * c + y * s, middle_mm[1] - x * s + y * c) for x, y in corners])


STRIPES = Print(kind="stripe", across=Estimate(50.0, 0.1), across_direction_deg=Estimate(1.5, 0.05))


def test_a_ruler_across_the_cloth_is_not_its_torn_edge() -> None:
    """Where a ruler cuts the cloth at 6 degrees, the cloth's other edges belie that its torn edge lies so."""
    region = _region(("bottom", 6.0), ("top", 0.2), ("left", -89.9))
    across = _ruler(6.1, (50.0, 25.0))
    assert measure_skew(STRIPES, region, torn="bottom") is not None
    assert measure_skew(STRIPES, region, torn="bottom", covered_mm=(across,)) is None


def test_a_ruler_beside_the_cloth_leaves_its_torn_edge_alone() -> None:
    """A ruler laid along the torn edge with a gap is usual: the edge counts where the cloth's other edges agree."""
    region = _region(("bottom", 0.3), ("top", 0.1), ("left", -89.0))
    found = measure_skew(STRIPES, region, torn="bottom", covered_mm=(_ruler(0.2, (50.0, 30.0)),))
    assert found is not None
    assert found.angle.value == pytest.approx(1.2)


def test_an_edge_beside_a_ruler_counts_where_the_picture_shows_the_cloth_within_it() -> None:
    """A ruler may be wider than was read of it, and be laid as straight as the cloth: where the picture was looked at
    and shows no cloth within the edge, nothing is said; away from rulers the edge counts as it did."""
    region = _region(("bottom", 0.3), ("top", 0.1), ("left", -89.0))
    beside, away = (_ruler(0.2, (50.0, 30.0)),), (_ruler(0.2, (50.0, 90.0)),)
    assert read_grains(region, torn="bottom", covered_mm=beside, sure=region.edges)
    assert not read_grains(region, torn="bottom", covered_mm=beside, sure=())
    assert read_grains(region, torn="bottom", covered_mm=away, sure=())


@pytest.mark.parametrize(("turn_deg", "sure"), [(44.0, False), (-46.5, False), (39.0, True)])
def test_of_two_edges_that_face_a_side_alike_either_may_be_the_torn_one(turn_deg: float, sure: bool) -> None:
    """Cloth that lies at 45 degrees, one pair of its edges 1.2 degrees from square to the other: whichever edge was
    meant, the grain that is told goes for it; where one faces the side clearly, it is that one's."""
    lying: tuple[tuple[Side, float], ...] = (("bottom", turn_deg), ("right", turn_deg + 91.2 - 180.0 * (turn_deg > 0)))
    grain = read_grains(_region(*lying), torn="bottom")[0].direction_deg
    for meant in (turn_deg, turn_deg + 1.2):
        covered = abs((grain.value - meant + 45.0) % 90.0 - 45.0) <= grain.u95
        assert covered or (sure and meant != turn_deg)
    assert (grain.u95 < 0.2) is sure
    alone = read_grains(_region(("bottom", turn_deg)), torn="bottom")
    assert bool(alone) is sure


def test_an_edge_against_the_ruler_is_the_ruler_s() -> None:
    """An edge that lies against the ruler, as straight as the ruler, says nothing of the threads."""
    region = _region(("bottom", 0.3), ("top", 0.1), ("left", -89.0))
    assert measure_skew(STRIPES, region, torn="bottom", covered_mm=(_ruler(0.3, (50.0, 16.5)),)) is None


def test_a_drawn_thread_counts_between_torn_edge_and_selvage() -> None:
    """A thread drawn across is as sure as it was marked; only a torn edge goes before it."""
    region = _region(("top", 1.0), ("right", -88.0))
    thread = Estimate(0.5, 0.2)
    marked = measure_skew(STRIPES, region, selvage="right", thread_deg=thread)
    torn = measure_skew(STRIPES, region, torn="top", selvage="right", thread_deg=thread)
    assert marked is not None
    assert torn is not None
    assert (marked.reference, marked.angle.value) == ("thread", pytest.approx(1.0))
    assert marked.angle.u95 == pytest.approx(math.hypot(0.05, 0.2))
    assert torn.reference == "torn"


def test_a_direction_known_to_a_degree_tells_no_skew() -> None:
    """3 % of skew is 1.7 degrees: a thread known to one degree either way leaves open whether cloth is that far askew,
    one known to half a degree does not."""
    region = _region()
    assert measure_skew(STRIPES, region, thread_deg=Estimate(0.5, 1.0)) is None
    assert measure_skew(STRIPES, region, thread_deg=Estimate(0.5, 0.5)) is not None


def test_the_weft_is_held_against_square_to_the_selvage() -> None:
    """A weft at 1 degree and a selvage at 88 (square to -2) are 3 degrees from square, whatever the print does."""
    region = _region(("top", 1.0), ("right", 88.0))
    weft = measure_weft(read_grains(region, torn="top", selvage="right"), angle_u95_deg=0.05)
    assert weft is not None
    assert (weft.reference, weft.angle.value) == ("selvage", pytest.approx(3.0))
    assert weft.percent == pytest.approx(100 * math.tan(math.radians(3.0)))
    assert weft.angle.u95 == pytest.approx(math.sqrt(0.1**2 + 0.1**2 + 0.05**2))


def test_one_reference_alone_tells_nothing_of_the_weft() -> None:
    """Without a selvage, without a crosswise thread, or with a thread of the warp, there is no such angle."""
    region = _region(("top", 1.0), ("right", 88.0))
    assert measure_weft(read_grains(region, torn="top"), 0.05) is None
    assert measure_weft(read_grains(region, selvage="right"), 0.05) is None
    warp = read_grains(region, selvage="right", thread_deg=Estimate(87.0, 0.1))
    assert measure_weft(warp, 0.05) is None


def test_two_points_mark_a_thread_of_the_cloth_they_lie_on() -> None:
    """Points 400 px apart, rising by 1 in 40, mark a thread at atan(1/40) = 1.43 degrees; it counts for the cloth that
    it lies on, and for no other. Placing each within 1.2 px (95 %) leaves 0.24 degrees open."""
    marks = np.array([[100.0, 900.0], [900.0, 900.0]])
    reading = Reading(
        source="points", unit=None, marks_px=marks, marks_mm=np.array([[0.0, 0.0], [200.0, 0.0]]),
        marks_sigma_px=np.full(2, 0.1), ticks_px=np.zeros((0, 2, 2)), ticks_sigma_px=np.zeros(0),
        tolerance_relative_u95=0.0, names=("", ""), outline_px=np.zeros((0, 2)),
    )  # fmt: skip
    plane = fit_plane([reading], size_px=(1000, 1000), focal_px=Estimate(800.0, 1.0))
    half = 120.0
    square = ((-half, -half), (half, -half), (half, half), (-half, half))
    here = _region(("top", 0.0))
    here = replace(here, outline_mm=square)
    elsewhere = replace(here, outline_mm=tuple((x + 500.0, y) for x, y in square))
    request = MeasureRequest(thread=Thread(ends_px=((300.0, 505.0), (700.0, 495.0))))
    photo = np.zeros((1000, 1000, 3), np.uint8)
    lie = lie_of(plane, here, STRIPES, request, photo)
    assert lie.skew is not None
    assert (lie.skew.reference, lie.side) == ("thread", "bottom")
    assert lie.skew.angle.value == pytest.approx(1.5 - math.degrees(math.atan(1 / 40)), abs=0.02)
    assert lie.skew.angle.u95 == pytest.approx(math.hypot(0.05, math.degrees(2 * math.sqrt(2) * 0.6 / 400)), abs=0.01)
    assert lie_of(plane, elsewhere, STRIPES, request, photo).skew is None
