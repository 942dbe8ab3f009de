"""How one cloth's colours differ between two photographs of it: the light's strength and tint, a factor a channel.

Colours are sRGB in 0 to 1 as they are stored ("coded", IEC 61966-2-1). Light of another strength or tint brings each
channel of linear light to a multiple of itself (von Kries 1902), and the stored value, nearly a power of it, too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: How far photographs of one cloth differ as stored, as a share (standard deviation): all channels together, 0.15 being
#: half a stop of exposure (2^(0.5/2.2) = 1.17), and each channel beside the others, 0.035 being what a phone's white
#: balance leaves between lamp and window (our judgement; neighbouring photographs in a room differ by 0.02 to 0.05).
EXPOSURE_SPREAD: Final = 0.15
BALANCE_SPREAD: Final = 0.035
#: The same between scraps of one photograph: the light falls off across the table by up to a fifth, the tint is one but
#: for what the photographs that the fabrics are known from differ by.
SHARED_EXPOSURE_SPREAD: Final = 0.06
SHARED_BALANCE_SPREAD: Final = 0.025

_TO_XYZ: Final = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE: Final = np.array([0.95047, 1.0, 1.08883])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """What is thought of the light before a colour is seen: factors (3,) on stored values, their precision (3, 3)."""

    factor: Floats
    precision: Floats

    def fitted(self, seen: Floats, known: Floats, weight: Floats, spread: float) -> Floats:
        """The likeliest factors (..., 3), where colours ``known`` (..., N, 3) are seen as ``seen`` (N, 3).

        ``weight`` (..., N) is how many independent looks each place counts for, ``spread`` how far a look is off.
        """
        w = weight[..., None] / spread**2
        left = np.zeros((*weight.shape[:-1], 3, 3)) + self.precision
        left[..., range(3), range(3)] += (w * known * known).sum(axis=-2)
        right = self.precision @ self.factor + (w * known * seen).sum(axis=-2)
        return np.asarray(np.linalg.solve(left, right[..., None])[..., 0])

    def strain(self, factor: Floats) -> Floats:
        """How unlikely such factors (..., 3) are: the square of their distance in standard deviations."""
        off = factor - self.factor
        return np.asarray(np.einsum("...i,ij,...j->...", off, self.precision, off))


def unknown_light() -> Light:
    """The light of a photograph of which nothing is known yet."""
    return _light(np.ones(3), EXPOSURE_SPREAD, BALANCE_SPREAD)


def shared_light(factors: Sequence[Floats]) -> Light:
    """The light of a photograph in which cloth that is known already was seen with these factors (3,)."""
    seen = np.median(np.array(factors), axis=0)
    few = 1 + 1 / len(factors)
    return _light(seen, SHARED_EXPOSURE_SPREAD * few, SHARED_BALANCE_SPREAD * few)


def _light(factor: Floats, exposure: float, balance: float) -> Light:
    spread = exposure**2 * np.ones((3, 3)) + balance**2 * np.eye(3)
    return Light(factor=factor, precision=np.asarray(np.linalg.inv(spread), dtype=np.float64))


def coded(hex_colours: Sequence[str]) -> Floats:
    """Stored values (N, 3) in 0 to 1 of ``#rrggbb``."""
    digits = [colour.removeprefix("#") for colour in hex_colours]
    rows = [[int(word[at : at + 2], 16) / 255 for at in (0, 2, 4)] for word in digits]
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


def hex_of(colour: ArrayLike) -> str:
    """``#rrggbb`` of stored values (3,) in 0 to 1."""
    red, green, blue = np.rint(np.clip(np.asarray(colour, dtype=np.float64), 0, 1) * 255).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"


def lab(colours: Floats) -> Floats:
    """CIELAB (..., 3), D65, of stored values (..., 3) in 0 to 1 (CIE 15)."""
    linear = np.where(colours <= 0.04045, colours / 12.92, ((np.maximum(colours, 0.04045) + 0.055) / 1.055) ** 2.4)
    share = linear @ _TO_XYZ.T / _WHITE
    low = (6 / 29) ** 3
    x, y, z = np.moveaxis(np.where(share > low, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29), -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)
