"""The tool's own printed target: a ChArUco board (chessboard with a coded marker in every white square).

Reference: S. Garrido-Jurado et al., "Automatic generation and detection of highly reliable fiducial markers under
occlusion", Pattern Recognition 47 (2014); detection by OpenCV's ``aruco`` module.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reference.reading import Floats, Reading
from vision.reference.sheet import paper_round

#: Squares across and down, and their true size in mm, as the printed sheet has them.
SQUARES = (5, 7)
SQUARE_MM = 30.0
MARKER_MM = 15.0
DICTIONARY = cv2.aruco.DICT_6X6_250
#: A home printer told to print at 100 %, the board itself checked to a quarter of a millimetre in its 150 mm, as the
#: sheet asks for, and paper that has grown by less than that since.
PRINT_RELATIVE_U95 = 0.002
#: Fewer corners than this do not fix a plane with a check to spare.
FEWEST_CORNERS = 8
#: Looks at the picture, one after the other until nearly all corners are found: its long side at most, px, and whether
#: it is sharpened (a soft picture shows a marker's bits only then; a sharp one is sharper without).
LOOKS = ((1600.0, False), (1600.0, True), (math.inf, False), (math.inf, True))
SHARPEN_PX, SHARPEN_TIMES = 3.0, 3.0
#: Corners with which no further look is taken, and markers without which the last is not.
MOST_CORNERS, FEWEST_HINTS = 20, 2
#: One standard deviation of a refined corner, px, where the board shows too few in rows to tell; and the least that is
#: believed (rendered scenes: 0.01 to 0.04; a real board of 48 px a square: 0.15; OpenCV's cornerSubPix).
CORNER_SIGMA_PX, LEAST_SIGMA_PX = 0.12, 0.02
#: Fewer corners with a neighbour at both sides tell no noise.
FEWEST_BETWEEN = 8
#: A corner further than this share of the picture's long side from the flat board is another's; lenses bend less.
ASTRAY_SHARE = 0.0015
#: White paper round the board that hides the table or the cloth, where its end is not seen, mm (to the sides; above and
#: below).
PAPER_MARGIN_MM = (28.0, 34.0)


def black_cells_mm() -> tuple[tuple[float, float, float, float], ...]:
    """The board as black rectangles (x, y, width, height) in mm, origin at its top left corner, for printing."""
    cells = MARKER_MM / _marker_bits().shape[1]
    inset = (SQUARE_MM - MARKER_MM) / 2
    black: list[tuple[float, float, float, float]] = []
    marker = 0
    for row in range(SQUARES[1]):
        for column in range(SQUARES[0]):
            x, y = column * SQUARE_MM, row * SQUARE_MM
            if (row + column) % 2 == 0:
                black.append((x, y, SQUARE_MM, SQUARE_MM))
                continue
            bits = _marker_bits()[marker]
            marker += 1
            for i, j in zip(*np.nonzero(bits == 0), strict=True):
                black.append((x + inset + j * cells, y + inset + i * cells, cells, cells))
    return tuple(black)


def white_places_mm() -> Floats:
    """Places (N, 2) of bare paper on the board: half way between each marker and the rim of its square."""
    near, middle, far = (SQUARE_MM - MARKER_MM) / 4, SQUARE_MM / 2, SQUARE_MM - (SQUARE_MM - MARKER_MM) / 4
    ring = np.array([(near, middle), (far, middle), (middle, near), (middle, far), (near, near), (far, far)])
    squares = [
        (column * SQUARE_MM, row * SQUARE_MM)
        for row in range(SQUARES[1])
        for column in range(SQUARES[0])
        if (row + column) % 2
    ]
    return np.asarray((np.array(squares)[:, None] + ring[None]).reshape(-1, 2), dtype=np.float64)


def read_target(rgb: NDArray[np.uint8]) -> Reading | None:
    """Find the printed target in a photo (H, W, 3) uint8; None where it is not there or too little of it is."""
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    best, hints = None, 0
    scale, look = 1.0, grey
    for factor, sharp in LOOKS:
        if sharp and factor == math.inf and hints < FEWEST_HINTS:
            break  # nothing in the other looks is like a marker: it is not worth the longest one
        if not sharp:  # the sharp look is one at the same picture
            scale = min(1.0, factor / max(grey.shape))
            small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
            look = np.asarray(small, dtype=np.uint8)
        found, markers = _detect(_sharpened(look) if sharp else look)
        hints = max(hints, markers)
        if found is None or (best is not None and len(found[1]) <= len(best[1])):
            continue
        best = ((found[0] + 0.5) / scale - 0.5, found[1])
        if len(best[1]) >= MOST_CORNERS:
            break
    if best is None:
        return None
    reading = reading_of(_refined(grey, *best), best[1], max(grey.shape))
    return None if reading is None else replace(reading, outline_px=_paper(rgb, reading))


def _sharpened(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The picture with its blur taken back: bits of a marker that have run into each other come apart."""
    soft = cv2.GaussianBlur(grey, (0, 0), SHARPEN_PX)
    return np.asarray(cv2.addWeighted(grey, 1 + SHARPEN_TIMES, soft, -SHARPEN_TIMES, 0), dtype=np.uint8)


