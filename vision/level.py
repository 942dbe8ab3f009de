"""The print as a spirit level: stripes are parallel and evenly spaced, so how they run tells the tilt and the lens.

Where the reference leaves the tilt open (two clicked points say nothing of it), the tilt is sought at which the stripes
repeat best over the whole cloth. Then, as from any reference, places on the stripes take part in the fit of the plane,
for as much as the cloth is found to lie flat: what it waves by is told from what the fit leaves over.
"""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import homography, inverse, mapped
from vision.colour import srgb_to_lab
from vision.errors import ScaleNotFound
from vision.parallel import Stripes
from vision.plane import Plane
from vision.print import PrintFinding, measure_print
from vision.square import SquareOn

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: A plane that knows lengths at the cloth's middle to this share (95 %) or better needs no search for its tilt.
KNOWN_WELL = 0.012
#: Shares of the cloth about its middle that take part, one after the other: a tilt shows little in the first.
WINDOWS = (0.5, 0.7, 1.0)
#: Pixels of the cloth that take part (time), and parts of a repeat that are told apart.
_SAMPLES = 12000
_PARTS = 48
#: The stripes must account for this share of all differences of colour, or they are no measure.
LEAST_ACCOUNTED = 0.6
#: Tilts tried are held back by this much (one standard deviation, rad), as in the plane's own fit.
_TILT_SIGMA_RAD = math.radians(10.0)
#: Places on stripes (the print's fit gives hundreds to thousands) are taken together in so many cells across and along
#: the stripes; of each repeat, so many parts count. Fewer places or repeats than these level nothing.
CELLS_ACROSS, CELLS_ALONG, FAMILIES = 12, 8, 4
FEWEST_PLACES, FEWEST_REPEATS = 12, 2.0
#: No place is known better than this, px (rendered scenes: what JPEG and resampling leave).
LEAST_SIGMA_PX = 0.01
#: Prints are even to this share of half the cloth (a roller's own precision; our estimate), and bend by so much more:
#: cloth is mostly a little bowed (common practice: up to 2 % is let pass).
EVEN_SHARE, BOW_SHARE = 0.0003, 0.01
#: While the cloth's waves are not known yet, its print may be uneven by this share.
_LOOSE_SHARE = 0.01
#: Long waves are higher than short ones: what the cloth does over its whole size, over what is left of a fit to that
#: (rendered relief).
LONGER_WAVES = 3.0
#: A print more uneven than this share of half the cloth is no level: it was misread, or the cloth lies in folds.
MOST_UNEVEN_SHARE = 0.002
#: Blocks each way, and places in each, in which what a fit leaves over is averaged to see waves.
_BLOCKS, _FEWEST_IN_BLOCK = 4, 4


def needs_levelling(plane: Plane, point_mm: Floats) -> bool:
    """Whether the reference leaves lengths at a place of the plane too uncertain."""
    x, y = plane.to_px(point_mm[None])[0]
    return plane.length_relative_u95_at((float(x), float(y))) > KNOWN_WELL


def level(plane: Plane, square: SquareOn, mask: Mask, rgb: NDArray[np.uint8], *, open_tilt: bool) -> Plane:
    """The plane fitted anew with the stripes of the cloth under ``mask`` (H, W) of a square-on picture of it.

    ``rgb`` is the photo; with ``open_tilt`` the tilt is sought first. The same plane where no stripes are seen that
    could level it.
    """
    tilted = _sought(plane, square, mask) if open_tilt else None
    if tilted is None:
        return _with_stripes(plane, plane, measure_print(square, mask))
    height, width = square.rgb.shape[:2]
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=np.float64)
    ring_mm = tilted.to_mm(plane.to_px(_mm(square, corners)))
    low, high = ring_mm.min(axis=0), ring_mm.max(axis=0)
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    fresh = tilted.square_on(rgb, px_per_mm=square.px_per_mm, region_mm=box)
    inside = _carried(mask, square, plane, fresh, tilted) & fresh.valid
    return _with_stripes(plane, tilted, measure_print(fresh, inside))


