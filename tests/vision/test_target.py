"""The printed target, the card and clicked points, against pictures made with OpenCV's own geometry."""

from __future__ import annotations

import itertools
import json
import math

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.accuracy.real import photos_folder
from vision.errors import CallWrong
from vision.estimate import Estimate
from vision.photo import read_photo
from vision.plane import fit_plane
from vision.reference import card, target
from vision.reference.clicks import Click, read_clicks

Picture = NDArray[np.uint8]
FOCAL_PX = 2600.0
SIZE = (2000, 1500)


def camera(tilt_deg: float, azimuth_deg: float, distance_mm: float) -> NDArray[np.float64]:
    """A homography from mm on a plane, tilted at the picture's middle, to pixels of a pinhole camera."""
    axis = np.array([math.cos(math.radians(azimuth_deg)), math.sin(math.radians(azimuth_deg)), 0.0])
    turn, _ = cv2.Rodrigues(axis * math.radians(tilt_deg))
    inner = np.array([[FOCAL_PX, 0, (SIZE[0] - 1) / 2], [0, FOCAL_PX, (SIZE[1] - 1) / 2], [0, 0, 1]])
    homography = inner @ np.column_stack([turn[:, 0], turn[:, 1], [0, 0, distance_mm]])
    return homography / homography[2, 2]


def seen(drawing: Picture, px_per_mm: float, homography: NDArray[np.float64], ground: int) -> Picture:
    """The drawing, centred on the plane's origin, as the camera sees it."""
    height, width = drawing.shape[:2]
    to_mm = np.array(
        [[1 / px_per_mm, 0, -(width - 1) / 2 / px_per_mm], [0, 1 / px_per_mm, -(height - 1) / 2 / px_per_mm]]
    )
    full = homography @ np.vstack([to_mm, [0, 0, 1]])
    finer = np.array([[3, 0, 1], [0, 3, 1], [0, 0, 1]]) @ full  # three samples a pixel each way, then their mean
    large = cv2.warpPerspective(drawing, finer, (3 * SIZE[0], 3 * SIZE[1]), borderValue=(ground,) * 3)
    picture = cv2.resize(large, SIZE, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), dtype=np.uint8)


def board_drawing(px_per_mm: int) -> Picture:
    """The target's black cells on white paper with a margin of 30 mm."""
    width, height = (int(side * target.SQUARE_MM) + 60 for side in target.SQUARES)
    paper = np.full((height * px_per_mm, width * px_per_mm, 3), 255, np.uint8)
    for x, y, w, h in target.black_cells_mm():
        first = (round((x + 30) * px_per_mm), round((y + 30) * px_per_mm))
        last = (round((x + 30 + w) * px_per_mm) - 1, round((y + 30 + h) * px_per_mm) - 1)
        cv2.rectangle(paper, first, last, (0, 0, 0), -1)
    return paper


@pytest.mark.parametrize(("tilt", "azimuth"), [(0, 0), (6, 30), (15, 200), (25, 110)])
def test_every_corner_of_the_target_is_found_where_it_is(tilt: float, azimuth: float) -> None:
    """The corners' true places follow from the homography alone; they are found to a fifth of a pixel."""
    homography = camera(tilt, azimuth, 700)
    reading = target.read_target(seen(board_drawing(8), 8, homography, 90))
    assert reading is not None
    assert len(reading.marks_px) == (target.SQUARES[0] - 1) * (target.SQUARES[1] - 1)
    middle = np.array(target.SQUARES) * target.SQUARE_MM / 2
    true = cv2.perspectiveTransform((reading.marks_mm - middle)[None], homography)[0]
    assert np.abs(true - reading.marks_px).max() < 0.2