def reading_of(corners_px: Floats, ids: NDArray[np.int64], side_px: int) -> Reading | None:
    """What corners (N, 2) of the board, numbered ``ids`` (N,) row by row, say in a picture of that long side.

    None where too few of them fit the board.
    """
    astray_px = max(2.0, ASTRAY_SHARE * side_px)
    inner = SQUARES[0] - 1
    places = np.stack([ids % inner + 1, ids // inner + 1], axis=1) * SQUARE_MM
    homography, kept = cv2.findHomography(places, corners_px, cv2.RANSAC, astray_px)
    if homography is None or int(kept.sum()) < FEWEST_CORNERS:
        return None
    chosen = kept.ravel().astype(bool)
    width, height = SQUARES[0] * SQUARE_MM, SQUARES[1] * SQUARE_MM
    right, down = PAPER_MARGIN_MM
    paper = np.array([[-right, -down], [width + right, -down], [width + right, height + down], [-right, height + down]])
    outline = cv2.perspectiveTransform(paper[None], homography)[0]
    return Reading(
        source="target",
        unit=None,
        marks_px=corners_px[chosen],
        marks_mm=places[chosen].astype(np.float64),
        marks_sigma_px=np.full(int(chosen.sum()), noise_px(places[chosen], corners_px[chosen])),
        ticks_px=np.empty((0, 2, 2)),
        ticks_sigma_px=np.empty(0),
        tolerance_relative_u95=PRINT_RELATIVE_U95,
        names=tuple("" for _ in range(int(chosen.sum()))),
        outline_px=outline.astype(np.float64),
    )


def _paper(rgb: NDArray[np.uint8], reading: Reading) -> Floats:
    """The sheet (4, 2), photo px, on which a board that was read is printed."""
    homography, _ = cv2.findHomography(reading.marks_mm, reading.marks_px, 0)
    size = (SQUARES[0] * SQUARE_MM, SQUARES[1] * SQUARE_MM)
    return paper_round(rgb, np.asarray(homography, dtype=np.float64), size, PAPER_MARGIN_MM)


def noise_px(places_mm: Floats, corners_px: Floats) -> float:
    """One standard deviation of corners (N, 2) of the board's grid, px, told from neighbours: what each lies beside the
    middle of the two next to it, once the board's tilt is taken out. Paper that bends and lenses change that little."""
    homography, _ = cv2.findHomography(places_mm, corners_px, 0)
    off = corners_px - cv2.perspectiveTransform(places_mm[None], homography)[0]
    number = np.rint(places_mm / SQUARE_MM).astype(np.int64)
    grid = np.full((*(number.max(axis=0) + 1), 2), np.nan)
    grid[number[:, 0], number[:, 1]] = off
    beside = [np.diff(grid, 2, axis=axis).reshape(-1, 2) for axis in (0, 1)]
    seen = np.concatenate([one[np.isfinite(one).all(axis=1)] for one in beside])
    if len(seen) < FEWEST_BETWEEN:
        return CORNER_SIGMA_PX
    return max(LEAST_SIGMA_PX, 1.4826 * float(np.median(np.abs(seen))) / math.sqrt(6))  # 1 + 4 + 1 variances


def _detect(grey: NDArray[np.uint8]) -> tuple[tuple[Floats, NDArray[np.int64]] | None, int]:
    """Corners (N, 2) and their numbers where enough of the board is seen, and how many markers are."""
    corners, ids, _, markers = _detector().detectBoard(grey)
    seen = 0 if markers is None else len(markers)
    if ids is None or len(ids) < FEWEST_CORNERS:
        return None, seen
    return (np.asarray(corners, dtype=np.float64).reshape(-1, 2), np.asarray(ids, dtype=np.int64).ravel()), seen


def _refined(grey: NDArray[Any], corners: Floats, ids: NDArray[np.int64]) -> Floats:
    """Corners found in the reduced picture, refined in the full one within a quarter of a square."""
    spacing = np.median(np.linalg.norm(np.diff(corners[np.argsort(ids)], axis=0), axis=1))
    half = int(np.clip(spacing * 0.12, 3, 15))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    refined = cv2.cornerSubPix(grey, corners.astype(np.float32).reshape(-1, 1, 2), (half, half), (-1, -1), stop)
    return np.asarray(refined, dtype=np.float64).reshape(-1, 2)


@cache
def _board() -> Any:
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    return cv2.aruco.CharucoBoard(SQUARES, SQUARE_MM, MARKER_MM, dictionary)


@cache
def _detector() -> Any:
    return cv2.aruco.CharucoDetector(_board())


@cache
def _marker_bits() -> NDArray[np.uint8]:
    """(markers, 8, 8) 0 for black: the 6 x 6 code within its black border."""
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    count = SQUARES[0] * SQUARES[1] // 2
    return np.stack([cv2.aruco.generateImageMarker(dictionary, marker, 8) for marker in range(count)])
