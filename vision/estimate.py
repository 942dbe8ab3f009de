"""A value and how far off it may be: the one word that both sides of the house speak."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A measured value with its expanded uncertainty at 95 % (half-width of the interval), both in one unit.

    A plain float is exact; an Estimate is not. Sums and scalings follow JCGM 100:2008 (GUM) for uncorrelated inputs.
    """

    value: float
    u95: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u95)) or self.u95 < 0:
            raise ValueError(f"an estimate is a finite value with an uncertainty of zero or more, got {self!r}")

    def __add__(self, other: Estimate | float) -> Estimate:
        value, u95 = _parts(other)
        return Estimate(self.value + value, math.hypot(self.u95, u95))

    def __sub__(self, other: Estimate | float) -> Estimate:
        value, u95 = _parts(other)
        return Estimate(self.value - value, math.hypot(self.u95, u95))

    def __mul__(self, factor: float) -> Estimate:
        return Estimate(self.value * factor, self.u95 * abs(factor))

    __rmul__ = __mul__

    def over(self, other: Estimate) -> Estimate:
        """The ratio of two uncorrelated estimates. Raises ZeroDivisionError where the other is zero."""
        ratio = self.value / other.value
        return Estimate(ratio, math.hypot(self.u95, ratio * other.u95) / abs(other.value))

    @property
    def relative_u95(self) -> float:
        """u95 as a fraction of the value; infinite at zero."""
        return self.u95 / abs(self.value) if self.value else math.inf

    def widened(self, relative: float) -> Estimate:
        """The same value with a further relative uncertainty (95 %) added in quadrature."""
        return Estimate(self.value, math.hypot(self.u95, self.value * relative))


def _parts(other: Estimate | float) -> tuple[float, float]:
    return (other.value, other.u95) if isinstance(other, Estimate) else (float(other), 0.0)
