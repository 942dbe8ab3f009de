"""The maker itself is held against independent geometry, since every figure of accuracy rests on it."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import cv2
import numpy as np
from PIL import Image

from tests.makers.camera import Camera, jacobian, project, px_per_mm
from tests.makers.cloth import Cloth, MotifPrint, StripePrint, Stripes
from tests.makers.ruler import Ruler
from tests.makers.scene import Scene, render, truth_of
from tests.makers.table import Table
from tests.makers.variety import draw

BLACK_WHITE = Stripes(widths_mm=(10.0, 14.0), colours=("#101010", "#f0f0f0"))


def still(scene: Scene) -> Scene:
    """The scene without noise, blur or shading."""
    return replace(scene, noise=0.0, blur_px=0.6, shade=0.0, exposure=1.0)


def test_camera_agrees_with_opencv() -> None:
    """A point of the table falls where OpenCV's own pinhole projection puts it."""
    camera = Camera(tilt_deg=6.0, azimuth_deg=130.0, roll_deg=4.0, distance_mm=480.0)
    points = np.array([[0.0, 0.0], [120.0, -40.0], [-90.0, 75.0]])
    lean, towards, roll = np.radians([6.0, 130.0, 4.0])
    first, _ = cv2.Rodrigues(np.array([-math.sin(towards), math.cos(towards), 0.0]) * lean)
    second, _ = cv2.Rodrigues(np.array([0.0, 0.0, roll]))
    rotation, _ = cv2.Rodrigues(second @ first)
    f = 26.0 * math.hypot(2000, 1500) / math.hypot(36, 24)
    inner = np.array([[f, 0, 999.5], [0, f, 749.5], [0, 0, 1]])
    seen, _ = cv2.projectPoints(
        np.column_stack([points, np.zeros(3)]), rotation, np.array([0.0, 0.0, 480.0]), inner, np.zeros(4)
    )
    assert np.allclose(project(camera.photo_from_mm, points), seen[:, 0], atol=1e-6)


def test_scale_straight_above_is_focal_length_over_distance() -> None:
    """With no tilt the scale is f / distance everywhere, and the derivative is that of finite differences."""
    camera = Camera(distance_mm=500.0)
    assert math.isclose(px_per_mm(camera.photo_from_mm, np.array([70.0, -20.0])), camera.focal_px / 500, rel_tol=1e-9)
    tilted = Camera(tilt_deg=7.0, azimuth_deg=20.0, distance_mm=500.0).photo_from_mm
    at = np.array([50.0, 30.0])
    finite = np.column_stack(
        [
            (project(tilted, at + step)[0] - project(tilted, at - step)[0]) / 2e-3
            for step in np.array([[1e-3, 0], [0, 1e-3]])
        ]
    )
    assert np.allclose(jacobian(tilted, at), finite, rtol=1e-6)


def test_stripe_edges_lie_where_geometry_puts_them() -> None:
    """The edges of rendered stripes are found within 0.03 px of their projected places."""
    camera = Camera(tilt_deg=5.0, azimuth_deg=0.0, distance_mm=400.0)
    cloth = Cloth(print=StripePrint(across=BLACK_WHITE), width_mm=900, length_mm=900, weave_depth=0.0, slub_depth=0.0)
    picture = render(still(Scene(camera=camera, cloths=(cloth,)))).rgb
    row = 740
    line = (picture[row, :, 1].astype(float) / 255) ** 2.2  # near enough linear: the crossing at half is what counts
    low, high = line.min(), line.max()
    edges_mm = np.array([[k * 24.0 + 10.0, 0.0] for k in range(-3, 4)])
    back = np.linalg.inv(camera.photo_from_mm)
    at_mm = project(back, np.array([[999.5, row]]))[0]
    errors = []
    for x_px in project(camera.photo_from_mm, edges_mm + np.array([0.0, at_mm[1]]))[:, 0]:
        start = int(x_px) - 6
        window = (line[start : start + 13] - low) / (high - low)
        k = int(np.argmax(window >= 0.5))
        errors.append(start + k - 1 + (0.5 - window[k - 1]) / (window[k] - window[k - 1]) - x_px)
    assert np.abs(errors).max() < 0.1
    assert abs(np.mean(errors)) < 0.03


