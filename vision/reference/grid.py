"""A grid of fine lines followed from one place to all others, patch by patch, each placed by the phase of its lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.reference.strip import sample, strip_level

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A patch spans so many lines each way, seen at so many places for each; patches stand so many lines apart.
PATCH, SAMPLES, STRIDE = 4, 10, 2
#: A patch belongs to the grid if each of its inner lines has between the first and the second share of the ink of the
#: first patch's (tenth lines have up to eight times that of others; own rendered scenes), in the end at least the third
#: share of all patches' middle ink, and if they lie this near to where they must, in spacings.
LEAST_INK, MOST_INK, SOUND_INK, ASTRAY = 0.2, 15.0, 0.3, 0.2
#: Fewer patches are chance; with more than the second and the third the course may bend (perspective, the lens).
FEWEST, BENDING, TURNING = 6, 16, 48

_INNER = (-1, 0, 1)
_AT = (np.arange(PATCH * SAMPLES) + 0.5) / SAMPLES - PATCH / 2
#: Weighs a patch's profile so that neither the paper's shading nor one strong line passes for an even spacing (Hann).
_WAVE = np.cos(np.pi * _AT / PATCH) ** 2 * np.exp(-2j * np.pi * _AT)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Patches of a grid: ``node`` (N, 2) counts lines in both directions from the first patch, ``place_px`` (N, 2) is
    each one's middle, ``profile`` (N, 2, S) the grey values across both families of lines, ``SAMPLES`` a spacing from
    ``PATCH`` / 2 spacings before the middle to as many behind it."""

    node: Ints
    place_px: Floats
    profile: Floats
    course: Course


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """Where the crossings of lines lie: a plane lattice that bends a little, as perspective and the lens make it."""

    origin_px: Floats
    basis_px: Floats
    powers: Ints
    weight: Floats

    def at(self, node: Floats | Ints) -> Floats:
        """Places (N, 2), px, of lattice points (N, 2)."""
        return np.asarray(self.origin_px + node @ self.basis_px.T + _terms(node, self.powers) @ self.weight)

    def basis_at(self, node: Floats | Ints) -> Floats:
        """The steps (N, 2, 2), px, from line to line there: the last index tells the direction."""
        steps = [(self.at(node + half) - self.at(node - half)) for half in 0.5 * np.eye(2)]
        return np.stack(steps, axis=-1)


def grow(levels: Sequence[NDArray[np.uint8]], place_px: Floats, basis_px: Floats, *, most: int) -> Grid | None:
    """The grid round a place (2,) of a picture, of at most about ``most`` patches; None where there is none.

    ``basis_px`` (2, 2) holds the steps from line to line, near enough, as its columns.
    """
    first = np.zeros((1, 2), np.int64)
    course = Course(origin_px=place_px, basis_px=basis_px, powers=first[:0], weight=np.zeros((0, 2)))
    for _ in range(2):
        profile, offset = _looked(levels, course, first)
        course = replace(course, origin_px=course.origin_px + basis_px @ offset[0])
    usual = np.median(_inks(profile), axis=2)
    if usual.min() <= 0:
        return None
    node, place = first, course.origin_px[None]
    tried = {(0, 0)}
    while len(node) < most:
        fresh = _neighbours(node, tried)
        if not len(fresh):
            break
        tried.update(map(tuple, fresh.tolist()))
        seen, offset = _looked(levels, course, fresh)
        kept = (np.abs(offset) < ASTRAY).all(axis=1) & _alike(seen, usual[0], LEAST_INK)
        if not kept.any():
            break
        basis = course.basis_at(fresh[kept])
        place = np.concatenate([place, course.at(fresh[kept]) + (basis @ offset[kept][..., None])[..., 0]])
        node = np.concatenate([node, fresh[kept]])
        profile = np.concatenate([profile, seen[kept]])
        course = _fitted(course, node, place)
    sound = _alike(profile, np.median(np.median(_inks(profile), axis=2), axis=0), SOUND_INK)
    # a single row of patches spans no plane: with a wrong spacing across, one is all that is found
    if np.count_nonzero(sound) < FEWEST or np.ptp(node[sound], axis=0).min() == 0:
        return None
    return Grid(node=node[sound], place_px=place[sound], profile=profile[sound], course=course)


