"""The plane of the cloth: from what the references say and the focal length to millimetres, with what is not known.

A pinhole camera with its principal point at the middle of the picture looks at a plane. Unknown are two tilts, the
distance, a little of the focal length and of each reference's own scale, and how each reference lies in the plane.
All of it is fitted at once, robustly, to the marks' places and the directions of the ticks.

The plane's frame, in mm: its origin is where the middle of the picture meets it, x right, y down, turned so that the
square-on picture is not rotated against the photo there.

References
----------
Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 8 (plane to image) and ch. 5 (covariance of a fit).
JCGM 100:2008 (GUM), 6.3: expanded uncertainty, coverage factor 2 for 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.errors import ScaleNotFound
from vision.estimate import Estimate
from vision.reference.reading import Reading
from vision.square import SquareOn

Floats = NDArray[np.float64]

#: Hand-held photographs taken "from above" are tilted by about this much on each axis (one standard deviation);
#: our estimate of practice. It decides only where the marks leave the tilt open.
TILT_SIGMA_DEG = 10.0
#: Residuals beyond this many standard deviations count less and less (Huber's constant, 95 % efficiency).
HUBER = 1.345
#: Marks' errors that do not average out (a bowed rule, a lens that bends lines), px; common experience with phones.
SYSTEMATIC_PX = 0.05
#: Cloth and table are flat, and the picture free of distortion, to this share of any length at 95 %; common practice.
FLATNESS_RELATIVE_U95 = 0.0015
#: Parameters before those of the single readings: two tilts (rad), log scale at the middle, log focal length.
SHARED = 4
#: Tilts beyond this are no photograph of a cloth seen from above, rad.
TILT_LIMIT_RAD = math.radians(60.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripeLine:
    """Points on one straight edge of the print, photo pixels (N, 2), ``sigma_px`` across it.

    All lines given together are parallel in the plane; lines of one ``family`` stand a whole number of repeats apart,
    ``index`` counting them.
    """

    points_px: Floats
    sigma_px: float
    family: int
    index: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """A fitted plane. ``params`` and ``covariance`` belong to (tilt x, tilt y, log px per mm, log focal length).

    ``photo_from_mm`` (3, 3) maps plane mm to photo px. ``reference_px_per_mm`` holds one value for each reading: the
    mean along it between its outermost marks. ``residual_px`` is the root mean square of what the fit leaves over.
    """

    photo_from_mm: Floats
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

    def to_mm(self, points_px: Floats) -> Floats:
        """Photo pixels (N, 2) to plane mm (N, 2)."""
        return _map(np.linalg.inv(self.photo_from_mm), points_px)

    def to_px(self, points_mm: Floats) -> Floats:
        """Plane mm (N, 2) to photo pixels (N, 2)."""
        return _map(self.photo_from_mm, points_mm)

    def px_per_mm_at(self, point_px: tuple[float, float]) -> Estimate:
        """The root of |det J| of the mapping from mm to photo pixels at a photo point, with its 95 % uncertainty.

        The uncertainty includes the marks' noise, the tilt it leaves open, the focal length, the reference's own
        tolerance and the flatness of the cloth.
        """
        value = self._scale(self.params, point_px)
        relative = self._relative_sigma(lambda p: math.log(self._scale(p, point_px)))
        return Estimate(value, value * math.hypot(2 * relative, self.floor_relative_u95))

    def length_relative_u95_at(self, point_px: tuple[float, float]) -> float:
        """Relative uncertainty (95 %) of a short length in the plane at a photo point, in the worst direction."""
        worst = 0.0
        for angle in np.radians((0.0, 45.0, 90.0, 135.0)):
            sigma = self._relative_sigma(lambda p, a=angle: self._log_length(p, point_px, a))  # type: ignore[misc]
            worst = max(worst, sigma)
        return math.hypot(2 * worst, self.floor_relative_u95)

    def angle_u95_deg_at(self, point_px: tuple[float, float]) -> float:
        """Uncertainty (95 %, deg) of the angle between two directions in the plane at a photo point."""
        sigma = self._relative_sigma(lambda p: self._corner(p, point_px))
        return math.degrees(2 * sigma)

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
        out_to_mm = np.array([[1 / px_per_mm, 0, region_mm[0]], [0, 1 / px_per_mm, region_mm[1]], [0, 0, 1.0]])
        middle_mm = np.array([[(region_mm[0] + region_mm[2]) / 2, (region_mm[1] + region_mm[3]) / 2]])
        middle = self.to_px(middle_mm)[0]
        shrink = self._scale(self.params, (float(middle[0]), float(middle[1]))) / px_per_mm
        to_px = self.photo_from_mm @ out_to_mm
        source, reduce = _reduced(rgb, shrink)
        halved = np.array([[1 / reduce[0], 0, 0.5 / reduce[0] - 0.5], [0, 1 / reduce[1], 0.5 / reduce[1] - 0.5], [0, 0, 1]])
        warp = halved @ to_px
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        out = cv2.warpPerspective(source, warp, (columns, rows), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        seen = cv2.warpPerspective(
            np.full((height, width), 255, np.uint8), to_px, (columns, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        )
        at = (float(middle[0]), float(middle[1]))
        return SquareOn(
            rgb=np.asarray(out, dtype=np.uint8),
            valid=np.asarray(seen > 0, dtype=np.bool_),
            px_per_mm=px_per_mm,
            origin_mm=(region_mm[0], region_mm[1]),
            length_relative_u95=self.length_relative_u95_at(at),
            angle_u95_deg=self.angle_u95_deg_at(at),
        )

    def refined(self, lines: Sequence[StripeLine]) -> Plane:
        """The same plane fitted anew together with the cloth's own stripes, parallel and evenly spaced.

        Returns the plane unchanged where fewer than three lines are given.
        """
        if len(lines) < 3:
            return self
        return fit_plane(
            self.readings,
            size_px=self.size_px,
            focal_px=self.focal_px,
            thickness_mm=self.thickness_mm,
            lines=lines,
        )

    def _jacobian(self, params: Floats, point_px: tuple[float, float]) -> Floats:
        photo = _homography(params, self.size_px, self.thickness_mm)
        x, y = _map(np.linalg.inv(photo), np.array([point_px], dtype=np.float64))[0]
        w = photo[2, 0] * x + photo[2, 1] * y + photo[2, 2]
        at = np.array(point_px)
        rows = (photo[:2, :2] - np.outer(at, photo[2, :2])) / w
        return np.asarray(rows, dtype=np.float64)

    def _scale(self, params: Floats, point_px: tuple[float, float]) -> float:
        return math.sqrt(abs(float(np.linalg.det(self._jacobian(params, point_px)))))

    def _log_length(self, params: Floats, point_px: tuple[float, float], angle: float) -> float:
        back = np.linalg.inv(self._jacobian(params, point_px)) @ np.array([math.cos(angle), math.sin(angle)])
        return math.log(float(np.hypot(*back)))

    def _corner(self, params: Floats, point_px: tuple[float, float]) -> float:
        back = np.linalg.inv(self._jacobian(params, point_px))
        a, b = back[:, 0] + back[:, 1], back[:, 0] - back[:, 1]
        return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a @ b))

    def _relative_sigma(self, value: Callable[[Floats], float]) -> float:
        gradient = np.zeros(SHARED)
        for k in range(SHARED):
            step = np.zeros(SHARED)
            step[k] = 1e-5
            gradient[k] = (value(self.params + step) - value(self.params - step)) / 2e-5
        return math.sqrt(max(0.0, float(gradient @ self.covariance @ gradient)))


def fit_plane(
    readings: Sequence[Reading],
    *,
    size_px: tuple[int, int],
    focal_px: Estimate,
    thickness_mm: float = 0.0,
    lines: Sequence[StripeLine] = (),
) -> Plane:
    """The plane that all readings lie in, fitted jointly; the cloth's plane lies ``thickness_mm`` behind it.

    ``size_px`` is (width, height), ``focal_px`` the focal length in pixels with its uncertainty.

    Raises
    ------
    ScaleNotFound
        Without a reading whose unit is known, or where the marks do not fit any plane seen from above.
    """
    known = [reading for reading in readings if reading.unit is not None or reading.source != "ruler"]
    if not known or any(len(reading.marks_px) < 2 for reading in known):
        raise ScaleNotFound(
            "no reference with at least two marks was given to find the cloth's plane from",
            "lay a ruler beside the cloth, whole in the picture, or click two points of known distance",
        )
    problem = _Problem(known, size_px, focal_px, lines)
    params, covariance, residual = problem.solve()
    if max(abs(params[0]), abs(params[1])) > TILT_LIMIT_RAD:
        raise ScaleNotFound(
            "the marks do not fit a cloth photographed from above (a tilt over 60°)",
            "photograph the cloth from straight above, the ruler flat beside it",
        )
    shared = params[:SHARED]
    cov = covariance[:SHARED, :SHARED]
    distance = math.exp(shared[3] - shared[2])
    beside = max((reading.planar_u95_mm for reading in known), default=0.0) / distance
    tilt = math.hypot(shared[0], shared[1])
    along = np.array([shared[0], shared[1], 0, 0]) / tilt if tilt > 1e-9 else np.array([1.0, 0, 0, 0])
    sigma = math.sqrt(max(0.0, float(along @ cov @ along)))
    return Plane(
        photo_from_mm=_homography(shared, size_px, thickness_mm),
        params=shared,
        covariance=cov,
        size_px=size_px,
        tilt_deg=Estimate(math.degrees(tilt), math.degrees(2 * sigma)),
        reference_px_per_mm=tuple(_along(reading) for reading in known),
        residual_px=residual,
        floor_relative_u95=math.hypot(FLATNESS_RELATIVE_U95, beside),
        thickness_mm=thickness_mm,
        readings=tuple(known),
        focal_px=focal_px,
    )


class _Problem:
    """Residuals and their weights as a function of all parameters; solved by damped, reweighted least squares."""

    def __init__(
        self, readings: list[Reading], size_px: tuple[int, int], focal: Estimate, lines: Sequence[StripeLine]
    ) -> None:
        self.readings = readings
        self.size_px = size_px
        self.focal = focal
        self.lines = list(lines)
        self.families = sorted({line.family for line in self.lines})

    def solve(self) -> tuple[Floats, Floats, float]:
        best: tuple[float, Floats] | None = None
        # two starts, tilted either way, keep a mirror-like minimum from winning
        for tilt in ((0.0, 0.0), (0.15, 0.15), (-0.15, -0.15), (0.15, -0.15), (-0.15, 0.15)):
            params = self._start(tilt)
            params, cost = self._descend(params)
            if best is None or cost < best[0] - 1e-6:
                best = (cost, params)
        assert best is not None
        params = best[1]
        residual, prior = self._residual(params)
        jac = self._numeric(params)
        weight = np.where(prior, 1.0, _huber(residual))
        normal = (jac * weight[:, None]).T @ jac
        covariance = np.linalg.pinv(normal)
        data = residual[~prior] * np.sqrt(weight[~prior])
        freedom = max(1, data.size - len(params) + SHARED)
        birge = max(1.0, float(data @ data) / freedom)
        birge *= max(1.0, self._colour(residual[~prior]))
        # the priors are not noise of this picture: they are not inflated with it
        if prior.any():
            loose = jac[prior].T @ jac[prior]
            tight = (jac[~prior] * weight[~prior][:, None]).T @ jac[~prior]
            covariance = np.linalg.pinv(tight / birge + loose)
        rms = self._rms_px(params)
        return params, covariance, rms

    @staticmethod
    def _colour(residual: Floats) -> float:
        """How much neighbouring residuals agree: a bowed rule's errors do not average out like noise."""
        if residual.size < 12:
            return 1.0
        a, b = np.clip(residual[:-1], -3, 3), np.clip(residual[1:], -3, 3)
        rho = float(np.clip((a @ b) / max(1e-12, float(a @ a)), 0.0, 0.9))
        return (1 + rho) / (1 - rho)

    def _start(self, tilt: tuple[float, float]) -> Floats:
        scale = float(np.median([_along(reading) for reading in self.readings]))
        params = [tilt[0], tilt[1], math.log(scale), math.log(self.focal.value)]
        for reading in self.readings:
            photo = _homography(np.array(params[:SHARED]), self.size_px, 0.0)
            mm = _map(np.linalg.inv(photo), reading.marks_px)
            turn, shift = _rigid(reading.marks_mm, mm)
            params += [0.0, turn, shift[0], shift[1]]
        if self.lines:
            photo = _homography(np.array(params[:SHARED]), self.size_px, 0.0)
            inverse = np.linalg.inv(photo)
            theta, repeat, offsets = _stripe_start(inverse, self.lines, self.families)
            params += [theta, repeat, *offsets]
        return np.array(params, dtype=np.float64)

    def _residual(self, params: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        photo = _homography(params[:SHARED], self.size_px, 0.0)
        tilt_sigma = math.radians(TILT_SIGMA_DEG)
        focal_sigma = max(1e-4, self.focal.relative_u95 / 2)
        prior = [
            params[0] / tilt_sigma,
            params[1] / tilt_sigma,
            (params[3] - math.log(self.focal.value)) / focal_sigma,
        ]
        parts: list[Floats] = []
        at = SHARED
        for reading in self.readings:
            stretch, turn, x0, y0 = params[at : at + 4]
            at += 4
            prior.append(stretch / max(1e-5, reading.tolerance_relative_u95 / 2))
            pose = _pose(math.exp(stretch), turn, x0, y0)
            whole = photo @ pose
            seen = _map(whole, reading.marks_mm)
            off = (reading.marks_px - seen) / reading.marks_sigma_px[:, None]
            if reading.source == "ruler" and len(reading.ticks_px) == len(reading.marks_px):
                # a tick fixes its place along the ruler; across it, only the line of all marks does
                parts.append(off.ravel())
            else:
                parts.append(off.ravel())
            if len(reading.ticks_px):
                parts.append(_tick_residual(whole, reading))
        if self.lines:
            parts.append(self._line_residual(photo, params[at:]))
        data = np.concatenate(parts)
        flag = np.concatenate([np.zeros(data.size, np.bool_), np.ones(len(prior), np.bool_)])
        return np.concatenate([data, np.array(prior)]), flag

    def _line_residual(self, photo: Floats, own: Floats) -> Floats:
        theta, repeat = own[0], own[1]
        normal = np.array([math.cos(theta), math.sin(theta)])
        parts = []
        inverse = np.linalg.inv(photo)
        for line in self.lines:
            offset = own[2 + self.families.index(line.family)] + repeat * line.index
            # the line n·X = offset seen in the photo, and the points' distance from it
            seen = inverse.T @ np.array([normal[0], normal[1], -offset])
            norm = math.hypot(seen[0], seen[1])
            parts.append((line.points_px @ seen[:2] + seen[2]) / (norm * line.sigma_px))
        return np.concatenate(parts)

    def _numeric(self, params: Floats) -> Floats:
        base, _ = self._residual(params)
        jac = np.empty((base.size, params.size))
        for k in range(params.size):
            step = 1e-6 * max(1.0, abs(params[k]))
            moved = params.copy()
            moved[k] += step
            up, _ = self._residual(moved)
            moved[k] -= 2 * step
            down, _ = self._residual(moved)
            jac[:, k] = (up - down) / (2 * step)
        return jac

    def _cost(self, params: Floats) -> float:
        residual, prior = self._residual(params)
        size = np.abs(residual)
        rho = np.where(prior | (size <= HUBER), 0.5 * size**2, HUBER * (size - 0.5 * HUBER))
        return float(rho.sum())

    def _descend(self, params: Floats) -> tuple[Floats, float]:
        cost, damping = self._cost(params), 1e-3
        for _ in range(40):
            residual, prior = self._residual(params)
            weight = np.where(prior, 1.0, _huber(residual))
            jac = self._numeric(params)
            normal = (jac * weight[:, None]).T @ jac
            pull = (jac * weight[:, None]).T @ residual
            for _ in range(8):
                step = np.linalg.lstsq(normal + damping * np.diag(np.diag(normal) + 1e-12), -pull, rcond=None)[0]
                trial = params + step
                fresh = self._cost(trial) if np.all(np.abs(trial[:2]) < 1.4) else math.inf
                if fresh < cost:
                    break
                damping *= 6
            else:
                break
            gain = cost - fresh
            params, cost, damping = trial, fresh, max(1e-9, damping / 8)
            if gain < 1e-8 * max(1.0, cost):
                break
        return params, cost

    def _rms_px(self, params: Floats) -> float:
        photo = _homography(params[:SHARED], self.size_px, 0.0)
        squares, at = [], SHARED
        for reading in self.readings:
            stretch, turn, x0, y0 = params[at : at + 4]
            at += 4
            off = reading.marks_px - _map(photo @ _pose(math.exp(stretch), turn, x0, y0), reading.marks_mm)
            squares.append((off**2).sum(axis=1))
        return math.sqrt(float(np.median(np.concatenate(squares))) / 1.386)


def _homography(params: Floats, size_px: tuple[int, int], behind_mm: float) -> Floats:
    """Plane mm to photo px for (tilt x, tilt y, log px/mm at the middle, log focal px), ``behind_mm`` further away."""
    tilt_x, tilt_y, log_scale, log_focal = params
    focal = math.exp(log_focal)
    turn = _rotation(tilt_x, tilt_y)
    distance = focal / math.exp(log_scale) + behind_mm / turn[2, 2]
    middle = np.array([[1.0, 0, (size_px[0] - 1) / 2], [0, 1.0, (size_px[1] - 1) / 2], [0, 0, 1.0]])
    plane = np.column_stack([turn[:, 0], turn[:, 1], np.array([0.0, 0.0, distance])])
    photo = middle @ np.diag([focal, focal, 1.0]) @ plane
    return np.asarray(photo / photo[2, 2], dtype=np.float64)


def _rotation(tilt_x: float, tilt_y: float) -> Floats:
    """The smallest rotation about the axis (tilt x, tilt y, 0) by its length in radians (Rodrigues)."""
    angle = math.hypot(tilt_x, tilt_y)
    cross = np.array([[0, 0, tilt_y], [0, 0, -tilt_x], [-tilt_y, tilt_x, 0.0]])
    sinc = math.sin(angle) / angle if angle > 1e-9 else 1.0
    half = (1 - math.cos(angle)) / angle**2 if angle > 1e-6 else 0.5
    return np.asarray(np.eye(3) + sinc * cross + half * cross @ cross, dtype=np.float64)


def _pose(stretch: float, turn: float, x0: float, y0: float) -> Floats:
    c, s = stretch * math.cos(turn), stretch * math.sin(turn)
    return np.array([[c, -s, x0], [s, c, y0], [0, 0, 1.0]])


def _map(matrix: Floats, points: Floats) -> Floats:
    points = np.asarray(points, dtype=np.float64)
    w = points @ matrix[2, :2] + matrix[2, 2]
    return np.asarray((points @ matrix[:2, :2].T + matrix[:2, 2]) / w[:, None], dtype=np.float64)


def _rigid(here: Floats, there: Floats) -> tuple[float, Floats]:
    """Turn (rad) and shift that carry ``here`` onto ``there`` best (no reflection)."""
    a, b = here.mean(axis=0), there.mean(axis=0)
    p, q = here - a, there - b
    turn = math.atan2(float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum()), float((p * q).sum()))
    c, s = math.cos(turn), math.sin(turn)
    return turn, b - np.array([c * a[0] - s * a[1], s * a[0] + c * a[1]])


