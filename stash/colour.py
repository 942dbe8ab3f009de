"""Colour of cloth in CIELAB, in plain numbers and without image libraries.

References: IEC 61966-2-1 (sRGB); CIE 15 (CIELAB, illuminant D65).
"""

from __future__ import annotations

import math
from typing import Final

from stash.errors import InputWrong

Lab = tuple[float, float, float]

#: Linear sRGB to CIE XYZ (IEC 61966-2-1), and the white of D65 that it adds up to.
_XYZ: Final = ((0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041))
_WHITE: Final = (0.95047, 1.0, 1.08883)


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


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)


def _root(value: float) -> float:
    return math.cbrt(value) if value > (6 / 29) ** 3 else value / (3 * (6 / 29) ** 2) + 4 / 29
