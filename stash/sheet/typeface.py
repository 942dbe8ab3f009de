"""The typeface of every sheet: how wide a line of text is, where it breaks, and where its files lie.

The files are DejaVu Sans Condensed, which has the vulgar fractions that the fonts built into PDF readers lack.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any, Final

FAMILY: Final = "DejaVu Sans Condensed"
FOLDER: Final = Path(__file__).with_name("fonts")

#: Stands for a character that the typeface does not have.
UNKNOWN: Final = "\N{WHITE SQUARE}"
ELLIPSIS: Final = "…"


def font_file(*, bold: bool, ending: str = ".ttf") -> Path:
    """The file of the regular or the bold weight, as TrueType or as ``.woff2``."""
    return FOLDER / f"DejaVuSansCondensed{'-Bold' if bold else ''}{ending}"


@cache
def font(*, bold: bool) -> Any:
    """The weight as reportlab reads it."""
    from reportlab.pdfbase.ttfonts import TTFont

    return TTFont("SheetBold" if bold else "Sheet", str(font_file(bold=bold)))


def printable(text: str) -> str:
    """The text on one line, every character that the typeface lacks shown as a box."""
    known = font(bold=False).face.charToGlyph
    line = re.sub(r"[ \t\r\n\f\v]+", " ", text).strip()
    return "".join(mark if ord(mark) in known else UNKNOWN for mark in line if unicodedata.category(mark) != "Cc")


def width(text: str, size_mm: float, *, bold: bool = False) -> float:
    """The width of a line of text, mm."""
    return float(font(bold=bold).stringWidth(text, size_mm))


def wrapped(text: str, size_mm: float, room_mm: float, *, bold: bool = False) -> tuple[str, ...]:
    """The text in lines no wider than the room; a word that is wider by itself is broken where it must be."""
    lines = [""]
    for word in _words(printable(text)):
        candidate = f"{lines[-1]} {word}" if lines[-1] else word
        if width(candidate, size_mm, bold=bold) <= room_mm:
            lines[-1] = candidate
            continue
        if lines[-1]:
            lines.append("")
        *full, rest = _broken(word, size_mm, room_mm, bold=bold)
        lines[-1:] = [*full, rest]
    return tuple(lines)


def fitted(text: str, size_mm: float, room_mm: float, *, bold: bool = False) -> str:
    """The text, cut short with an ellipsis where it is wider than the room."""
    text = printable(text)
    if width(text, size_mm, bold=bold) <= room_mm:
        return text
    while text and width(text + ELLIPSIS, size_mm, bold=bold) > room_mm:
        text = text[:-1]
    return text.rstrip() + ELLIPSIS


def _words(text: str) -> list[str]:
    """The words of a line; a number and its unit are one word."""
    return re.split(r" (?!(?:in|mm)\b)", text)


def _broken(word: str, size_mm: float, room_mm: float, *, bold: bool) -> list[str]:
    pieces = [""]
    for mark in word:
        if pieces[-1] and width(pieces[-1] + mark, size_mm, bold=bold) > room_mm:
            head, hyphen, tail = pieces[-1].rpartition("-")
            pieces[-1:] = [head + hyphen, tail] if head else [pieces[-1], ""]
        pieces[-1] += mark
    return pieces
