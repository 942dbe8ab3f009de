"""How far cloth that does not lie flat leaves its print uncertain, told by the print itself: its lines are straight and
evenly spaced, and what the picture shows otherwise is relief.

A place that lies h above the plane is seen aside by h / D of its distance from the point below the lens, D being the
lens's height (geometry). Heights are a random field of unknown size and reach; how large it is, the lines tell, and
from it follows how far apart, and how much turned, all of them together may be seen. All alternatives count by how
likely they make the picture.

References: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning (2006), 2.7 (fields with a free
trend) and 5.4 (their likelihood); from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from vision.camera import rotation
from vision.estimate import Estimate
from vision.measurement import Print, Stripe
from vision.plane import FLATNESS_RELATIVE_U95, Plane
from vision.print import PrintEvidence
from vision.swatch import Doubles, axes

#: Places on lines are gathered in so many parts each way (time); a part needs so many places, a print so many parts.
_PARTS, _LEAST_PLACES, _LEAST_PARTS = 8, 4, 12
#: Places further off than so many standard deviations count less and less; a part counts whose places agree so far.
_STRAY, _AGREED = 4.0, 0.3
#: Sizes of the heights, mm, one standard deviation, and how far heights hang together, as shares of the cloth's
#: diagonal (creases little, a wave of the whole cloth much): weighed against each other, none likelier beforehand.
_HEIGHTS_MM, _REACHES = (0.04, 0.08, 0.15, 0.3, 0.6), (0.06, 0.15, 0.35)
#: What single parts are off by for other reasons, mm (weave, noise, creases narrower than a part).
_NOISES_MM = (0.015, 0.03, 0.06, 0.12, 0.25)
#: No cloth laid by hand is flatter than this: so high, mm, one standard deviation, is a wave as long as it (practice).
#: Its foot cannot be told from a tilt.
_WAVE_MM, _WAVE_REACH = 0.25, 0.5
#: Cloth lies on the table, never below: on the whole it is lifted by about so many standard deviations of its heights
#: at 95 % (a wave of height H is lifted by H/2, and its standard deviation is 0.35 H: geometry), and by as much as this
#: anyhow, mm: its own thickness, seams, a table that is not flat (practice).
_LIFT, _LEAST_LIFT_MM = 1.5, 0.6
#: The plane's parameters are moved by so much to see what they change.
_STEP = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """What the cloth's relief leaves open at 95 %: of the lines' spacing, as a share, and of their direction; and the
    size of its heights, mm, one standard deviation."""

    relative_u95: float
    turn_u95_deg: float
    height_mm: float


def with_relief(print_: Print, evidence: PrintEvidence, plane: Plane) -> Print:
    """A print measured in a plane taken as flat, with what the cloth's relief leaves open in all its figures. Where its
    lines tell nothing of that, cloth is taken to lie as it mostly does."""
    across = _told(evidence.crossings_mm, print_.across_direction_deg, plane)
    along = _told(evidence.crossings_along_mm, print_.along_direction_deg, plane)
    return replace(
        print_,
        across=_wider(print_.across, across),
        across_direction_deg=_looser(print_.across_direction_deg, across),
        stripes=tuple(_wider_stripe(stripe, across) for stripe in print_.stripes),
        along=_wider(print_.along, along),
        along_direction_deg=_looser(print_.along_direction_deg, along),
        stripes_along=None
        if print_.stripes_along is None
        else tuple(_wider_stripe(stripe, along) for stripe in print_.stripes_along),
    )


def _told(crossings_mm: Doubles, direction_deg: Estimate | None, plane: Plane) -> Relief:
    told = None if direction_deg is None else relief_of(plane, crossings_mm, direction_deg.value)
    return told or Relief(relative_u95=FLATNESS_RELATIVE_U95, turn_u95_deg=0.0, height_mm=0.0)


def _wider(length: Estimate | None, relief: Relief) -> Estimate | None:
    return None if length is None else length.widened(relief.relative_u95)


def _looser(direction: Estimate | None, relief: Relief) -> Estimate | None:
    return None if direction is None else Estimate(direction.value, math.hypot(direction.u95, relief.turn_u95_deg))


def _wider_stripe(stripe: Stripe, relief: Relief) -> Stripe:
    return replace(stripe, width=stripe.width.widened(relief.relative_u95))


def relief_of(plane: Plane, crossings_mm: Doubles, direction_deg: float) -> Relief | None:
    """The relief that lines show, whose places (M, 4) a print's evidence has and whose direction across is given; None
    where too few of them are seen."""
    parts = _gathered(crossings_mm, direction_deg)
    if parts is None:
        return None
    eye, height = _eye(plane)
    slope = _slope(plane, parts)
    cover = (parts.mm - eye) @ parts.n / height
    size = float(np.hypot(*np.ptp(parts.mm, axis=0)))
    along = (parts.mm @ parts.d - float((parts.mm @ parts.d).mean())) / size
    across = (parts.across - float(parts.across.mean())) / size
    trend = np.column_stack([np.ones_like(along), across, along, across**2, across * along, along**2])
    apart = np.hypot(*np.moveaxis(parts.mm[:, None] - parts.mm[None], 2, 0)) / size
    known = slope @ plane.covariance @ slope.T
    found = [
        _One.of(own, own + known, trend, parts.rest, height_mm)
        for own, height_mm in _alternatives(np.outer(cover, cover), apart, parts.count.mean() / parts.count)
    ]
    share = np.exp([one.likely - max(other.likely for other in found) for one in found])
    share /= share.sum()
    heights, spacing, lean = (
        math.sqrt(float(share @ [value**2 for value in values]))
        for values in zip(*((one.height_mm, one.spacing, one.lean) for one in found), strict=True)
    )
    lift = math.hypot(_LIFT * heights, _LEAST_LIFT_MM) / height
    return Relief(
        relative_u95=math.hypot(2 * spacing / size, lift),
        turn_u95_deg=math.degrees(2 * lean / size),
        height_mm=heights,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Parts:
    """Parts (N) of the lines: their places, mm (N, 2), where a straight and evenly spaced line lies there, mm across,
    how far aside of that they are seen, how many places each holds, and the unit vectors across and along."""

    mm: Doubles
    across: Doubles
    rest: Doubles
    count: Doubles
    n: Doubles
    d: Doubles


def _gathered(crossings_mm: Doubles, direction_deg: float) -> _Parts | None:
    """The places on lines, each kind of line (a part of the repeat) with a beginning of its own, gathered in parts."""
    if len(crossings_mm) < _LEAST_PARTS * _LEAST_PLACES:
        return None
    n, d = axes(direction_deg)
    mm, order = crossings_mm[:, :2], crossings_mm[:, 2]
    u, v, whole = mm @ n, mm @ d, np.floor(order)
    if np.ptp(whole) == 0:
        return None
    _, kind = np.unique(np.rint((order - whole) * 1000), return_inverse=True)
    design = np.column_stack([np.eye(kind.max() + 1)[kind], whole, v])
    trust, rest, lean = np.ones(len(u)), u, 0.0
    for _ in range(5):
        solution = np.linalg.lstsq(design.T @ (design * trust[:, None]), design.T @ (u * trust), rcond=None)[0]
        rest, lean = u - design @ solution, float(solution[-1])
        sigma = 1.4826 * float(np.median(np.abs(rest))) + 1e-3
        trust = 1 / (1 + (rest / (_STRAY * sigma)) ** 2) ** 2
    cells = [np.clip((w - w.min()) / (np.ptp(w) + 1e-9) * _PARTS, 0, _PARTS - 1).astype(int) for w in (u, v)]
    _, part, places = np.unique(cells[0] * _PARTS + cells[1], return_inverse=True, return_counts=True)
    count = np.asarray(np.bincount(part, trust), dtype=np.float64)
    x, y, across, rest = (np.bincount(part, trust * w) / count for w in (mm[:, 0], mm[:, 1], u - rest - lean * v, rest))
    kept = (places >= _LEAST_PLACES) & (count > _AGREED * places)
    if kept.sum() < _LEAST_PARTS:
        return None
    where = np.column_stack([x, y])[kept]
    return _Parts(mm=where, across=across[kept], rest=rest[kept], count=count[kept], n=n, d=d)


def _alternatives(lifted: Doubles, apart: Doubles, spread: Doubles) -> Iterator[tuple[Doubles, float]]:
    """Covariances (N, N) of what relief and noise may shift the parts by, and the size of the heights in each."""

    def field(reach: float) -> Doubles:
        return np.asarray(lifted * np.exp(-((apart / reach) ** 2) / 2))

    always, fields = _WAVE_MM**2 * field(_WAVE_REACH), [field(reach) for reach in _REACHES]
    for noise in _NOISES_MM:
        still = always + noise**2 * np.diag(spread)
        yield still, 0.0
        yield from ((still + height**2 * one, height) for height in _HEIGHTS_MM for one in fields)


@dataclass(frozen=True, slots=True, kw_only=True)
class _One:
    """One alternative: how likely it is (log), the size of its heights, mm, and what standard deviations it gives the
    lines' spacing and their lean, both in mm over the cloth's size."""

    likely: float
    height_mm: float
    spacing: float
    lean: float

    @staticmethod
    def of(own: Doubles, whole: Doubles, trend: Doubles, rest: Doubles, height_mm: float) -> _One:
        """What follows where the parts are off by ``own`` (N, N), and with what is not known of the plane by
        ``whole``."""
        inverse = np.linalg.inv(whole)
        normal = trend.T @ inverse @ trend
        left = inverse @ (rest - trend @ np.linalg.solve(normal, trend.T @ inverse @ rest))
        _, spread = np.linalg.slogdet(whole)
        _, freedom = np.linalg.slogdet(normal)
        fit = np.linalg.pinv(trend)
        deviation = np.sqrt(((fit @ own) * fit).sum(axis=1))
        return _One(
            likely=-0.5 * (spread + freedom + float(rest @ left)),
            height_mm=height_mm,
            spacing=float(deviation[1]),
            lean=float(deviation[2]),
        )


def _slope(plane: Plane, parts: _Parts) -> Doubles:
    """What a change of each of the plane's parameters moves the parts across their lines (N, 5), mm."""
    px, columns = plane.to_px(parts.mm), []
    for step in _STEP * np.eye(len(plane.params)):
        ahead, behind = (plane.moved(plane.params + s).to_mm(px) for s in (step, -step))
        columns.append((ahead - behind) @ parts.n / (2 * _STEP))
    return np.column_stack(columns)


def _eye(plane: Plane) -> tuple[Doubles, float]:
    """The point of the plane below the lens, mm, and how high above it the lens is."""
    turn = rotation(float(plane.params[0]), float(plane.params[1]))
    distance = math.exp(float(plane.params[3] - plane.params[2])) + plane.thickness_mm / turn[2, 2]
    eye = -turn.T @ np.array([0.0, 0.0, distance])
    return np.asarray(eye[:2]), abs(float(eye[2]))
