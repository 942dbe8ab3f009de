"""The printed target at true scale, with bars and a square to check the printer by, and how to use it.

The board's pattern comes in as data, since the sheet does not know how photographs are read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from stash.errors import InputWrong
from stash.sheet import pdf
from stash.sheet.content import Block, Chapter, Heading, Listing, Notice, Passage, Picture
from stash.sheet.drawing import ACCENT, GREY, INK, Area, Drawing, Line, Mark, Words, all_moved, box
from stash.sheet.page import pages, paper_size
from stash.sheet.sheet import save

TITLE: Final = "Printed target"

#: What is measured on the paper: the square's side and the bars' lengths, mm (4 in is 101.6 mm exactly).
SQUARE_MM: Final = 100.0
FOUR_IN_MM: Final = 101.6
#: White paper about the board that the reading of a photograph needs: a cell of its pattern and some, mm.
QUIET_MM: Final = 6.0

_HOW: Final = (
    "Print both pages at 100 % (actual size). Do not let the printer fit them to the paper.",
    "Measure the square below: each side must be 100 mm. Then measure the board with a steel rule, from outer edge to "
    "outer edge: {wide:g} mm across and {high:g} mm down. If either is off by more than a quarter of a millimetre, "
    "this printer does not print true: photograph a ruler instead.",
    "Glue the page with the board to stiff card, so that it lies flat.",
    "Lay it flat upon the cloth, near the middle, all of the board in the picture and no fold in it.",
    "Photograph from above with the whole cloth in the frame and the light from the side; a little tilt does no harm.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The target's pattern in mm: its size, and its black rectangles as (x, y, width, height) from its top left."""

    width_mm: float
    height_mm: float
    cells_mm: tuple[tuple[float, float, float, float], ...]


def target_pages(board: Board, paper: str = "a4") -> tuple[Drawing, ...]:
    """The board on a page, and a page of instructions with the square. Raises InputWrong."""
    wide, high = paper_size(paper)
    if board.width_mm + 2 * QUIET_MM > wide or board.height_mm + 2 * QUIET_MM > high:
        raise InputWrong(
            f"the target of {board.width_mm:g} × {board.height_mm:g} mm does not fit on {paper} paper",
            "choose a larger paper",
        )
    first = Drawing(
        width_mm=wide, height_mm=high, marks=tuple(_board_page(board, wide, high)), title=f"{TITLE}: the board",
        description="A board of black and white squares with a coded mark in every white one.",
    )  # fmt: skip
    return (first, *pages([_instructions(board)], title=TITLE, paper=paper, before=1))


def write_target(board: Board, path: str | Path, paper: str = "a4") -> None:
    """Write the target as a PDF. Raises InputWrong for another ending, an unknown paper, or no such folder."""
    path = Path(path)
    if path.suffix.lower() != ".pdf":
        raise InputWrong(f"the target is not written as {path.name}", "end the name in .pdf, which prints at true size")
    save(path, pdf.document(target_pages(board, paper), title=TITLE))


def _board_page(board: Board, wide: float, high: float) -> list[Mark]:
    left, top = (wide - board.width_mm) / 2, (high - board.height_mm) / 2
    cells = [Area(rings=(box(left + x, top + y, w, h),), fill="#000000") for x, y, w, h in board.cells_mm]
    below = top + board.height_mm + QUIET_MM + 5
    beside = left - QUIET_MM - 5
    words = Words(x_mm=left, y_mm=top - QUIET_MM - 3, text=TITLE, size_mm=4.2, bold=True)
    note = "This page must be printed at 100 % and lie flat. How to use it is on the next page."
    size = f"board {board.width_mm:g} × {board.height_mm:g} mm"
    return [
        *cells,
        words,
        Words(x_mm=left + board.width_mm, y_mm=words.y_mm, text=size, size_mm=2.9, fill=GREY, anchor="end"),
        *_bar((left, below), SQUARE_MM, "100 mm", upright=False),
        *_bar((left, below + 9), FOUR_IN_MM, "4 in", upright=False),
        *_bar((beside, top), SQUARE_MM, "100 mm", upright=True),
        Words(x_mm=left, y_mm=below + 17.5, text=note, size_mm=2.9, fill=GREY),
    ]


def _bar(start: tuple[float, float], length_mm: float, text: str, *, upright: bool) -> list[Mark]:
    """A line of true length between two strokes, its length beside it."""
    x, y = start
    along: Sequence[tuple[float, float]] = ((x, y), (x, y + length_mm) if upright else (x + length_mm, y))
    strokes = [((px - 2, py), (px + 2, py)) if upright else ((px, py - 2), (px, py + 2)) for px, py in along]
    lines: list[Mark] = [Line(points=points, stroke=INK, width_mm=0.15) for points in (tuple(along), *strokes)]
    middle = (x - 1.5, y + length_mm / 2) if upright else (x + length_mm + 2.5, y + 1)
    words = Words(x_mm=middle[0], y_mm=middle[1], text=text, size_mm=2.9)
    return [*lines, replace(words, turn_deg=90.0, anchor="middle") if upright else words]


def _instructions(board: Board) -> Chapter:
    how = tuple(line.format(wide=board.width_mm, high=board.height_mm) for line in _HOW)
    blocks: list[Block] = [
        Heading(text=TITLE, level=1),
        Notice(
            lead="Check the printer first: the square must measure 100 mm each way; if not, do not use the board.",
            text=("Look closely: a quarter of a millimetre counts. A sheet serves until it is creased.",),
        ),
        Heading(text="How to use it"),
        Listing(lines=how),
        Picture(drawing=_square(), caption="The square: 100 mm each side. The line beneath it: 4 in."),
        Passage(text="Paper grows in damp air, by up to a fifth of a percent: print where you measure.", quiet=True),
    ]
    return Chapter(name="how to use it", blocks=tuple(blocks))


def _square() -> Drawing:
    marks: list[Mark] = [
        Area(rings=(box(0, 0, SQUARE_MM, SQUARE_MM),), stroke=ACCENT, width_mm=0.2),
        Words(x_mm=50, y_mm=49, text="100 mm", size_mm=5, bold=True, anchor="middle"),
        Words(x_mm=50, y_mm=56, text="each side", size_mm=3.2, anchor="middle", fill=GREY),
        *_bar((0, SQUARE_MM + 8), FOUR_IN_MM, "4 in", upright=False),
    ]
    marks = all_moved(marks, 2, 2)
    return Drawing(width_mm=112.0, height_mm=SQUARE_MM + 13, marks=tuple(marks), title="Square of 100 mm")
