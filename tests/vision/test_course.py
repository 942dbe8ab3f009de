"""How a ruler runs through the photo, and that it is covered from edge to edge and from end to end."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.harsh import draw
from tests.makers.scene import as_stored
from tests.makers.shot import shoot
from tests.vision.row import comb
from vision.mark import to_the_middle_mm
from vision.reference.body import bodies
from vision.reference.course import course_of
from vision.reference.reading import Reading
from vision.reference.ruler import read_rulers

Floats = NDArray[np.float64]


def test_the_sides_of_a_ruler_seen_aslant_converge() -> None:
    """Ticks whose spacing falls to 64 % from the first to the last show a ruler whose far end looks 80 % as wide as its
    near one, with straight sides (projective geometry: the spacing falls with the square of the distance)."""
    row = comb(101)
    share = np.linspace(1.0, 0.8, 101)
    aslant = replace(row, spacing_px=6.0 * share**2)
    course = course_of(aslant, row.places_px)
    near, far = course.at(np.array([0.0, course.length]), np.array([20.0, 20.0]))[:, 1] - 100
    assert far / near == pytest.approx(0.8, abs=0.003)
    outline = course.band((0.0, course.length), (-10.0, 20.0))
    assert outline.shape == (4, 2)
    assert np.ptp(outline[[1, 2], 1]) / np.ptp(outline[[0, 3], 1]) == pytest.approx(0.8, abs=0.003)


@pytest.mark.parametrize(("bow_px", "corners"), [(0.0, 4), (2.0, 4), (20.0, 18)], ids=["straight", "hardly", "bent"])
def test_a_band_bends_as_the_feet_of_its_ticks_do(bow_px: float, corners: int) -> None:
    """Feet that bow by 20 px over 600 px, half a pixel of noise on each and a tenth of them worn by 15 px, carry the
    whole band with them, to half a pixel of the parabola; 2 px are a lens's, and the band stays straight."""
    row = comb(101)
    along = row.places_px[:, 0]
    bow = bow_px * (1 - (2 * along / 600 - 1) ** 2)
    rng = np.random.default_rng(4)
    feet = row.places_px + np.stack([0 * along, bow + rng.normal(0, 0.5, 101) + 15 * (rng.random(101) < 0.1)], axis=1)
    course = course_of(row, feet)
    outline = course.band((0.0, 600.0), (-10.0, 20.0))
    assert len(outline) == corners
    if corners > 4:
        middle = course.at(along, np.zeros(101))[:, 1] - 100
        assert np.abs(middle - middle[0] - (bow - bow[0])).max() < 0.5


def test_the_middle_of_a_bent_tape_is_told_where_its_marks_are() -> None:
    """A tape that reaches from 2 mm before its marks to 22 mm beyond, bowed by 24 px over 600: its middle line lies
    10 mm from the marks, as if it were straight (the geometry drawn, 6 px a mm)."""
    along = np.linspace(0, 600, 101)
    bow = 24 * (1 - (2 * along / 600 - 1) ** 2)
    marks = np.stack([along, 100 + bow], axis=1)
    sides = [np.stack([along, 100 + bow + 6 * off], axis=1) for off in (-2.0, 22.0)]
    tape = Reading(
        source="ruler",
        unit="mm",
        marks_px=marks,
        marks_mm=np.stack([along / 6, 0 * along], axis=1),
        marks_sigma_px=np.full(101, 0.1),
        ticks_px=np.empty((0, 2, 2)),
        ticks_sigma_px=np.empty(0),
        tolerance_relative_u95=0.003,
        names=("",) * 101,
        outline_px=np.concatenate([sides[0], sides[1][::-1]]),
    )
    assert to_the_middle_mm(tape) == pytest.approx(10.0, abs=0.2)


@pytest.mark.parametrize(
    ("seed", "held", "more"),
    [
        (79022, 0.97, 0.14),
        (72006, 0.97, 0.14),
        (79041, 0.97, 0.14),
        (82021, 0.97, 0.14),
        (85289, 0.97, 0.14),
        (87002, 0.97, 0.14),
        (87019, 0.88, 0.20),
    ],
    ids=["glare", "beyond its ticks", "aslant", "by the tips of its ticks", "below another", "crowded", "on a print"],
)
def test_rulers_are_covered_and_little_else(seed: int, held: float, more: float) -> None:
    """What is said to hide the cloth holds 97 % of what the rulers in view cover, with their rims for the shadow at
    most 14 % more; of grey steel on a print as grey in the mean, 88 % and 20 % (the maker's outlines, to a pixel)."""
    shot = draw(seed).shot
    rgb = as_stored(shoot(shot))
    true, found = np.zeros(rgb.shape[:2], np.uint8), np.zeros(rgb.shape[:2], np.uint8)
    for ruler in shot.rulers:
        cv2.fillPoly(true, [np.rint(shot.lens.seen(ruler.outline_mm())).astype(np.int32)], 1)
    for outline in bodies(read_rulers(rgb)):
        cv2.fillPoly(found, [np.rint(outline).astype(np.int32)], 1)
    assert (true & found).sum() >= held * true.sum()
    assert (found & (1 - true)).sum() <= more * true.sum()
