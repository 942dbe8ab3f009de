"""Cloths laid on a table and seen straight from above: rendered from the makers, seeded, the truth known in mm."""

from __future__ import annotations

import cv2
import numpy as np

from tests.makers.cloth import Cloth
from tests.makers.colour import encoded
from tests.makers.table import Table
from vision.camera import homography
from vision.estimate import Estimate
from vision.plane import Plane
from vision.square import SquareOn

PX_PER_MM = 2.0
SIZE_MM = (440.0, 330.0)


def laid(
    *cloths: Cloth, table: Table | None = None, hole_mm: tuple[float, float, float] | None = None, seed: int = 0
) -> SquareOn:
    """Cloths on a table, seen straight from above; the plane's (0, 0) is the picture's middle."""
    ys, xs = np.mgrid[0 : round(SIZE_MM[1] * PX_PER_MM), 0 : round(SIZE_MM[0] * PX_PER_MM)].astype(np.float32)
    x, y = xs / PX_PER_MM - SIZE_MM[0] / 2, ys / PX_PER_MM - SIZE_MM[1] / 2
    light = (table or Table()).light(x, y, seed)
    for cloth in cloths:
        outline = (cloth.outline_mm() + np.array(SIZE_MM) / 2) * PX_PER_MM
        cover = _cover(outline, x.shape)
        if hole_mm is not None:
            centre = tuple(round((c + s / 2) * PX_PER_MM) for c, s in zip(hole_mm[:2], SIZE_MM, strict=True))
            cv2.circle(cover, centre, round(hole_mm[2] * PX_PER_MM), 0, -1, lineType=cv2.LINE_AA)
        share = (cover / 255.0)[..., None].astype(np.float32)
        light = light * (1 - share) + cloth.light(x, y, 1 / PX_PER_MM) * share
    light = cv2.GaussianBlur((light * 0.85).astype(np.float32), (0, 0), 0.7)
    grey = encoded(light) + np.random.default_rng(seed).normal(0, 1.5, light.shape)
    return SquareOn(
        rgb=np.clip(np.rint(grey), 0, 255).astype(np.uint8),
        valid=np.ones(x.shape, bool),
        px_per_mm=PX_PER_MM,
        origin_mm=(-SIZE_MM[0] / 2, -SIZE_MM[1] / 2),
        length_relative_u95=0.0,
        angle_u95_deg=0.0,
    )


def _cover(outline_px: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Share (H, W), to 255, of each pixel that a polygon covers: filled eight times as fine, because a filled polygon
    takes in the pixels its rim runs through."""
    fine = np.zeros((shape[0] * 8, shape[1] * 8), np.uint8)
    cv2.fillPoly(fine, [np.rint((outline_px * 8 + 3.5) * 16).astype(np.int32)], 255, lineType=cv2.LINE_8, shift=4)
    return np.asarray(cv2.resize(fine, shape[1::-1], interpolation=cv2.INTER_AREA))


def plane(
    tilt_x: float,
    k1: float,
    *,
    px_per_mm: float = 5.0,
    size_px: tuple[int, int] = (3000, 2000),
    focal_px: float = 2400.0,
) -> Plane:
    """A plane known exactly, tilted by ``tilt_x``, its (0, 0) in the photo's middle."""
    params = np.array([tilt_x, 0.0, np.log(px_per_mm), np.log(2400.0), k1])
    return Plane(
        straight_from_mm=homography(params, size_px, 0.0),
        params=params,
        covariance=np.zeros((5, 5)),
        size_px=size_px,
        tilt_deg=Estimate(0.0),
        reference_px_per_mm=(px_per_mm,),
        residual_px=0.0,
        floor_relative_u95=0.0,
        thickness_mm=0.0,
        readings=(),
        focal_px=Estimate(2400.0),
    )
