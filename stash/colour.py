"""Colour of cloth as the eye compares it: sRGB to CIELAB and CIEDE2000, in plain numbers and without image libraries.

References: IEC 61966-2-1 (sRGB); CIE 15 (CIELAB, illuminant D65); G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000
color-difference formula", Color Research and Application 30 (2005), from which the names of the terms are taken.
"""

from __future__ import annotations

import math
from typing import Final

from stash.errors import InputWrong

Lab = tuple[float, float, float]

#: Linear sRGB to CIE XYZ (IEC 61966-2-1), and the white of D65 that it adds up to.
_XYZ: Final = ((0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041))
_WHITE: Final = (0.95047, 1.0, 1.08883)
_25_7: Final = 25.0**7


def lab_of(hex_colour: str) -> Lab:
    """CIELAB (D65) of ``#rrggbb``. Raises InputWrong for anything else."""
    digits = hex_colour.strip().removeprefix("#")
    try:
        if len(digits) != 6:
            raise ValueError
        channels = [_linear(int(digits[at : at + 2], 16) / 255) for at in (0, 2, 4)]
    except ValueError:
        raise InputWrong(f'"{hex_colour[:20]}" is no colour', "write it like #a01c24") from None
    x, y, z = (
        _root(sum(weight * channel for weight, channel in zip(row, channels, strict=True)) / white)
        for row, white in zip(_XYZ, _WHITE, strict=True)
    )
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def difference(one: Lab, other: Lab) -> float:
    """CIEDE2000 between two colours; about 1 is just seen side by side, 5 at a glance (common practice)."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    chroma = ((math.hypot(a1, b1) + math.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * math.sqrt(chroma / (chroma + _25_7))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = math.degrees(math.atan2(b1, a1)) % 360, math.degrees(math.atan2(b2, a2)) % 360
    turn, hue = _hues(h1, h2, grey=c1 * c2 == 0)
    light, c = (l1 + l2) / 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * _cos(hue - 30)
        + 0.24 * _cos(2 * hue)
        + 0.32 * _cos(3 * hue + 6)
        - 0.20 * _cos(4 * hue - 63)
    )
    off = (light - 50) ** 2
    s_l, s_c, s_h = 1 + 0.015 * off / math.sqrt(20 + off), 1 + 0.045 * c, 1 + 0.015 * c * t
    blue = 60 * math.exp(-(((hue - 275) / 25) ** 2))
    r_t = -2 * math.sqrt(c**7 / (c**7 + _25_7)) * math.sin(math.radians(blue))
    d_l, d_c = (l2 - l1) / s_l, (c2 - c1) / s_c
    d_h = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(turn / 2)) / s_h
    return math.sqrt(max(0.0, d_l * d_l + d_c * d_c + d_h * d_h + r_t * d_c * d_h))


def _hues(h1: float, h2: float, *, grey: bool) -> tuple[float, float]:
    """The turn from one hue to the other the short way, and the hue between them; grey has no hue."""
    if grey:
        return 0.0, h1 + h2
    turn = h2 - h1
    if abs(turn) <= 180:
        return turn, (h1 + h2) / 2
    turn += 360 if turn < 0 else -360
    return turn, (h1 + h2 + (360 if h1 + h2 < 360 else -360)) / 2


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)


def _root(value: float) -> float:
    return math.cbrt(value) if value > (6 / 29) ** 3 else value / (3 * (6 / 29) ** 2) + 4 / 29
