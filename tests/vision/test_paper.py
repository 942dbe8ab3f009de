"""Millimetre paper is read by its fives and tens in both directions; other grids are not taken for it."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from vision.reference.grid import grow
from vision.reference.paper import is_narrow
from vision.reference.reading import Reading
from vision.reference.ruler import read_rulers
from vision.reference.tick import pyramid

INCH_MM = 25.4
PHOTOS = Path(os.environ.get("STRIPEWRIGHT_SHARED", Path(__file__).parents[2].parent / "shared")) / "photos"

Floats = NDArray[np.float64]
#: After how many lines a stronger kind comes, its width in mm and how much darker than the paper it is, grey levels:
#: common practice of millimetre paper.
MILLIMETRES = {1: (0.12, 70.0), 5: (0.18, 95.0), 10: (0.3, 130.0)}


def seen(
    lines: dict[int, tuple[float, float]],
    px_per_mm: float,
    *,
    step_mm: float = 1.0,
    turn_deg: float = 7.0,
    tilt: float = 0.0,
    size_mm: tuple[float, float] = (90.0, 60.0),
    blur_px: float = 0.8,
    seed: int = 1,
) -> tuple[NDArray[np.uint8], Floats]:
    """A sheet of lines ``step_mm`` apart on a grey table, three times oversampled, and the homography from mm to px.

    ``tilt`` is by how much (share) the scale falls over 100 mm.
    """
    width, height = 900, 700
    a = math.radians(turn_deg)
    turned = px_per_mm * np.array([[math.cos(a), -math.sin(a), 0.0], [math.sin(a), math.cos(a), 0.0]])
    matrix = np.vstack([turned, [tilt / 100, -tilt / 200, 1.0]])
    matrix[:2] += np.outer([(width - 1) / 2, (height - 1) / 2], matrix[2])
    fine = 3
    x, y = np.meshgrid((np.arange(width * fine) + 0.5) / fine - 0.5, (np.arange(height * fine) + 0.5) / fine - 0.5)
    points = np.stack([x, y], axis=-1).astype(np.float32)
    mm = cv2.perspectiveTransform(points, np.linalg.inv(matrix))
    ink = np.zeros(x.shape, np.float32)
    for axis in (0, 1):
        number = np.rint(mm[..., axis] / step_mm)
        off = np.abs(mm[..., axis] - number * step_mm)
        for every, (wide, dark) in lines.items():
            np.maximum(ink, np.where((number % every == 0) & (off < wide / 2), dark, 0), out=ink)
    on_grid = (np.abs(mm) <= np.array(size_mm) / 2 + 0.2).all(axis=-1)
    on_paper = (np.abs(mm) <= np.array(size_mm) / 2 + 5.0).all(axis=-1)
    grey = np.where(on_paper, 225.0 - np.where(on_grid, ink, 0.0), 110.0).astype(np.float32)
    small = cv2.GaussianBlur(cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA), (0, 0), blur_px)
    noisy = small + np.random.default_rng(seed).normal(0, 2.0, small.shape)
    return np.repeat(np.clip(np.rint(noisy), 0, 255).astype(np.uint8)[..., None], 3, axis=2), matrix


def stretch_and_scatter(reading: Reading, matrix: Floats) -> tuple[float, float]:
    """How many mm a millimetre of the reading is in truth, and how far (mm, rms) its marks lie off."""
    true = cv2.perspectiveTransform(reading.marks_px[None], np.linalg.inv(matrix))[0]
    told = reading.marks_mm
    ours, theirs = told - told.mean(axis=0), true - true.mean(axis=0)
    left, spread, right = np.linalg.svd(ours.T @ theirs)
    scale = float(spread.sum() / (ours**2).sum())
    return scale, float(np.sqrt(((theirs - scale * ours @ left @ right) ** 2).mean()))


@pytest.mark.parametrize(
    ("px_per_mm", "turn_deg", "tilt", "blur_px", "seed"),
    [
        (5.0, 0.4, 0.0, 1.2, 1),
        (6.0, 44.0, 0.05, 0.8, 1),
        (8.0, -20.0, 0.1, 1.5, 1),
        (14.0, 95.0, 0.03, 1.0, 1),
        (14.0, 95.0, 0.03, 1.0, 25),  # a row of crossings that looks like a scale runs along the picture's edge
    ],
)
def test_paper_is_read_to_a_tenth_of_a_percent(
    px_per_mm: float, turn_deg: float, tilt: float, blur_px: float, seed: int
) -> None:
    """Lines a millimetre apart, the fifth and tenth stronger (common practice): a millimetre is a millimetre to 0.1 %,
    and each mark is where the homography that drew it says, to 0.05 mm, also where the sheet is seen from aside."""
    picture, matrix = seen(MILLIMETRES, px_per_mm, turn_deg=turn_deg, tilt=tilt, blur_px=blur_px, seed=seed)
    (reading,) = read_rulers(picture)
    assert reading.unit == "mm"
    scale, scatter = stretch_and_scatter(reading, matrix)
    assert scale == pytest.approx(1.0, abs=0.001)
    assert scatter < 0.05


@pytest.mark.parametrize(("across_mm", "planar"), [(1.0, True), (1.23, False)], ids=["true spacing", "wrong spacing"])
def test_a_single_row_of_crossings_is_no_grid(across_mm: float, planar: bool) -> None:
    """With the lines' own spacing in both directions the grid is found; with one 23 % too wide across, the lines of one
    row are met and no others: points of one line span no plane (projective geometry)."""
    picture, matrix = seen(MILLIMETRES, 14.0, turn_deg=0.0)
    place = cv2.perspectiveTransform(np.zeros((1, 1, 2)), matrix)[0, 0]
    grid = grow(pyramid(picture[..., 0]), place, 14.0 * np.diag([1.0, across_mm]), most=300)
    assert (grid is not None) is planar


@pytest.mark.parametrize("lines", [5, 6])
def test_two_rows_of_crossings_set_no_scale_across(lines: int) -> None:
    """Ticks a millimetre apart, and a few lines a quarter farther apart across them, as the grain of a ruler's wood is:
    any two rows stand evenly, so the ticks count alone, on one line, a drawn number of pixels apart."""
    picture, _ = seen(MILLIMETRES, 14.0, turn_deg=0.0, size_mm=(56.0, lines - 1.0))
    readings = read_rulers(np.asarray(cv2.resize(picture, None, fx=1.0, fy=1.25), dtype=np.uint8))
    assert readings
    for reading in readings:
        assert np.ptp(reading.marks_mm[:, 1]) == 0
        length_px = float(np.hypot(*(reading.marks_px[-1] - reading.marks_px[0])))
        assert length_px / float(np.ptp(reading.marks_mm[:, 0])) == pytest.approx(14.0, rel=0.003)


def crossings_of(rows: list[list[int]]) -> Reading:
    """A reading of millimetre paper with crossings at these places (mm) of each row, two millimetres apart."""
    marks = np.array([(2.0 * row, float(place)) for row, places in enumerate(rows) for place in places])
    return Reading(
        source="ruler",
        unit="mm",
        marks_px=marks * 8.0,
        marks_mm=marks,
        marks_sigma_px=np.full(len(marks), 0.1),
        ticks_px=np.zeros((0, 2, 2)),
        ticks_sigma_px=np.zeros(0),
        tolerance_relative_u95=0.003,
        names=("",) * len(marks),
        outline_px=np.zeros((0, 2)),
    )


def test_lines_that_come_and_go_are_no_rows_of_paper() -> None:
    """Along a ruler of 240 mm one row of crossings goes all through and two show for a third of it, as the grain of its
    wood does: that is no grid, nor are three full ones within ticks 6 mm long; beside ticks of a millimetre, as strong
    lines look, they are. Of paper seen as far as a lozenge goes, many rows are nearly as full as the fullest."""
    grain = crossings_of([list(range(0, 240, 2)), list(range(0, 90, 2)), list(range(140, 240, 2))])
    lozenge = crossings_of([list(range(-far, far + 1, 2)) for far in (8, 16, 24, 32, 24, 16, 8)])
    full = crossings_of([list(range(0, 240, 2))] * 3)
    assert is_narrow(grain, 1.0)
    assert is_narrow(full, 6.0)
    assert not is_narrow(full, 1.0)
    assert not is_narrow(lozenge, 6.0)


def test_paper_covers_its_margin_and_no_more() -> None:
    """The grid is 90 × 60 mm with a bare margin of 5 mm: the sheet's corners are at (50, 35) mm from its middle."""
    picture, matrix = seen(MILLIMETRES, 6.0, turn_deg=12.0, tilt=0.05)
    (reading,) = read_rulers(picture)
    corners = np.abs(cv2.perspectiveTransform(reading.outline_px[None], np.linalg.inv(matrix))[0])
    assert corners == pytest.approx(np.tile([50.0, 35.0], (4, 1)), abs=2.5)


