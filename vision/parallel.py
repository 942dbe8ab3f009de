"""Places on parallel, evenly spaced lines of a print, and how far they lie off them for a plane."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import inverse, mapped

Floats = NDArray[np.float64]


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


def stripe_start(places_mm: Floats, print_: Stripes) -> list[float]:
    """What lines have of their own, on a first plane: direction (rad) across them, repeat (mm), offset (mm) of each
    family, and how the print bends and crowds (three, mm at ``half_mm``)."""
    families = np.eye(int(print_.family.max()) + 1)[print_.family]
    solved = np.linalg.lstsq(np.hstack([places_mm, families]), print_.order, rcond=None)[0]
    repeat = 1 / float(np.hypot(*solved[:2]))
    return [math.atan2(solved[1], solved[0]), repeat, *(-repeat * solved[2:]), 0.0, 0.0, 0.0]


def stripe_residual(photo: Floats, seen_px: Floats, print_: Stripes, own: Floats, middle_mm: Floats) -> Floats:
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
