"""One drawing in millimetres: areas, lines, discs and words on a page, x to the right and y down.

The cutting sheet is drawn once in these marks; ``svg``, ``pdf`` and ``html`` only write them down. A drawing knows
nothing of cloth.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal

Point = tuple[float, float]
Ring = tuple[Point, ...]
Anchor = Literal["start", "middle", "end"]

#: The palette: ink, two greys, and one accent, the blue of a dyer's vat. All but the hairline are dark enough on
#: white for small print (contrast 4.5:1 and more, WCAG 2.2 success criterion 1.4.3).
INK: Final = "#1d1c1a"
GREY: Final = "#5f5b55"
HAIR: Final = "#c9c4bb"
WASH: Final = "#f4f1ea"
ACCENT: Final = "#27396b"
WHITE: Final = "#ffffff"


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A region bounded by closed rings, filled by the even-odd rule: rings within the first one are holes."""

    rings: tuple[Ring, ...]
    fill: str | None = None
    stroke: str | None = None
    width_mm: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line through points; ``dash_mm`` alternates drawn and blank lengths."""

    points: tuple[Point, ...]
    stroke: str = INK
    width_mm: float = 0.2
    dash_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A filled circle about (x, y)."""

    x_mm: float
    y_mm: float
    radius_mm: float
    fill: str = ACCENT
    stroke: str | None = None
    width_mm: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text: (x, y) is on its baseline; ``turn_deg`` turns it counter-clockwise as seen, about (x, y)."""

    x_mm: float
    y_mm: float
    text: str
    size_mm: float = 3.1
    bold: bool = False
    anchor: Anchor = "start"
    fill: str = INK
    turn_deg: float = 0.0


Mark = Area | Line | Disc | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Marks on a sheet of the given size; title and description are for those who cannot see it."""

    width_mm: float
    height_mm: float
    marks: tuple[Mark, ...]
    title: str = ""
    description: str = ""


def moved(mark: Mark, dx_mm: float, dy_mm: float) -> Mark:
    """The mark shifted by (dx, dy)."""
    match mark:
        case Area():
            return replace(mark, rings=tuple(_shifted(ring, dx_mm, dy_mm) for ring in mark.rings))
        case Line():
            return replace(mark, points=_shifted(mark.points, dx_mm, dy_mm))
        case _:
            return replace(mark, x_mm=mark.x_mm + dx_mm, y_mm=mark.y_mm + dy_mm)


def all_moved(marks: Iterable[Mark], dx_mm: float, dy_mm: float) -> list[Mark]:
    """All the marks shifted by (dx, dy)."""
    return [moved(mark, dx_mm, dy_mm) for mark in marks]


def box(x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> Ring:
    """The corners of an upright rectangle."""
    right, bottom = x_mm + width_mm, y_mm + height_mm
    return ((x_mm, y_mm), (right, y_mm), (right, bottom), (x_mm, bottom))


def stacked(drawings: Iterable[Drawing], *, gap_mm: float) -> Drawing:
    """Drawings set one beneath another as one drawing; its title and description are the first one's."""
    pages = tuple(drawings)
    marks: list[Mark] = []
    y_mm = 0.0
    for page in pages:
        marks += all_moved(page.marks, 0.0, y_mm)
        y_mm += page.height_mm + gap_mm
    return replace(pages[0], width_mm=max(page.width_mm for page in pages), height_mm=y_mm - gap_mm, marks=tuple(marks))


def _shifted(points: Ring, dx_mm: float, dy_mm: float) -> Ring:
    return tuple((x + dx_mm, y + dy_mm) for x, y in points)