def _with_stripes(plane: Plane, seen_in: Plane, finding: PrintFinding) -> Plane:
    """The plane fitted with a print's places, found in ``seen_in``, a tilt of it; twice, as the first shows the cloth's
    waves."""
    evidence = finding.evidence
    families = [
        crossings
        for crossings, repeats in (
            (evidence.crossings_mm, evidence.repeats_across),
            (evidence.crossings_along_mm, evidence.repeats_along),
        )
        if len(crossings) >= FEWEST_PLACES and repeats >= FEWEST_REPEATS
    ]
    prints = [print_ for print_ in (gathered(seen_in, crossings) for crossings in families) if counts(print_)]
    if not prints:
        return plane
    try:
        first = seen_in.refined(prints)
        known = [settled(first, print_) for print_ in prints]
        even = [print_ for print_ in known if print_.uneven_mm <= MOST_UNEVEN_SHARE * print_.half_mm]
        return first.refined(even) if even else plane
    except ScaleNotFound:
        return plane


def gathered(plane: Plane, crossings_mm: Floats) -> Stripes:
    """Places (M, 4: x, y in the plane, order, standard deviation, mm) taken together cell by cell, as stripes."""
    places, order = crossings_mm[:, :2], crossings_mm[:, 2]
    middle = places.mean(axis=0)
    across, along = _frame(places - middle, order)
    u, v = (places - middle) @ across, (places - middle) @ along
    _, part, count = np.unique(np.round(order % 1.0, 3), return_inverse=True, return_counts=True)
    chosen = np.argsort(-count, kind="stable")[:FAMILIES]
    kept = np.isin(part, chosen)
    cell = part * (CELLS_ACROSS * CELLS_ALONG) + _cells(u, CELLS_ACROSS) * CELLS_ALONG + _cells(v, CELLS_ALONG)
    _, cell, many = np.unique(cell[kept], return_inverse=True, return_counts=True)
    px_per_mm = plane.px_per_mm_at((float(plane.to_px(middle[None])[0, 0]), float(plane.to_px(middle[None])[0, 1])))
    mean = [np.bincount(cell, values[kept]) / many for values in (*places.T, np.floor(order), crossings_mm[:, 3])]
    family = np.searchsorted(np.sort(chosen), np.round(np.bincount(cell, part[kept]) / many).astype(np.int64))
    half = float(max(np.ptp(u), np.ptp(v))) / 2
    return Stripes(
        points_px=plane.to_px(np.stack(mean[:2], axis=1)),
        order=mean[2],
        family=family,
        sigma_px=np.maximum(mean[3] / np.sqrt(many) * px_per_mm.value, LEAST_SIGMA_PX),
        half_mm=half,
        uneven_mm=_LOOSE_SHARE * half,
        bow_mm=BOW_SHARE * half,
    )


def counts(print_: Stripes) -> bool:
    """Whether lines of one kind show in more than one repeat, so that there is something to be even."""
    return any(np.ptp(print_.order[print_.family == kind]) >= 1 for kind in np.unique(print_.family))


def settled(plane: Plane, print_: Stripes) -> Stripes:
    """The stripes known as well as a first fit of the plane found them to be: their noise with what neighbours have in
    common, and the print's unevenness with the cloth's waves."""
    mm = plane.to_mm(print_.points_px)
    middle = mm.mean(axis=0)
    across, along = _frame(mm - middle, print_.order)
    x, y = (mm - middle) @ across / print_.half_mm, (mm - middle) @ along / print_.half_mm
    families = np.eye(int(print_.family.max()) + 1)[print_.family]
    design = np.column_stack([families, print_.order, y, x * x, x * y, y * y])
    rest = x * print_.half_mm - design @ np.linalg.lstsq(design, x * print_.half_mm, rcond=None)[0]
    usual = 1.4826 * float(np.median(np.abs(rest))) + 1e-9
    rest = np.clip(rest, -3 * usual, 3 * usual)
    near = rest[np.lexsort((_cells(y, CELLS_ALONG), _cells(x, CELLS_ACROSS), print_.family))]
    alike = float(np.clip(near[:-1] @ near[1:] / (near @ near), 0.0, 0.9))
    at = plane.to_px(middle[None])[0]
    px_per_mm = plane.px_per_mm_at((float(at[0]), float(at[1]))).value
    over = max(1.0, usual * px_per_mm / float(np.median(print_.sigma_px)))
    waves = _waves_mm(rest, x, y)
    return replace(
        print_,
        sigma_px=print_.sigma_px * over * math.sqrt((1 + alike) / (1 - alike)),
        uneven_mm=math.hypot(EVEN_SHARE * print_.half_mm, LONGER_WAVES * waves),
    )


