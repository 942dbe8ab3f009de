"""Checks: stripes both ways, mixed half and half where they cross, each way with its own true repeat."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.makers.cloth import CheckPrint, Stripes
from tests.vision.flat import as_it_is, flat
from vision.colour import ciede2000, srgb_to_lab
from vision.measurement import Print
from vision.print import measure_print

RED, CREAM, BLUE, GOLD, ECRU, GREY = "#8f1f2a", "#e9e1cc", "#23426f", "#d9a441", "#ddd3bb", "#c7c2b6"


def _printed(across: Stripes, along: Stripes, **picture: float) -> Print:
    square = flat(CheckPrint(across=across, along=along), **picture)
    found = measure_print(square, square.valid).print
    assert found is not None
    return found


def _ring(*stripes: tuple[float, str]) -> Stripes:
    return Stripes(widths_mm=tuple(width for width, _ in stripes), colours=tuple(colour for _, colour in stripes))


def test_a_check_that_repeats_one_way_only_is_a_check_without_the_other_repeat() -> None:
    """Of a check that shows 4 repeats down and less than one and a third across, the repeat down is along's: it is not
    told as a stripe's whose direction is off by a right angle."""
    across = _ring((70.0, RED), (50.0, CREAM), (30.0, GOLD), (60.0, BLUE))
    found = _printed(across, _ring((20.0, BLUE), (15.0, CREAM), (10.0, GOLD)), turn_deg=2.0)
    assert found.kind == "check"
    assert found.across is None
    assert found.along is not None
    assert found.along.value == pytest.approx(45.0, rel=0.003)
    assert found.across_direction_deg is not None
    assert found.across_direction_deg.value == pytest.approx(2.0, abs=0.3)


