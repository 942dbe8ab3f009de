"""What residuals count for: far ones less (Huber, Robust Statistics, 1981), and those that agree with neighbours."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Residuals beyond this many standard deviations count less and less (Huber's constant, 95 % efficiency).
HUBER = 1.345
#: Degrees of freedom of a belief that may be quite wrong: one in twenty lies beyond 3.2 standard deviations, as of the
#: lenses that photographs do not tell of (our estimate; Lange, Little, Taylor, J. Am. Stat. Assoc. 84 (1989) 881).
FREEDOM = 3.0
#: What is known to a smaller share was told (EXIF's focal length: 5 %), what is not was assumed (a phone's: 15 %).
ASSUMED_U95 = 0.10


def huber(residual: Floats) -> Floats:
    """The weights of residuals (N,), in standard deviations."""
    size = np.abs(residual)
    return np.where(size <= HUBER, 1.0, HUBER / np.maximum(size, 1e-12))


def huber_cost(residual: Floats) -> float:
    """The cost (nats) of residuals (N,), in standard deviations."""
    size = np.abs(residual)
    return float(np.where(size <= HUBER, 0.5 * size**2, HUBER * (size - 0.5 * HUBER)).sum())


def belief(residual: float, u95: float) -> float:
    """A residual, in standard deviations, of what is known before the picture is looked at, to ``u95``.

    What is only assumed may be quite wrong: it counts as Student's t has it, and far off it hardly resists what the
    picture shows.
    """
    if u95 < ASSUMED_U95:
        return residual
    return math.copysign(math.sqrt(FREEDOM * math.log1p(residual**2 / FREEDOM)), residual)


def agreement(residual: Floats) -> float:
    """How much neighbouring residuals (N,) agree, 1 where they do not: a bowed rule's errors do not average out like
    noise."""
    if residual.size < 12:
        return 1.0
    a, b = np.clip(residual[:-1], -3, 3), np.clip(residual[1:], -3, 3)
    rho = float(np.clip((a @ b) / max(1e-12, float(a @ a)), 0.0, 0.9))
    return (1 + rho) / (1 - rho)
