"""The plane of the cloth: from what the references say and the focal length to millimetres, with what is not known.

A camera with its principal point at the middle of the picture looks at a plane. Unknown are two tilts, the distance, a
little of the focal length, of how the lens bends lines and of each reference's own scale, and how each reference lies.
All of it is fitted at once, robustly, to the marks' places and the directions of the ticks.

The plane's frame, in mm: its origin is where the middle of the picture meets it, x right, y down, turned so that the
square-on picture is not rotated against the photo there.

References
----------
Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 8 (plane to image).
JCGM 100:2008 (GUM), 6.3: expanded uncertainty, coverage factor 2 for 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from vision.adjustment import SHARED, Adjustment
from vision.camera import Lens, homography, inverse, mapped
from vision.errors import ScaleNotFound
from vision.estimate import Estimate
from vision.mark import mean_px_per_mm
from vision.parallel import Stripes
from vision.reference.reading import Reading
from vision.square import SquareOn

Floats = NDArray[np.float64]

#: Cloth laid out by hand lies flat to this share of any length at 95 %: a wave 1.2 mm high, seen from half a metre
#: (geometry; creased and bowed cloth of our scenes).
FLATNESS_RELATIVE_U95 = 0.0025
#: Tilts beyond this are no photograph of a cloth seen from above, rad.
TILT_LIMIT_RAD = math.radians(60.0)
#: No lens bends straight lines by more (k1; phones and cameras: less): where the marks say so, they lie in no plane.
MOST_BENT = 0.1
#: What a tape that rises from the table, or may as it curls, leaves of any length at 95 % once its rise is fitted
#: (tapes of our scenes, with a print to level by or without).
RISEN_RELATIVE_U95 = 0.003
#: Where hardly any of it lies on the table, and no print levels the plane, it passes for a tape so far above, mm at
#: 95 % (drawn tapes whose ends stand up to 12 mm).
AFLOAT_U95_MM = 5.0
#: Bent in the plane, a tape keeps the length of a line that is its middle to so much, mm at 95 % (where its body was
#: found to end, and that cloth tapes are not made as evenly as beams).
MIDDLE_U95_MM = 4.0
#: Pixels of a square-on picture between places that are mapped exactly.
GRID_PX = 8
#: A ruler takes part beside a better one where it fits that one's plane within so many standard deviations; digits and
#: prints that look like a row of ticks do not. Its ticks are square to it within this, deg, and the plane's own doubt.
ACCORD_SIGMAS = 4.0
SQUARE_PLAY_DEG = 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """A fitted plane. ``params`` and ``covariance`` belong to (tilt x, tilt y, log px per mm, log focal length, k1).

    ``straight_from_mm`` (3, 3) maps plane mm to px of the photo as a lens that bends nothing would show it; ``to_px``
    bends it too. ``reference_px_per_mm`` holds one value for each reading: the
    mean along it between its outermost marks. ``residual_px`` is the root mean square of what the fit leaves over,
    ``curled`` says that a tape among the readings is bent, ``sheared`` that its ticks stayed parallel, ``rises`` that
    one rises from the table.
    """

    straight_from_mm: Floats
    params: Floats
    covariance: Floats
    size_px: tuple[int, int]
    tilt_deg: Estimate
    reference_px_per_mm: tuple[float, ...]
    residual_px: float
    floor_relative_u95: float
    thickness_mm: float
    readings: tuple[Reading, ...]
    focal_px: Estimate
    curled: bool = False
    sheared: bool = False
    rises: bool = False

    def to_mm(self, points_px: Floats) -> Floats:
        """Photo pixels (N, 2) to plane mm (N, 2)."""
        return mapped(inverse(self.straight_from_mm), self.lens().straightened(points_px))

    def to_px(self, points_mm: Floats) -> Floats:
        """Plane mm (N, 2) to photo pixels (N, 2)."""
        return self.lens().bent(mapped(self.straight_from_mm, points_mm))

    def lens(self, k1: float | None = None) -> Lens:
        """The lens of the fit, or the same with another bend."""
        return Lens(size_px=self.size_px, focal_px=self.focal_px.value, k1=float(self.params[4]) if k1 is None else k1)

    def moved(self, params: Floats) -> Plane:
        """The plane with other parameters (5,), as far as its mapping goes."""
        return replace(self, straight_from_mm=homography(params, self.size_px, self.thickness_mm), params=params)

    def px_per_mm_at(self, point_px: tuple[float, float]) -> Estimate:
        """The root of |det J| of the mapping from mm to photo pixels at a photo point, with its 95 % uncertainty.

        The uncertainty includes the marks' noise, the tilt it leaves open, the focal length, the reference's own
        tolerance and the flatness of the cloth.
        """
        value = self._scale(self.params, point_px)
        relative = self._sigma(_log_scale, self._moved_jacobians(point_px))
        return Estimate(value, value * math.hypot(2 * relative, self.floor_relative_u95))

    def length_relative_u95_at(self, point_px: tuple[float, float]) -> float:
        """Relative uncertainty (95 %) of a short length in the plane at a photo point, in the worst direction."""
        moved = self._moved_jacobians(point_px)
        angles = (math.radians(angle) for angle in (0.0, 45.0, 90.0, 135.0))
        worst = max(self._sigma(partial(_log_length, angle=angle), moved) for angle in angles)
        return math.hypot(2 * worst, self.floor_relative_u95)

    def angle_u95_deg_at(self, point_px: tuple[float, float]) -> float:
        """Uncertainty (95 %, deg) of the angle between two directions in the plane at a photo point, which are about
        square to each other and lie so that a wrong tilt turns them most."""
        moved = self._moved_jacobians(point_px)
        turns = (math.radians(turn) for turn in (0.0, 22.5, 45.0, 67.5))
        return math.degrees(2 * max(self._sigma(partial(_corner, turn=turn), moved) for turn in turns))

    def square_on(
        self,
        rgb: NDArray[np.uint8],
        *,
        px_per_mm: float,
        region_mm: tuple[float, float, float, float] | None = None,
        region_px: tuple[float, float, float, float] | None = None,
    ) -> SquareOn:
        """The plane resampled square-on over a rectangle (x0, y0, x1, y1) in mm, or round one in photo px.

        Without a region: all of the photo. Where the picture shrinks it is averaged first, so that fine texture does
        not alias.
        """
        import cv2

        height, width = rgb.shape[:2]
        if region_mm is None:
            x0, y0, x1, y1 = region_px if region_px is not None else (0.0, 0.0, width - 1.0, height - 1.0)
            corners = self.to_mm(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=np.float64))
            low, high = corners.min(axis=0), corners.max(axis=0)
            region_mm = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
        columns = max(1, math.ceil((region_mm[2] - region_mm[0]) * px_per_mm))
        rows = max(1, math.ceil((region_mm[3] - region_mm[1]) * px_per_mm))
        middle_mm = np.array([[(region_mm[0] + region_mm[2]) / 2, (region_mm[1] + region_mm[3]) / 2]])
        middle = self.to_px(middle_mm)[0]
        shrink = self._scale(self.params, (float(middle[0]), float(middle[1]))) / px_per_mm
        places = self._places(region_mm[:2], px_per_mm, (columns, rows))
        first, last = _seen_of((width, height), places, shrink)
        source, reduce = reduced(rgb[first[1] : last[1], first[0] : last[0]], shrink)
        x, y = ((places[k] + np.float32(0.5 - first[k])) / np.float32(reduce[k]) - np.float32(0.5) for k in (0, 1))
        out = cv2.remap(source, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        inside = [(at > -0.5) & (at < size - 0.5) for at, size in zip(places, (width, height), strict=True)]
        at = (float(middle[0]), float(middle[1]))
        return SquareOn(
            rgb=np.asarray(out, dtype=np.uint8),
            valid=np.asarray(inside[0] & inside[1], dtype=np.bool_),
            px_per_mm=px_per_mm,
            origin_mm=(region_mm[0], region_mm[1]),
            length_relative_u95=self.length_relative_u95_at(at),
            angle_u95_deg=self.angle_u95_deg_at(at),
        )

    def _places(
        self, corner_mm: tuple[float, float], px_per_mm: float, size: tuple[int, int]
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Where in the photo the pixels of a square-on picture of ``size`` (columns, rows) lie: x and y.

        Exact on a coarse grid and linear in between, which is off by under a hundredth of a pixel.
        """
        import cv2

        nodes = [np.arange(-1, math.ceil(count / GRID_PX) + 1) for count in size]
        at = [(node + 0.5) * GRID_PX - 0.5 for node in nodes]
        x, y = np.meshgrid(*at)
        mm = np.stack([x, y], axis=-1).reshape(-1, 2) / px_per_mm + np.asarray(corner_mm)
        seen = self.to_px(mm).astype(np.float32).reshape(*x.shape, 2)
        fine = (x.shape[1] * GRID_PX, x.shape[0] * GRID_PX)
        window = np.s_[GRID_PX : GRID_PX + size[1], GRID_PX : GRID_PX + size[0]]
        columns, rows = (np.asarray(cv2.resize(seen[..., k], fine, interpolation=cv2.INTER_LINEAR)) for k in (0, 1))
        return np.ascontiguousarray(columns[window]), np.ascontiguousarray(rows[window])

    def refined(self, prints: Sequence[Stripes]) -> Plane:
        """The same plane fitted anew, from where it is, together with the cloth's own stripes.

        Raises
        ------
        ScaleNotFound
            Where the two together fit no plane seen from above.
        """
        known, behind_mm = list(self.readings), self.thickness_mm
        problem = Adjustment(known, self.size_px, self.focal_px, prints, begin=self.params, behind_mm=behind_mm)
        return _fitted(known, problem, behind_mm)

    def _jacobian(self, params: Floats, point_px: tuple[float, float]) -> Floats:
        straight, lens = homography(params, self.size_px, self.thickness_mm), self.lens(float(params[4]))
        at = lens.straightened(np.array(point_px, dtype=np.float64))
        x, y = mapped(inverse(straight), at[None])[0]
        w = straight[2, 0] * x + straight[2, 1] * y + straight[2, 2]
        rows = (straight[:2, :2] - np.outer(at, straight[2, :2])) / w
        return np.asarray(lens.stretch(at) @ rows, dtype=np.float64)

    def _scale(self, params: Floats, point_px: tuple[float, float]) -> float:
        return math.sqrt(abs(float(np.linalg.det(self._jacobian(params, point_px)))))

    def _moved_jacobians(self, point_px: tuple[float, float]) -> list[tuple[Floats, Floats]]:
        """The jacobian at a point with each parameter a step up and a step down."""
        steps = 1e-5 * np.eye(SHARED)
        return [
            (self._jacobian(self.params + step, point_px), self._jacobian(self.params - step, point_px))
            for step in steps
        ]

    def _sigma(self, value: Callable[[Floats], float], moved: list[tuple[Floats, Floats]]) -> float:
        """One standard deviation of what is told by a jacobian."""
        gradient = np.array([(value(up) - value(down)) / 2e-5 for up, down in moved])
        return math.sqrt(max(0.0, float(gradient @ self.covariance @ gradient)))


