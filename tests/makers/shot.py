"""A scene as a real camera takes it: through a lens that bends, by lamplight, over things that do not lie flat.

Every pixel looks along its own bent ray, so that the truth is exact; nothing is warped after it has been drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from tests.makers.camera import Floats
from tests.makers.cloth import Cloth
from tests.makers.colour import Array
from tests.makers.lens import Lens
from tests.makers.ruler import Ruler
from tests.makers.scene import Photograph, Scene, Truth, polygon_cover, taken, truth_of
from tests.makers.sticker import Card, Sheet
from tests.makers.worn import WornRuler

#: Samples a pixel, each way, of flat things with fine marks; in larger pieces fewer, to save time.
_FINER = 3
_MOST_SAMPLES = 14e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Shadow:
    """The soft shadow of a head or a hand: its middle and its radii in shares of the picture, how dark, how soft."""

    x: float
    y: float
    radius: float
    depth: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot(Scene):
    """A scene with a lens (``k1``), the lamp's colour ``tint``, its pool of light (``pool``: how much darker the far
    corner is), shadows; ``focal_known`` is whether the photo tells its focal length."""

    k1: float = 0.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    pool: float = 0.0
    pool_at: tuple[float, float] = (0.0, 0.0)
    shadows: tuple[Shadow, ...] = ()
    focal_known: bool = True

    @property
    def lens(self) -> Lens:
        """The camera's lens."""
        return Lens(camera=self.camera, k1=self.k1)


def shoot(shot: Shot) -> Photograph:
    """Render a shot."""
    return Photograph(rgb=taken(light_of(shot), shot), truth=truth_of_shot(shot), scene=shot)


def light_of(shot: Shot) -> Array:
    """The light (H, W, 3) that falls on the lens, before its blur and the sensor's noise."""
    camera, lens = shot.camera, shot.lens
    x_mm, y_mm = _table_of_pixels(lens)
    light = shot.table.light(x_mm, y_mm, shot.seed)
    for cloth in shot.cloths:
        _lay_cloth(light, cloth, lens, x_mm, y_mm)
    for flat in (*shot.sheets, *shot.rulers):
        _lay_flat(light, flat, lens, x_mm, y_mm)
    return light * lamp((camera.width_px, camera.height_px), shot)[..., None] * np.float32(shot.tint)


def truth_of_shot(shot: Shot) -> Truth:
    """The truth of a shot: the scene's, the scale being the lens's own at the same point of the table."""
    truth = truth_of(shot)
    back = np.linalg.inv(truth.photo_from_mm)
    if not shot.cloths:
        flat = (shot.rulers or shot.sheets)[0] if shot.rulers or shot.sheets else None
        middle = np.array([flat.x_mm, flat.y_mm]) if flat else back[:2, 2] / back[2, 2]
    else:
        main = max(shot.cloths, key=lambda c: c.width_mm * c.length_mm)
        middle = middle_of_visible(main.corners_mm(), shot.lens)
    return replace(truth, px_per_mm=shot.lens.px_per_mm(middle))


def middle_of_visible(corners_mm: Floats, lens: Lens) -> Floats:
    """Centre of gravity, on the table, of the part of a convex outline that the picture shows."""
    seen = visible(corners_mm, lens)
    if len(seen) < 3:
        return np.asarray(corners_mm.mean(axis=0))
    moments = cv2.moments(seen.astype(np.float32))
    return np.array([moments["m10"], moments["m01"]]) / moments["m00"]


def visible(corners_mm: Floats, lens: Lens) -> Floats:
    """The part (N, 2) of a convex outline on the table that the picture shows; empty where it shows none."""
    width, height = lens.camera.width_px - 1, lens.camera.height_px - 1
    frame = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float)
    _, seen = cv2.intersectConvexConvex(corners_mm.astype(np.float32), lens.table_mm(frame).astype(np.float32))
    return np.zeros((0, 2)) if seen is None else np.asarray(seen[:, 0], dtype=float)


def lamp(size: tuple[int, int], shot: Shot) -> Array:
    """How much light (H, W) each pixel's place gets."""
    x = np.linspace(-1, 1, size[0], dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, size[1], dtype=np.float32)[:, None]
    a = np.radians(shot.shade_towards_deg)
    light = 1 + (x * np.float32(np.cos(a)) + y * np.float32(np.sin(a))) * np.float32(shot.shade)
    light = light * (1 - np.float32(0.08) * (x**2 + y**2))
    away = np.hypot(x - np.float32(shot.pool_at[0]), y - np.float32(shot.pool_at[1]))
    light = light * (1 - np.float32(shot.pool) * np.clip(away / 2.4, 0, 1) ** 1.5)
    for shadow in shot.shadows:
        inside = 1 / (1 + np.exp((np.hypot(x - shadow.x, (y - shadow.y) * 0.8) - shadow.radius) / 0.06))
        light = light * (1 - np.float32(shadow.depth) * inside.astype(np.float32))
    return np.asarray(shot.exposure * light, dtype=np.float32)