def _along(reading: Reading) -> float:
    """Mean pixels per mm along a reading between its outermost marks."""
    order = np.argsort(reading.marks_mm[:, 0] + 1e-3 * reading.marks_mm[:, 1])
    first, last = order[0], order[-1]
    px = float(np.hypot(*(reading.marks_px[last] - reading.marks_px[first])))
    return px / float(np.hypot(*(reading.marks_mm[last] - reading.marks_mm[first])))


def _tick_residual(whole: Floats, reading: Reading) -> Floats:
    """How far a tick's two ends lie off a line square to the ruler, against each other, in standard deviations."""
    inner, outer = reading.ticks_px[:, 0], reading.ticks_px[:, 1]
    back = np.linalg.inv(whole)
    middle_mm = _map(back, (inner + outer) / 2)
    ahead = _map(whole, middle_mm + np.array([0.0, 1.0])) - _map(whole, middle_mm - np.array([0.0, 1.0]))
    ahead /= np.hypot(ahead[:, 0], ahead[:, 1])[:, None]
    span = outer - inner
    across = span[:, 0] * ahead[:, 1] - span[:, 1] * ahead[:, 0]
    return np.asarray(across / (math.sqrt(2) * reading.ticks_sigma_px), dtype=np.float64)


def _huber(residual: Floats) -> Floats:
    size = np.abs(residual)
    return np.where(size <= HUBER, 1.0, HUBER / np.maximum(size, 1e-12))