def _log_scale(jacobian: Floats) -> float:
    return math.log(abs(float(np.linalg.det(jacobian)))) / 2


def _log_length(jacobian: Floats, angle: float) -> float:
    back = inverse(jacobian) @ np.array([math.cos(angle), math.sin(angle)])
    return math.log(float(np.hypot(*back)))


def _corner(jacobian: Floats, turn: float) -> float:
    back = inverse(jacobian)
    a = back @ np.array([math.cos(turn), math.sin(turn)])
    b = back @ np.array([-math.sin(turn), math.cos(turn)])
    return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a @ b))


def fit_plane(
    readings: Sequence[Reading],
    *,
    size_px: tuple[int, int],
    focal_px: Estimate,
    thickness_mm: float = 0.0,
) -> Plane:
    """The plane that all readings lie in, fitted jointly; the cloth's plane lies ``thickness_mm`` behind it.

    Of several rulers, best first, only those take part that lie in the plane of the first.

    ``size_px`` is (width, height), ``focal_px`` the focal length in pixels with its uncertainty.

    Raises
    ------
    ScaleNotFound
        Without a reading whose unit is known, or where the marks do not fit any plane seen from above.
    """
    known = [reading for reading in readings if reading.unit is not None or reading.source != "ruler"]
    if len(known) > 1 and known[0].source == "ruler":
        alone = fit_plane(known[:1], size_px=size_px, focal_px=focal_px, thickness_mm=thickness_mm)
        known = [known[0], *(reading for reading in known[1:] if _accords(alone, reading))]
    if not known or any(len(reading.marks_px) < 2 for reading in known):
        raise ScaleNotFound(
            "no reference with at least two marks was given to find the cloth's plane from",
            "lay a ruler beside the cloth, whole in the picture, or click two points of known distance",
        )
    return _fitted(known, Adjustment(known, size_px, focal_px), thickness_mm)


