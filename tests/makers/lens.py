"""A lens that bends straight lines: the first radial term of the usual model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.makers.camera import Camera, Floats, jacobian, project

#: Fixed-point steps from bent to straight; each shrinks what is left by 3 |k1| r², under 5 % here.
_STEPS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A camera's picture bent about its middle: r becomes r (1 + k1 r²), r in focal lengths.

    The model is that of Brown 1966 (Photogrammetric Engineering 32) with its first term, as OpenCV has it.
    """

    camera: Camera
    k1: float = 0.0

    def bent(self, points_px: Floats) -> Floats:
        """Where points (N, 2) of the pinhole's picture are in the lens's."""
        ray = self._rays(points_px)
        return self._pixels(ray * (1 + self.k1 * (ray**2).sum(axis=1, keepdims=True)))

    def straightened(self, points_px: Floats) -> Floats:
        """The inverse of ``bent``."""
        seen = self._rays(points_px)
        ray = seen
        for _ in range(_STEPS):
            ray = seen / (1 + self.k1 * (ray**2).sum(axis=1, keepdims=True))
        return self._pixels(ray)

    def seen(self, points_mm: Floats) -> Floats:
        """Where the picture shows points (N, 2) of the table."""
        return self.bent(project(self.camera.photo_from_mm, points_mm))

    def table_mm(self, points_px: Floats) -> Floats:
        """The points of the table that the picture shows at points (N, 2)."""
        return project(np.linalg.inv(self.camera.photo_from_mm), self.straightened(points_px))

    def px_per_mm(self, point_mm: Floats) -> float:
        """Square root of the determinant of the mapping's derivative at a point of the table."""
        homography = self.camera.photo_from_mm
        r2 = float((self._rays(project(homography, point_mm)) ** 2).sum())
        stretch = (1 + self.k1 * r2) * (1 + 3 * self.k1 * r2)  # across the radius, and along it
        return float(np.sqrt(abs(np.linalg.det(jacobian(homography, point_mm))) * stretch))

    def _rays(self, points_px: Floats) -> Floats:
        return np.asarray((np.atleast_2d(points_px) - self._middle) / self.camera.focal_px)

    def _pixels(self, rays: Floats) -> Floats:
        return np.asarray(rays * self.camera.focal_px + self._middle)

    @property
    def _middle(self) -> Floats:
        return np.array([(self.camera.width_px - 1) / 2, (self.camera.height_px - 1) / 2])