def _stripe_start(
    inverse: Floats, lines: list[StripeLine], families: list[int]
) -> tuple[float, float, list[float]]:
    """Normal direction (rad), repeat and offsets (mm) of the given stripe lines under a first guess of the plane."""
    spans = [_map(inverse, line.points_px) for line in lines]
    double = 0.0 + 0.0j
    for span in spans:
        d = span[-1] - span[0]
        double += complex(*d) ** 2
    along = 0.5 * math.atan2(double.imag, double.real)
    theta = along + math.pi / 2
    normal = np.array([math.cos(theta), math.sin(theta)])
    places = np.array([float((span @ normal).mean()) for span in spans])
    design = np.zeros((len(lines), 1 + len(families)))
    for k, line in enumerate(lines):
        design[k, 0] = line.index
        design[k, 1 + families.index(line.family)] = 1.0
    solved = np.linalg.lstsq(design, places, rcond=None)[0]
    return theta, float(solved[0]), [float(v) for v in solved[1:]]


def _reduced(rgb: NDArray[np.uint8], shrink: float) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """The photo averaged down so that the warp need not skip pixels, and by how much (x, y) it was reduced."""
    import cv2

    if shrink < 1.3:
        return rgb, (1.0, 1.0)
    height, width = rgb.shape[:2]
    size = (max(1, round(width / shrink)), max(1, round(height / shrink)))
    return cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), (width / size[0], height / size[1])
