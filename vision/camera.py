"""A camera before a plane: the mappings that the fit and the square-on picture are made of.

A pinhole, as matrices; and a lens that bends straight lines, r to r (1 + k1 r²) about the picture's middle, r in focal
lengths: the first radial term of Brown 1966 (Photogrammetric Engineering 32), as OpenCV has it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Steps from bent to straight: for lenses of phones and cameras (|k1| under 0.1) they leave under 1e-4 px.
_STEPS = 3


def inverse(matrix: Floats) -> Floats:
    """The inverse of a square matrix."""
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def homography(params: Floats, size_px: tuple[int, int], behind_mm: float) -> Floats:
    """Plane mm to photo px for (tilt x, tilt y, log px/mm at the middle, log focal px, …), ``behind_mm`` further away.

    The photo is that of a lens which bends nothing.
    """
    tilt_x, tilt_y, log_scale, log_focal = params[:4]
    focal = math.exp(log_focal)
    turn = rotation(tilt_x, tilt_y)
    distance = focal / math.exp(log_scale) + behind_mm / turn[2, 2]
    plane = np.column_stack([turn[:, 0], turn[:, 1], np.array([0.0, 0.0, distance])])
    photo = _pinhole(focal, size_px) @ plane
    return np.asarray(photo / photo[2, 2], dtype=np.float64)


def upwards(params: Floats, size_px: tuple[int, int]) -> Floats:
    """What (3,) a millimetre of height over the plane adds to a point mapped by its homography, before the division."""
    normal = rotation(params[0], params[1])[:, 2]
    return np.asarray(-_pinhole(math.exp(params[3]), size_px) @ normal / math.exp(params[3] - params[2]))


def _pinhole(focal_px: float, size_px: tuple[int, int]) -> Floats:
    """Directions from the camera to photo px, homogeneous (3, 3)."""
    width, height = size_px
    return np.array([[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1.0]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A lens in front of a picture of ``size_px`` (width, height) that bends straight lines by ``k1``."""

    size_px: tuple[int, int]
    focal_px: float
    k1: float

    def bent(self, points_px: Floats) -> Floats:
        """Where the lens shows points (N, 2) of the straight picture."""
        rays = self._rays(points_px)
        return self._pixels(rays * (1 + self.k1 * (rays**2).sum(axis=-1, keepdims=True)))

    def straightened(self, points_px: Floats) -> Floats:
        """The inverse of ``bent``, by Newton's method on each ray's length."""
        seen = self._rays(points_px)
        if not self.k1:
            return np.asarray(points_px, dtype=np.float64)
        power = self.k1 * (seen**2).sum(axis=-1)
        shorter = np.ones_like(power)
        for _ in range(_STEPS):
            shorter = shorter - (shorter * (1 + power * shorter**2) - 1) / (1 + 3 * power * shorter**2)
        return self._pixels(seen * shorter[..., None])

    def stretch(self, point_px: Floats) -> Floats:
        """The derivative (2, 2) of ``bent`` at a point of the straight picture."""
        ray = self._rays(point_px)
        return np.asarray((1 + self.k1 * float(ray @ ray)) * np.eye(2) + 2 * self.k1 * np.outer(ray, ray))

    def _rays(self, points_px: Floats) -> Floats:
        middle = np.array([(self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2])
        return np.asarray((points_px - middle) / self.focal_px, dtype=np.float64)

    def _pixels(self, rays: Floats) -> Floats:
        middle = np.array([(self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2])
        return np.asarray(rays * self.focal_px + middle, dtype=np.float64)


def rotation(tilt_x: float, tilt_y: float) -> Floats:
    """The smallest rotation about the axis (tilt x, tilt y, 0) by its length in radians (Rodrigues)."""
    angle = math.hypot(tilt_x, tilt_y)
    cross = np.array([[0, 0, tilt_y], [0, 0, -tilt_x], [-tilt_y, tilt_x, 0.0]])
    sinc = math.sin(angle) / angle if angle > 1e-9 else 1.0
    half = (1 - math.cos(angle)) / angle**2 if angle > 1e-6 else 0.5
    return np.asarray(np.eye(3) + sinc * cross + half * cross @ cross, dtype=np.float64)


def pose_matrix(stretch: float, turn: float, x0: float, y0: float) -> Floats:
    """The similarity (3, 3) that stretches, turns (radians) and then moves a point by (x0, y0)."""
    c, s = stretch * math.cos(turn), stretch * math.sin(turn)
    return np.array([[c, -s, x0], [s, c, y0], [0, 0, 1.0]])


def mapped(matrix: Floats, points: Floats) -> Floats:
    """Points (N, 2) mapped by a homography (3, 3)."""
    points = np.asarray(points, dtype=np.float64)
    w = points @ matrix[2, :2] + matrix[2, 2]
    return np.asarray((points @ matrix[:2, :2].T + matrix[:2, 2]) / w[:, None], dtype=np.float64)


def rigid(here: Floats, there: Floats) -> tuple[float, Floats]:
    """Turn (rad) and shift that carry ``here`` onto ``there`` best (no reflection)."""
    a, b = here.mean(axis=0), there.mean(axis=0)
    p, q = here - a, there - b
    turn = math.atan2(float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum()), float((p * q).sum()))
    c, s = math.cos(turn), math.sin(turn)
    return turn, b - np.array([c * a[0] - s * a[1], s * a[0] + c * a[1]])
