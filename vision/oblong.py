"""Which rectangle of a lattice is the print's own repeat, and how a cloth lies in the picture."""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

import cv2
import numpy as np

from vision.measurement import LatticeKind
from vision.swatch import EDGE_MARGIN_MM, Doubles, Swatch

#: Degrees from square that two axes of a rectangular repeat may be: cloth is not pulled further askew.
SQUARE_PLAY_DEG = 5.0
#: Axes within this of square, deg, go before others that are not: no photograph is rectified worse (rendered scenes).
NEARLY_SQUARE_DEG = 1.5
#: A lattice near a hexagon holds three rectangles of one area and nearly one size (their sides as 1 to the root of 3).
#: Rectangles whose diagonals differ by less than this share are such rivals; the squarest that lies along the cloth is
#: the print's own: off square by about so much, deg (rectification, rendered scenes), and what is not known of the
#: plane beside; askew in the photo by so much. It is told where the next is less likely by this much (a chi-square: of
#: two that lie so, e² to one).
RIVAL_SHARE = 0.15
_SQUARE_SIGMA_DEG, _LEAN_SIGMA_DEG = 0.25, 12.0
_SURE = 4.0
#: Prints lie along their cloth within this, mostly (practice); a lattice far from that is a half-drop or brick.
_ALIGNED_DEG, _OBLIQUE_DEG = 15.0, 30.0
#: ... and along the photo within this where a person laid the cloth straight for it (practice). Where the picture does
#: not show how the cloth lies, no more than this tells a half-drop as wide as high from a square cell turned by half
#: a right angle; farther from it the smallest rectangle counts.
_LAID_DEG = 5.0
#: Cloth that fills so much of the rectangle round it is one itself: how others lie is not known.
_RECTANGLE_SHARE = 0.9
#: Cloth that fills so much of the picture has the picture's outline, but for a corner at most, and not its own.
_BEYOND_SHARE = 0.9
#: What is to be said where the rectangle is not sure, and where columns or rows are shifted otherwise than by a half.
LIKE_A_HONEYCOMB = (
    "The motifs lie much like a honeycomb's cells, so their rows may run in any of three ways, and nothing tells in "
    "which: photograph the cloth from straight above, lying straight, with its edges in view."
)
OTHERWISE_SHIFTED = (
    "The motif's columns are shifted by another share than a half: only its rectangular repeat is given."
)


class Named(NamedTuple):
    """What a lattice is called: its kind, None where the shift is another share than a half; its vectors and the sides
    of its smallest rectangular repeat, (x, y); and whether no other rectangle may be the print's own as well."""

    kind: LatticeKind | None
    a: Doubles
    b: Doubles
    across: Doubles
    along: Doubles
    sure: bool


#: Cells, squared diagonal, lean (deg), across, along, whether far from square, and degrees off square.
_Rectangle = tuple[int, float, float, Doubles, Doubles, bool, float]


def lying_deg(swatch: Swatch, picture_mm2: float = math.inf) -> float | None:
    """How a rectangular cloth lies in the picture: the angle of a side, counter-clockwise as seen, in [-45, 45). None
    where its outline does not tell: it is no rectangle, or that of the picture, which shows ``picture_mm2``.

    Prints run along their cloth, however that lies.
    """
    rows = np.flatnonzero(swatch.mask.any(axis=1))
    if not len(rows):
        return None
    cloth = swatch.mask[rows]
    ends = np.concatenate([cloth.argmax(axis=1), cloth.shape[1] - 1 - cloth[:, ::-1].argmax(axis=1)])
    corners = cv2.convexHull(np.stack([ends, np.tile(rows, 2)], axis=1).astype(np.float32))
    area = cv2.contourArea(corners)
    _, size, angle = cv2.minAreaRect(corners)
    if area < _RECTANGLE_SHARE * size[0] * size[1]:
        return None
    shown_mm2 = area / swatch.px_per_mm**2 + EDGE_MARGIN_MM * cv2.arcLength(corners, True) / swatch.px_per_mm
    if shown_mm2 > _BEYOND_SHARE * picture_mm2:
        return None
    return (45.0 - angle) % 90.0 - 45.0


def _unlikely(rectangle: _Rectangle, angle_u95_deg: float) -> float:
    """How unlikely it is that a print's own rectangle is so far off square and lies so askew (a chi-square)."""
    sigma = math.hypot(_SQUARE_SIGMA_DEG, angle_u95_deg / 2)
    return (rectangle[6] / sigma) ** 2 + (rectangle[2] / _LEAN_SIGMA_DEG) ** 2


def named_of(basis: Doubles, lying: float | None = None, angle_u95_deg: float = 0.0) -> Named | None:
    """What a lattice (2, 2) is called, across nearer the x axis; None where no repeat of it is square.

    ``lying``: how the cloth lies, deg; where that is not known it is taken to lie along the photo, more or less.
    ``angle_u95_deg``: what the picture leaves open of angles between directions about square to each other. The
    lattices of a half-drop and a brick are the same when turned: the wider rectangle is called a half-drop.
    """
    found: list[_Rectangle] = []
    whole = [(i, j) for i in range(-4, 5) for j in range(-4, 5) if (i, j) > (0, 0) and math.gcd(i, j) == 1]
    for p, q in itertools.combinations(whole, 2):
        index = abs(p[0] * q[1] - p[1] * q[0])
        if not 1 <= index <= 4:
            continue
        first, second = np.array(p) @ basis, np.array(q) @ basis
        cosine = float(first @ second) / float(np.hypot(*first) * np.hypot(*second))
        off_square = abs(math.degrees(math.asin(np.clip(cosine, -1, 1))))
        if off_square > SQUARE_PLAY_DEG:
            continue
        nearer = abs(first[0]) * np.hypot(*second) >= abs(second[0]) * np.hypot(*first)
        across, along = (first, second) if nearer else (second, first)
        across, along = across * (1 if across[0] > 0 else -1), along * (1 if along[1] > 0 else -1)
        lean = abs((math.degrees(math.atan2(-across[1], across[0])) - (lying or 0.0) + 45) % 90 - 45)
        askew = off_square > max(NEARLY_SQUARE_DEG, angle_u95_deg) or index > 2
        found.append((index, float(across @ across + along @ along), lean, across, along, askew, off_square))
    if not found:
        return None
    found.sort(key=lambda f: (f[5], f[0], f[1]))
    least = found[0]
    rivals = [f for f in found if (f[5], f[0]) == (least[5], least[0]) and f[1] < (1 + RIVAL_SHARE) ** 2 * least[1]]
    rivals.sort(key=lambda f: _unlikely(f, angle_u95_deg))
    best, likely = rivals[0], [_unlikely(f, angle_u95_deg) for f in rivals]
    sure = len(rivals) == 1 or likely[1] - likely[0] >= _SURE
    upright = [f for f in found if f[0] == 2 and f[2] <= (_LAID_DEG if lying is None else _ALIGNED_DEG)]
    if best[0] == 1 and best[2] > _OBLIQUE_DEG and upright and _unlikely(upright[0], angle_u95_deg) < likely[0]:
        best = upright[0]
    index, across, along = best[0], best[3], best[4]
    if index == 1:
        return Named("straight", across, along, across, along, sure)
    middle = (across + along) / 2
    if index == 2 and np.hypot(*across) >= np.hypot(*along):
        return Named("half_drop", middle, along, across, along, sure)
    if index == 2:
        return Named("brick", across, middle, across, along, sure)
    return Named(None, basis[0], basis[1], across, along, sure)