def _frame(places_mm: Floats, order: Floats) -> tuple[Floats, Floats]:
    """Unit vectors across the stripes, the way their order counts, and along them."""
    design = np.column_stack([places_mm, np.ones(len(places_mm))])
    steps = np.linalg.lstsq(design, order, rcond=None)[0][:2]
    across = steps / np.hypot(*steps)
    return np.asarray(across), np.array([-across[1], across[0]])


def _cells(places: Floats, count: int) -> NDArray[np.int64]:
    """Which of ``count`` even parts of their range places (N,) lie in."""
    share = (places - places.min()) / max(float(np.ptp(places)), 1e-9)
    return np.asarray(np.minimum((share * count).astype(np.int64), count - 1))


def _waves_mm(rest: Floats, x: Floats, y: Floats) -> float:
    """Root mean square of what neighbouring places have in common of what is left over (N,), noise taken off."""
    block = _cells(x, _BLOCKS) * _BLOCKS + _cells(y, _BLOCKS)
    count = np.bincount(block, minlength=_BLOCKS**2)
    full = count >= _FEWEST_IN_BLOCK
    if not full.any():  # nothing tells waves from noise
        return float(np.sqrt(np.mean(rest**2)))
    mean = np.bincount(block, rest, _BLOCKS**2)[full] / count[full]
    noise = (np.bincount(block, rest * rest, _BLOCKS**2)[full] / count[full] - mean**2) / count[full]
    return math.sqrt(max(0.0, float(np.mean(mean**2 - noise))))


def _mm(square: SquareOn, pixels: Floats) -> Floats:
    return np.asarray(pixels / square.px_per_mm + np.asarray(square.origin_mm), dtype=np.float64)


def _sought(plane: Plane, square: SquareOn, mask: Mask) -> Plane | None:
    """The plane tilted so that the stripes repeat best, or None where they do not repeat well."""
    from scipy.optimize import minimize

    rows, columns = mask.nonzero()
    if len(rows) < 500:
        return None
    share = np.maximum(
        np.abs(rows - np.median(rows)) / max(1.0, np.ptp(rows) / 2),
        np.abs(columns - np.median(columns)) / max(1.0, np.ptp(columns) / 2),
    )
    parts = (_start(square, mask, rows[share <= window], columns[share <= window]) for window in WINDOWS)
    start = next((found for found in parts if found is not None), None)
    if start is None:
        return None
    place = np.array([plane.params[0], plane.params[1], *start])
    kept = np.random.default_rng(0).permutation(len(rows))[: 2 * _SAMPLES]
    rows, columns, share = rows[kept], columns[kept], share[kept]
    photo_px = plane.to_px(_mm(square, np.stack([columns, rows], axis=1).astype(np.float64)))
    colours = srgb_to_lab(cv2.GaussianBlur(square.rgb, (0, 0), 1.0))[rows, columns].astype(np.float64)
    rest = 1.0
    for window in WINDOWS:
        near = np.nonzero(share <= window)[0][:_SAMPLES]
        task = _Fold(plane, photo_px[near], colours[near])
        steps = np.array([0.02, 0.02, 0.004, 0.01 * place[3]]) * (1.0 if window < 1 else 0.5)
        simplex = np.vstack([place, place + np.diag(steps)])
        options = {"initial_simplex": simplex, "maxiter": 320, "xatol": 1e-5, "fatol": 1e-6}
        solution = minimize(task.left_over, place, method="Nelder-Mead", options=options)
        place, rest = np.asarray(solution.x, dtype=np.float64), task.scatter(solution.x)
    if rest > 1 - LEAST_ACCOUNTED:
        return None
    params = np.array([place[0], place[1], *plane.params[2:]])
    return replace(plane, params=params, straight_from_mm=homography(params, plane.size_px, plane.thickness_mm))


