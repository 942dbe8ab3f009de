"""The harsh scenes are held against geometry of other hands: OpenCV's projection of solid points, by a bent lens."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.camera import Camera, Floats
from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.drawer import Field, laid_sheet
from tests.makers.fact import contrast_grey, repeats_seen, seen_mm
from tests.makers.harsh import NEAR_CIEDE2000, Harsh, draw, nearly_twice
from tests.makers.lens import Lens
from tests.makers.relief import Bow, Crease, Relief, UnevenCloth
from tests.makers.shot import Shot, lamp, shoot, truth_of_shot
from tests.makers.table import Table
from tests.makers.variety import stripes
from tests.makers.worn import Curl, Glare, WornRuler
from vision.colour import ciede2000, lab_of
from vision.reference.ruler import RULER_RELATIVE_U95

SEEDS = range(34000, 34120)
CAMERA = Camera(width_px=1800, height_px=1350, tilt_deg=16.0, azimuth_deg=130.0, roll_deg=25.0, distance_mm=300.0)
K1 = -0.02


@pytest.fixture(scope="module")
def drawn() -> list[Harsh]:
    """A hundred scenes, not rendered."""
    return [draw(seed) for seed in SEEDS]


def opencv_sees(solid_mm: Floats, k1: float) -> Floats:
    """Where OpenCV's own camera with one radial term sees solid points (x, y, height)."""
    lean, towards, roll = np.radians([CAMERA.tilt_deg, CAMERA.azimuth_deg, CAMERA.roll_deg])
    first, _ = cv2.Rodrigues(np.array([-math.sin(towards), math.cos(towards), 0.0]) * lean)
    second, _ = cv2.Rodrigues(np.array([0.0, 0.0, roll]))
    rotation, _ = cv2.Rodrigues(second @ first)
    inner = np.array([[CAMERA.focal_px, 0, 899.5], [0, CAMERA.focal_px, 674.5], [0, 0, 1]])
    down = solid_mm * [1.0, 1.0, -1.0]  # the table's z points away from the lens
    place = np.array([0.0, 0.0, CAMERA.distance_mm])
    seen, _ = cv2.projectPoints(down, rotation, place, inner, np.array([k1, 0, 0, 0.0]))
    return np.asarray(seen[:, 0])


def still(**parts: object) -> Shot:
    """A shot in even light, without noise."""
    return Shot(camera=CAMERA, table=Table(depth=0.0), k1=K1, noise=0.0, blur_px=0.6, shade=0.0, exposure=1.0, **parts)


def test_lens_bends_as_opencv_does() -> None:
    """Points of the table are seen where OpenCV's first radial coefficient puts them, and the way back leads back."""
    lens = Lens(camera=CAMERA, k1=K1)
    points = np.array([[0.0, 0.0], [90.0, -60.0], [-110.0, 40.0], [70.0, 85.0]])
    seen = lens.seen(points)
    assert np.allclose(seen, opencv_sees(np.column_stack([points, np.zeros(4)]), K1), atol=1e-6)
    assert np.allclose(lens.table_mm(seen), points, atol=1e-6)


def test_scale_is_the_derivative_of_what_is_seen() -> None:
    """The true pixels per millimetre are the square root of the determinant of finite differences."""
    lens, at, step = Lens(camera=CAMERA, k1=K1), np.array([80.0, -55.0]), 1e-3
    sides = [(lens.seen(at + d)[0] - lens.seen(at - d)[0]) / (2 * step) for d in step * np.eye(2)]
    assert math.isclose(lens.px_per_mm(at), math.sqrt(abs(np.linalg.det(np.array(sides)))), rel_tol=1e-6)


