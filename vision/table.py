"""What the cloth lies on: the colour that rings the picture, its shading and grain, and how unlike it a pixel is."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.swatch import Doubles, Floats, Mask

#: Width of the ring along the picture's border in which the table is looked for, as a share of the short side.
_RING_SHARE = 0.04
#: Colours in the ring are sorted into this many heaps, and heaps nearer than this in tone are one surface's.
_HEAPS = 7
_HEAP_APART = 9.0
#: A heap with less of the ring than this is no table.
_LEAST_SHARE = 0.12
#: A pixel belongs to the table up to this many standard deviations (three coordinates: 0.3 % of table lies beyond).
SURELY_ELSE = 3.8
#: While the table is learnt it grows from the ring only so far, so that a cloth like it is not learnt with it.
_LEARNT = 2.5
_PASSES = 4
#: The table is learnt on every so many rows and columns (time).
_STEP = 2
#: From fewer pixels nothing is learnt; from more than this no better (time).
_FEWEST, _ENOUGH = 50, 6000
#: The edge of a shadow is soft: over so much, mm, tone changes by less than that (a fifth of what it does between cloth
#: and a table it stands out from, own scenes); noise and grain are smoothed over so much, mm.
_SOFT_EDGE_MM, _SOFT_STEP, _GRAIN_MM = 2.4, 2.5, 1.0
#: The joints of floorboards and tiles, the grid of a cutting mat and the strokes of print are no wider, mm (practice);
#: levels of a tone in which they are taken away; so many widths of one from all that is wider they are looked for, and
#: so far within that there is none.
_LINE_MM, _LEVELS, _ASIDE = 4.5, 2.0, 1.5
#: What lies beside it, where at least this share of what is so near is it, and has its tone is it too.
_BESIDE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """How finely a table is told from what lies on it: the least spread of its light and of its colour, in tone.

    Light and shadow change a table's brightness from place to place, but its colour hardly: so that a cloth of nearly
    the same colour, as light as the table or not, still stands out where the table is even.
    """

    light: float
    colour: float


#: What is tried in turn: what no shadow disturbs, what no unevenness of colour does, what finds the least difference.
CARES = (Care(light=1.6, colour=0.3), Care(light=1.6, colour=1.6), Care(light=0.6, colour=0.3))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A surface that may be the table: its share of the ring, and where (H, W) on the ring it shows."""

    share: float
    seeds: Mask