@pytest.mark.parametrize("columns", [520, 610, 700])
def test_a_sheet_that_the_frame_cuts_off_ends_there(columns: int) -> None:
    """Where the picture ends no lines are seen to go on: the sheet's outline reaches to the frame and, at its slanting
    corners, not two centimetres beyond it (6 px a mm), and not as far as paper is ever made."""
    picture, _ = seen(MILLIMETRES, 6.0, size_mm=(130.0, 90.0))
    (reading,) = read_rulers(np.ascontiguousarray(picture[:, :columns]))
    assert columns - 60 <= reading.outline_px[:, 0].max() <= columns + 120


def test_a_large_sheet_covers_all_that_its_lines_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sheet with more lines than are followed is still one sheet: its four corners (as drawn, with 5 mm of margin)
    lie in its outline, whose area is no more than that and a rim."""
    monkeypatch.setattr("vision.reference.paper.MOST", 400)
    picture, matrix = seen(MILLIMETRES, 4.2, size_mm=(190.0, 140.0))
    reading = read_rulers(picture)[0]
    outline = cv2.perspectiveTransform(reading.outline_px[None], np.linalg.inv(matrix))[0].astype(np.float32)
    for corner in ((-94.0, -74.0), (94.0, -74.0), (94.0, 74.0), (-94.0, 74.0)):
        assert cv2.pointPolygonTest(outline, corner, False) >= 0
    assert cv2.contourArea(outline) < 210 * 160


@pytest.mark.parametrize(
    ("lines", "step_mm", "px_per_mm"),
    [
        ({1: (0.2, 90.0)}, 1.0, 8.0),  # nothing says how far apart the lines stand
        ({1: (0.15, 80.0), 5: (0.3, 120.0)}, 2.0, 5.0),  # squares of two millimetres, each fifth line strong
        ({1: (0.2, 80.0), 4: (0.3, 100.0), 8: (0.5, 130.0)}, INCH_MM / 8, 3.0),  # eighths of an inch
        ({1: (0.2, 80.0), 10: (0.5, 130.0)}, INCH_MM / 10, 3.0),  # tenths of an inch, strong at the inch only
        ({1: (0.4, 90.0), 6: (0.6, 130.0)}, 1.5, 6.0),  # a check after six threads
    ],
)
def test_other_grids_are_no_millimetre_paper(
    lines: dict[int, tuple[float, float]], step_mm: float, px_per_mm: float
) -> None:
    """Grids of other spacings exist in all shops (common practice); without fives and tens none gives a scale."""
    picture, _ = seen(lines, px_per_mm, step_mm=step_mm, turn_deg=10.0)
    assert read_rulers(picture) == ()


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="the folder of real photographs is not beside the project")
def test_a_real_strip_of_paper_is_read_within_one_percent() -> None:
    """A strip of 20 × 5 mm in a photograph whose lines were placed by hand (truth.json beside it): within 1 %."""
    truth = json.loads((PHOTOS / "truth.json").read_text())["paper_strip_tiny.jpg"]["px_per_mm"]
    (reading,) = read_rulers(np.asarray(cv2.imread(str(PHOTOS / "paper_strip_tiny.jpg"))[..., ::-1], dtype=np.uint8))
    told, found = (np.diff(marks[[0, -1]], axis=0)[0] for marks in (reading.marks_mm, reading.marks_px))
    assert float(np.hypot(*found) / np.hypot(*told)) == pytest.approx(truth, rel=0.01)
