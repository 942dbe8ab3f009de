"""Light in the maker: colours are mixed, shaded and blurred in linear light, as a lens does, and stored as sRGB."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]


def linear(hex_or_rgb: str | tuple[float, float, float]) -> Array:
    """Linear light (3,) in 0..1 of an sRGB colour, given as "#rrggbb" or as three numbers in 0..255 (IEC 61966-2-1)."""
    if isinstance(hex_or_rgb, str):
        hex_or_rgb = tuple(int(hex_or_rgb[i : i + 2], 16) for i in (1, 3, 5))
    s = np.asarray(hex_or_rgb, dtype=np.float32) / 255
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4).astype(np.float32)


_STEPS = 4096
_TABLE = np.linspace(0, 1, _STEPS + 1, dtype=np.float32)
_TABLE = np.where(_TABLE <= 0.0031308, 12.92 * _TABLE, 1.055 * _TABLE ** (1 / 2.4) - 0.055).astype(np.float32)


def encoded(light: Array) -> Array:
    """sRGB in 0..255 (float) of linear light."""
    position = np.clip(light, 0, 1) * _STEPS
    below = np.minimum(position.astype(np.int32), _STEPS - 1)
    share = position - below
    return (_TABLE[below] * (1 - share) + _TABLE[below + 1] * share) * np.float32(255)