def test_ticks_lie_where_geometry_puts_them() -> None:
    """The dark middle of each centimetre tick of a turned ruler lies within 0.05 px of its projected place."""
    camera = Camera(tilt_deg=6.0, azimuth_deg=200.0, distance_mm=350.0)
    ruler = Ruler(turn_deg=5.0, tick_width_mm=0.3, body="#f4f4f4", ink="#101010")
    picture = render(still(Scene(camera=camera, table=Table(depth=0.0), rulers=(ruler,)))).rgb
    light = 255.0 - picture[..., 1].astype(float)
    angle = math.radians(5.0)
    down, along = np.array([math.sin(angle), math.cos(angle)]), np.array([math.cos(angle), -math.sin(angle)])
    errors = []
    for cm in (6, 10, 14, 18, 22):
        middle = ruler.point_mm(10.0 * cm) + (6.0 - ruler.width_mm / 2) * down
        offsets = np.arange(-0.5, 0.501, 0.02)
        places = project(camera.photo_from_mm, middle + offsets[:, None] * along).astype(np.float32)
        profile = cv2.remap(light.astype(np.float32), places[None, :, 0], places[None, :, 1], cv2.INTER_LINEAR)[0]
        weight = np.clip(profile - profile.min(), 0, None)
        errors.append((weight @ offsets) / weight.sum() * px_per_mm(camera.photo_from_mm, middle))
    assert np.abs(errors).max() < 0.05


def test_repeat_of_a_half_drop_is_two_columns() -> None:
    """A half-drop's smallest rectangle is two columns wide and one row high; a brick's the other way round."""
    assert MotifPrint(ground="#ffffff", motifs=(), column_mm=30, row_mm=40, lattice="half_drop").repeat_mm == (60, 40)
    assert MotifPrint(ground="#ffffff", motifs=(), column_mm=30, row_mm=40, lattice="brick").repeat_mm == (30, 80)


def test_skew_is_counter_clockwise_as_seen() -> None:
    """A print skewed by +3° climbs to the right: its across direction is +3° with y pointing down."""
    cloth = Cloth(print=StripePrint(across=BLACK_WHITE), width_mm=300, length_mm=200, skew_deg=3.0)
    truth = truth_of(Scene(camera=Camera(), cloths=(cloth,)))
    assert truth.across_direction_deg is not None
    assert math.isclose(truth.across_direction_deg, 3.0, abs_tol=1e-9)
    picture = render(still(Scene(camera=Camera(distance_mm=400), cloths=(cloth,)))).rgb[:, :, 1].astype(float)
    # along a stripe that leans with the print, x grows with y: d = (sin 3°, cos 3°)
    edges = [np.argmax(np.abs(np.diff(picture[row, 980:1060]))) for row in (600, 900)]
    assert 0.5 * 300 * math.tan(math.radians(3)) < edges[1] - edges[0] < 1.5 * 300 * math.tan(math.radians(3))


def test_same_seed_same_scene() -> None:
    """A seed settles its scene, and neighbouring seeds differ."""
    assert draw(5) == draw(5)
    assert draw(5) != draw(6)


def test_photographs_carry_a_phones_exif_and_no_place() -> None:
    """The JPEG tells focal length (EXIF 0xA405) and orientation, and has no GPS block (0x8825)."""
    photograph = render(Scene(camera=Camera(width_px=320, height_px=240)))
    with Image.open(io.BytesIO(photograph.jpeg(orientation=6))) as image:
        exif = image.getexif()
        assert exif.get_ifd(0x8769)[0xA405] == 26
        assert exif[0x0112] == 6
        assert not exif.get_ifd(0x8825)
        assert image.size == (240, 320)