def _start(
    square: SquareOn, mask: Mask, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> tuple[float, float] | None:
    """Direction (rad, as the plane's x turns to y) and repeat (mm) of the stripes in the middle of the cloth."""
    if not len(rows):
        return None
    middle = np.zeros_like(mask)
    middle[rows, columns] = True
    y, x = slice(rows.min(), rows.max() + 1), slice(columns.min(), columns.max() + 1)
    part = replace(
        square,
        rgb=np.ascontiguousarray(square.rgb[y, x]),
        valid=square.valid[y, x],
        origin_mm=(
            square.origin_mm[0] + float(columns.min()) / square.px_per_mm,
            square.origin_mm[1] + float(rows.min()) / square.px_per_mm,
        ),
    )
    found = measure_print(part, middle[y, x]).print
    if found is None or found.across is None or found.across_direction_deg is None or not found.stripes:
        return None
    return -math.radians(found.across_direction_deg.value), found.across.value


class _Fold:
    """How well the print repeats for a tilt, a direction and a repeat: the colours' scatter after folding."""

    def __init__(self, plane: Plane, photo_px: Floats, colours: Floats) -> None:
        self.plane = plane
        self.straight_px = plane.lens().straightened(photo_px)
        self.colours = colours - colours.mean(axis=0)
        self.total = float((self.colours**2).sum())

    def scatter(self, place: Floats) -> float:
        """The share of all differences of colour that the fold leaves unexplained."""
        params = np.array([place[0], place[1], *self.plane.params[2:]])
        mm = mapped(inverse(homography(params, self.plane.size_px, self.plane.thickness_mm)), self.straight_px)
        turns = (mm[:, 0] * math.cos(place[2]) + mm[:, 1] * math.sin(place[2])) / place[3]
        part = ((turns - np.floor(turns)) * _PARTS).astype(np.int64) % _PARTS
        count = np.maximum(np.bincount(part, minlength=_PARTS), 1)
        between = sum(float((np.bincount(part, column, _PARTS) ** 2 / count).sum()) for column in self.colours.T)
        return 1 - between / max(self.total, 1e-9)

    def left_over(self, place: Floats) -> float:
        """What is minimised: the scatter, and a little for every tilt."""
        if max(abs(place[0]), abs(place[1])) > 0.6 or place[3] <= 0:
            return 2.0
        return self.scatter(place) + 1e-3 * float(place[0] ** 2 + place[1] ** 2) / _TILT_SIGMA_RAD**2


def _carried(mask: Mask, square: SquareOn, plane: Plane, fresh: SquareOn, tilted: Plane) -> Mask:
    """The mask in another square-on picture of the same photo."""
    into = np.array(
        [[1 / fresh.px_per_mm, 0, fresh.origin_mm[0]], [0, 1 / fresh.px_per_mm, fresh.origin_mm[1]], [0, 0, 1.0]]
    )
    back = np.array(
        [
            [square.px_per_mm, 0, -square.origin_mm[0] * square.px_per_mm],
            [0, square.px_per_mm, -square.origin_mm[1] * square.px_per_mm],
            [0, 0, 1.0],
        ]
    )
    warp = back @ inverse(plane.straight_from_mm) @ tilted.straight_from_mm @ into
    size = (fresh.rgb.shape[1], fresh.rgb.shape[0])
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpPerspective(mask.astype(np.uint8), warp, size, flags=flags) > 0, dtype=np.bool_)