def _fitted(known: list[Reading], problem: Adjustment, thickness_mm: float) -> Plane:
    """The plane of a solved adjustment."""
    params, covariance, residual = problem.solve()
    if max(abs(params[0]), abs(params[1])) > TILT_LIMIT_RAD:
        raise ScaleNotFound(
            "the marks do not fit a cloth photographed from above (a tilt over 60°)",
            "photograph the cloth from straight above, the ruler flat beside it",
        )
    if abs(float(params[4])) > MOST_BENT:
        raise ScaleNotFound(
            "the marks do not lie in a plane, however the lens bends it",
            "lay the ruler or tape straight and flat, or take a stiff ruler",
        )
    shared = params[:SHARED]
    cov = covariance[:SHARED, :SHARED]
    distance = math.exp(shared[3] - shared[2])
    beside = max((reading.planar_u95_mm for reading in known), default=0.0) / distance
    tilt = math.hypot(shared[0], shared[1])
    along = np.array([shared[0], shared[1], 0, 0, 0]) / tilt if tilt > 1e-9 else np.array([1.0, 0, 0, 0, 0])
    sigma = math.sqrt(max(0.0, float(along @ cov @ along)))
    return Plane(
        straight_from_mm=homography(shared, problem.size_px, thickness_mm),
        params=shared,
        covariance=cov,
        size_px=problem.size_px,
        tilt_deg=Estimate(math.degrees(tilt), math.degrees(2 * sigma)),
        reference_px_per_mm=tuple(mean_px_per_mm(reading) for reading in known),
        residual_px=residual,
        floor_relative_u95=math.hypot(
            FLATNESS_RELATIVE_U95,
            beside,
            RISEN_RELATIVE_U95 if problem.loose else 0.0,
            AFLOAT_U95_MM / distance if problem.afloat else 0.0,
            MIDDLE_U95_MM * problem.bow_per_mm,
        ),
        curled=problem.curled,
        sheared=problem.sheared,
        rises=problem.rises,
        thickness_mm=thickness_mm,
        readings=tuple(known),
        focal_px=problem.focal,
    )


