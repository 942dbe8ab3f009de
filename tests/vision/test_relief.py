"""What straight, even lines tell of how flat a cloth lies, on places projected by a known camera."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.test_plane import FOCAL_PX, SIZE, Floats, camera, ruler, seen
from vision.estimate import Estimate
from vision.measurement import Print, Stripe
from vision.plane import FLATNESS_RELATIVE_U95, Plane, fit_plane
from vision.print import PrintEvidence
from vision.relief import Relief, relief_of, with_relief

_REPEAT_MM = 30.0
_TURN_DEG = 8.0
_PX_PER_MM = 6.0
_EYE_MM = FOCAL_PX / _PX_PER_MM


@pytest.fixture(scope="module")
def plane() -> Plane:
    """A plane seen from straight above, told by a long ruler."""
    return fit_plane([ruler(camera(0.0, 0.0, _PX_PER_MM))], size_px=SIZE, focal_px=Estimate(FOCAL_PX, 1.0))


def _grid() -> tuple[Floats, Floats]:
    order, v = np.meshgrid(np.arange(-9.0, 10.0), np.linspace(-200, 200, 30))
    return order.ravel(), v.ravel()


def _axes() -> tuple[Floats, Floats]:
    """Across the lines and along them; y points down."""
    t = math.radians(_TURN_DEG)
    return np.array([math.cos(t), -math.sin(t)]), np.array([math.sin(t), math.cos(t)])


def _crossings(plane: Plane, height_mm: Floats | None = None) -> Floats:
    """Lines 30 mm apart, turned by 8 degrees, over 560 by 400 mm; ``height_mm`` (N,) of each place over the table."""
    n, d = _axes()
    order, v = _grid()
    mm = order[:, None] * _REPEAT_MM * n + v[:, None] * d
    if height_mm is not None:
        mm = mm * (_EYE_MM / (_EYE_MM - height_mm))[:, None]
    px = seen(camera(0.0, 0.0, _PX_PER_MM), mm)
    px = px + np.random.default_rng(7).normal(0, 0.1, px.shape)
    return np.column_stack([plane.to_mm(px), order, np.full(len(order), 0.02)])


def _waves(seed: int) -> Floats:
    """The heights of a cloth that waves: one wave of 0.6 to 1.5 mm, 200 to 700 mm long, any way."""
    rng = np.random.default_rng(seed)
    order, v = _grid()
    turn, long, high = rng.uniform(0, math.pi), rng.uniform(200, 700), rng.uniform(0.6, 1.5)
    away = order * _REPEAT_MM * math.cos(turn) + v * math.sin(turn)
    return np.asarray(high / 2 * (1 + np.sin(2 * math.pi * away / long + rng.uniform(0, 6.28))))


def _relief(plane: Plane, crossings: Floats) -> Relief:
    relief = relief_of(plane, crossings, _TURN_DEG)
    assert relief is not None
    return relief


def test_waves_are_in_the_uncertainty(plane: Plane) -> None:
    """Heights h shift a place by h / D of its distance from below the lens (geometry). Over twenty such cloths the true
    spacing lies within what relief leaves open, and the plane besides, in at least eighteen, and the true direction in
    at least sixteen (of twenty at 95 % that many are as good as sure: binomial)."""
    n, d = _axes()
    spaced = turned = 0
    for seed in range(20):
        crossings = _crossings(plane, _waves(seed))
        relief = _relief(plane, crossings)
        u, v, order = crossings[:, :2] @ n, crossings[:, :2] @ d, crossings[:, 2]
        design = np.column_stack([np.ones_like(order), order, v, order**2, order * v, v**2])
        fit = np.linalg.lstsq(design, u, rcond=None)[0]
        known = plane.length_relative_u95_at((SIZE[0] / 2, SIZE[1] / 2)) - FLATNESS_RELATIVE_U95
        spaced += abs(fit[1] / _REPEAT_MM - 1) <= math.hypot(relief.relative_u95, known)
        turned += abs(math.degrees(math.atan(fit[2]))) <= relief.turn_u95_deg + plane.angle_u95_deg_at((2000.0, 1500.0))
    assert spaced >= 18
    assert turned >= 16


def test_a_flat_cloth_is_known_better_than_a_wavy_one(plane: Plane) -> None:
    """A wave of 2 mm that comes once in 250 mm is told from flatness: heights of 0.35 of it (geometry) are found to a
    half, and lengths left open more than on flat cloth, where they are known better than of cloth never looked at."""
    order, v = _grid()
    flat = _relief(plane, _crossings(plane))
    wavy = _relief(plane, _crossings(plane, 1.0 + np.sin(2 * math.pi * order * _REPEAT_MM / 250 + v / 400)))
    assert wavy.height_mm == pytest.approx(0.7, rel=0.5)
    assert flat.height_mm < 0.1
    assert flat.relative_u95 < FLATNESS_RELATIVE_U95
    assert wavy.relative_u95 > 1.2 * flat.relative_u95
    assert wavy.turn_u95_deg > 1.5 * flat.turn_u95_deg


def test_few_lines_tell_nothing(plane: Plane) -> None:
    """One line alone has no spacing, and a handful of places no shape."""
    crossings = _crossings(plane)
    assert relief_of(plane, crossings[crossings[:, 2] == 0], _TURN_DEG) is None
    assert relief_of(plane, crossings[:20], _TURN_DEG) is None


def test_relief_is_in_every_figure_of_a_print(plane: Plane) -> None:
    """Repeat, widths and direction take what relief leaves open beside their own uncertainty (JCGM 100:2008, 5.1); a
    print whose lines are not seen takes what cloth mostly leaves open of lengths."""
    stripe = Stripe(label="A", width=Estimate(12.0, 0.1), centre_mm=6.0, hex="#102030", colour="blue")
    print_ = Print(
        kind="stripe",
        across=Estimate(30.0, 0.03),
        across_direction_deg=Estimate(_TURN_DEG, 0.01),
        stripes=(stripe,),
    )
    nothing = np.zeros((0, 4))
    crossings = _crossings(plane)
    relief = _relief(plane, crossings)
    for lines, relative, turn in (
        (crossings, relief.relative_u95, relief.turn_u95_deg),
        (nothing, FLATNESS_RELATIVE_U95, 0.0),
    ):
        made = with_relief(print_, PrintEvidence(crossings_mm=lines, crossings_along_mm=nothing), plane)
        assert made.across is not None
        assert made.across_direction_deg is not None
        assert made.across.u95 == pytest.approx(math.hypot(0.03, 30.0 * relative))
        assert made.stripes[0].width.u95 == pytest.approx(math.hypot(0.1, 12.0 * relative))
        assert made.across_direction_deg.u95 == pytest.approx(math.hypot(0.01, turn))
