"""Rulers drawn with a known spacing are read to a fraction of a pixel, and nothing else is read as one."""

from __future__ import annotations

import json
import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from vision.reference.reading import Reading
from vision.reference.ruler import look_for_rulers, read_rulers

INCH_MM = 25.4
#: After how many ticks each longer kind comes, and the millimetres a tick stands for: common practice of all rulers.
SCALES = {
    "mm": (1.0, (5, 10)),
    "half-mm": (0.5, (2, 10, 20)),
    "eighths": (INCH_MM / 8, (2, 4, 8)),
    "sixteenths": (INCH_MM / 16, (2, 4, 8, 16)),
    "thirty-seconds": (INCH_MM / 32, (2, 4, 8, 16, 32)),
}
PHOTOS = Path(os.environ.get("STRIPEWRIGHT_SHARED", Path(__file__).parents[2].parent / "shared")) / "photos"

needs_photos = pytest.mark.skipif(
    not PHOTOS.is_dir(), reason="the folder of real photographs is not beside the project"
)


def draw(
    scale: str,
    px_per_mm: float,
    *,
    angle_deg: float = 0.0,
    ink: int = 40,
    ground: int = 225,
    table: int = 120,
    length_mm: float = 150.0,
    numbers: bool = True,
    hidden: tuple[float, float] | None = None,
    worn: float = 0.0,
    seed: int = 1,
) -> NDArray[np.uint8]:
    """A ruler of ``length_mm`` in a picture (H, W, 3), four times oversampled, then turned, blurred and made noisy."""
    rng = np.random.default_rng(seed)
    base_mm, longer = SCALES[scale]
    fine = 4 * px_per_mm
    long_px, wide_px = round(length_mm * fine), round(26 * fine)
    face = np.full((wide_px, long_px), ground, np.uint8)
    step = longer[-1]
    for k in range(int((length_mm - 6) / base_mm) + 1):
        if worn and rng.random() < worn:
            continue
        rank = sum(k % every == 0 for every in longer)
        tall = (3.0 + 5.0 * rank / len(longer)) * fine
        x = (3 + k * base_mm) * fine
        left, right = x - 0.1 * fine, x + 0.1 * fine
        face[: round(tall), round(left) : max(round(right), round(left) + 1)] = ink
        if numbers and k % step == 0:
            at = (round(x - 1.2 * fine), round(14 * fine))
            cv2.putText(face, str(k // step), at, cv2.FONT_HERSHEY_SIMPLEX, 0.16 * fine, ink, round(0.3 * fine) or 1)
    if hidden is not None:
        face[:, round(hidden[0] * fine) : round(hidden[1] * fine)] = table
    size = round((length_mm + 30) * px_per_mm)
    turn = np.radians(angle_deg)
    c, s = np.cos(turn) / 4, np.sin(turn) / 4
    middle = np.array([[c, -s], [s, c]]) @ np.array([long_px / 2, wide_px / 2])
    warp = np.array([[c, -s, size / 2 - middle[0]], [s, c, size / 2 - middle[1]]])
    smooth = cv2.GaussianBlur(face.astype(np.float32), (0, 0), 1.6)
    picture = cv2.warpAffine(smooth, warp, (size, size), flags=cv2.INTER_AREA, borderValue=float(table))
    picture = cv2.GaussianBlur(picture, (0, 0), 0.6) + rng.normal(0, 2.0, picture.shape)
    grey = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def px_per_mm_of(reading: Reading) -> float:
    order = np.argsort(reading.marks_mm[:, 0])
    first, last = order[0], order[-1]
    px = np.hypot(*(reading.marks_px[last] - reading.marks_px[first]))
    return float(px / (reading.marks_mm[last, 0] - reading.marks_mm[first, 0]))


@pytest.mark.parametrize(
    ("scale", "px_per_mm"),
    [
        ("mm", 4.3),
        ("mm", 11.0),
        ("mm", 30.0),
        ("half-mm", 9.0),
        ("half-mm", 25.0),
        ("eighths", 4.0),
        ("eighths", 9.0),
        ("sixteenths", 4.0),
        ("sixteenths", 10.0),
        ("thirty-seconds", 8.0),
    ],
)
def test_each_division_is_read_at_its_true_size(scale: str, px_per_mm: float) -> None:
    """The drawn number of pixels per millimetre comes back within 0.1 % for every way rulers are divided."""
    readings = read_rulers(draw(scale, px_per_mm, angle_deg=3.0))
    assert readings, "no ruler was read"
    assert px_per_mm_of(readings[0]) == pytest.approx(px_per_mm, rel=1e-3)
    assert readings[0].unit == ("mm" if scale.endswith("mm") else "inch")


@pytest.mark.parametrize("angle_deg", [-170.0, -95.0, -61.0, -30.0, 17.0, 45.0, 88.0, 133.0])
def test_a_ruler_may_lie_at_any_angle(angle_deg: float) -> None:
    """Turning the ruler in the picture does not change its scale (geometry)."""
    readings = read_rulers(draw("mm", 6.0, angle_deg=angle_deg))
    assert readings
    assert px_per_mm_of(readings[0]) == pytest.approx(6.0, rel=1e-3)


@pytest.mark.parametrize(
    ("ink", "ground", "table"),
    [(40, 225, 60), (230, 35, 120), (95, 125, 60), (120, 150, 230)],
    ids=["black on white", "white on black", "steel", "faint on pale table"],
)
def test_light_and_dark_rulers_are_read(ink: int, ground: int, table: int) -> None:
    """A scale does not depend on which of ticks and ground is the darker, nor on strong contrast (30 grey levels)."""
    readings = read_rulers(draw("mm", 8.0, angle_deg=-8.0, ink=ink, ground=ground, table=table))
    assert readings
    assert px_per_mm_of(readings[0]) == pytest.approx(8.0, rel=1e-3)


def test_hidden_and_worn_ticks_do_not_lose_the_count() -> None:
    """With eight millimetres under a hand and every twentieth tick worn off, marks on both sides keep their places."""
    picture = draw("mm", 8.0, angle_deg=5.0, hidden=(70.0, 78.0), worn=0.05, seed=4)
    readings = read_rulers(picture)
    assert readings
    reading = readings[0]
    assert np.ptp(reading.marks_mm[:, 0]) > 130
    assert px_per_mm_of(reading) == pytest.approx(8.0, rel=1e-3)


def test_marks_lie_on_the_drawn_ticks() -> None:
    """Marks are evenly spaced to a tenth of a pixel, the spacing drawn, and ticks stand square to the ruler."""
    reading = read_rulers(draw("mm", 7.0, angle_deg=20.0))[0]
    order = np.argsort(reading.marks_mm[:, 0])
    along = reading.marks_px[order] @ np.array([np.cos(np.radians(20)), np.sin(np.radians(20))])
    expected = reading.marks_mm[order, 0] * 7.0 * np.sign(along[-1] - along[0])
    off = along - expected
    assert np.std(off) < 0.15
    span = reading.ticks_px[:, 1] - reading.ticks_px[:, 0]
    lean = np.degrees(np.arctan2(span[:, 1], span[:, 0])) % 180
    assert np.median(lean) == pytest.approx(110.0, abs=0.3)


@pytest.mark.parametrize("scale", ["mm", "sixteenths"])
def test_a_ruler_without_longer_ticks_is_refused_with_a_reason(scale: str) -> None:
    """Ticks all alike may be millimetres, tenths or sixteenths: no scale is taken from them."""
    base_mm, _ = SCALES[scale]
    picture = np.full((400, 1600, 3), 225, np.uint8)
    for k in range(120):
        x = round(50 + k * base_mm * 8)
        picture[150:180, x : x + 2] = 40
    assert read_rulers(picture) == ()


def stripes(period_px: float, *, broad: float) -> NDArray[np.uint8]:
    x = np.arange(1200)
    line = np.where((x % period_px) < broad * period_px, 60, 210).astype(np.float32)
    line = cv2.GaussianBlur(line[None], (0, 0), 0.8)
    return np.repeat(np.repeat(np.rint(line).astype(np.uint8), 900, axis=0)[..., None], 3, axis=2)


@pytest.mark.parametrize("period_px", [4.7, 9.0, 20.0, 48.0])
@pytest.mark.parametrize("broad", [0.2, 0.5])
def test_striped_cloth_is_no_ruler(period_px: float, broad: float) -> None:
    """Stripes go on to the edge of the cloth and are all of one length: they set no scale."""
    assert read_rulers(stripes(period_px, broad=broad)) == ()


@pytest.mark.parametrize("name", ["brick", "gravel", "coffee", "page", "text", "grass"])
def test_no_scale_in_pictures_without_a_ruler(name: str) -> None:
    """None of these public test pictures shows a ruler (scikit-image's data, seen)."""
    data = pytest.importorskip("skimage.data")
    try:
        picture = np.asarray(getattr(data, name)())
    except Exception as error:
        pytest.skip(f"scikit-image cannot load {name} here: {error}")
    if picture.ndim == 2:
        picture = np.repeat(picture[..., None], 3, axis=2)
    assert read_rulers(np.ascontiguousarray(picture[..., :3])) == ()


def real(name: str) -> NDArray[np.uint8]:
    from PIL import Image, ImageOps

    return np.asarray(ImageOps.exif_transpose(Image.open(PHOTOS / name)).convert("RGB"))


@needs_photos
@pytest.mark.parametrize(
    "name",
    [
        "card_rule_a.png",
        "card_rule_b.png",
        "card_rule_small.jpg",
        "colour_card_oblique.jpg",
        "dark_target.jpg",
        "plastic_rule_sheet.jpg",
        "steel_macro.jpg",
    ],
)
def test_real_rulers_are_read_within_one_percent(name: str) -> None:
    """Real rulers whose ticks were placed by hand (truth.json beside the photographs): within 1 %."""
    truth = json.loads((PHOTOS / "truth.json").read_text())[name]["px_per_mm"]
    readings = read_rulers(real(name))
    assert readings
    assert px_per_mm_of(readings[0]) == pytest.approx(truth, rel=0.01)


@needs_photos
@pytest.mark.parametrize(
    "name", ["check_cloth.jpg", "rib_weave.jpg", "rush_mat.jpg", "no_full_repeat.jpg", "charuco_board.jpg"]
)
def test_real_cloth_is_no_ruler(name: str) -> None:
    """Photographs of cloth, mats and boards hold no ruler (seen): no scale."""
    assert read_rulers(real(name)) == ()


def test_an_unread_comb_is_said_with_its_remedy() -> None:
    """A ruler seen over less than its longest interval leaves the unit open: a sentence names the option to give."""
    picture = draw("sixteenths", 9.0, length_mm=27.0, numbers=False)
    sight = look_for_rulers(picture)
    for reading in sight.readings:
        assert px_per_mm_of(reading) == pytest.approx(9.0, rel=0.02)
    for doubt in sight.doubts:
        assert "--ruler" in doubt
