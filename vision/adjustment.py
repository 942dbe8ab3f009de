"""All that is known about the plane, fitted at once: damped, reweighted least squares with its covariance.

References
----------
Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 5 (covariance of a fit) and app. 6 (its computation).
Huber, Robust Statistics, 1981: the weights. Birge, Physical Review 40 (1932) 207: errors scaled by what is left over.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Lens, homography, inverse, mapped, pose_matrix, rigid, upwards
from vision.estimate import Estimate
from vision.mark import as_noisy, bowed, mark_residual, mean_px_per_mm, thinned, tick_residual, to_the_middle_mm
from vision.reference.reading import Reading
from vision.rise import LEAST_RISE_MM, RISE, TOPS, held, lifted, noise_px, starts, waves

Floats = NDArray[np.float64]

#: Hand-held photographs taken "from above" are tilted by about this much on each axis (one standard deviation);
#: our estimate of practice. It decides only where the marks leave the tilt open.
TILT_SIGMA_DEG = 10.0
#: Residuals beyond this many standard deviations count less and less (Huber's constant, 95 % efficiency).
HUBER = 1.345
#: Phones straighten their pictures, compact cameras leave a per cent or two at the corners: one standard deviation of
#: k1 (our estimate of practice). It decides only where nothing long and straight is in the picture.
LENS_SIGMA = 0.009
#: A ruler lies straight to this, 1/mm (0.2 mm over 300 mm), one standard deviation; a tape that curls, to that (radius
#: one metre). It is taken to curl where it bows by more than so many times the first.
STRAIGHT_PER_MM, CURLED_PER_MM, CURLED_TIMES = 2e-5, 1e-3, 3.0
#: Parameters of each reading: its stretch (log), turn (rad), place (mm) and, of a ruler, its bow (1/mm).
OWN, BOW = 5, 4
#: Tilts (rad) from which the fit starts, so that no mirror-like minimum wins; steps taken from each before the best one
#: goes on; tilts nearer than this are one and the same way down.
STARTS = ((0.0, 0.0), (0.15, 0.15), (-0.15, -0.15), (0.15, -0.15), (-0.15, 0.15))
ROUGH_STEPS, SAME_TILT_RAD, RIVAL_COST = 12, 0.03, 3.0
#: Steps taken from each rise that is tried before the best one goes on: the first finds its height.
FIRST_STEPS = 6
#: Parameters before those of the single readings: two tilts (rad), log scale at the middle, log focal length, k1.
SHARED = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stripes:
    """Places on parallel, evenly spaced lines of the print, photo px (N, 2), each known to ``sigma_px`` (N,) across.

    Lines of one ``family`` (N,), counted from 0, stand ``order`` (N,) repeats apart. The print itself may crowd or run
    together by ``uneven_mm`` (one standard deviation) at ``half_mm`` from the middle of the places, and bend by
    ``bow_mm`` there.
    """

    points_px: Floats
    order: Floats
    family: NDArray[np.int64]
    sigma_px: Floats
    half_mm: float
    uneven_mm: float
    bow_mm: float


class Adjustment:
    """Residuals and their weights as a function of all parameters; solved by damped, reweighted least squares."""

    def __init__(
        self,
        readings: list[Reading],
        size_px: tuple[int, int],
        focal: Estimate,
        prints: Sequence[Stripes] = (),
        *,
        bow_sigma: float = STRAIGHT_PER_MM,
        rising: tuple[bool, ...] = (),
        begin: Floats | None = None,
        behind_mm: float = 0.0,
    ) -> None:
        """``prints``, ``behind_mm`` behind the readings' plane, need a plane to ``begin`` with (SHARED,); ``rising``
        says of each reading whether its ends may rise, where any may."""
        self.readings = readings
        self.middles = [to_the_middle_mm(reading) for reading in readings]
        self.size_px = size_px
        self.focal = focal
        self.prints = list(prints)
        self.bow_sigma = bow_sigma
        self.rising = rising
        self.own = OWN + RISE * bool(rising)
        self.begin = begin
        self.behind_mm = behind_mm
        self.loose = self.curled = self.rises = False
        self.bow_per_mm = 0.0
        self.chosen: Floats | None = None
        self.middles_mm: list[Floats] = []
        self._straight: tuple[float, list[Floats]] | None = None

    def solve(self) -> tuple[Floats, Floats, float]:
        """The parameters with the least cost, their covariance, and the rms residual in px.

        A tape that turns out to curl or to rise is fitted again as one, so that nothing holds it straight or down
        (``loose``); ``curled`` and ``rises`` say what came of that.
        """
        problem, params = self, self._solved()
        own = self._own_of(params)
        if self.bow_sigma < CURLED_PER_MM and np.abs(own[:, BOW]).max() > CURLED_TIMES * self.bow_sigma:
            problem = self._like(self.readings, CURLED_PER_MM)
            params = problem._solved()
        rising = tuple(problem._waves(params))
        if any(rising):
            problem = problem._risen(params, rising)
            params = problem._solved()
            own = problem._own_of(params)
            self.loose = True
            self.bow_per_mm = float(np.abs(own[:, BOW]).max())
            self.curled = self.bow_per_mm > CURLED_TIMES * STRAIGHT_PER_MM
            self.rises = float(own[:, OWN:][:, TOPS].max()) > LEAST_RISE_MM
        return params, problem._covariance(params), problem._rms_px(params)

    def _own_of(self, params: Floats) -> Floats:
        """What each reading has of its own, a row each."""
        return params[SHARED : SHARED + self.own * len(self.readings)].reshape(-1, self.own)

    def _waves(self, params: Floats) -> Iterator[bool]:
        """Of each reading, whether it leaves over what no flat ruler would; a bent tape may rise in any case."""
        for number, reading in enumerate(self.readings):
            bent = self.bow_sigma >= CURLED_PER_MM
            yield reading.source == "ruler" and (bent or waves(self._along_px(params, number), reading.marks_mm[:, 0]))

    def _along_px(self, params: Floats, number: int) -> Floats:
        """How far (N,) a ruler's marks lie off along it, px."""
        seen = self._seen(homography(params[:SHARED], self.size_px, 0.0), params, number)
        axis = np.gradient(seen, axis=0)
        off = self._lens(params).straightened(self.readings[number].marks_px) - seen
        return np.asarray((off * axis).sum(axis=1) / np.hypot(axis[:, 0], axis[:, 1]), dtype=np.float64)

    def _risen(self, params: Floats, rising: tuple[bool, ...]) -> Adjustment:
        """The same with tapes that rise, to begin with the best of several rises found from a flat fit's parameters.

        Their marks' noise is told from neighbours: what a flat fit left over of them is none.
        """
        readings = [
            as_noisy(one, noise_px(self._along_px(params, number))) if rising[number] else one
            for number, one in enumerate(self.readings)
        ]
        few = self._like([thinned(reading) for reading in readings], self.bow_sigma, rising)
        few.middles_mm = self.middles_mm
        head, own, tail = params[:SHARED], self._own_of(params), params[SHARED + OWN * len(readings) :]
        tried = (np.concatenate([head, *(part for one in own for part in (one, rise)), tail]) for rise in starts())
        best = min((few._descend(one, most=FIRST_STEPS) for one in tried), key=lambda found: found[1])[0]
        problem = self._like(readings, self.bow_sigma, rising)
        problem.middles_mm, problem.chosen = self.middles_mm, best
        return problem

    def _solved(self) -> Floats:
        """The parameters of least cost, from where it is told to begin, or from anywhere."""
        if self.chosen is not None:
            return self._descend(self.chosen)[0]
        if self.begin is None:
            return self._from_anywhere()
        return self._descend(self._from(self.begin))[0]

    def _covariance(self, params: Floats) -> Floats:
        residual, prior = self._residual(params)
        jac = self._numeric(params)
        weight = np.where(prior, 1.0, _huber(residual))
        # the priors are not noise of this picture: they are not inflated with it
        information = jac[prior].T @ jac[prior]
        printed = sum(len(print_.order) for print_ in self.prints)
        places = np.arange(int((~prior).sum()))
        for part, colour in ((places[: places.size - printed], True), (places[places.size - printed :], False)):
            if not part.size:
                continue
            data = residual[part] * np.sqrt(weight[part])
            freedom = max(1, data.size - len(params) + SHARED)
            birge = max(1.0, float(data @ data) / freedom) * (self._colour(residual[part]) if colour else 1.0)
            information += (jac[part] * weight[part][:, None]).T @ jac[part] / birge
        size = np.sqrt(np.diag(information)) + 1e-12  # millimetres, radians and curvatures differ by many powers of ten
        covariance = np.linalg.pinv(information / np.outer(size, size)) / np.outer(size, size)
        return np.asarray(covariance, dtype=np.float64)

    def _from_anywhere(self) -> Floats:
        """The parameters of least cost, sought from several tilts."""
        few = self._like([thinned(reading) for reading in self.readings], self.bow_sigma)
        starts = (np.array([*tilt, few._usual_scale(), math.log(few.focal.value), 0.0]) for tilt in STARTS)
        rough = sorted((few._descend(few._from(start), most=ROUGH_STEPS) for start in starts), key=lambda one: one[1])
        # two ways down of about the same cost are both followed to the end
        rivals = [one for one in rough if one[1] <= RIVAL_COST * rough[0][1] and _apart(one[0], rough[0][0])]
        return min((self._descend(one) for one, _ in [rough[0], *rivals[:1]]), key=lambda found: found[1])[0]

    def _like(self, readings: list[Reading], bow_sigma: float, rising: tuple[bool, ...] = ()) -> Adjustment:
        return Adjustment(
            readings,
            self.size_px,
            self.focal,
            self.prints,
            bow_sigma=bow_sigma,
            rising=rising,
            begin=self.begin,
            behind_mm=self.behind_mm,
        )

    def _seen(self, photo: Floats, params: Floats, number: int) -> Floats:
        """Where the marks (N, 2) of a reading are seen in the straight picture."""
        reading = self.readings[number]
        own = params[SHARED + self.own * number : SHARED + self.own * (number + 1)]
        marks = bowed(reading, own[BOW], self.middles[number])
        whole = photo @ pose_matrix(math.exp(own[0]), *own[1:4])
        if not self.rising or not self.rising[number]:
            return mapped(whole, marks)
        height, shift = lifted(reading.marks_mm[:, 0], own[OWN:])
        seen = np.column_stack([marks[:, 0] + shift, marks[:, 1], np.ones(len(marks))]) @ whole.T
        seen += height[:, None] * upwards(params, self.size_px)
        return np.asarray(seen[:, :2] / seen[:, 2:], dtype=np.float64)

    def _usual_scale(self) -> float:
        return math.log(float(np.median([mean_px_per_mm(reading) for reading in self.readings])))

    @staticmethod
    def _colour(residual: Floats) -> float:
        """How much neighbouring residuals agree: a bowed rule's errors do not average out like noise."""
        if residual.size < 12:
            return 1.0
        a, b = np.clip(residual[:-1], -3, 3), np.clip(residual[1:], -3, 3)
        rho = float(np.clip((a @ b) / max(1e-12, float(a @ a)), 0.0, 0.9))
        return (1 + rho) / (1 - rho)

    def _from(self, shared: Floats) -> Floats:
        """All parameters to begin with, for a plane (SHARED,)."""
        params = list(shared)
        back, lens = inverse(homography(shared, self.size_px, 0.0)), self._lens(shared)
        for reading in self.readings:
            turn, shift = rigid(reading.marks_mm, mapped(back, lens.straightened(reading.marks_px)))
            params += [0.0, turn, shift[0], shift[1], 0.0]
        self.middles_mm = []
        below = inverse(homography(shared, self.size_px, self.behind_mm))
        for print_ in self.prints:
            mm = mapped(below, lens.straightened(print_.points_px))
            self.middles_mm.append(mm.mean(axis=0))
            params += _stripe_start(mm - self.middles_mm[-1], print_)
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
        straight = iter(self._straightened(params))
        parts: list[Floats] = []
        at = SHARED
        for number, reading in enumerate(self.readings):
            stretch, turn, x0, y0, bow = params[at : at + OWN]
            if self.rising:
                prior.extend(held(params[at + OWN : at + OWN + RISE]))
            at += self.own
            prior.append(stretch / max(1e-5, reading.tolerance_relative_u95 / 2))
            prior.append(bow / (self.bow_sigma if reading.source == "ruler" else STRAIGHT_PER_MM))
            whole = photo @ pose_matrix(math.exp(stretch), turn, x0, y0)
            seen = self._seen(photo, params, number)
            parts.append(mark_residual(next(straight) - seen, seen, reading))
            ticks_px = next(straight)
            if len(ticks_px):
                parts.append(tick_residual(whole, ticks_px, reading, bow))
        below = homography(params[:SHARED], self.size_px, self.behind_mm) if self.prints else photo
        for print_, middle_mm in zip(self.prints, self.middles_mm, strict=True):
            own = params[at : at + 5 + int(print_.family.max()) + 1]
            at += own.size
            parts.append(_stripe_residual(below, next(straight), print_, own, middle_mm))
            prior.extend(own[-3:] / [print_.uneven_mm, print_.uneven_mm, print_.bow_mm])
        data = np.concatenate(parts)
        flag = np.concatenate([np.zeros(data.size, np.bool_), np.ones(len(prior), np.bool_)])
        return np.concatenate([data, np.array(prior)]), flag

    def _straightened(self, params: Floats) -> list[Floats]:
        """Each reading's marks and ticks, then each print's places, as a lens that bends nothing would show them; kept
        for as long as k1 stays the same."""
        k1 = float(params[4])
        if self._straight is None or self._straight[0] != k1:
            lens = self._lens(params)
            seen = [points for reading in self.readings for points in (reading.marks_px, reading.ticks_px)]
            seen += [print_.points_px for print_ in self.prints]
            self._straight = k1, [lens.straightened(points) for points in seen]
        return self._straight[1]

    def _lens(self, params: Floats) -> Lens:
        return Lens(size_px=self.size_px, focal_px=self.focal.value, k1=float(params[4]))

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
            size = np.sqrt(np.diag(normal)) + 1e-12
            normal = normal / np.outer(size, size)
            for _ in range(8):
                step = np.linalg.lstsq(normal + damping * np.eye(size.size), -pull / size, rcond=None)[0] / size
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
        squares, lens = [], self._lens(params)
        for number, reading in enumerate(self.readings):
            seen = self._seen(photo, params, number)
            off = mark_residual(lens.straightened(reading.marks_px) - seen, seen, reading)
            squares.append(((off.reshape(-1, 2) * reading.marks_sigma_px[:, None]) ** 2).sum(axis=1))
        return math.sqrt(float(np.median(np.concatenate(squares))) / 1.386)