def test_relief_is_seen_where_solid_points_are() -> None:
    """A point of creased and bowed cloth is seen where OpenCV projects the point at its height."""
    creases = (Crease(x_mm=10, y_mm=5, turn_deg=30, height_mm=1.0, spread_mm=4.0),)
    bows = (Bow(height_mm=1.5, length_mm=160, turn_deg=100, phase=0.4),)
    relief = Relief(eye_mm=CAMERA.eye_mm, creases=creases, bows=bows)
    points = np.array([[10.0, 5.0], [-60.0, 30.0], [85.0, -50.0]])
    height = relief.height(points[:, 0], points[:, 1])
    assert height.max() > 1.0
    flat = relief.on_table(points)
    seen = Lens(camera=CAMERA, k1=K1).seen(flat)
    assert np.allclose(seen, opencv_sees(np.column_stack([points, height]), K1), atol=1e-4)
    back = np.column_stack(relief.on_surface(flat[:, 0], flat[:, 1]))
    assert np.allclose(back, points, atol=2e-3)


def test_stripes_of_bowed_cloth_are_rendered_there() -> None:
    """The edges of stripes on bowed cloth, through a bent lens, lie within 0.1 px of the projected solid edges."""
    bow = Bow(height_mm=1.5, length_mm=150, turn_deg=80, phase=0.0)
    relief = Relief(eye_mm=CAMERA.eye_mm, bows=(bow,))
    stripes = Stripes(widths_mm=(10.0, 14.0), colours=("#101010", "#f0f0f0"))
    cloth = UnevenCloth(
        print=StripePrint(across=stripes), width_mm=900, length_mm=900, weave_depth=0.0, slub_depth=0.0, relief=relief
    )
    grey = shoot(still(cloths=(cloth,))).rgb[..., 1].astype(np.float32)
    errors = []
    for k in range(-3, 4):
        edge = np.array([[k * 24.0 + 10.0, 15.0]])
        near = edge + np.array([[d, 0.0] for d in np.arange(-0.8, 0.81, 0.05)])
        solid = np.column_stack([near, relief.height(near[:, 0], near[:, 1])])
        places = opencv_sees(solid, K1).astype(np.float32)
        line = cv2.remap(grey, places[None, :, 0], places[None, :, 1], cv2.INTER_LINEAR)[0]
        light = (line / 255) ** 2.2
        crossing = np.interp((light.min() + light.max()) / 2, light, near[:, 0] - edge[0, 0])
        errors.append(crossing * np.hypot(*(places[-1] - places[0])) / 1.6)
    assert np.abs(errors).max() < 0.1


