"""All that is known about the plane, fitted at once: damped, reweighted least squares with its covariance.

References
----------
Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 5 (covariance of a fit) and app. 6 (its computation).
Birge, Physical Review 40 (1932) 207: errors scaled by what is left over.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.camera import Lens, homography, inverse, mapped, pose_matrix, rigid, upwards
from vision.descent import descended
from vision.estimate import Estimate
from vision.mark import (
    as_noisy,
    bent,
    beside,
    bowed,
    mark_residual,
    mean_px_per_mm,
    thinned,
    tick_residual,
    to_the_middle_mm,
)
from vision.parallel import Stripes, stripe_residual, stripe_start
from vision.reference.reading import Reading
from vision.residual import agreement, belief, huber, huber_cost
from vision.rise import (
    LEAST_RISE_MM,
    RISE,
    TOPS,
    WARP,
    WARP_SIGMA_MM,
    afloat,
    held,
    lifted,
    noise_px,
    starts,
    warped,
    waves,
)
from vision.shear import SHEAR, SHEAR_SIGMA, sheared, surely_sheared

Floats = NDArray[np.float64]
#: The plane of the readings and that of the prints (3, 3 each), and all places as a lens that bends nothing shows them.
_Sight = tuple[Floats, Floats, list[Floats]]

#: Hand-held photographs taken "from above" are tilted by about this much on each axis (one standard deviation);
#: our estimate of practice. It decides only where the marks leave the tilt open.
TILT_SIGMA_DEG = 10.0
#: Phones straighten their pictures, compact cameras leave a per cent or two at the corners: one standard deviation of
#: k1 (our estimate of practice). It decides only where nothing long and straight is in the picture.
LENS_SIGMA = 0.009
#: No lens bends more than so many standard deviations: a ruler that says so does not lie flat.
MOST_LENS_SIGMAS = 3.0
#: A ruler lies straight to this, 1/mm (0.2 mm over 300 mm), one standard deviation; a tape that curls, to that (radius
#: one metre). It is taken to curl where it bows by more than so many times the first.
STRAIGHT_PER_MM, CURLED_PER_MM, CURLED_TIMES = 2e-5, 1e-3, 3.0
#: Parameters of each reading: its stretch (log), turn (rad), place (mm) and, of a ruler, its bow (1/mm).
OWN, BOW = 5, 4
#: Tilts (rad) from which the fit starts, so that no mirror-like minimum wins; steps taken from each before the best one
#: goes on, at most, and the share of the cost that a step must gain; tilts nearer than this are one way down.
STARTS = ((0.0, 0.0), (0.15, 0.15), (-0.15, -0.15), (0.15, -0.15), (-0.15, 0.15))
ROUGH_STEPS, ROUGH_GAIN, SAME_TILT_RAD, RIVAL_COST = 12, 1e-3, 0.03, 3.0
#: No camera looks along the cloth: nothing is fitted from this tilt on, rad, nor with a lens so many times as long, or
#: as short, as the one that is expected.
STEEPEST_RAD, MOST_FOCAL_TIMES = 1.4, 5.0
#: Steps taken from each rise that is tried before the best one goes on: the first finds its height.
FIRST_STEPS = 6
#: Parameters before those of the single readings: two tilts (rad), log scale at the middle, log focal length, k1.
SHARED = 5


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
        shears: bool = False,
        begin: Floats | None = None,
        behind_mm: float = 0.0,
    ) -> None:
        """``prints``, ``behind_mm`` behind the readings' plane, need a plane to ``begin`` with (SHARED,); ``rising``
        says of each reading whether its ends may rise, where any may; ``shears`` that their ticks stay parallel."""
        self.readings = readings
        self.middles = [to_the_middle_mm(reading) for reading in readings]
        self.size_px = size_px
        self.focal = focal
        self.prints = list(prints)
        self.bow_sigma = bow_sigma
        self.rising = rising
        self.shears = shears
        #: Printed sheets (they never come with a tape that rises) may warp.
        self.warps = not (rising or shears) and any(reading.source == "target" for reading in readings)
        self.own = OWN + RISE * bool(rising) + WARP * self.warps + SHEAR * shears
        sizes = [self.own] * len(readings) + [5 + int(print_.family.max()) + 1 for print_ in prints]
        ends = np.cumsum([SHARED, *sizes]).tolist()
        #: Which parameters each reading, then each print, has of its own.
        self.columns = [slice(first, last) for first, last in pairwise(ends)]
        self.begin = begin
        self.behind_mm = behind_mm
        self.loose = self.curled = self.sheared = self.rises = self.afloat = False
        self.bow_per_mm = 0.0
        self.chosen: Floats | None = None
        self.middles_mm: list[Floats] = []
        self._straight: tuple[float, list[Floats]] | None = None
        self._latest: tuple[Floats, tuple[list[Floats], Floats]] | None = None

    def solve(self) -> tuple[Floats, Floats, float]:
        """The parameters with the least cost, their covariance, and the rms residual in px.

        A tape that turns out to curl or to rise is fitted again as one, so that nothing holds it straight or down
        (``loose``); ``curled``, ``sheared``, ``rises`` and ``afloat`` say what came of that.
        """
        problem, params = self, self._solved()
        bows, least = zip(self.readings, self._own_of(params)[:, BOW], strict=True), CURLED_TIMES * self.bow_sigma
        if self.bow_sigma < CURLED_PER_MM and any(bent(one, bow, least) for one, bow in bows):
            problem = self._like(self.readings, CURLED_PER_MM)
            params = problem._solved()
        rising = tuple(problem._waves(params))
        if any(rising):
            problem = problem._risen(params, rising)
            params = problem._solved()
            self.loose = True
            loosely = problem._like(problem.readings, CURLED_PER_MM, shears=True)
            others = loosely._solved()
            self.sheared = surely_sheared(loosely._cost(others), problem._cost(params))
            if self.sheared:
                problem, params = loosely, others
            own = problem._own_of(params)
            self.bow_per_mm = float(np.abs(own[:, BOW]).max())
            self.curled = self.bow_per_mm > CURLED_TIMES * STRAIGHT_PER_MM
            if not self.sheared:
                self.rises = float(own[:, OWN:][:, TOPS].max()) > LEAST_RISE_MM
                stand = (afloat(one.marks_mm[:, 0], rise[OWN:]) for one, rise in zip(self.readings, own, strict=True))
                self.afloat = not self.prints and all(rising) and any(stand)
        return params, problem._covariance(params), problem._rms_px(params)

    def _own_of(self, params: Floats) -> Floats:
        """What each reading has of its own, a row each."""
        return params[SHARED : SHARED + self.own * len(self.readings)].reshape(-1, self.own)

    def _waves(self, params: Floats) -> Iterator[bool]:
        """Of each reading, whether it leaves over what no flat ruler would, or lies beside one on the same tape that
        does; a bent tape may rise in any case, and so may any where else the lens would have to be beyond belief."""
        astray = self.bow_sigma >= CURLED_PER_MM or abs(float(params[4])) > MOST_LENS_SIGMAS * LENS_SIGMA
        rulers = ((number, one) for number, one in enumerate(self.readings) if one.source == "ruler")
        waving = [one for number, one in rulers if astray or waves(self._along_px(params, number), one)]
        for reading in self.readings:
            yield reading.source == "ruler" and any(beside(reading, other) for other in waving)

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
        weight = np.where(prior, 1.0, huber(residual))
        # the priors are not noise of this picture: they are not inflated with it
        information = jac[prior].T @ jac[prior]
        printed = sum(len(print_.order) for print_ in self.prints)
        places = np.arange(int((~prior).sum()))
        for part, colour in ((places[: places.size - printed], True), (places[places.size - printed :], False)):
            if not part.size:
                continue
            data = residual[part] * np.sqrt(weight[part])
            freedom = max(1, data.size - len(params) + SHARED)
            birge = max(1.0, float(data @ data) / freedom) * (agreement(residual[part]) if colour else 1.0)
            information += (jac[part] * weight[part][:, None]).T @ jac[part] / birge
        size = np.sqrt(np.diag(information)) + 1e-12  # millimetres, radians and curvatures differ by many powers of ten
        covariance = np.linalg.pinv(information / np.outer(size, size)) / np.outer(size, size)
        return np.asarray(covariance, dtype=np.float64)

    def _from_anywhere(self) -> Floats:
        """The parameters of least cost, sought from several tilts."""
        few = self._like([thinned(reading) for reading in self.readings], self.bow_sigma, shears=self.shears)
        usual = math.log(float(np.median([mean_px_per_mm(reading) for reading in self.readings])))
        starts = (np.array([*tilt, usual, math.log(few.focal.value), 0.0]) for tilt in STARTS)
        tried = (few._descend(few._from(start), ROUGH_STEPS, ROUGH_GAIN) for start in starts)
        rough = sorted(tried, key=lambda one: one[1])
        # two ways down of about the same cost are both followed to the end
        rivals = [one for one in rough if one[1] <= RIVAL_COST * rough[0][1] and _apart(one[0], rough[0][0])]
        return min((self._descend(one) for one, _ in [rough[0], *rivals[:1]]), key=lambda found: found[1])[0]

    def _like(
        self, readings: list[Reading], bow_sigma: float, rising: tuple[bool, ...] = (), *, shears: bool = False
    ) -> Adjustment:
        return Adjustment(
            readings,
            self.size_px,
            self.focal,
            self.prints,
            bow_sigma=bow_sigma,
            rising=rising,
            shears=shears,
            begin=self.begin,
            behind_mm=self.behind_mm,
        )

    def _seen(self, photo: Floats, params: Floats, number: int) -> Floats:
        """Where the marks (N, 2) of a reading are seen in the straight picture."""
        reading = self.readings[number]
        own = params[SHARED + self.own * number : SHARED + self.own * (number + 1)]
        bends = self.shears and reading.source == "ruler"
        marks = sheared(reading, own[BOW], own[OWN:]) if bends else bowed(reading, own[BOW], self.middles[number])
        whole = photo @ pose_matrix(math.exp(own[0]), *own[1:4])
        if self.warps:
            height, shift = warped(reading.marks_mm, own[OWN:]), np.zeros(len(marks))
        elif self.rising and self.rising[number]:
            height, shift = lifted(reading.marks_mm[:, 0], own[OWN:])
        else:
            return mapped(whole, marks)
        seen = np.column_stack([marks[:, 0] + shift, marks[:, 1], np.ones(len(marks))]) @ whole.T
        seen += height[:, None] * upwards(params, self.size_px)
        return np.asarray(seen[:, :2] / seen[:, 2:], dtype=np.float64)

    def _from(self, shared: Floats) -> Floats:
        """All parameters to begin with, for a plane (SHARED,)."""
        params = list(shared)
        back, lens = inverse(homography(shared, self.size_px, 0.0)), self._lens(shared)
        for reading in self.readings:
            turn, shift = rigid(reading.marks_mm, mapped(back, lens.straightened(reading.marks_px)))
            params += [0.0, turn, shift[0], shift[1], 0.0, *[0.0] * (self.own - OWN)]
        self.middles_mm = []
        below = inverse(homography(shared, self.size_px, self.behind_mm))
        for print_ in self.prints:
            mm = mapped(below, lens.straightened(print_.points_px))
            self.middles_mm.append(mm.mean(axis=0))
            params += stripe_start(mm - self.middles_mm[-1], print_)
        return np.array(params, dtype=np.float64)

    def _residual(self, params: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        parts, prior = self._evaluated(params)
        data = np.concatenate(parts)
        flag = np.concatenate([np.zeros(data.size, np.bool_), np.ones(prior.size, np.bool_)])
        return np.concatenate([data, prior]), flag

    def _evaluated(self, params: Floats) -> tuple[list[Floats], Floats]:
        """Residuals of each reading, then of each print; and of what is known beforehand. Kept for the same array."""
        if self._latest is None or self._latest[0] is not params:
            sight = self._sight(params)
            parts = [self._part(params, number, sight) for number in range(len(self.readings) + len(self.prints))]
            self._latest = params, (parts, self._prior(params))
        return self._latest[1]

    def _prior(self, params: Floats) -> Floats:
        tilts = params[:2] / math.radians(TILT_SIGMA_DEG)
        longer = (params[3] - math.log(self.focal.value)) / max(1e-4, self.focal.relative_u95 / 2)
        prior = [*tilts, belief(longer, self.focal.relative_u95), params[4] / LENS_SIGMA]
        for reading, own in zip(self.readings, self._own_of(params), strict=True):
            if self.rising:
                prior.extend(held(own[OWN:]))
            else:
                prior.extend(own[OWN:] / (SHEAR_SIGMA if self.shears else WARP_SIGMA_MM))
            prior.append(own[0] / max(1e-5, reading.tolerance_relative_u95 / 2))
            prior.append(own[BOW] / (self.bow_sigma if reading.source == "ruler" else STRAIGHT_PER_MM))
        for number, print_ in enumerate(self.prints, len(self.readings)):
            prior.extend(params[self.columns[number]][-3:] / [print_.uneven_mm, print_.uneven_mm, print_.bow_mm])
        return np.array(prior, dtype=np.float64)

    def _sight(self, params: Floats) -> _Sight:
        photo = homography(params[:SHARED], self.size_px, 0.0)
        below = homography(params[:SHARED], self.size_px, self.behind_mm) if self.prints else photo
        return photo, below, self._straightened(params)

    def _part(self, params: Floats, number: int, sight: _Sight) -> Floats:
        """The residuals of a reading, or of a print counted on from the readings."""
        photo, below, straight = sight
        own, many = params[self.columns[number]], len(self.readings)
        if number >= many:
            middle_mm = self.middles_mm[number - many]
            return stripe_residual(below, straight[many + number], self.prints[number - many], own, middle_mm)
        reading = self.readings[number]
        marks_px, ticks_px = straight[2 * number : 2 * number + 2]
        seen = self._seen(photo, params, number)
        off = mark_residual(marks_px - seen, seen, reading)
        if not len(ticks_px):
            return off
        whole = photo @ pose_matrix(math.exp(own[0]), *own[1:4])
        return np.concatenate([off, tick_residual(whole, ticks_px, reading, 0.0 if self.shears else own[BOW])])

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
        """The derivative of all residuals, by small steps: what a part has of its own moves no other (time)."""
        parts, prior = self._evaluated(params)
        sight, kept = self._sight(params), self._straight
        rows = _rows(parts)
        jac = np.zeros((rows[-1].stop + prior.size, params.size))
        moving = [(k, range(len(parts))) for k in range(SHARED)]
        moving += [(k, range(n, n + 1)) for n, own in enumerate(self.columns) for k in range(own.start, own.stop)]
        for k, numbers in moving:
            step = 1e-7 * max(1.0, abs(params[k]))
            moved = params.copy()
            moved[k] += step
            seen = self._sight(moved) if k < SHARED else sight
            for number in numbers:
                jac[rows[number], k] = (self._part(moved, number, seen) - parts[number]) / step
            jac[rows[-1].stop :, k] = (self._prior(moved) - prior) / step
        self._straight = kept
        return jac

    def _normal(self, params: Floats) -> tuple[Floats, Floats]:
        """The normal equations' matrix and right side, part by part: each knows few of the parameters (time)."""
        parts, prior = self._evaluated(params)
        jac, shared = self._numeric(params), np.arange(SHARED)
        known = jac[len(jac) - prior.size :]
        normal, pull = known.T @ known, prior @ known
        for rows, own, residual in zip(_rows(parts), self.columns, parts, strict=True):
            columns = np.concatenate([shared, np.arange(own.start, own.stop)])
            block = jac[rows][:, columns]
            weighted = block * huber(residual)[:, None]
            normal[np.ix_(columns, columns)] += weighted.T @ block
            pull[columns] += (weighted * residual[:, None]).sum(axis=0)
        return normal, pull

    def _cost(self, params: Floats) -> float:
        odd_lens = abs(params[3] - math.log(self.focal.value)) >= math.log(MOST_FOCAL_TIMES)
        if odd_lens or np.any(np.abs(params[:2]) >= STEEPEST_RAD):
            return math.inf
        parts, prior = self._evaluated(params)
        return huber_cost(np.concatenate(parts)) + 0.5 * float(prior @ prior)

    def _descend(self, params: Floats, most: int = 40, enough: float = 1e-8) -> tuple[Floats, float]:
        return descended(params, self._cost, self._normal, most=most, enough=enough)

    def _rms_px(self, params: Floats) -> float:
        photo, lens, squares = homography(params[:SHARED], self.size_px, 0.0), self._lens(params), []
        for number, reading in enumerate(self.readings):
            seen = self._seen(photo, params, number)
            off = mark_residual(lens.straightened(reading.marks_px) - seen, seen, reading)
            squares.append(((off.reshape(-1, 2) * reading.marks_sigma_px[:, None]) ** 2).sum(axis=1))
        return math.sqrt(float(np.median(np.concatenate(squares))) / 1.386)


def _rows(parts: list[Floats]) -> list[slice]:
    """Which residuals are whose."""
    ends = np.cumsum([0, *(part.size for part in parts)]).tolist()
    return [slice(first, last) for first, last in pairwise(ends)]


def _apart(one: Floats, other: Floats) -> bool:
    """Whether two fits are tilted differently."""
    return bool(np.abs(one[:2] - other[:2]).max() > SAME_TILT_RAD)
