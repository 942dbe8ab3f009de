"""A pinhole camera over a table, and the exact mapping from the table's millimetres to the photo's pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Diagonal of the 36 x 24 mm frame; CIPA DCG-001 defines the 35 mm equivalent focal length by the diagonal.
FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Where the camera stands. The table is the plane z = 0, x right and y down, its origin below the image centre.

    ``tilt_deg`` is the angle between the optical axis and the table's normal, ``azimuth_deg`` the direction in the
    table towards which it leans, ``roll_deg`` a turn about the optical axis, ``distance_mm`` from the lens to the
    table along the optical axis.
    """

    width_px: int = 2000
    height_px: int = 1500
    focal35_mm: float = 26.0
    tilt_deg: float = 0.0
    azimuth_deg: float = 0.0
    roll_deg: float = 0.0
    distance_mm: float = 500.0

    @property
    def focal_px(self) -> float:
        """Focal length in pixels of this picture."""
        return self.focal35_mm * math.hypot(self.width_px, self.height_px) / FULL_FRAME_DIAGONAL_MM

    @property
    def photo_from_mm(self) -> Floats:
        """The homography (3, 3) from the table's millimetres to pixels, an integer being a pixel's centre."""
        turned = self._turned
        intrinsic = np.array(
            [
                [self.focal_px, 0.0, (self.width_px - 1) / 2],
                [0.0, self.focal_px, (self.height_px - 1) / 2],
                [0.0, 0.0, 1.0],
            ]
        )
        mapping = intrinsic @ np.column_stack([turned[:, 0], turned[:, 1], [0.0, 0.0, self.distance_mm]])
        return np.asarray(mapping / mapping[2, 2])

    @property
    def eye_mm(self) -> tuple[float, float, float]:
        """Where the lens is: its place (x, y) over the table, and its height above it."""
        x, y, z = -self._turned.T @ np.array([0.0, 0.0, self.distance_mm])
        return float(x), float(y), float(-z)

    @property
    def _turned(self) -> Floats:
        lean, towards, roll = (math.radians(a) for a in (self.tilt_deg, self.azimuth_deg, self.roll_deg))
        axis = np.array([-math.sin(towards), math.cos(towards), 0.0])
        return _rotation(np.array([0.0, 0.0, 1.0]), roll) @ _rotation(axis, lean)


def _rotation(axis: Floats, angle: float) -> Floats:
    """Rodrigues' formula."""
    x, y, z = axis
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross)


def project(homography: Floats, points: Floats) -> Floats:
    """Map points (N, 2) by a homography (3, 3)."""
    points = np.atleast_2d(np.asarray(points, dtype=float))
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:3])


def jacobian(homography: Floats, point: Floats) -> Floats:
    """The derivative (2, 2) of a homography at one point: pixels per millimetre in every direction."""
    x, y, w = homography @ np.array([point[0], point[1], 1.0])
    return np.asarray((homography[:2, :2] * w - np.outer([x, y], homography[2, :2])) / w**2)


def px_per_mm(homography: Floats, point: Floats) -> float:
    """Square root of the determinant of the derivative."""
    return float(math.sqrt(abs(np.linalg.det(jacobian(homography, point)))))


def upright_turn_deg(homography: Floats, size_px: tuple[int, int]) -> float:
    """How far (counter-clockwise as seen) the photo shows the table turned at its centre.

    The derivative at the image centre is split into a rotation and a stretch (polar decomposition); the rotation is
    the turn. A direction of ``a`` degrees on the table is seen at ``a + turn`` in the picture made square-on.
    """
    centre_mm = project(np.linalg.inv(homography), np.array([[(size_px[0] - 1) / 2, (size_px[1] - 1) / 2]]))[0]
    left, _, right = np.linalg.svd(jacobian(homography, centre_mm))
    turn = left @ right
    return -math.degrees(math.atan2(turn[1, 0], turn[0, 0]))
