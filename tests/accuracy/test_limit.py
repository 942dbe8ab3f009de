"""The yardsticks beside the table of the limit: the plain ways and the floor, against answers known beforehand."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from tests.accuracy.attempt import Attempt
from tests.accuracy.floor import Floor, print_slope_power, stretch_sd, torn_sd_deg
from tests.accuracy.limit import error_row, table
from tests.accuracy.pool import tried
from tests.accuracy.rival import Rivals, fft_peak, hough_lines, rivals_of, ruler_px_per_mm
from tests.accuracy.trial import Pair, Trial
from tests.makers.camera import Camera
from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.fact import Facts, facts_of
from tests.makers.shot import Shot, shoot
from tests.makers.worn import WornRuler
from vision.estimate import Estimate

STRIPES = StripePrint(across=Stripes(widths_mm=(8.0, 12.0), colours=("#202020", "#e8e8e8")))


def lines(period_px: float, direction_deg: float, size: int = 600) -> np.ndarray:
    """Black and white bars of equal width; their across direction counter-clockwise as seen."""
    a = math.radians(direction_deg)
    y, x = np.mgrid[:size, :size]
    wave = np.sin(2 * math.pi * (x * math.cos(a) - y * math.sin(a)) / period_px)
    return np.clip(128 + 400 * wave, 10, 245).astype(np.uint8)


@pytest.mark.parametrize(("period", "direction"), [(24.0, 20.0), (41.0, -65.0)])
def test_plain_ways_read_plain_bars(period: float, direction: float) -> None:
    """On clean bars of two equal widths both rivals are right: they are no straw men."""
    fft, hough = fft_peak(lines(period, direction)), hough_lines(lines(period, direction))
    assert fft is not None
    assert fft == (pytest.approx(period, rel=0.01), pytest.approx(direction, abs=0.3))
    assert hough is not None
    assert hough == (pytest.approx(period, rel=0.05), pytest.approx(direction, abs=0.6))


def test_one_scale_is_right_from_straight_above_and_wrong_when_tilted() -> None:
    """Without tilt one scale serves the whole photo; at 15° it does not, by the perspective between ruler and cloth."""
    errors = []
    for tilt in (0.0, 15.0):
        camera = Camera(width_px=1000, height_px=750, tilt_deg=tilt, azimuth_deg=90.0, distance_mm=400.0)
        cloth = Cloth(print=STRIPES, width_mm=240, length_mm=120, y_mm=-60.0)
        ruler = WornRuler(length_mm=300.0, width_mm=20.0, y_mm=90.0, stretch=0.001)
        shot = Shot(camera=camera, cloths=(cloth,), rulers=(ruler,))
        facts = facts_of(shot, "ruler")
        photograph = shoot(shot)
        errors.append(rivals_of(photograph, photograph.rgb, facts).one_scale)
        if tilt == 0.0:
            assert ruler_px_per_mm(shot, facts) == pytest.approx(camera.focal_px / 400.0 * 1.001, rel=1e-6)
    assert errors[0] == pytest.approx(-0.001, abs=2e-4)
    assert errors[1] is not None
    assert abs(errors[1]) > 0.05


def test_floor_is_what_least_squares_reaches() -> None:
    """The bound for a stretch equals the spread of a matched fit to a sine in white noise, over 400 draws."""
    rng, count, period, amplitude, sigma = np.random.default_rng(8), 400, 25.0, 40.0, 12.0
    x = np.arange(count) - (count - 1) / 2
    slope = amplitude * 2 * math.pi / period * np.cos(2 * math.pi * x / period)
    bound = stretch_sd(float((x**2).sum()), float((slope**2).mean()), sigma**2)
    design = np.column_stack([x * slope, slope, amplitude * np.sin(2 * math.pi * x / period), np.ones(count)])
    noise = rng.normal(0, sigma, (count, 400))
    reached = np.linalg.lstsq(design, noise, rcond=None)[0][0].std()
    assert reached == pytest.approx(bound, rel=0.12)


def test_torn_edge_s_own_irregularity_is_its_floor() -> None:
    """The slope of a line through 300 torn edges scatters as the floor says."""
    slopes = []
    for seed in range(300):
        cloth = Cloth(print=STRIPES, width_mm=90.0, length_mm=60.0, fray_mm=1.6, seed=seed)
        outline = cloth.outline_mm()
        edge = outline[(outline[:, 1] > 22) & (np.abs(outline[:, 0]) < 44.5)]
        slopes.append(math.degrees(math.atan(np.polyfit(edge[:, 0], edge[:, 1], 1)[0])))
    assert np.std(slopes) == pytest.approx(torn_sd_deg(cloth), rel=0.12)


def test_blur_takes_slope_away() -> None:
    """A sharp print says more about its period than the same print blurred; a plain one says nothing."""
    camera = Camera(width_px=1000, height_px=750, distance_mm=400.0)
    sharp, soft = (Shot(camera=camera, blur_px=blur) for blur in (0.5, 2.0))
    assert print_slope_power(STRIPES, 0.5, sharp) > 1.5 * print_slope_power(STRIPES, 0.5, soft) > 0


def test_a_crash_does_not_stop_the_rest() -> None:
    """A seed that raises is told with its reason; the seeds after it are tried."""
    results = list(tried(_third_fails, range(5)))
    assert [seed for seed, result, _ in results if result is None] == [3]
    assert "ZeroDivisionError" in results[3][2]
    assert results[4][1] == 1.0


def test_a_reference_s_own_error_is_told_apart() -> None:
    """A repeat of 100 mm told as 99.7 by a tape that is 0.2 % too long is off by 0.3 %, the tape by 0.2, and what the
    measuring adds is the 0.1 between them."""
    trial = Trial(
        seed=1, kind="stripe", found_kind="stripe", unit_right=True, stripe_count=None, warnings=(), seconds=1.0,
        pairs=(Pair(name="repeat", measured=Estimate(99.7, 0.4), true=100.0, is_repeat=True),),
    )  # fmt: skip
    facts = Facts(
        reference="ruler", reference_error=0.002, tilt_deg=3.0, k1=0.0, focal_known=True, creased=False, bowed=False,
        curled=False, torn=None, readable=True, why="", hardships=(),
    )  # fmt: skip
    rivals = Rivals(
        one_scale=None, fft_repeat=None, fft_direction_deg=None, hough_repeat=None, hough_direction_deg=None
    )
    floor = Floor(period=1e-5, scale=1e-5, tolerance=0.0015, torn_deg=0.1)
    row = error_row("a row", "", [Attempt(trial=trial, facts=facts, rivals=rivals, floor=floor)])
    assert "0.300    0.300" in row
    assert "references off by 0.200 / 0.200, net of them 0.100 / 0.100" in row


def _third_fails(seed: int) -> float:
    return (seed - 3) / (seed - 3)


def test_table_of_nothing_says_so() -> None:
    """Where every scene crashed there is no table to print."""
    assert table([]) == ["no scene to count"]


def test_peak_of_the_transform_is_opencv_s() -> None:
    """The plain peak's bin is that of OpenCV's own transform of the same windowed picture."""
    picture = lines(30.0, 10.0, 512)
    window = np.outer(np.hanning(512), np.hanning(512))
    padded = np.zeros((2048, 2048))
    padded[:512, :512] = (picture - picture.mean()) * window
    both = cv2.magnitude(*cv2.split(cv2.dft(padded, flags=cv2.DFT_COMPLEX_OUTPUT)))
    row, column = np.unravel_index(int(both[:, :1024].argmax()), (2048, 1024))
    fft = fft_peak(picture)
    assert fft is not None
    assert fft[0] == pytest.approx(2048 / math.hypot(column, row if row < 1024 else row - 2048), rel=1e-6)
