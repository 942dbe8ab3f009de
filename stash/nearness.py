"""CIEDE2000 from one colour to many at once.

Reference: G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula", Color Research and Application 30
(2005), from which the names of the terms are taken.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
_25_7: Final = 25.0**7


def differences(one: ArrayLike, others: ArrayLike) -> Floats:
    """CIEDE2000 (n,) between a CIELAB colour (3,), or one each (n, 3), and others (n, 3); about 1 is just seen side by
    side (common practice)."""
    l1, a1, b1 = np.asarray(one, dtype=np.float64).reshape(-1, 3).T
    l2, a2, b2 = np.asarray(others, dtype=np.float64).reshape(-1, 3).T
    chroma = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(chroma / (chroma + _25_7))
    a_one, a_two = a1 * stretch, a2 * stretch
    c1, c2 = np.hypot(a_one, b1), np.hypot(a_two, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a_one)) % 360, np.degrees(np.arctan2(b2, a_two)) % 360
    turn, hue = _hues(h1, h2, c1 * c2 == 0)
    light, c = (l1 + l2) / 2, (c1 + c2) / 2
    t = 1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)
    off = (light - 50) ** 2
    s_l, s_c, s_h = 1 + 0.015 * off / np.sqrt(20 + off), 1 + 0.045 * c, 1 + 0.015 * c * t
    blue = 60 * np.exp(-(((hue - 275) / 25) ** 2))
    r_t = -2 * np.sqrt(c**7 / (c**7 + _25_7)) * np.sin(np.radians(blue))
    d_l, d_c = (l2 - l1) / s_l, (c2 - c1) / s_c
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2)) / s_h
    return np.asarray(np.sqrt(np.maximum(0.0, d_l * d_l + d_c * d_c + d_h * d_h + r_t * d_c * d_h)))


def _hues(h1: Floats, h2: Floats, grey: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """The turn from one hue to the other the short way, and the hue between them; grey has no hue."""
    turn, both = h2 - h1, h1 + h2
    far = np.abs(turn) > 180
    turn = np.where(far, turn - 360 * np.sign(turn), turn)
    middle = np.where(far, (both + np.where(both < 360, 360, -360)) / 2, both / 2)
    return np.where(grey, 0.0, turn), np.where(grey, both, middle)


def _cos(degrees: Floats) -> Floats:
    return np.asarray(np.cos(np.radians(degrees)))