def test_ticks_of_a_long_scale_lie_where_geometry_puts_them() -> None:
    """Ticks of a ruler 1 % too long, through a bent lens, lie within 0.05 px of their projected places."""
    ruler = WornRuler(turn_deg=20.0, stretch=0.01, tick_width_mm=0.3, body="#f4f4f4", ink="#101010")
    light = 255.0 - shoot(still(rulers=(ruler,))).rgb[..., 1].astype(np.float32)
    down = np.array([-ruler.axis[1], ruler.axis[0]])
    offsets = np.arange(-0.5, 0.501, 0.02)
    errors = []
    for cm in (10, 12, 14, 16, 18, 20):
        true = (1 + 0.01) * (10.0 * cm + ruler.zero_mm - ruler.length_mm / 2) * ruler.axis
        across = np.arange(5.4, 6.61, 0.1) - ruler.width_mm / 2
        grid = true + offsets[:, None, None] * ruler.axis + across[:, None] * down
        points = np.column_stack([grid.reshape(-1, 2), np.zeros(grid.size // 2)])
        places = opencv_sees(points, K1).astype(np.float32).reshape(*grid.shape)
        profile = cv2.remap(light, places[..., 0], places[..., 1], cv2.INTER_LINEAR).mean(axis=1)
        weight = np.clip(profile - profile.min(), 0, None)
        errors.append((weight @ offsets) / weight.sum() * np.hypot(*(places[-1, 0] - places[0, 0])))
    assert np.abs(errors).max() < 0.05


@pytest.mark.parametrize("radius", [0.0, 800.0, -900.0])
def test_curled_tape_keeps_its_length(radius: float) -> None:
    """On a tape whose ends rise and that bends in the plane, the outline seen leads back to the face's own rim; its
    length along the rise is that of the curve (a parabola's, summed by hand)."""
    curl = Curl(radius_mm=radius, rise_mm=12.0, reach_mm=90.0, eye_mm=CAMERA.eye_mm)
    tape = WornRuler(length_mm=320.0, width_mm=16.0, turn_deg=35.0, stretch=0.002, material="tape", curl=curl)
    outline = tape.outline_mm().astype(np.float32)
    along, down = tape.face_mm(outline[:, 0], outline[:, 1])
    assert along.min() == pytest.approx(0.0, abs=0.1)
    assert along.max() == pytest.approx(320.0, abs=0.1)
    assert np.minimum(np.abs(down), np.abs(down - 16.0)).max() < 0.05
    at = np.linspace(0, 90, 200_001)
    curve = np.hypot(np.diff(at), np.diff(12.0 * (1 - at / 90) ** 2)).sum()
    assert float(curl.length(np.array(90.0))) == pytest.approx(curve, abs=0.02)


def test_glare_hides_ticks_and_wear_takes_ink() -> None:
    """Under strong glare the face is white, ink or not; a worn face has less ink than a new one."""
    new = WornRuler(length_mm=100.0, ink="#101010", body="#c0c0c0")
    glossy = replace(new, glares=(Glare(at_mm=50.0, down_mm=3.0, reach_mm=10.0, strength=1.5),))
    row, column = round(2.0 * 8), slice(49 * 8, 51 * 8)
    assert glossy.picture(8)[row, column].min() > 1
    assert new.picture(8)[row, column].min() < 0.1
    assert replace(new, wear=0.3).picture(8).mean() > new.picture(8).mean()


def test_scenes_are_as_harsh_as_told(drawn: list[Harsh]) -> None:
    """No scene goes beyond the stated limits, and together they come near each of them."""
    shots, facts = [h.shot for h in drawn], [h.facts for h in drawn]
    assert 18 < max(f.tilt_deg for f in facts) <= 20
    assert 0.017 < max(abs(f.k1) for f in facts) <= 0.02
    assert 1.6 < max(s.blur_px for s in shots) <= 2.0
    assert min(s.quality for s in shots) in range(70, 74)
    shading = [1 - light.min() / light.max() for light in (lamp((64, 48), s) for s in shots)]
    assert 0.45 < max(shading) <= 0.5
    stripes = [s.cloths[0].print.across for s in shots if isinstance(s.cloths[0].print, StripePrint)]
    assert 12 <= max(len(sequence.widths_mm) for sequence in stripes) <= 16
    assert 1.3 < min(min(sequence.widths_mm) for sequence in stripes) < 2.5
    contrasts = [contrast_grey(s, r) for s in shots for r in s.rulers[:1]]
    assert 8 < min(contrasts) < 20
    for name in ("focal_known", "creased", "bowed", "readable"):
        share = sum(getattr(f, name) for f in facts) / len(facts)
        assert {"focal_known": 0.5, "creased": 0.12, "bowed": 0.08, "readable": 0.6}[name] < share < 0.95
    for kind in ("ruler", "target"):
        assert sum(f.reference == kind for f in facts) > 8


def test_error_of_tapes_is_drawn_from_their_class(drawn: list[Harsh]) -> None:
    """19 of 20 scales lie inside the class's 95 % limit; of a hundred, between 85 and 100 (binomial, 1 in 10 000)."""
    errors = np.array([abs(h.shot.rulers[0].stretch) for h in drawn if h.shot.rulers])
    assert 0.85 < np.mean(errors <= RULER_RELATIVE_U95) <= 1.0
    assert np.mean(errors <= RULER_RELATIVE_U95 / 2) < 0.9


def test_nearly_equal_stripes_can_be_told_apart() -> None:
    """A B A' B: A and A' are further apart than a careful eye needs, and nearer than other stripes are (CIEDE2000)."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        sequence = nearly_twice(rng, 40.0)
        first, ground, second = (lab_of(colour) for colour in sequence.colours[:3])
        assert NEAR_CIEDE2000[0] < float(ciede2000(first, second)) < NEAR_CIEDE2000[1]
        assert float(ciede2000(first, ground)) > 10
        assert sum(sequence.widths_mm) == pytest.approx(40.0)


def test_no_drawn_sequence_nearly_says_itself() -> None:
    """A sequence whose halves or thirds have the same colours differs between them by half a millimetre and a twentieth
    in some stripe at least, also where widths were drawn up to the least: else its repeat were a matter of taste."""
    rng = np.random.default_rng(11)
    for least in (1.5, 3.0, 5.0):
        for _ in range(400):
            sequence = stripes(rng, float(rng.uniform(4.4, 12.0)) * least, least)
            count, widths = len(sequence.colours), np.array(sequence.widths_mm)
            for n in (n for n in range(1, count) if count % n == 0):
                if sequence.colours == sequence.colours[:n] * (count // n):
                    turns = widths.reshape(-1, n)
                    assert (np.ptp(turns, axis=0) > np.maximum(0.5, 0.05 * turns.mean(axis=0))).any()


def test_what_is_in_view_is_measured_on_the_table() -> None:
    """A ruler half outside the frame counts with half its length; a cloth that fills the view with the view's width."""
    camera = Camera(width_px=1200, height_px=900, distance_mm=300.0)
    across_mm = 1199 * 300.0 / camera.focal_px
    ruler = WornRuler(length_mm=400.0, width_mm=20.0, x_mm=200.0)
    stripes = StripePrint(across=Stripes(widths_mm=(9.0, 11.0), colours=("#101010", "#f0f0f0")))
    shot = Shot(camera=camera, cloths=(Cloth(print=stripes, width_mm=900, length_mm=900),), rulers=(ruler,))
    assert seen_mm(shot, ruler) == pytest.approx(across_mm / 2, abs=1.5)
    assert repeats_seen(shot) == pytest.approx(across_mm / 20.0, rel=1e-3)
    assert truth_of_shot(shot).px_per_mm == pytest.approx(camera.focal_px / 300.0, rel=1e-4)


def test_field_fits_into_the_turned_frame() -> None:
    """All corners of the field lie inside the frame at any roll."""
    for roll in range(-180, 181, 15):
        field = Field.inside(400.0, 300.0, float(roll))
        c, s = math.cos(math.radians(roll)), math.sin(math.radians(roll))
        corners = np.array([[i * field.width / 2, j * field.height / 2] for i in (-1, 1) for j in (-1, 1)])
        turned = corners @ np.array([[c, s], [-s, c]])
        assert (np.abs(turned) <= [200.0 + 1e-6, 150.0 + 1e-6]).all()


def test_same_seed_same_scene() -> None:
    """A seed settles its scene, and neighbouring seeds differ."""
    assert draw(34005).shot.rulers == draw(34005).shot.rulers
    assert draw(34005).facts == draw(34005).facts
    assert draw(34005).facts != draw(34006).facts


def test_sheet_lies_in_the_field() -> None:
    """The printed target beside a cloth lies within the table's part in view."""
    field = Field(width=420.0, height=330.0)
    for seed in range(12):
        sheet = laid_sheet(np.random.default_rng(seed), "target", field, False)
        corners = np.abs(sheet.corners_mm())
        assert corners[:, 0].max() < 0.5 * field.width + 40


@pytest.mark.parametrize("density", [7.2, 8.3, 9.7, 13.1])
def test_printed_squares_lie_where_the_sheets_size_puts_them(density: float) -> None:
    """A sheet printed 0.07 % too large shows its squares' edges at fifths of its own width, at any fineness."""
    sheet = laid_sheet(np.random.default_rng(5), "target", Field(width=420.0, height=330.0), False)
    sheet = replace(sheet, width_mm=150.0 * 1.0007, height_mm=210.0 * 1.0007)
    margin, width = round(sheet.margin_mm * density), round(sheet.width_mm * density)
    row = sheet.picture(density)[margin + 3, :, 0].astype(float)
    white = (row - row.min()) / np.ptp(row)
    for fifth in range(1, 5):
        place = fifth * width / 5
        around = white[margin + int(place) - 6 : margin + int(place) + 6]
        dark = (1 - around).sum() if around[0] < around[-1] else around.sum()
        assert abs(int(place) - 6 + dark - place) < 0.02
