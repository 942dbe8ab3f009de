"""A whole scene, rendered by looking from every pixel to the table, and the exact truth about it."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.makers.camera import Camera, Floats, project, px_per_mm, upright_turn_deg
from tests.makers.cloth import CheckPrint, Cloth, MotifPrint, StripePrint
from tests.makers.colour import Array, encoded
from tests.makers.ruler import Ruler
from tests.makers.sticker import Card, Sheet
from tests.makers.table import Table

Bytes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything in front of the camera and in it. Later cloths lie on earlier ones, rulers on top."""

    camera: Camera
    table: Table = field(default_factory=Table)
    cloths: tuple[Cloth, ...] = ()
    rulers: tuple[Ruler, ...] = ()
    sheets: tuple[Sheet | Card, ...] = ()
    shade: float = 0.12
    shade_towards_deg: float = 40.0
    exposure: float = 0.85
    blur_px: float = 0.7
    noise: float = 1.5
    quality: int = 92
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """What is so. ``photo_from_mm`` (3, 3) maps the table; ``px_per_mm`` holds at the middle of the largest cloth's
    visible part, of the picture where it fills that, or of the first ruler where there is none. ``turn_deg``: how far
    the upright picture shows the table turned. ``across_direction_deg`` is in the square-on picture. Lengths follow the
    contract's sense of across and along for checks and motifs (across: nearer the photo's x axis)."""

    photo_from_mm: Floats
    px_per_mm: float
    turn_deg: float
    tilt_deg: float
    kind: str | None
    across_mm: float | None
    along_mm: float | None
    across_direction_deg: float | None
    widths_mm: tuple[float, ...]
    skew_deg: float | None
    unit: str | None
    outlines_mm: tuple[Floats, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photograph:
    """A rendered photograph, upright, with its truth."""

    rgb: Bytes
    truth: Truth
    scene: Scene

    def jpeg(self, *, exif: bool = True, orientation: int = 1, taken: str = "2026:05:17 10:30:00") -> bytes:
        """The bytes of a JPEG like a phone's. ``orientation`` 6 or 8 stores the picture lying on its side."""
        image = Image.fromarray(self.rgb)
        if orientation == 6:
            image = image.transpose(Image.Transpose.ROTATE_90)
        elif orientation == 8:
            image = image.transpose(Image.Transpose.ROTATE_270)
        data = Image.Exif()
        if exif:
            data[0x0112] = orientation
            data[0x0132] = taken
            details = data.get_ifd(0x8769)
            details[0x9003] = taken
            details[0xA405] = round(self.scene.camera.focal35_mm)
            details[0xA002], details[0xA003] = image.size
        out = io.BytesIO()
        image.save(out, "JPEG", quality=self.scene.quality, exif=data)
        return out.getvalue()

    def save(self, path: Path, **options: bool | int | str) -> Path:
        """Write the JPEG."""
        path.write_bytes(self.jpeg(**options))
        return path


def render(scene: Scene) -> Photograph:
    """Render a scene: light over every pixel's footprint, then the lens's blur and the sensor's noise."""
    camera = scene.camera
    homography = camera.photo_from_mm
    size = (camera.width_px, camera.height_px)
    x_mm, y_mm = _table_of_pixels(homography, size)
    light = scene.table.light(x_mm, y_mm, scene.seed)
    for cloth in scene.cloths:
        _lay_cloth(light, cloth, homography, x_mm, y_mm)
    for flat in (*scene.sheets, *scene.rulers):
        _lay_flat(light, flat, homography)
    light *= _shading(size, scene)[..., None]
    return Photograph(rgb=taken(light, scene), truth=truth_of(scene), scene=scene)


def taken(light: Array, scene: Scene) -> Bytes:
    """What the camera makes of light (H, W, 3): the lens's blur, the sensor's noise, 8 bits a channel."""
    light = cv2.GaussianBlur(light, (0, 0), scene.blur_px) if scene.blur_px > 0 else light
    rng = np.random.default_rng([scene.seed, 9])
    grey = encoded(light)
    grey += rng.standard_normal(grey.shape, dtype=np.float32) * np.float32(scene.noise)
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def as_stored(photograph: Photograph) -> Bytes:
    """The picture (H, W, 3) after JPEG, upright, as a program sees it."""
    return np.asarray(Image.open(io.BytesIO(photograph.jpeg())).convert("RGB"))


def truth_of(scene: Scene) -> Truth:
    """The truth of a scene, without rendering it."""
    camera = scene.camera
    homography, size = camera.photo_from_mm, (camera.width_px, camera.height_px)
    turn = upright_turn_deg(homography, size)
    main = max(scene.cloths, key=lambda c: c.width_mm * c.length_mm, default=None)
    if main is not None:
        middle = _middle_of_visible(main.corners_mm(), homography, size)
    else:
        flat = (scene.rulers or scene.sheets)[0] if scene.rulers or scene.sheets else None
        middle = np.array([flat.x_mm, flat.y_mm]) if flat else np.zeros(2)
    kind, across, along, direction, widths = _print_truth(main, turn)
    unit = None
    if scene.rulers:
        unit = {"mm": "mm", "half_mm": "mm", "both": None}.get(scene.rulers[0].unit, "inch")
    return Truth(
        photo_from_mm=homography,
        px_per_mm=px_per_mm(homography, middle),
        turn_deg=turn,
        tilt_deg=camera.tilt_deg,
        kind=kind,
        across_mm=across,
        along_mm=along,
        across_direction_deg=direction,
        widths_mm=widths,
        skew_deg=main.skew_deg if main is not None and kind != "plain" else None,
        unit=unit,
        outlines_mm=tuple(cloth.corners_mm() for cloth in scene.cloths),
    )


def _print_truth(
    cloth: Cloth | None, turn: float
) -> tuple[str | None, float | None, float | None, float | None, tuple[float, ...]]:
    if cloth is None:
        return None, None, None, None, ()
    direction = folded(cloth.turn_deg + cloth.skew_deg + turn)
    print_ = cloth.print
    if isinstance(print_, StripePrint):
        return "stripe", print_.across.repeat_mm, None, direction, print_.across.widths_mm
    if isinstance(print_, CheckPrint):
        sides = (print_.across.repeat_mm, print_.along.repeat_mm)
        widths = (print_.across.widths_mm, print_.along.widths_mm)
        if abs(direction) <= 45:
            return "check", sides[0], sides[1], direction, widths[0]
        return "check", sides[1], sides[0], folded(direction + 90), widths[1]
    if isinstance(print_, MotifPrint):
        across, along = print_.repeat_mm
        if abs(direction) <= 45:
            return "motif", across, along, direction, ()
        return "motif", along, across, folded(direction + 90), ()
    return "plain", None, None, None, ()


def folded(angle_deg: float) -> float:
    """A line's direction, in (-90, 90]."""
    return 90 - (90 - angle_deg) % 180


def _table_of_pixels(homography: Floats, size: tuple[int, int]) -> tuple[Array, Array]:
    back = np.linalg.inv(homography)
    column, row = np.arange(size[0])[None, :], np.arange(size[1])[:, None]
    x, y, w = (back[k, 0] * column + back[k, 1] * row + back[k, 2] for k in range(3))
    return (x / w).astype(np.float32), (y / w).astype(np.float32)


def _lay_cloth(light: Array, cloth: Cloth, homography: Floats, x_mm: Array, y_mm: Array) -> None:
    outline = project(homography, cloth.outline_mm())
    cover = polygon_cover(outline, light.shape[:2])
    rows, columns = np.any(cover, axis=1).nonzero()[0], np.any(cover, axis=0).nonzero()[0]
    if not len(rows):
        return
    _shadow(light, cover)
    box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    footprint = 1 / px_per_mm(homography, np.array([cloth.x_mm, cloth.y_mm]))
    colour = cloth.light(x_mm[box], y_mm[box], footprint)
    light[box] += cover[box][..., None] * (colour - light[box])


def _lay_flat(light: Array, flat: Ruler | Sheet | Card, homography: Floats) -> None:
    """Lay a flat picture on the table, three samples a pixel each way."""
    corners = flat.corners_mm()
    seen = project(homography, corners)
    low = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 3, 0)
    high = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + 4, [light.shape[1], light.shape[0]])
    if (low >= high).any():
        return
    density = 3 * px_per_mm(homography, corners.mean(axis=0))
    picture = flat.picture(density)
    height, width = picture.shape[:2]
    texture_corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float) - 0.5
    table_from_texture = cv2.getPerspectiveTransform(texture_corners.astype(np.float32), corners.astype(np.float32))
    fine = np.array([[3, 0, 1 - 3.0 * low[0]], [0, 3, 1 - 3.0 * low[1]], [0, 0, 1]])
    mapping = fine @ homography @ table_from_texture
    size = tuple(int(3 * n) for n in (high - low))
    warped = cv2.warpPerspective(picture, mapping, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    colour = cv2.resize(warped, tuple(int(n) for n in high - low), interpolation=cv2.INTER_AREA)
    cover = polygon_cover(project(homography, flat.outline_mm()), light.shape[:2])
    _shadow(light, cover)
    box = slice(low[1], high[1]), slice(low[0], high[0])
    light[box] += cover[box][..., None] * (colour - light[box])


def _shadow(light: Array, cover: Array) -> None:
    soft = cv2.GaussianBlur(cover, (0, 0), 4)
    moved = cv2.warpAffine(soft, np.float32([[1, 0, 2], [0, 1, 3]]), (cover.shape[1], cover.shape[0]))
    light *= (1 - 0.25 * moved)[..., None]


def polygon_cover(points_px: Floats, shape: tuple[int, int]) -> Array:
    """Share (H, W) of each pixel that a polygon covers, by four samples each way in the polygon's own box."""
    low = np.clip(np.floor(points_px.min(axis=0)).astype(int) - 1, 0, [shape[1], shape[0]])
    high = np.clip(np.ceil(points_px.max(axis=0)).astype(int) + 2, 0, [shape[1], shape[0]])
    cover = np.zeros(shape, dtype=np.float32)
    if (low >= high).any():
        return cover
    finer = 2
    width, height = (int(n) * finer for n in high - low)
    fine = np.zeros((height, width), dtype=np.uint8)
    points = (points_px - low) * finer + (finer - 1) / 2
    cv2.fillPoly(fine, [np.rint(points * 256).astype(np.int32)], 255, cv2.LINE_AA, 8)
    part = cv2.resize(fine, (width // finer, height // finer), interpolation=cv2.INTER_AREA)
    cover[low[1] : high[1], low[0] : high[0]] = part.astype(np.float32) / 255
    return cover


def _middle_of_visible(corners_mm: Floats, homography: Floats, size: tuple[int, int]) -> Floats:
    """Centre of gravity, on the table, of the part of a quadrangle (4, 2) that the picture shows; where that is all of
    the picture, its middle."""
    frame = np.array([[0, 0], [size[0] - 1, 0], [size[0] - 1, size[1] - 1], [0, size[1] - 1]], dtype=float)
    shown = project(np.linalg.inv(homography), frame)
    _, seen = cv2.intersectConvexConvex(corners_mm.astype(np.float32), shown.astype(np.float32))
    if seen is None or len(seen) < 3:
        return np.asarray(corners_mm.mean(axis=0))
    moments = cv2.moments(seen)
    if moments["m00"] > (1 - 1e-6) * cv2.contourArea(shown.astype(np.float32)):
        return project(np.linalg.inv(homography), frame.mean(axis=0)[None])[0]
    return np.array([moments["m10"], moments["m01"]]) / moments["m00"]


def _shading(size: tuple[int, int], scene: Scene) -> Array:
    x = np.linspace(-1, 1, size[0], dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, size[1], dtype=np.float32)[:, None]
    a = np.radians(scene.shade_towards_deg)
    slope = (x * np.float32(np.cos(a)) + y * np.float32(np.sin(a))) * np.float32(scene.shade)
    corner = 1 - np.float32(0.08) * (x**2 + y**2)
    return np.asarray(scene.exposure * (1 + slope) * corner, dtype=np.float32)
