"""A repeat fitted by least squares to every window of every band, with what the fit leaves open."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from vision.estimate import Estimate
from vision.profile import Bands
from vision.swatch import Doubles

#: A fit is trusted no further than this: cloth does not lie flatter (practice).
FLATNESS_RELATIVE_U95 = 0.0008
#: Distances differ from turn to turn where the means of the turns are so many standard errors apart. They are compared
#: at up to a dozen places; normal scatter alone passes once in a thousand cloths (simulated, 4 to 12 repeats).
SURELY_OTHER = 4.5
_WINDOWS = 12
_PASSES = 4
#: A fit that makes the repeat this many times as long or as short fits nothing; the one before it stays.
_FAR = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepeatFit:
    """The repeat and how it lies: boundaries of order k at u = ``origin_mm`` + k·``repeat`` + ``slope``·v (+ bend).

    ``repeats`` is how many show. ``bend`` (3,) holds the coefficients of u², u·v and v² (per mm), ``direction_u95_deg``
    what the fit leaves open of the direction, ``residual_mm`` its scatter. ``crossings`` (M, 4): u, v, order, sigma.
    """

    repeat: Estimate
    slope: float
    origin_mm: float
    bend: Doubles
    direction_u95_deg: float
    residual_mm: float
    repeats: float
    crossings: Doubles

    def phase(self, u_mm: Doubles, v_mm: Doubles) -> Doubles:
        """How many repeats (fractional) a place is from the origin."""
        b = self.bend
        straight = u_mm - self.slope * v_mm - (b[0] * u_mm**2 + b[1] * u_mm * v_mm + b[2] * v_mm**2)
        return np.asarray((straight - self.origin_mm) / self.repeat.value)

    def said(self, times: int) -> RepeatFit:
        """The same lines, every so many counted as one repeat."""
        u, v, order, sigma = self.crossings.T
        return replace(
            self,
            repeat=self.repeat * times,
            repeats=self.repeats / times,
            crossings=np.stack([u, v, order / times, sigma], axis=1),
        )


def turns_differ(fit: RepeatFit, times: int) -> bool:
    """Whether the distances between boundaries differ between ``times`` repeats and do so again every so many.

    A crease or what tilt is left stretches one place; print comes back in every turn over the whole cloth. So the means
    of the turns are held against how much the distances scatter between repeats that ought to be alike. A fit that saw
    no boundary twice tells nothing.
    """
    if not len(fit.crossings):
        return False
    gaps = _gaps(fit)
    turn = np.arange(gaps.shape[1]) % times
    seen = np.isfinite(gaps)
    counts = np.stack([(seen & (turn == k)).sum(axis=1) for k in range(times)])
    compared = (counts > 0).all(axis=0) & (counts.sum(axis=0) > times)
    if not compared.any():
        return False
    gaps, counts = gaps[compared], counts[:, compared]
    means = np.stack([np.nanmean(gaps[:, turn == k], axis=1) for k in range(times)])
    rest = gaps - means[turn].T
    freedom = counts.sum(axis=0) - times
    own = np.nansum(rest**2, axis=1)
    spread = np.maximum(own / freedom, own.sum() / freedom.sum())
    apart = np.abs(means[:, None] - means[None, :])
    error = np.sqrt(spread * (1 / counts[:, None] + 1 / counts[None, :]))
    return bool((apart > SURELY_OTHER * error).any())


def _gaps(fit: RepeatFit) -> Doubles:
    """How much longer (W, K) than the mean repeat's the way from each window that holds a boundary to the next is, mm,
    in each repeat K; nan where it is not seen."""
    u, v, order, _ = fit.crossings.T
    ahead = (fit.phase(u, v) - order) * fit.repeat.value
    cell = np.floor(order * _WINDOWS).astype(int)
    cell -= cell.min() // _WINDOWS * _WINDOWS
    places = np.full((cell.max() // _WINDOWS + 1) * _WINDOWS, np.nan)
    for one in np.unique(cell):
        places[one] = np.median(ahead[cell == one])
    grid = places.reshape(-1, _WINDOWS)
    held = np.isfinite(grid).any(axis=0)
    along = grid[:, held].ravel()
    return np.asarray(np.diff(along, append=np.nan).reshape(len(grid), -1).T)


def refine_repeat(bands: Bands, repeat_mm: float, *, angle_u95_deg: float = 0.0) -> RepeatFit:
    """Fit every window of every band to the mean repeat: u = offset of the window + k·repeat + slope·v + bend.

    The uncertainty is that of the fit, its scatter counted once for each repeat (neighbours err alike), and of the
    cloth's flatness; it leaves out the plane's. References: JCGM 100:2008, 4.2 and 5.1.
    """
    used = bands.u_mm[(bands.weight > 0).any(axis=0)]
    extent = float(used[-1] - used[0]) + bands.step_mm
    fit = RepeatFit(
        repeat=Estimate(repeat_mm, repeat_mm),  # not fitted yet: not known
        slope=0.0,
        origin_mm=float(used[0]),
        bend=np.zeros(3),
        direction_u95_deg=angle_u95_deg,
        residual_mm=bands.step_mm,
        repeats=extent / repeat_mm,
        crossings=np.zeros((0, 4)),
    )
    blur_mm = max(0.03 * repeat_mm, 1.5 * bands.step_mm)
    for turn in range(_PASSES):
        cells = _shifts(bands, fit, blur_mm)
        if len(cells) < 6 or np.ptp(cells[:, 2]) == 0:  # of one repeat alone nothing tells its length
            break
        solved = _solve(cells, fit, extent, bent=turn > 0)
        if not repeat_mm / _FAR < solved.repeat.value < repeat_mm * _FAR:
            break
        fit = solved
        blur_mm = max(blur_mm / 2, 0.8 * bands.step_mm)
    return replace(fit, origin_mm=fit.origin_mm % fit.repeat.value)


def _shifts(bands: Bands, fit: RepeatFit, blur_mm: float) -> Doubles:
    """Rows (u, v, order, window, shift, weight): how far each window of a repeat lies from where the fit puts it."""
    size = max(round(fit.repeat.value / bands.step_mm * 2), 4 * _WINDOWS)
    size = min(size, 2400) // _WINDOWS * _WINDOWS
    u, v = bands.u_mm[None, :], bands.v_mm[:, None]
    phase = fit.phase(np.broadcast_to(u, bands.weight.shape), np.broadcast_to(v, bands.weight.shape))
    low, high = int(np.floor(phase.min())), int(np.ceil(phase.max()))
    places = low + (np.arange((high - low) * size) + 0.5) / size
    tones = np.zeros((len(bands.v_mm), len(places), 3))
    covers = np.zeros((len(bands.v_mm), len(places)))
    spread = max(blur_mm / bands.step_mm, 0.5)
    for j in range(len(bands.v_mm)):
        cover = gaussian_filter1d((bands.weight[j] > 0).astype(np.float64), spread, mode="constant")
        smooth = gaussian_filter1d(bands.tone[j] * (bands.weight[j] > 0)[:, None], spread, axis=0, mode="constant")
        smooth = smooth / np.maximum(cover, 1e-6)[:, None]
        for channel in range(3):
            tones[j, :, channel] = np.interp(places, phase[j], smooth[:, channel])
        seen = np.interp(places, phase[j], (cover > 0.95).astype(np.float64), left=0, right=0)
        covers[j] = seen > 0.99
    shape = (len(bands.v_mm), high - low, size)
    cell, cover = tones.reshape(*shape, 3), covers.reshape(shape)
    total = cover.sum(axis=(0, 1))
    mean = (cell * cover[..., None]).sum(axis=(0, 1)) / np.maximum(total, 1)[:, None]
    slope = np.gradient(np.concatenate([mean[-2:], mean, mean[:2]]), axis=0)[2:-2] * size / fit.repeat.value  # per mm
    parts = (*shape[:2], _WINDOWS, size // _WINDOWS)
    weight = cover.reshape(parts)
    gain = _gain(cell, mean, cover)
    rest = (mean * gain[..., None, None] - cell).reshape(*parts, 3)
    tilt = slope.reshape(_WINDOWS, -1, 3) * 1.0
    power = (tilt * tilt).sum(-1)
    information = (weight * power).sum(-1)
    shift = ((rest * tilt).sum(-1) * weight).sum(-1) / np.maximum(information, 1e-9)
    full = (weight.mean(-1) > 0.98) & (information > 0.15 * information.max())
    band, order, window = np.nonzero(full)
    limit = 0.2 * fit.repeat.value
    step = np.clip(shift[full], -limit, limit)
    where = order + low + (window + 0.5) / _WINDOWS
    u_mm = fit.origin_mm + where * fit.repeat.value + fit.slope * bands.v_mm[band]
    u_mm = u_mm + fit.bend[0] * u_mm**2 + fit.bend[1] * u_mm * bands.v_mm[band] + fit.bend[2] * bands.v_mm[band] ** 2
    return np.stack([u_mm + step, bands.v_mm[band], order + low, window, step, information[full]], axis=1)


def _gain(cell: Doubles, mean: Doubles, cover: Doubles) -> Doubles:
    """The light of each repeat in each band (B, K) as a factor on the mean's tone."""
    common = ((cell * mean).sum(-1) * cover).sum(-1)
    energy = ((mean * mean).sum(-1) * cover).sum(-1)
    return np.asarray(np.where(energy > 0, common / np.maximum(energy, 1e-9), 1.0))