@pytest.mark.parametrize(("right", "down"), [(12.0, 20.0), (20.0, 20.0), (30.0, 43.5)])
@pytest.mark.parametrize("stripes", [False, True])
def test_the_sheet_ends_where_its_paper_does(right: float, down: float, stripes: bool) -> None:
    """Paper cut to any size, or whole on A4 with a bar and a line of writing beside the board, on a grey table or on
    cloth whose stripes are white too: what it hides is known to four millimetres, and no less than it hides."""
    drawing = np.full((400 * 4, 400 * 4, 3), 90, np.uint8)
    slant = np.add.outer(np.arange(1600) * 0.5, np.arange(1600) * 0.866)
    drawing[stripes & (slant % 96 < 22)] = 250
    board = board_drawing(4)[120:-120, 120:-120]
    (high, wide), middle = board.shape[:2], 800
    paper = np.s_[middle - high // 2 - round(4 * down) : middle + high // 2 + round(4 * down)]
    beside = np.s_[middle - wide // 2 - round(4 * right) : middle + wide // 2 + round(4 * right)]
    drawing[paper, beside] = 250
    drawing[middle - high // 2 : middle + high // 2, middle - wide // 2 : middle + wide // 2] = board
    drawing[middle - high // 2 : middle, middle - wide // 2 - 36] = 0
    for x in range(middle - wide // 2, middle + wide // 2, 12):
        drawing[middle + high // 2 + 36 : middle + high // 2 + 48, x : x + 4] = 60
    homography = camera(8, 70, 950)
    reading = target.read_target(seen(drawing, 4, homography, 90))
    assert reading is not None
    corners = cv2.perspectiveTransform(reading.outline_px[None], np.linalg.inv(homography))[0]
    beyond = np.abs(corners) - (np.array(target.SQUARES) * target.SQUARE_MM / 2 + (right, down))
    assert (beyond > 0.0).all()
    assert (beyond < 4.0).all()


def test_a_soft_picture_of_the_target_is_read() -> None:
    """Markers whose bits take 4.2 px run together in a picture blurred by 2 px more; they are told apart even so,
    and the corners found to half a pixel."""
    homography = camera(10, 60, 1150)
    sharp = seen(board_drawing(8), 8, homography, 90)
    soft = np.asarray(cv2.GaussianBlur(sharp, (0, 0), 2.0), dtype=np.uint8)
    reading = target.read_target(soft)
    assert reading is not None
    assert len(reading.marks_px) >= 20
    middle = np.array(target.SQUARES) * target.SQUARE_MM / 2
    true = cv2.perspectiveTransform((reading.marks_mm - middle)[None], homography)[0]
    assert np.hypot(*(reading.marks_px - true).T).max() < 0.5


@pytest.mark.parametrize(("tilt", "azimuth"), [(0, 0), (6, 30), (15, 200), (25, 110)])
def test_the_plane_is_that_of_the_librarys_own_pose(tilt: float, azimuth: float) -> None:
    """OpenCV's solvePnP (iterative, Levenberg-Marquardt) is the reference: from the same corners, focal length and k1
    our plane, which leaves open how flat the sheet lies, has its tilt to a hundredth of a degree and every length in
    the photo to a tenth of a per mille."""
    reading = target.read_target(seen(board_drawing(8), 8, camera(tilt, azimuth, 700), 90))
    assert reading is not None
    plane = fit_plane([reading], size_px=SIZE, focal_px=Estimate(FOCAL_PX, 1e-4 * FOCAL_PX))
    inner = np.array([[FOCAL_PX, 0, (SIZE[0] - 1) / 2], [0, FOCAL_PX, (SIZE[1] - 1) / 2], [0, 0, 1]])
    lens = np.array([plane.params[4], 0.0, 0.0, 0.0])
    board = np.column_stack([reading.marks_mm, np.zeros(len(reading.marks_mm))])
    solved, turned, moved = cv2.solvePnP(board, reading.marks_px, inner, lens)
    assert solved
    turn, _ = cv2.Rodrigues(turned)
    assert plane.tilt_deg.value == pytest.approx(math.degrees(math.acos(abs(turn[2, 2]))), abs=0.01)
    theirs = np.linalg.inv(inner @ np.column_stack([turn[:, 0], turn[:, 1], moved.ravel()]))
    places = np.array([[300.0, 300.0], [1700.0, 300.0], [1700.0, 1200.0], [300.0, 1200.0]])
    straight = cv2.undistortPoints(places[:, None], inner, lens, P=inner)
    ours_mm, their_mm = plane.to_mm(places), cv2.perspectiveTransform(straight, theirs)[:, 0]
    for one, other in itertools.combinations(range(len(places)), 2):
        length = float(np.hypot(*(their_mm[one] - their_mm[other])))
        assert float(np.hypot(*(ours_mm[one] - ours_mm[other]))) == pytest.approx(length, rel=1e-4)


def test_a_photographed_boards_corners_are_where_its_truth_says() -> None:
    """Four inner corners of a photographed board, placed by hand, to 0.8 px."""
    folder = photos_folder()
    if folder is None:
        pytest.skip("the folder of real photographs is not on this machine")
    truth = json.loads((folder / "truth.json").read_text())["charuco_board.jpg"]["target"]
    reading = target.read_target(read_photo(folder / "charuco_board.jpg").rgb)
    assert reading is not None
    inner = target.SQUARES[0] - 1
    columns, rows = np.rint(reading.marks_mm / target.SQUARE_MM).astype(int).T
    numbers = list((rows - 1) * inner + columns - 1)
    for number, place in zip(truth["inner_corner_ids"], truth["inner_corner_xy"], strict=True):
        assert np.abs(reading.marks_px[numbers.index(number)] - place).max() < 0.8


def test_black_cells_are_the_board_of_the_library() -> None:
    """OpenCV's own drawing of the board is the reference for ours, cell by cell."""
    ours = board_drawing(8)[240:-240, 240:-240, 0]
    dictionary = cv2.aruco.getPredefinedDictionary(target.DICTIONARY)
    board = cv2.aruco.CharucoBoard(target.SQUARES, target.SQUARE_MM, target.MARKER_MM, dictionary)
    theirs = board.generateImage((ours.shape[1], ours.shape[0]), marginSize=0)
    assert (np.abs(ours.astype(int) - theirs) > 128).mean() < 0.01


def test_no_target_in_a_picture_without_one() -> None:
    """A chequered cloth is not the target: it carries no coded markers."""
    chequer = np.kron(np.indices((20, 20)).sum(0) % 2, np.ones((40, 40))).astype(np.uint8) * 255
    assert target.read_target(cv2.cvtColor(chequer, cv2.COLOR_GRAY2RGB)) is None


def card_drawing(px_per_mm: int, radius_mm: float) -> Picture:
    """A pale card on a darker ground: ISO/IEC 7810 ID-1 where the radius is 3.18 mm."""
    width, height = (round(side * px_per_mm) for side in card.CARD_MM)
    edge = 20 * px_per_mm
    picture = np.full((height + 2 * edge, width + 2 * edge, 3), 90, np.uint8)
    r = round(radius_mm * px_per_mm)
    cv2.rectangle(picture, (edge + r, edge), (edge + width - 1 - r, edge + height - 1), (215, 220, 210), -1)
    cv2.rectangle(picture, (edge, edge + r), (edge + width - 1, edge + height - 1 - r), (215, 220, 210), -1)
    for x in (edge + r, edge + width - 1 - r):
        for y in (edge + r, edge + height - 1 - r):
            cv2.circle(picture, (x, y), r, (215, 220, 210), -1, cv2.LINE_AA)
    return picture


@pytest.mark.parametrize(("tilt", "azimuth"), [(0, 0), (5, 70), (12, 250)])
def test_a_cards_corners_are_found_where_its_edges_meet(tilt: float, azimuth: float) -> None:
    """The ideal corners of an ID-1 card (85.60 x 53.98 mm, ISO/IEC 7810) are found to a pixel through round corners."""
    homography = camera(tilt, azimuth, 420)
    reading = card.read_card(seen(card_drawing(12, 3.18), 12, homography, 90), FOCAL_PX)
    assert reading is not None
    true = cv2.perspectiveTransform((reading.marks_mm - np.array(card.CARD_MM) / 2)[None], homography)[0]
    off = min(
        np.abs(np.roll(true[::step], turn, axis=0) - reading.marks_px).max() for step in (1, -1) for turn in range(4)
    )
    assert off < 1.0


def test_a_sharp_cornered_rectangle_is_not_a_card() -> None:
    """A patch of cloth of a card's proportions has no round corners and sets no scale."""
    homography = camera(3, 40, 420)
    assert card.read_card(seen(card_drawing(12, 0.2), 12, homography, 90), FOCAL_PX) is None


def test_clicked_points_outside_the_photo_or_together_are_refused() -> None:
    """Two points that set no scale are refused in words, not turned into a number."""
    with pytest.raises(CallWrong, match="outside the photo"):
        read_clicks([Click(start_px=(0, 0), end_px=(5000, 0), length_mm=100)], SIZE)
    with pytest.raises(CallWrong, match="almost together"):
        read_clicks([Click(start_px=(10, 10), end_px=(12, 10), length_mm=100)], SIZE)


def test_a_longer_clicked_length_is_surer() -> None:
    """Half a millimetre of reading error weighs half as much on twice the length."""
    short, long = read_clicks(
        [
            Click(start_px=(100, 100), end_px=(600, 100), length_mm=100),
            Click(start_px=(100, 100), end_px=(1100, 100), length_mm=200),
        ],
        SIZE,
    )
    assert long.tolerance_relative_u95 == pytest.approx(short.tolerance_relative_u95 / 2)


@pytest.mark.parametrize("sigma_px", [0.05, 0.3])
def test_noise_of_corners_is_told_from_their_neighbours(sigma_px: float) -> None:
    """Corners put off at random by so much are found to be so, though a tilt of 25° and a lens that bends lines by 2 %
    at the corner of the picture move them by pixels; a board without noise is believed to the least only."""
    rng = np.random.default_rng(8)
    inner = [(x, y) for y in range(1, target.SQUARES[1]) for x in range(1, target.SQUARES[0])]
    places = np.array(inner, dtype=np.float64) * target.SQUARE_MM
    shown = cv2.perspectiveTransform((places - [75.0, 105.0])[None], camera(25, 110, 700.0))[0]
    ray = (shown - [(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2]) / FOCAL_PX
    bent = shown + FOCAL_PX * ray * 0.02 * (ray**2).sum(axis=1, keepdims=True)
    told = [target.noise_px(places, bent + rng.normal(0, sigma_px, bent.shape)) for _ in range(40)]
    assert np.median(told) == pytest.approx(sigma_px, rel=0.15)
    assert target.noise_px(places, bent) < 1.5 * target.LEAST_SIGMA_PX


@pytest.mark.parametrize("height_mm", [0.5, -1.5])
def test_a_board_that_bends_is_no_tilt(height_mm: float) -> None:
    """A board whose middle stands half a millimetre over its ends, or its ends over its middle (a cylinder, seen by a
    pinhole), tells lengths on the table 140 mm beside it to a third of a per cent, and says no less than it knows."""
    inner = [(x, y) for y in range(1, target.SQUARES[1]) for x in range(1, target.SQUARES[0])]
    places = np.array(inner, dtype=np.float64) * target.SQUARE_MM
    height = height_mm * (1 - ((places[:, 1] - 105.0) / 75.0) ** 2)
    for azimuth in (20.0, 140.0, 260.0):
        axis = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth)), 0.0])
        turn, _ = cv2.Rodrigues(axis * math.radians(8.0))
        inner_px = np.array([[FOCAL_PX, 0, (SIZE[0] - 1) / 2], [0, FOCAL_PX, (SIZE[1] - 1) / 2], [0, 0, 1]])
        solid = np.column_stack([places - [160.0, 105.0], -height])
        shown, _ = cv2.projectPoints(solid, turn, np.array([0.0, 0.0, 800.0]), inner_px, np.zeros(4))
        corners = shown[:, 0] + np.random.default_rng(int(azimuth)).normal(0, 0.02, (len(places), 2))
        reading = target.reading_of(corners, np.arange(len(places)), SIZE[0])
        assert reading is not None
        plane = fit_plane([reading], size_px=SIZE, focal_px=Estimate(FOCAL_PX, 0.02 * FOCAL_PX))
        beside = np.array([[140.0, 0.0, 0.0], [141.0, 0.0, 0.0], [140.0, 1.0, 0.0]])
        there, _ = cv2.projectPoints(beside, turn, np.array([0.0, 0.0, 800.0]), inner_px, np.zeros(4))
        ends = plane.to_mm(there[:, 0])
        off = float(np.abs(np.hypot(*(ends[1:] - ends[0]).T) - 1).max())
        assert off < 0.0033
        assert off < plane.length_relative_u95_at((float(there[0, 0, 0]), float(there[0, 0, 1])))
