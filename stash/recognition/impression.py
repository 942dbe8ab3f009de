"""What a scrap shows of itself: the colours along its stripes, what repeats, and of which colours it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from stash.fabric import Stripe
from vision.estimate import Estimate

Floats = NDArray[np.float64]

#: Colours of one look, CIELAB distance: weave, shading and the soft edges between colours scatter by less (practice).
ONE_LOOK: Final = 14.0
#: A colour that takes less of the cloth than this is an edge between two others, or a slub (our judgement).
LEAST_SHARE: Final = 0.04
#: More colours than this no print is told by.
MOST_COLOURS: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """The cloth's colours along one direction, each the mean across it.

    ``colours`` (N, 3), stored values in 0 to 1, ``step_mm`` apart, the first at ``start_mm`` along the direction (the
    scrap's own frame); ``edges_mm`` (E,) from the first, where the look changes. ``repeat`` and ``stripes``, whose
    centres count from ``origin_mm`` along the direction, are known where a whole repeat shows.
    """

    colours: Floats
    step_mm: float
    start_mm: float
    direction_deg: float
    edges_mm: Floats
    repeat: Estimate | None = None
    origin_mm: float = 0.0
    stripes: tuple[Stripe, ...] = ()

    @property
    def length_mm(self) -> float:
        """From the first place to the last."""
        return (len(self.colours) - 1) * self.step_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Impression:
    """One scrap as it looks. ``kind`` is the print's, None where it could not be told.

    ``runs``: across the stripes, and of a check along them too. ``across``, ``along`` and ``lattice`` are a motif's.
    ``pixels`` (M, 3) are stored values in 0 to 1 from all over it, coarse enough to blur the weave away.
    ``extent_mm``: so large it is at least, whichever way it is measured. ``place`` says where it lies in the upright
    picture: "top left".
    """

    kind: str | None
    runs: tuple[Run, ...] = ()
    across: Estimate | None = None
    along: Estimate | None = None
    lattice: str | None = None
    pixels: Floats
    extent_mm: float = 0.0
    place: str = ""


def gathered(labs: Floats) -> tuple[tuple[int, float], ...]:
    """The colours that a cloth is of, the most first: for each the row of ``labs`` (M, 3) in its middle, and its share.

    A colour gathers what lies within ONE_LOOK of the fullest place that is left.
    """
    left = np.ones(len(labs), dtype=bool)
    found: list[tuple[int, float]] = []
    near = np.linalg.norm(labs[:, None] - labs[None], axis=2)
    while left.any() and len(found) < MOST_COLOURS:
        crowd = ((near < ONE_LOOK / 2) & left[None]).sum(axis=1) * left
        middle = int(np.argmax(crowd))
        around = (near[middle] < ONE_LOOK) & left
        share = float(around.mean())
        if share < LEAST_SHARE:
            break
        found.append((middle, share))
        left &= ~around
    return tuple(found)
