"""Damped least squares: steps down a cost, as long as they gain.

Reference: Levenberg, Quarterly of Applied Mathematics 2 (1944) 164 (damping).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: The first damping, in the scaled normal equations; what it grows by where a step gains nothing, how often before that
#: is the end, and what it shrinks by after one that does.
FIRST_DAMPING, HARDER, TRIES, EASIER, LEAST_DAMPING = 1e-3, 6.0, 8, 8.0, 1e-9


def descended(
    params: Floats,
    cost_of: Callable[[Floats], float],
    normal_of: Callable[[Floats], tuple[Floats, Floats]],
    *,
    most: int,
    enough: float,
) -> tuple[Floats, float]:
    """The parameters (P,) after at most ``most`` steps, or once a step gains less than a share ``enough``; their cost.

    ``normal_of`` gives the normal equations' matrix (P, P) and the cost's slope (P,); ``cost_of`` is infinite where
    nobody may go.
    """
    cost, damping = cost_of(params), FIRST_DAMPING
    for _ in range(most):
        normal, pull = normal_of(params)
        size = np.sqrt(np.diag(normal)) + 1e-12
        normal = normal / np.outer(size, size)
        for _ in range(TRIES):
            step = np.linalg.lstsq(normal + damping * np.eye(size.size), -pull / size, rcond=None)[0] / size
            trial = params + step
            fresh = cost_of(trial)
            if fresh < cost:
                break
            damping *= HARDER
        else:
            break
        gain = cost - fresh
        params, cost, damping = trial, fresh, max(LEAST_DAMPING, damping / EASIER)
        if gain < enough * max(1.0, cost):
            break
    return params, cost
