"""A tape that bends as if its ticks slid past each other: they stay parallel, and are spaced evenly square to them.

So a strip of loose weave gives in its plane, and so do tapes in pictures that were bent by moving each of their columns
along itself. Held to be a beam, whose ticks turn with it, such a tape passes for one far askew of the camera: the ticks
that ought to fan out run together for it, towards a horizon that is not there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.reference.reading import Reading

Floats = NDArray[np.float64]

#: Parameters of a shear besides the bow in the tape's middle: the slope there, and how fast the bow changes along the
#: tape, 1/mm². One standard deviation of each: a slope of 17 degrees, and the bow of a tape that curls (radius one
#: metre) come and gone within 200 mm (our estimates).
SHEAR, SHEAR_SIGMA = 2, np.array([0.3, 5e-6])
#: A tape is taken to have been sheared where that costs so many nats less than a beam that bends and rises, and by such
#: a share less: fans of ticks and tilts are alike, and so are neighbouring marks' errors (drawn tapes of either kind: a
#: beam costs up to 2 % more as a beam, a sheared tape 8 to 30 %).
SURE_NATS, SURE_SHARE = 10.0, 0.05


def sheared(reading: Reading, bow: float, own: Floats) -> Floats:
    """Where the marks (N, 2) of a tape lie, mm, whose line bows by ``bow`` (1/mm) in its middle; ``own`` (SHEAR,)."""
    middle = float(reading.marks_mm[:, 0].mean())
    s = reading.marks_mm[:, 0] - middle
    aside = s * (own[0] + s * (bow / 2 + s * own[1] / 6))
    return np.column_stack([reading.marks_mm[:, 0], reading.marks_mm[:, 1] + aside])


def surely_sheared(cost: float, otherwise: float) -> bool:
    """Whether a tape was sheared, by what that costs and what a beam does, nats."""
    return otherwise - cost > max(SURE_NATS, SURE_SHARE * otherwise)
