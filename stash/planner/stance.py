"""How to read what is uncertain: against the maker for a yes, in her favour for a no, as measured in between.

All lengths of the search are whole micrometres. A yes must hold with demand rounded up and supply rounded down, a no
with demand rounded down and supply rounded up; what falls between is unsure.
"""

from __future__ import annotations

import math
from enum import Enum

FIT_UM = 10
"""Added once to each lane end (um): lengths that differ by at most 0.01 mm are equal, so an exactly full lane on a
turned piece, whose coordinates are written to 0.001 mm, must stay full."""

ROUNDING_UM = 1
"""Kept back from FIT for a yes (um): what writing an outline to 0.001 mm can move a corner."""

_NOISE_DIGITS = 3
"""Decimals of a micrometre that are kept before rounding up or down; less is floating-point noise."""


class Stance(Enum):
    """Which way uncertain amounts and roundings are taken."""

    STRICT = 1
    NOMINAL = 0
    GENEROUS = -1

    @property
    def fit_um(self) -> int:
        """How far a cut may pass the computed edge of the cloth."""
        return FIT_UM - ROUNDING_UM if self is Stance.STRICT else FIT_UM

    def need_um(self, length_mm: float) -> int:
        """A length the garment needs: rounded up for a yes, down for a no."""
        return self._toward(length_mm, up=self is Stance.STRICT)

    def low_um(self, position_mm: float) -> int:
        """The lower end of a stretch of cloth."""
        return self._toward(position_mm, up=self is Stance.STRICT)

    def high_um(self, position_mm: float) -> int:
        """The upper end of a stretch of cloth."""
        return self._toward(position_mm, up=self is Stance.GENEROUS)

    def _toward(self, value_mm: float, *, up: bool) -> int:
        value_um = round(value_mm * 1000.0, _NOISE_DIGITS)
        if self is Stance.NOMINAL:
            return round(value_um)
        return math.ceil(value_um) if up else math.floor(value_um)
