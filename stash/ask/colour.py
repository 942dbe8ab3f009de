"""Colour words, as people say them of cloth, and a colour to draw each in. The shades are our own choice."""

from __future__ import annotations

from typing import Final

_SHADES: Final[dict[str, str]] = {
    "red": "#b02a30", "scarlet": "#c8202c", "crimson": "#9c1b31", "maroon": "#6e1f2b", "burgundy": "#6b1f33",
    "rust": "#a8512a", "pink": "#e3a1ad", "rose": "#d0788a", "coral": "#e8806a", "salmon": "#eb9a85",
    "orange": "#dd7b27", "ochre": "#c08a34", "mustard": "#c79a2b", "yellow": "#e8c53a", "gold": "#cfa53c",
    "cream": "#f1e7cf", "ivory": "#f4eddc", "ecru": "#ddd0b3", "white": "#f5f4ef", "natural": "#e4d8bd",
    "beige": "#d9c7a3", "tan": "#c2a073", "sand": "#d5bf93", "brown": "#6f4a2f", "chestnut": "#7d4a30",
    "black": "#232323", "charcoal": "#3f4245", "grey": "#8b8d8f", "gray": "#8b8d8f", "silver": "#bcbec0",
    "green": "#3f7f4a", "olive": "#73763a", "sage": "#93a387", "mint": "#a9d5b8", "teal": "#23777a",
    "turquoise": "#3fa9a5", "blue": "#2f5aa0", "navy": "#1f2d50", "indigo": "#2c3968", "sky": "#8fbde0",
    "purple": "#6c4386", "violet": "#7a539c", "lilac": "#b9a1cc", "lavender": "#b7a9d1", "plum": "#6a3a57",
}  # fmt: skip

#: How far "dark" and "light" move a shade towards black or white.
_SHIFT: Final = 0.35


def shade(words: str) -> str | None:
    """A colour to draw ``words`` in ("dark red", "navy"), #rrggbb; None where no word of it is a colour known here."""
    said = words.casefold().replace("-", " ").split()
    found = next((_SHADES[word] for word in reversed(said) if word in _SHADES), None)
    if found is None:
        return None
    if "dark" in said or "deep" in said:
        return _towards(found, 0)
    return _towards(found, 255) if "light" in said or "pale" in said else found


def _towards(shade_hex: str, end: int) -> str:
    channels = (int(shade_hex[at : at + 2], 16) for at in (1, 3, 5))
    return "#" + "".join(f"{round(channel + (end - channel) * _SHIFT):02x}" for channel in channels)