def _solve(cells: Doubles, fit: RepeatFit, extent: float, *, bent: bool) -> RepeatFit:
    """Weighted robust least squares for offsets of the windows, repeat, slope and (where enough shows) bend."""
    u, v, order, window, _, information = cells.T
    kinds, index = np.unique(window, return_inverse=True)
    offsets = np.zeros((len(u), len(kinds)))
    offsets[np.arange(len(u)), index] = 1
    columns = [offsets, order[:, None], v[:, None]]
    curved = bent and fit.repeats >= 3
    if curved:
        columns.append(np.stack([u**2, u * v, v**2], axis=1))
    design = np.concatenate(columns, axis=1)
    scale = np.maximum(np.abs(design).max(axis=0), 1e-9)
    design = design / scale
    weight = information / information.max()
    robust = np.ones(len(u))
    for _ in range(4):
        normal = design.T @ (design * (weight * robust)[:, None])
        solution = np.linalg.lstsq(normal, design.T @ (u * weight * robust), rcond=None)[0]
        rest = u - design @ solution
        sigma = 1.4826 * float(np.median(np.abs(rest))) + 1e-6
        robust = 1 / (1 + (rest / (2.5 * sigma)) ** 2) ** 2
    number = len(kinds)
    solution = solution / scale
    deviation = np.sqrt(np.clip(np.diag(_covariance(design, weight * robust, rest, order, v)), 0, None)) / scale
    repeat = float(solution[number])
    u95 = float(np.hypot(2 * deviation[number], FLATNESS_RELATIVE_U95 * repeat))
    starts = solution[:number] - (kinds + 0.5) / _WINDOWS * repeat
    origin = float(np.average(starts, weights=np.bincount(index, weights=weight)))
    return RepeatFit(
        repeat=Estimate(repeat, u95),
        slope=float(solution[number + 1]),
        origin_mm=origin,
        bend=solution[number + 2 :] if curved else np.zeros(3),
        direction_u95_deg=float(np.degrees(2 * deviation[number + 1])),
        residual_mm=float(np.sqrt(np.average(rest**2, weights=weight * robust))),
        repeats=extent / repeat,
        crossings=np.stack([u, v, order + (window + 0.5) / _WINDOWS, np.full(len(u), sigma)], axis=1),
    )


def _covariance(design: Doubles, weight: Doubles, rest: Doubles, order: Doubles, v: Doubles) -> Doubles:
    """Covariance of the solution with neighbours allowed to err alike: scores are summed in blocks before squaring.

    A block is one repeat by a quarter of the height: a wave in the cloth moves all of it at once. The clustered
    ("sandwich") estimate, White 1980 and Liang and Zeger 1986 (from memory), with the small-sample factor G/(G - 1).
    """
    bread = np.linalg.pinv(design.T @ (design * weight[:, None]))
    span = np.ptp(v) + 1e-9
    quarter = np.minimum((4 * (v - v.min()) / span).astype(int), 3)
    _, block = np.unique(order * 4 + quarter, return_inverse=True)
    groups = int(block.max()) + 1
    scores = np.zeros((groups, design.shape[1]))
    np.add.at(scores, block, design * (weight * rest)[:, None])
    factor = groups / max(groups - 1, 1)
    return np.asarray(bread @ (scores.T @ scores) @ bread * factor)