def _table_of_pixels(lens: Lens) -> tuple[Array, Array]:
    size = (lens.camera.width_px, lens.camera.height_px)
    column, row = np.meshgrid(np.arange(size[0], dtype=float), np.arange(size[1], dtype=float))
    points = lens.table_mm(np.column_stack([column.ravel(), row.ravel()]))
    return tuple(points[:, k].reshape(size[1], size[0]).astype(np.float32) for k in (0, 1))


def _lay_cloth(light: Array, cloth: Cloth, lens: Lens, x_mm: Array, y_mm: Array) -> None:
    cover = polygon_cover(lens.seen(cloth.outline_mm()), light.shape[:2])
    box = _box(cover)
    if box is None:
        return
    _cast(light, cover)
    footprint = 1 / lens.px_per_mm(middle_of_visible(cloth.corners_mm(), lens))
    light[box] += cover[box][..., None] * (cloth.light(x_mm[box], y_mm[box], footprint) - light[box])


def _lay_flat(light: Array, flat: Ruler | Sheet | Card, lens: Lens, x_mm: Array, y_mm: Array) -> None:
    cover = polygon_cover(lens.seen(_dense(flat.outline_mm())), light.shape[:2])
    box = _box(cover)
    if box is None:
        return
    height, width = cover[box].shape
    finer = max(1, min(_FINER, int((_MOST_SAMPLES / (height * width)) ** 0.5)))
    x, y = (_sampled(places, box, finer) for places in (x_mm, y_mm))
    density = max(2, finer) * lens.px_per_mm(middle_of_visible(flat.corners_mm(), lens))
    picture = flat.picture(density)
    u, v = (places - np.float32(0.5) for places in _in_picture(flat, x, y, density))
    fine = cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    colour = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA)
    _cast(light, cover)
    light[box] += cover[box][..., None] * (colour - light[box])


def _sampled(places: Array, box: tuple[slice, slice], finer: int) -> Array:
    """The pixels' places (h, w) of a box, ``finer`` times as dense each way; exact to the curvature within a pixel."""
    part = np.ascontiguousarray(places[box])
    if finer == 1:
        return part
    part = cv2.copyMakeBorder(part, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    part[0], part[-1] = 2 * part[1] - part[2], 2 * part[-2] - part[-3]
    part[:, 0], part[:, -1] = 2 * part[:, 1] - part[:, 2], 2 * part[:, -2] - part[:, -3]
    fine = cv2.resize(part, None, fx=finer, fy=finer, interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(fine[finer:-finer, finer:-finer])


def _in_picture(flat: Ruler | Sheet | Card, x_mm: Array, y_mm: Array, density: float) -> tuple[Array, Array]:
    """Places in a flat thing's picture, its corner at (0, 0), seen at points of the table. The picture's own sides are
    whole pixels; its marks are where they would be without that."""
    if isinstance(flat, WornRuler):
        along, down = flat.face_mm(x_mm, y_mm)
        return along * np.float32(density), down * np.float32(density)
    origin, right, _, below = flat.corners_mm()
    x, y = x_mm - np.float32(origin[0]), y_mm - np.float32(origin[1])
    margin = flat.margin_mm if isinstance(flat, Sheet) else 0.0
    places = []
    for side in (right - origin, below - origin):
        whole = float(np.hypot(*side))
        at = x * np.float32(side[0] / whole) + y * np.float32(side[1] / whole)
        inner = whole - 2 * margin
        places.append((at - margin) * np.float32(round(inner * density) / inner) + np.float32(round(margin * density)))
    return places[0], places[1]


def _dense(outline: Floats) -> Floats:
    """A polygon with points every 2 % of each side, so that a bent side is drawn bent."""
    if len(outline) > 100:
        return outline
    share = np.linspace(0, 1, 50, endpoint=False)[:, None]
    return np.concatenate([a + share * (b - a) for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True)])


def _box(cover: Array) -> tuple[slice, slice] | None:
    rows, columns = np.any(cover, axis=1).nonzero()[0], np.any(cover, axis=0).nonzero()[0]
    if len(rows) < 4 or len(columns) < 4:
        return None
    return slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)


def _cast(light: Array, cover: Array) -> None:
    """The shadow of what lies on the table."""
    soft = cv2.GaussianBlur(cover, (0, 0), 4)
    moved = cv2.warpAffine(soft, np.float32([[1, 0, 2], [0, 1, 3]]), (cover.shape[1], cover.shape[0]))
    light *= (1 - 0.25 * moved)[..., None]