def surfaces(tone: Floats, usable: Mask, valid: Mask) -> tuple[Surface, ...]:
    """Surfaces that may be the table, the most of the ring first. ``usable``: what of ``valid`` is not covered."""
    ring = usable & ~_inner(valid, max(round(_RING_SHARE * min(valid.shape)), 2))
    colours = tone[ring].reshape(-1, 3)
    if len(colours) < _FEWEST:
        return ()
    cv2.setRNGSeed(1)
    sample = np.ascontiguousarray(colours[:: max(len(colours) // 4000, 1)], dtype=np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.3)
    heaps = min(_HEAPS, len(sample))
    _, label, centre = cv2.kmeans(sample, heaps, np.empty(0, np.int32), criteria, 2, cv2.KMEANS_PP_CENTERS)
    shares = np.bincount(np.ravel(np.asarray(label)), minlength=heaps) / len(sample)
    found = []
    for share, members in _joined(np.asarray(centre, dtype=np.float32), shares):
        if share < _LEAST_SHARE:
            continue
        near = np.min([np.abs(colours - centre[m]).sum(1) for m in members], axis=0) < 2 * _HEAP_APART
        seeds = np.zeros_like(ring)
        seeds[ring] = near
        found.append(Surface(share=share, seeds=seeds))
    return tuple(found)


def unlike(tone: Floats, usable: Mask, surface: Surface, care: Care, apart: Mask | None = None) -> Floats:
    """How many standard deviations each pixel (H, W) is from the surface.

    Colour, slow shading and spread are fitted to the ring, then to all that turns out alike and hangs on the ring;
    never to ``apart``, where cloth is believed to lie.
    """
    sparse = np.s_[::_STEP, ::_STEP]
    few = np.ascontiguousarray(tone[sparse])
    terms = _terms(few.shape)
    learnable = usable[sparse] if apart is None else usable[sparse] & ~apart[sparse]
    seeds = surface.seeds[sparse] & learnable
    if seeds.sum() < _FEWEST:
        return np.zeros(usable.shape, np.float32)
    alike = seeds
    solution, whiten = _fitted(few[alike], terms[alike], care)
    for _ in range(_PASSES - 1):
        grown = _hanging_on(learnable & (_distance(few, solution, whiten) < _LEARNT), seeds)
        if grown.sum() < _FEWEST:
            break
        alike = grown
        solution, whiten = _fitted(few[alike], terms[alike], care)
    return _distance(tone, solution, whiten)


def shaded(tone: Floats, usable: Mask, surface: Surface, unlike: Floats, per_mm: float) -> Mask:
    """Where (H, W) the surface goes on in shade or light that falls on a part of it: what is reached from where it is
    seen without a step of tone. ``unlike`` (H, W): how many standard deviations each pixel is from it."""
    even = np.asarray(cv2.GaussianBlur(tone, (0, 0), _GRAIN_MM * per_mm), dtype=np.float32)
    apart = max(round(_SOFT_EDGE_MM / 2 * per_mm), 1)
    padded = cv2.copyMakeBorder(even, apart, apart, apart, apart, cv2.BORDER_REPLICATE)
    inner = slice(apart, -apart)
    steps = (
        padded[2 * apart :, inner] - padded[: -2 * apart, inner],
        padded[inner, 2 * apart :] - padded[inner, : -2 * apart],
    )
    soft = np.logical_and.reduce([(step * step).sum(axis=2) < _SOFT_STEP**2 for step in steps])
    like = unlike < _LEARNT
    there = _hanging_on(usable & (soft | like), surface.seeds & like).astype(np.float32)
    size, wide = (0, 0), _SOFT_EDGE_MM * per_mm
    cover = cv2.GaussianBlur(there, size, wide)
    beside = cv2.GaussianBlur(even * there[..., None], size, wide) / np.maximum(cover, 1e-3)[..., None]
    close = (cover > _BESIDE) & (((tone - beside) ** 2).sum(axis=2) < _SOFT_STEP**2)
    return np.asarray(usable & ((there > 0) | close))


def without_lines(tone: Floats, per_mm: float) -> Floats:
    """The tone (H, W, 3) without lines and letters: the middle one of all round, so wide that no line is most of it;
    and once more, for where lines cross they are most of that."""
    size = 2 * max(round(_LINE_MM * per_mm), 1) + 1
    levels = np.clip(np.rint(tone * _LEVELS), 0, 255).astype(np.uint8)
    return np.asarray(cv2.medianBlur(cv2.medianBlur(levels, size), size), dtype=np.float32) / _LEVELS


def unlike_lined(
    tone: Floats, even: Floats, usable: Mask, surface: Surface, care: Care, per_mm: float
) -> tuple[Floats, Mask] | None:
    """How many standard deviations each pixel (H, W) is from the surface or from what is drawn on it in lines,
    whichever is nearer; and where (H, W) it surely is neither, as ``even`` (H, W, 3), the tone without lines, shows.
    None where no lines are seen on it."""
    far, bare = (unlike(shown, usable, surface, care) for shown in (tone, even))
    size = (2 * round(_ASIDE * _LINE_MM * per_mm) + 1,) * 2
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, size)
    drawn = usable & (far > SURELY_ELSE) & (cv2.dilate((bare > SURELY_ELSE).astype(np.uint8), kernel) == 0)
    if drawn[::_STEP, ::_STEP].sum() < _FEWEST:
        return None
    lines = unlike(tone, usable, Surface(share=surface.share, seeds=drawn), care, ~drawn)
    inner = usable & (cv2.dilate((usable & (bare <= SURELY_ELSE)).astype(np.uint8), kernel) == 0)
    return np.minimum(far, lines), np.asarray(inner)


def _axes(shape: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Places (H, 1) and (1, W) in a picture, from -1 to 1."""
    y, x = (np.linspace(-1, 1, size, dtype=np.float32) for size in shape[:2])
    return y[:, None], x[None, :]


def _terms(shape: tuple[int, ...]) -> Floats:
    """Terms (H, W, 6) of light that falls off slowly: to the second power of the place."""
    y, x = _axes(shape)
    one = np.ones(shape[:2], np.float32)
    return np.stack([one, one * x, one * y, one * x * x, x * y, one * y * y], axis=2)


def _fitted(values: Floats, design: Floats, care: Care) -> tuple[Floats, Floats]:
    """The shading (6, 3) of a surface's pixels and the matrix (3, 3) that makes its spread one, without outliers."""
    thin = slice(None, None, max(len(values) // _ENOUGH, 1))
    colour, terms = values[thin].astype(np.float64), design[thin].astype(np.float64)
    ridge = np.diag([1e-9] + [2e-3] * (terms.shape[1] - 1)) * len(terms)
    keep = np.ones(len(terms), bool)
    for _ in range(3):
        solution = np.linalg.solve(
            terms[keep].T @ terms[keep] + ridge + 1e-9 * np.eye(terms.shape[1]), terms[keep].T @ colour[keep]
        )
        rest = colour - terms @ solution
        size = np.abs(rest).sum(1)
        keep = size <= 4 * np.median(size) + 1e-6
    way = colour[keep].mean(axis=0)
    way /= max(float(np.linalg.norm(way)), 1e-9)
    least = care.colour**2 * np.eye(3) + (care.light**2 - care.colour**2) * np.outer(way, way)
    spread = np.cov(rest[keep].T) + least
    return solution.astype(np.float32), np.linalg.cholesky(np.linalg.inv(spread)).astype(np.float32)


def _distance(tone: Floats, solution: Floats, whiten: Floats) -> Floats:
    away = cv2.transform(tone, np.ascontiguousarray(whiten.T))
    y, x = _axes(tone.shape)
    total = np.zeros(tone.shape[:2], np.float32)
    for k, c in enumerate((solution @ whiten).T):
        rest = away[..., k] - (c[1] + c[4] * y) * x
        rest -= (c[0] + c[2] * y + c[5] * y * y) + c[3] * x * x
        total += rest * rest
    return np.sqrt(total)


def _inner(valid: Mask, margin: int) -> Mask:
    kernel = np.ones((2 * margin + 1, 2 * margin + 1), np.uint8)
    return np.asarray(cv2.erode(valid.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0)


def _joined(centre: Floats, shares: Doubles) -> list[tuple[float, list[int]]]:
    """Heaps joined where they are near, with their shares, the largest first."""
    left, groups = set(range(len(centre))), []
    while left:
        group = [left.pop()]
        for member in group:
            near = [k for k in left if float(np.linalg.norm(centre[k] - centre[member])) < _HEAP_APART]
            group.extend(near)
            left.difference_update(near)
        groups.append((float(sum(shares[k] for k in group)), group))
    return sorted(groups, key=lambda g: -g[0])


def _hanging_on(alike: Mask, seeds: Mask) -> Mask:
    """The parts of ``alike`` that reach the seeds."""
    _, labels = cv2.connectedComponents(alike.astype(np.uint8), connectivity=4)
    reached = np.unique(labels[seeds & alike])
    return np.asarray(np.isin(labels, reached[reached > 0]))