def _apart(one: Floats, other: Floats) -> bool:
    """Whether two fits are tilted differently."""
    return bool(np.abs(one[:2] - other[:2]).max() > SAME_TILT_RAD)


def _huber(residual: Floats) -> Floats:
    size = np.abs(residual)
    return np.where(size <= HUBER, 1.0, HUBER / np.maximum(size, 1e-12))


def _stripe_start(places_mm: Floats, print_: Stripes) -> list[float]:
    """What lines have of their own, on a first plane: direction (rad) across them, repeat (mm), offset (mm) of each
    family, and how the print bends and crowds (three, mm at ``half_mm``)."""
    families = np.eye(int(print_.family.max()) + 1)[print_.family]
    solved = np.linalg.lstsq(np.hstack([places_mm, families]), print_.order, rcond=None)[0]
    repeat = 1 / float(np.hypot(*solved[:2]))
    return [math.atan2(solved[1], solved[0]), repeat, *(-repeat * solved[2:]), 0.0, 0.0, 0.0]


def _stripe_residual(photo: Floats, seen_px: Floats, print_: Stripes, own: Floats, middle_mm: Floats) -> Floats:
    """How far places lie from their lines, in standard deviations.

    Counted in pixels of the straight picture: in mm of the plane a smaller plane would always seem to fit better.
    """
    mm = mapped(inverse(photo), seen_px)
    across = np.array([math.cos(own[0]), math.sin(own[0])])
    along = np.array([-across[1], across[0]])
    u, v = (mm - middle_mm) @ across, (mm - middle_mm) @ along
    x, y = u / print_.half_mm, v / print_.half_mm
    line = own[2:-3][print_.family] + own[1] * print_.order + own[-3] * x * x + own[-2] * x * y + own[-1] * y * y
    ahead = mapped(photo, mm + across / 2) - mapped(photo, mm - across / 2)
    return np.asarray((u - line) * np.hypot(ahead[:, 0], ahead[:, 1]) / print_.sigma_px, dtype=np.float64)