def _neighbours(node: Ints, tried: set[tuple[int, int]]) -> Ints:
    steps = STRIDE * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
    around = np.unique((node[:, None] + steps).reshape(-1, 2), axis=0)
    return np.array([one for one in around.tolist() if tuple(one) not in tried], dtype=np.int64).reshape(-1, 2)


def _looked(levels: Sequence[NDArray[np.uint8]], course: Course, node: Ints) -> tuple[Floats, Floats]:
    """Profiles (N, 2, S) of patches, and how far (N, 2) their lines stand off, in spacings."""
    basis = course.basis_at(node)
    period = float(np.sqrt(np.median(np.abs(np.linalg.det(basis)))))
    down, right = np.meshgrid(_AT, _AT, indexing="ij")
    inside = np.stack([right, down], axis=-1).reshape(-1, 2)
    points = course.at(node)[:, None] + inside @ np.swapaxes(basis, 1, 2)
    grey = sample(levels, strip_level(levels, period), points).reshape(len(node), _AT.size, _AT.size)
    # the middle one along the lines: neither the lines that cross nor what lies beside the paper counts
    profile = np.stack([np.median(grey, axis=1), np.median(grey, axis=2)], axis=1).astype(np.float64)
    offset = (np.pi - np.angle(profile @ _WAVE)) / (2 * np.pi)
    return profile, (offset + 0.5) % 1.0 - 0.5


def _fitted(course: Course, node: Ints, place: Floats) -> Course:
    """The course through all patches found; it bends only where they are enough, and spread enough, to say so."""
    degree = 1 if len(node) < BENDING else 2 if len(node) < TURNING else 3
    lines = [len(np.unique(node[:, k])) for k in (0, 1)]
    powers = np.array(
        [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i) if i < lines[0] and j < lines[1]],
        dtype=np.int64,
    )
    rest = place - course.origin_px - node @ course.basis_px.T
    weight = np.linalg.lstsq(_terms(node, powers), rest, rcond=None)[0]
    return replace(course, powers=powers, weight=np.asarray(weight, dtype=np.float64))


def _terms(node: Floats | Ints, powers: Ints) -> Floats:
    scaled = np.asarray(node, dtype=np.float64) / 16.0
    return np.asarray(scaled[:, None, 0] ** powers[:, 0] * scaled[:, None, 1] ** powers[:, 1])


def lines_of(grid: Grid, family: int) -> tuple[Ints, Floats]:
    """The numbers (M,) of a family's lines, and how much ink (M,) each is, grey levels times spacings.

    Of all patches that show a line the middle value counts, so that no stain or crease makes a line strong.
    """
    inks = _inks(grid.profile)[:, family]
    number = grid.node[:, family, None] + np.array(_INNER)
    numbers = np.unique(number)
    return numbers, np.array([float(np.median(inks[number == one])) for one in numbers])


def _alike(profile: Floats, usual: Floats, least: float) -> NDArray[np.bool_]:
    """Which patches (N,) have all their inner lines, with the usual ink (2,) of each family or near enough."""
    share = _inks(profile) / usual[:, None]
    return np.asarray(((share > least) & (share < MOST_INK)).all(axis=(1, 2)), dtype=np.bool_)


def _inks(profile: Floats) -> Floats:
    """The ink (N, 2, 3) of the inner lines of patches: how much darker they are than the lighter gap beside each."""
    inks = []
    for step in _INNER:
        middle = round((step + PATCH / 2) * SAMPLES)
        around = profile[..., middle - SAMPLES // 2 : middle + SAMPLES // 2]
        inks.append(np.maximum(around[..., :2].mean(axis=-1), around[..., -2:].mean(axis=-1)) - around.mean(axis=-1))
    return np.stack(inks, axis=-1)


def scatter_px(grid: Grid) -> float:
    """How far (one standard deviation, px, in one direction) patches lie off their smooth course."""
    off = grid.place_px - grid.course.at(grid.node)
    return float(np.median(np.hypot(off[:, 0], off[:, 1]))) / math.sqrt(math.log(4.0))
