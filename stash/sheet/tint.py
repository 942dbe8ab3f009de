"""Colours of cloth on paper: paler, as a grey, and as a plain word."""

from __future__ import annotations

import colorsys
import re
from typing import Final

from stash.sheet.drawing import INK, WHITE

#: Cloth whose colour is not known is drawn in this.
UNKNOWN: Final = "#e4dfd5"

#: The upper end of each hue, in degrees of the colour circle (common practice: where a painter would draw the line).
_HUES: Final = (
    (15, "red"), (42, "orange"), (68, "yellow"), (165, "green"), (200, "turquoise"), (255, "blue"), (290, "purple"),
    (335, "pink"), (361, "red"),
)  # fmt: skip


def known(colour: str | None) -> str:
    """The colour if it is written as ``#rrggbb``; else the tint of cloth that is not known."""
    return colour.lower() if colour and re.fullmatch(r"#[0-9a-fA-F]{6}", colour) else UNKNOWN


def paler(colour: str, share: float) -> str:
    """The colour mixed with white: ``share`` 0 leaves it, 1 is white."""
    return "#" + "".join(f"{round(part + (255 - part) * share):02x}" for part in _parts(colour))


def lightness(colour: str) -> float:
    """Relative luminance, 0 black to 1 white (WCAG 2.2, from IEC 61966-2-1)."""
    linear = [(c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4) for c in (p / 255 for p in _parts(colour))]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def on(colour: str) -> str:
    """Ink or white, whichever is read more easily on the colour."""
    return WHITE if lightness(colour) < 0.18 else INK


def word(colour: str) -> str:
    """A plain word for the colour: what she would call it across the table."""
    red, green, blue = (part / 255 for part in _parts(colour))
    hue, light, saturation = colorsys.rgb_to_hls(red, green, blue)
    if light > 0.93 or (light > 0.82 and saturation < 0.25):
        return "white"
    if light < 0.1:
        return "black"
    if saturation < 0.12:
        return "grey"
    if light > 0.78 and hue * 360 < 68:
        return "cream"
    name = next(name for end, name in _HUES if hue * 360 < end)
    if name == "orange" and light < 0.4:
        return "brown"
    return f"dark {name}" if light < 0.25 else name


def _parts(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
