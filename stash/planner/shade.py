"""How far two colours are apart, from their sRGB hex values, in plain arithmetic: what decides opens no image library.

References:
    IEC 61966-2-1 (sRGB, D65). G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula", *Color Research
    and Application* 30 (2005): the formula and 34 pairs to check it by, which are in ``tests/data``.
"""

from __future__ import annotations

import math
import re
from typing import Final

Lab = tuple[float, float, float]

#: Rows of the matrix from linear sRGB to CIE XYZ, each divided by the white point D65 (IEC 61966-2-1).
_TO_XYZ: Final = (
    (0.4124 / 0.9505, 0.3576 / 0.9505, 0.1805 / 0.9505),
    (0.2126, 0.7152, 0.0722),
    (0.0193 / 1.089, 0.1192 / 1.089, 0.9505 / 1.089),
)
_HEX: Final = re.compile(r"#?([0-9a-fA-F]{6})")
_SEVENTH: Final = 25.0**7


def lab_of(colour: str | None) -> Lab | None:
    """CIELAB of ``#rrggbb``; None for anything else."""
    match = _HEX.fullmatch(colour or "")
    if match is None:
        return None
    light = [_linear(int(match[1][at : at + 2], 16) / 255) for at in (0, 2, 4)]
    x, y, z = (_root(sum(k * v for k, v in zip(row, light, strict=True))) for row in _TO_XYZ)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def _linear(encoded: float) -> float:
    return encoded / 12.92 if encoded <= 0.04045 else float(((encoded + 0.055) / 1.055) ** 2.4)


def _root(value: float) -> float:
    return float(value ** (1 / 3)) if value > (6 / 29) ** 3 else value / (3 * (6 / 29) ** 2) + 4 / 29


def ciede2000(one: Lab, other: Lab) -> float:
    """The colour difference of two CIELAB values; 1 is just seen side by side, 10 at a glance (common practice)."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2
    grow = 1.5 - 0.5 * math.sqrt(mean**7 / (mean**7 + _SEVENTH))
    c1, c2 = math.hypot(grow * a1, b1), math.hypot(grow * a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, grow * a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    turn = 0.0 if c1 * c2 == 0 else (h2 - h1 + 180) % 360 - 180
    if turn == -180 and h2 > h1:
        turn = 180.0
    hue_step = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(turn / 2))
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    if c1 * c2 == 0:
        hue = h1 + h2
    else:
        hue = (h1 + h2) / 2 if abs(h1 - h2) <= 180 else ((h1 + h2 + 360) / 2 if h1 + h2 < 360 else (h1 + h2 - 360) / 2)
    weight = 1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)
    by_light = 1 + 0.015 * (light - 50) ** 2 / math.sqrt(20 + (light - 50) ** 2)
    by_chroma, by_hue = 1 + 0.045 * chroma, 1 + 0.015 * chroma * weight
    swing = 60 * math.exp(-(((hue - 275) / 25) ** 2))
    tilt = -math.sin(math.radians(swing)) * 2 * math.sqrt(chroma**7 / (chroma**7 + _SEVENTH))
    dl, dc, dh = (l2 - l1) / by_light, (c2 - c1) / by_chroma, hue_step / by_hue
    return math.sqrt(max(0.0, dl * dl + dc * dc + dh * dh + tilt * dc * dh))


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))