def test_yarns_that_just_differ_are_told_apart_in_a_check() -> None:
    """Ecru and a light grey show half their difference where they cross one yarn, yet red, ecru, red, grey is a
    sequence of four stripes, and no shorter one is its repeat."""
    light = [srgb_to_lab(np.array([int(h[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0) for h in (ECRU, GREY)]
    assert 4.5 < float(ciede2000(*light)) < 9.0
    ring = _ring((12.0, RED), (9.0, ECRU), (12.0, RED), (9.0, GREY))
    found = _printed(ring, _ring((11.0, BLUE), (14.0, CREAM)), width_mm=200.0, height_mm=100.0)
    assert found.across is not None
    assert found.across.value == pytest.approx(42.0, rel=0.003)
    assert [stripe.label for stripe in found.stripes] == ["A", "B", "A", "C"]


def test_a_check_that_nearly_says_itself_thrice_is_not_cut_down() -> None:
    """Black and cream three times over, of which one black is a quarter wider, shows 1.9 repeats: the repeat is 42.7 mm
    or not to be told, never a third or two thirds of it."""
    along = _ring((7.9, "#1e1d22"), (5.7, CREAM), (9.9, "#1e1d22"), (5.7, CREAM), (7.9, "#1e1d22"), (5.7, CREAM))
    found = _printed(_ring((18.0, RED), (9.0, CREAM), (12.0, BLUE)), along, height_mm=80.0)
    assert found.kind == "check"
    assert found.along is None or found.along.value == pytest.approx(42.8, rel=0.005)


def test_warp_and_weft_of_the_same_sequence_are_both_measured() -> None:
    """A gingham's two repeats are the same, whichever way it lies."""
    side = _ring((13.0, BLUE), (13.0, CREAM))
    found = _printed(side, side, turn_deg=-40.0)
    assert found.across is not None
    assert found.along is not None
    assert [found.across.value, found.along.value] == pytest.approx([26.0, 26.0], rel=0.003)


@pytest.mark.parametrize("light", ["#5f86a8", "#4a72a0"])
def test_a_check_whose_warp_hardly_differs_is_no_stripe(light: str) -> None:
    """Navy and black across, light and mid blue along: where the two darks cannot be told apart, the cloth is still a
    check that lies 1.5 degrees askew, whose repeat along is 18.7 mm; that is not told as the repeat of a stripe."""
    across = _ring((8.6, "#1c2f55"), (7.9, "#1e1d22"))
    along = _ring((7.1, light), (4.5, "#3a5f94"), (2.6, light), (4.5, "#3a5f94"))
    found = _printed(across, along, width_mm=320.0, height_mm=90.0, px_per_mm=3.0, noise=6.0, turn_deg=1.5)
    assert found.kind == "check"
    assert found.across is None or found.across.value == pytest.approx(16.5, rel=0.005)
    assert found.along is not None
    assert found.along.value == pytest.approx(18.7, rel=0.005)
    assert found.across_direction_deg is not None
    assert found.across_direction_deg.value == pytest.approx(1.5, abs=0.1)


@pytest.mark.parametrize("turn_deg", [-4.0, 1.0])
def test_a_check_shown_on_both_sides_of_a_ruler_is_measured_as_one(turn_deg: float) -> None:
    """A ruler of 38 mm lies slanting along the cloth and leaves two strips of it, each of about one repeat and a third:
    neither tells 17.3 mm by itself, but both together show more than half a repeat once more."""
    ring = _ring((3.3, "#3a3734"), (4.1, "#c98f2c"), (3.3, "#2f6b4a"), (2.0, "#c7c2b6"), (4.6, "#c98f2c"))
    square = flat(CheckPrint(across=ring, along=ring), width_mm=176.0, height_mm=84.0, px_per_mm=6.0, turn_deg=turn_deg)
    y, x = np.mgrid[0 : square.valid.shape[0], 0 : square.valid.shape[1]] / square.px_per_mm
    ruler = np.abs(y - 42.0 - 0.07 * (x - 88.0)) < 19.0
    found = measure_print(square, square.valid & ~ruler).print
    assert found is not None
    assert found.across is not None
    assert found.along is not None
    assert [found.across.value, found.along.value] == pytest.approx([17.3, 17.3], rel=0.003)


@pytest.mark.parametrize(("twill_mm", "turn_deg"), [(2.2, 3.0), (2.2, 40.0), (2.5, -3.0)])
def test_a_check_whose_twill_shows_is_a_check(twill_mm: float, turn_deg: float) -> None:
    """Dark and light threads that cross show as slanting lines of both, as coarse as a sixth of the check: it repeats
    every 25 mm both ways in stripes of 12.5 mm, and is no motif."""
    turn = np.radians(turn_deg)
    y, x = np.mgrid[0:900, 0:1000] / 5.0
    u, v = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
    warp_on_top = (u + v) % twill_mm < twill_mm / 2
    dark = np.where(warp_on_top, u % 25.0 < 12.5, v % 25.0 < 12.5)
    grey = cv2.GaussianBlur(np.where(dark, 60.0, 175.0), (0, 0), 1.0)
    grey = grey + np.random.default_rng(1).normal(0, 2.0, grey.shape)
    square = as_it_is(np.repeat(np.clip(np.rint(grey), 0, 255)[..., None], 3, axis=2), px_per_mm=5.0)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.kind == "check"
    assert found.across is not None
    assert found.across.value == pytest.approx(25.0, rel=0.003)
    assert [stripe.width.value for stripe in found.stripes] == pytest.approx([12.5, 12.5], abs=0.4)


@pytest.mark.parametrize(("apart_mm", "radius_mm"), [(12.0, 2.5), (12.0, 4.5), (15.0, 6.0)])
def test_polka_dots_are_no_check_of_twill(apart_mm: float, radius_mm: float) -> None:
    """Dots in rows both ways, a little turned, are a motif, however close: smoothing makes no check of them."""
    turn = np.radians(4.0)
    y, x = np.mgrid[0:900, 0:1000] / 6.0
    u, v = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
    grey = np.where(np.hypot(u % apart_mm - apart_mm / 2, v % apart_mm - apart_mm / 2) < radius_mm, 60.0, 175.0)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0) + np.random.default_rng(1).normal(0, 2.0, grey.shape)
    square = as_it_is(np.repeat(np.clip(np.rint(grey), 0, 255)[..., None], 3, axis=2), px_per_mm=6.0)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.kind == "motif"