def _accords(plane: Plane, reading: Reading) -> bool:
    """Whether a ruler has the length, and its ticks stand as square, as a plane says, within what both leave open."""
    mm = plane.to_mm(reading.marks_px)
    along = mm[-1] - mm[0]
    ends = plane.to_mm(reading.ticks_px.reshape(-1, 2)).reshape(-1, 2, 2)
    ticks = ends[:, 1] - ends[:, 0]
    turns = np.arctan2(ticks[:, 1], ticks[:, 0]) - math.atan2(float(along[1]), float(along[0]))
    off_square = math.degrees(float(np.median(turns % math.pi))) - 90.0 if len(ticks) else 0.0
    told = float(np.hypot(*(reading.marks_mm[-1] - reading.marks_mm[0])))
    seen = float(np.hypot(*along)) * (math.cos(math.radians(off_square)) if plane.sheared else 1.0)
    middle = reading.marks_px.mean(axis=0)
    at = (float(middle[0]), float(middle[1]))
    marks = float(np.median(reading.marks_sigma_px)) / plane.px_per_mm_at(at).value / told
    doubt = np.hypot(plane.length_relative_u95_at(at), reading.tolerance_relative_u95) / 2
    if abs(math.log(seen / told)) > ACCORD_SIGMAS * math.hypot(float(doubt), 2 * marks):
        return False
    return plane.sheared or abs(off_square) <= SQUARE_PLAY_DEG + plane.angle_u95_deg_at(at) * ACCORD_SIGMAS / 2


def _seen_of(
    size: tuple[int, int], places: tuple[NDArray[np.float32], NDArray[np.float32]], shrink: float
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The part of a photo of ``size`` (width, height) that is looked at, from (x, y) to before (x, y): no more need be
    averaged (time)."""
    room = 2 * math.ceil(max(shrink, 1.0))
    first = tuple(min(max(int(at.min()) - room, 0), side - 1) for at, side in zip(places, size, strict=True))
    last = tuple(min(max(int(at.max()) + room, k) + 1, side) for at, side, k in zip(places, size, first, strict=True))
    return first, last


def reduced(rgb: NDArray[np.uint8], shrink: float) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """The photo averaged down so that the warp need not skip pixels, and by how much (x, y) it was reduced."""
    import cv2

    if shrink < 1.3:
        return rgb, (1.0, 1.0)
    height, width = rgb.shape[:2]
    size = (max(1, round(width / shrink)), max(1, round(height / shrink)))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return small, (width / size[0], height / size[1])
