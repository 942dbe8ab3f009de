"""All that is known about the plane, fitted at once: damped, reweighted least squares with its covariance.

References
----------
Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 5 (covariance of a fit) and app. 6 (its computation).
Huber, Robust Statistics, 1981: the weights. Birge, Physical Review 40 (1932) 207: errors scaled by what is left over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Lens, homography, inverse, mapped, pose_matrix, rigid
from vision.estimate import Estimate
from vision.reference.reading import Reading

Floats = NDArray[np.float64]

#: Hand-held photographs taken "from above" are tilted by about this much on each axis (one standard deviation);
#: our estimate of practice. It decides only where the marks leave the tilt open.
TILT_SIGMA_DEG = 10.0
#: Residuals beyond this many standard deviations count less and less (Huber's constant, 95 % efficiency).
HUBER = 1.345
#: Phones straighten their pictures, compact cameras leave a per cent or two at the corners: one standard deviation of
#: k1 (our estimate of practice). It decides only where nothing long and straight is in the picture.
LENS_SIGMA = 0.005
#: A ruler lies straight to this, 1/mm (0.2 mm over 300 mm), one standard deviation; a tape that curls, to that (radius
#: one metre). It is taken to curl where it bows by more than so many times the first.
STRAIGHT_PER_MM, CURLED_PER_MM, CURLED_TIMES = 2e-5, 1e-3, 3.0
#: Parameters of each reading: its stretch (log), turn (rad), place (mm) and, of a ruler, its bow (1/mm).
OWN = 5
#: Tilts (rad) from which the fit starts, so that no mirror-like minimum wins; steps taken from each before the best one
#: goes on; tilts nearer than this are one and the same way down.
STARTS = ((0.0, 0.0), (0.15, 0.15), (-0.15, -0.15), (0.15, -0.15), (-0.15, 0.15))
ROUGH_STEPS, SAME_TILT_RAD, RIVAL_COST = 12, 0.03, 3.0
#: Marks of each reading that take part in that.
FEW_MARKS = 32
#: Parameters before those of the single readings: two tilts (rad), log scale at the middle, log focal length, k1.
SHARED = 5


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


class Adjustment:
    """Residuals and their weights as a function of all parameters; solved by damped, reweighted least squares."""

    def __init__(
        self,
        readings: list[Reading],
        size_px: tuple[int, int],
        focal: Estimate,
        lines: Sequence[StripeLine],
        *,
        bow_sigma: float = STRAIGHT_PER_MM,
    ) -> None:
        self.readings = readings
        self.size_px = size_px
        self.focal = focal
        self.lines = list(lines)
        self.bow_sigma = bow_sigma
        self.curled = False
        self.families = sorted({line.family for line in self.lines})

    def solve(self) -> tuple[Floats, Floats, float]:
        """The parameters with the least cost, their covariance, and the rms residual in px.

        A tape that turns out to curl is fitted again as one, so that nothing holds it straight; ``curled`` says so.
        """
        params, covariance, rms = self._solved()
        own = params[SHARED : SHARED + OWN * len(self.readings)].reshape(-1, OWN)
        if self.bow_sigma < CURLED_PER_MM and np.abs(own[:, -1]).max() > CURLED_TIMES * self.bow_sigma:
            self.curled = True
            return self._like(self.readings, CURLED_PER_MM)._solved()
        return params, covariance, rms

    def _solved(self) -> tuple[Floats, Floats, float]:
        few = self._like([_thinned(reading) for reading in self.readings], self.bow_sigma)
        rough = sorted((few._descend(few._start(tilt), most=ROUGH_STEPS) for tilt in STARTS), key=lambda one: one[1])
        # two ways down of about the same cost are both followed to the end
        rivals = [one for one in rough if one[1] <= RIVAL_COST * rough[0][1] and _apart(one[0], rough[0][0])]
        params, _ = min((self._descend(one) for one, _ in [rough[0], *rivals[:1]]), key=lambda found: found[1])
        residual, prior = self._residual(params)
        jac = self._numeric(params)
        weight = np.where(prior, 1.0, _huber(residual))
        data = residual[~prior] * np.sqrt(weight[~prior])
        freedom = max(1, data.size - len(params) + SHARED)
        birge = max(1.0, float(data @ data) / freedom)
        birge *= max(1.0, self._colour(residual[~prior]))
        # the priors are not noise of this picture: they are not inflated with it
        loose = jac[prior].T @ jac[prior]
        tight = (jac[~prior] * weight[~prior][:, None]).T @ jac[~prior]
        covariance = np.linalg.pinv(tight / birge + loose)
        return params, np.asarray(covariance, dtype=np.float64), self._rms_px(params)

    def _like(self, readings: list[Reading], bow_sigma: float) -> Adjustment:
        return Adjustment(readings, self.size_px, self.focal, self.lines, bow_sigma=bow_sigma)

    @staticmethod
    def _colour(residual: Floats) -> float:
        """How much neighbouring residuals agree: a bowed rule's errors do not average out like noise."""
        if residual.size < 12:
            return 1.0
        a, b = np.clip(residual[:-1], -3, 3), np.clip(residual[1:], -3, 3)
        rho = float(np.clip((a @ b) / max(1e-12, float(a @ a)), 0.0, 0.9))
        return (1 + rho) / (1 - rho)

    def _start(self, tilt: tuple[float, float]) -> Floats:
        scale = float(np.median([mean_px_per_mm(reading) for reading in self.readings]))
        params = [tilt[0], tilt[1], math.log(scale), math.log(self.focal.value), 0.0]
        for reading in self.readings:
            photo = homography(np.array(params[:SHARED]), self.size_px, 0.0)
            mm = mapped(inverse(photo), reading.marks_px)
            turn, shift = rigid(reading.marks_mm, mm)
            params += [0.0, turn, shift[0], shift[1], 0.0]
        if self.lines:
            photo = homography(np.array(params[:SHARED]), self.size_px, 0.0)
            back = inverse(photo)
            theta, repeat, offsets = _stripe_start(back, self.lines, self.families)
            params += [theta, repeat, *offsets]
        return np.array(params, dtype=np.float64)

    def _residual(self, params: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        photo = homography(params[:SHARED], self.size_px, 0.0)
        tilt_sigma = math.radians(TILT_SIGMA_DEG)
        focal_sigma = max(1e-4, self.focal.relative_u95 / 2)
        prior = [
            params[0] / tilt_sigma,
            params[1] / tilt_sigma,
            (params[3] - math.log(self.focal.value)) / focal_sigma,
            params[4] / LENS_SIGMA,
        ]
        lens = self._lens(params)
        parts: list[Floats] = []
        at = SHARED
        for reading in self.readings:
            stretch, turn, x0, y0, bow = params[at : at + OWN]
            at += OWN
            prior.append(stretch / max(1e-5, reading.tolerance_relative_u95 / 2))
            prior.append(bow / (self.bow_sigma if reading.source == "ruler" else STRAIGHT_PER_MM))
            pose = pose_matrix(math.exp(stretch), turn, x0, y0)
            whole = photo @ pose
            seen = mapped(whole, _bowed(reading, bow))
            parts.append(_mark_residual(lens.straightened(reading.marks_px) - seen, seen, reading))
            if len(reading.ticks_px):
                parts.append(_tick_residual(whole, lens.straightened(reading.ticks_px), reading, bow))
        if self.lines:
            parts.append(self._line_residual(photo, lens, params[at:]))
        data = np.concatenate(parts)
        flag = np.concatenate([np.zeros(data.size, np.bool_), np.ones(len(prior), np.bool_)])
        return np.concatenate([data, np.array(prior)]), flag

    def _lens(self, params: Floats) -> Lens:
        return Lens(size_px=self.size_px, focal_px=self.focal.value, k1=float(params[4]))

    def _line_residual(self, photo: Floats, lens: Lens, own: Floats) -> Floats:
        theta, repeat = own[0], own[1]
        normal = np.array([math.cos(theta), math.sin(theta)])
        parts = []
        back = inverse(photo)
        for line in self.lines:
            offset = own[2 + self.families.index(line.family)] + repeat * line.index
            # the line n·X = offset seen in the photo, and the points' distance from it
            seen = back.T @ np.array([normal[0], normal[1], -offset])
            norm = math.hypot(seen[0], seen[1])
            points = lens.straightened(line.points_px)
            parts.append((points @ seen[:2] + seen[2]) / (norm * line.sigma_px))
        return np.concatenate(parts)

    def _numeric(self, params: Floats) -> Floats:
        base, _ = self._residual(params)
        jac = np.empty((base.size, params.size))
        for k in range(params.size):
            step = 1e-7 * max(1.0, abs(params[k]))
            moved = params.copy()
            moved[k] += step
            jac[:, k] = (self._residual(moved)[0] - base) / step
        return jac

    def _cost(self, params: Floats) -> float:
        residual, prior = self._residual(params)
        size = np.abs(residual)
        rho = np.where(prior | (size <= HUBER), 0.5 * size**2, HUBER * (size - 0.5 * HUBER))
        return float(rho.sum())

    def _descend(self, params: Floats, most: int = 40) -> tuple[Floats, float]:
        cost, damping = self._cost(params), 1e-3
        for _ in range(most):
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
        photo = homography(params[:SHARED], self.size_px, 0.0)
        squares, at, lens = [], SHARED, self._lens(params)
        for reading in self.readings:
            stretch, turn, x0, y0, bow = params[at : at + OWN]
            at += OWN
            seen = mapped(photo @ pose_matrix(math.exp(stretch), turn, x0, y0), _bowed(reading, bow))
            off = _mark_residual(lens.straightened(reading.marks_px) - seen, seen, reading)
            squares.append(((off.reshape(-1, 2) * reading.marks_sigma_px[:, None]) ** 2).sum(axis=1))
        return math.sqrt(float(np.median(np.concatenate(squares))) / 1.386)


def _thinned(reading: Reading) -> Reading:
    """The reading with marks all along it, but few."""
    size = len(reading.marks_px)
    if size <= FEW_MARKS:
        return reading
    kept = np.unique(np.linspace(0, size - 1, FEW_MARKS).round().astype(np.int64))
    ticks = kept if len(reading.ticks_px) == size else np.arange(len(reading.ticks_px))
    return replace(
        reading,
        marks_px=reading.marks_px[kept],
        marks_mm=reading.marks_mm[kept],
        marks_sigma_px=reading.marks_sigma_px[kept],
        ticks_px=reading.ticks_px[ticks],
        ticks_sigma_px=reading.ticks_sigma_px[ticks],
    )


def _apart(one: Floats, other: Floats) -> bool:
    """Whether two fits are tilted differently."""
    return bool(np.abs(one[:2] - other[:2]).max() > SAME_TILT_RAD)


def mean_px_per_mm(reading: Reading) -> float:
    """Mean pixels per mm along a reading between its outermost marks."""
    order = np.argsort(reading.marks_mm[:, 0] + 1e-3 * reading.marks_mm[:, 1])
    first, last = order[0], order[-1]
    px = float(np.hypot(*(reading.marks_px[last] - reading.marks_px[first])))
    return px / float(np.hypot(*(reading.marks_mm[last] - reading.marks_mm[first])))


def _bowed(reading: Reading, bow: float) -> Floats:
    """Where marks (N, 2) of a ruler lie that runs along a circle with this curvature (1/mm), level in its middle."""
    if reading.source != "ruler":
        return reading.marks_mm
    middle = float(reading.marks_mm[:, 0].mean())
    s = reading.marks_mm[:, 0] - middle
    turn = bow * s
    along = s * (1 - turn**2 / 6)
    across = s * turn / 2 * (1 - turn**2 / 12)
    return np.stack([middle + along, reading.marks_mm[:, 1] + across], axis=1)


def _mark_residual(off_px: Floats, seen_px: Floats, reading: Reading) -> Floats:
    """How far marks (N, 2) lie off, in standard deviations: in x and y, or along and across a ruler that knows both."""
    if reading.across_sigma_px is None:
        return np.asarray((off_px / reading.marks_sigma_px[:, None]).ravel(), dtype=np.float64)
    axis = np.gradient(seen_px, axis=0)
    axis /= np.hypot(axis[:, 0], axis[:, 1])[:, None]
    along = (off_px * axis).sum(axis=1) / reading.marks_sigma_px
    across = (off_px[:, 1] * axis[:, 0] - off_px[:, 0] * axis[:, 1]) / reading.across_sigma_px
    return np.stack([along, across], axis=1).ravel()


def _tick_residual(whole: Floats, ticks_px: Floats, reading: Reading, bow: float) -> Floats:
    """How far a tick's two ends lie off a line square to the ruler, against each other, in standard deviations."""
    sigma_px = reading.ticks_sigma_px
    inner, outer = ticks_px[:, 0], ticks_px[:, 1]
    back = inverse(whole)
    middle_mm = mapped(back, (inner + outer) / 2)
    turn = bow * (middle_mm[:, 0] - float(reading.marks_mm[:, 0].mean()))
    square = np.stack([-np.sin(turn), np.cos(turn)], axis=1)
    ahead = mapped(whole, middle_mm + square) - mapped(whole, middle_mm - square)
    ahead /= np.hypot(ahead[:, 0], ahead[:, 1])[:, None]
    span = outer - inner
    across = span[:, 0] * ahead[:, 1] - span[:, 1] * ahead[:, 0]
    return np.asarray(across / (math.sqrt(2) * sigma_px), dtype=np.float64)


def _huber(residual: Floats) -> Floats:
    size = np.abs(residual)
    return np.where(size <= HUBER, 1.0, HUBER / np.maximum(size, 1e-12))


def _stripe_start(back: Floats, lines: list[StripeLine], families: list[int]) -> tuple[float, float, list[float]]:
    """Normal direction (rad), repeat and offsets (mm) of the given stripe lines under a first guess of the plane."""
    spans = [mapped(back, line.points_px) for line in lines]
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
