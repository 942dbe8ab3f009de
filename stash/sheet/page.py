"""Sets the chapters on pages: headings, tables and pictures one beneath another, with running foot lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from stash.errors import InputWrong
from stash.sheet.content import Block, Chapter, Heading, Listing, Notice, Passage, Picture, Rows
from stash.sheet.drawing import ACCENT, GREY, HAIR, INK, WASH, Area, Drawing, Line, Mark, Words, all_moved, box
from stash.sheet.typeface import fitted, width, wrapped

#: Paper in mm: A4 by ISO 216, US letter 8 1/2 x 11 in.
PAPERS: Final = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

#: Margins in mm: room for a printer that cannot print to the edge, and for a thumb.
SIDE_MM: Final = 17.0
HEAD_MM: Final = 16.0
FOOT_MM: Final = 18.0

#: Sizes of type in mm: 3.2 mm is about 9 pt, small enough for a table and read at arm's length.
TEXT_MM: Final = 3.2
SMALL_MM: Final = 2.75
HEADINGS_MM: Final = {1: 8.2, 2: 5.4, 3: 3.5}
LEADING: Final = 1.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Marks in a band of the page, from y = 0 down.

    ``follows``: not to be parted from what comes next. ``again``: what is set anew above it on a new page.
    """

    height_mm: float
    marks: tuple[Mark, ...]
    follows: bool = False
    again: Strip | None = None


def paper_size(paper: str) -> tuple[float, float]:
    """Width and height of a paper by name. Raises InputWrong."""
    if paper.lower() not in PAPERS:
        raise InputWrong(f'there is no paper called "{paper}" here', f"use one of {', '.join(PAPERS)}")
    return PAPERS[paper.lower()]


def room(paper: str) -> tuple[float, float]:
    """Width and height of the page within its margins, mm."""
    wide, high = paper_size(paper)
    return wide - 2 * SIDE_MM, high - HEAD_MM - FOOT_MM


def pages(chapters: Sequence[Chapter], *, title: str, paper: str, before: int = 0) -> tuple[Drawing, ...]:
    """The chapters on pages of that paper, each chapter from a new page on; ``before`` pages are counted with them."""
    wide, high = paper_size(paper)
    sheets = [(chapter.name, marks) for chapter in chapters for marks in _filled(chapter, *room(paper))]
    total = before + len(sheets)
    return tuple(
        Drawing(
            width_mm=wide,
            height_mm=high,
            title=f"{title}: {name}, page {index} of {total}",
            description=" ".join(mark.text for mark in marks if isinstance(mark, Words)),
            marks=(*all_moved(marks, SIDE_MM, HEAD_MM), *_foot(title, name, index, total, wide, high)),
        )
        for index, (name, marks) in enumerate(sheets, 1 + before)
    )


def page_count(chapter: Chapter, paper: str) -> int:
    """How many pages of that paper a chapter fills."""
    return sum(1 for _ in _filled(chapter, *room(paper)))


def _filled(chapter: Chapter, wide: float, high: float) -> Iterator[list[Mark]]:
    strips = [strip for block in chapter.blocks for strip in _set(block, wide)]
    marks: list[Mark] = []
    y = 0.0
    for index, strip in enumerate(strips):
        needed, after = strip.height_mm, index
        while strips[after].follows and after + 1 < len(strips):
            after += 1
            needed += strips[after].height_mm
        held_back = index > 0 and strips[index - 1].follows
        if marks and (y + strip.height_mm > high or (y + needed > high and not held_back)):
            if not strip.marks and not strip.follows:
                continue
            yield marks
            marks, y = [], 0.0
            if strip.again:
                marks, y = [*strip.again.marks], strip.again.height_mm
        marks += all_moved(strip.marks, 0.0, y)
        y += strip.height_mm
    yield marks


def _foot(title: str, name: str, index: int, total: int, wide: float, high: float) -> list[Mark]:
    y = high - FOOT_MM + 7
    number = f"page {index} of {total}"
    left = fitted(f"{title}  ·  {name}", SMALL_MM, wide - 2 * SIDE_MM - width(number, SMALL_MM) - 6)
    return [
        Line(points=((SIDE_MM, y - 4.2), (wide - SIDE_MM, y - 4.2)), stroke=HAIR, width_mm=0.15),
        Words(x_mm=SIDE_MM, y_mm=y, text=left, size_mm=SMALL_MM, fill=GREY),
        Words(x_mm=wide - SIDE_MM, y_mm=y, text=number, size_mm=SMALL_MM, fill=GREY, anchor="end"),
    ]


def _set(block: Block, wide: float) -> list[Strip]:
    match block:
        case Heading():
            return _heading(block, wide)
        case Passage():
            size = SMALL_MM if block.quiet else TEXT_MM
            return _lines(wrapped(block.text, size, wide), size, fill=GREY if block.quiet else INK, after=2.0)
        case Notice():
            return [_notice(block, wide)]
        case Listing():
            rows: list[Strip] = []
            for line in block.lines:
                rows += _bullet(line, wide)
            return [*rows, Strip(height_mm=1.5, marks=())]
        case Picture():
            dx = (wide - block.drawing.width_mm) / 2
            picture = Strip(
                height_mm=block.drawing.height_mm + 1.5,
                marks=tuple(all_moved(block.drawing.marks, dx, 0)),
                follows=True,
            )
            return [picture, *_lines(wrapped(block.caption, SMALL_MM, wide), SMALL_MM, fill=GREY, after=3.0)]
        case Rows():
            return _rows(block, wide)


def _heading(block: Heading, wide: float) -> list[Strip]:
    size = HEADINGS_MM[block.level]
    before = 0.0 if block.level < 3 else 2.5
    lines = wrapped(block.text, size, wide, bold=True)
    strips = [Strip(height_mm=before, marks=(), follows=True)] if before else []
    fill = INK if block.level < 3 else ACCENT
    strips += _lines(lines, size, fill=fill, bold=True, after=1.2 if block.level > 1 else 2.0, leading=1.22)
    return [Strip(height_mm=one.height_mm, marks=one.marks, follows=True) for one in strips]


def _lines(
    lines: Sequence[str],
    size: float,
    *,
    fill: str = INK,
    bold: bool = False,
    after: float = 0.0,
    leading: float = LEADING,
) -> list[Strip]:
    step = size * leading
    strips = [
        Strip(height_mm=step, marks=(Words(x_mm=0, y_mm=size, text=line, size_mm=size, bold=bold, fill=fill),))
        for line in lines
    ]
    return [*strips, Strip(height_mm=after, marks=())]


def _bullet(line: str, wide: float) -> list[Strip]:
    lines = wrapped(line, TEXT_MM, wide - 4)
    return [
        Strip(
            height_mm=TEXT_MM * LEADING + (0.8 if index == len(lines) - 1 else 0),
            marks=(
                Words(x_mm=4, y_mm=TEXT_MM, text=text, size_mm=TEXT_MM),
                *([Area(rings=(box(0.4, TEXT_MM - 1.7, 1.2, 1.2),), fill=ACCENT)] if index == 0 else []),
            ),
        )
        for index, text in enumerate(lines)
    ]


def _notice(block: Notice, wide: float) -> Strip:
    inner = wide - 9
    lead = wrapped(block.lead, 3.6, inner, bold=True)
    text = [line for part in block.text for line in wrapped(part, TEXT_MM, inner)]
    marks: list[Mark] = []
    y = 3.0
    for line in lead:
        marks.append(Words(x_mm=5.5, y_mm=y + 3.6, text=line, size_mm=3.6, bold=True))
        y += 3.6 * 1.32
    for line in text:
        marks.append(Words(x_mm=5.5, y_mm=y + TEXT_MM + 0.4, text=line, size_mm=TEXT_MM))
        y += TEXT_MM * LEADING
    y += 3.0
    ground = (Area(rings=(box(0, 0, wide, y),), fill=WASH), Area(rings=(box(0, 0, 1.6, y),), fill=ACCENT))
    return Strip(height_mm=y + 3.5, marks=(*ground, *marks))


def _rows(block: Rows, wide: float) -> list[Strip]:
    lead = 6.0 if block.tick else 0.0
    total = sum(block.shares)
    widths = [(wide - lead) * share / total for share in block.shares]
    starts = [lead + sum(widths[:index]) for index in range(len(widths))]
    head = Strip(
        height_mm=SMALL_MM * LEADING + 1.6,
        follows=True,
        marks=(
            *(
                Words(x_mm=x, y_mm=SMALL_MM, text=text, size_mm=SMALL_MM, fill=GREY)
                for x, text in zip(starts, block.heads, strict=True)
            ),
            Line(points=((0, SMALL_MM + 1.5), (wide, SMALL_MM + 1.5)), stroke=INK, width_mm=0.2),
        ),
    )
    rows = [_row(cells, starts, widths, wide, tick=block.tick) for cells in block.rows]
    return [head, *(replace(row, again=head) for row in rows), Strip(height_mm=2, marks=())]


def _row(cells: Sequence[str], starts: Sequence[float], widths: Sequence[float], wide: float, *, tick: bool) -> Strip:
    texts = [
        wrapped(cell, TEXT_MM, column - 3, bold=index == 0)
        for index, (cell, column) in enumerate(zip(cells, widths, strict=True))
    ]
    height = max(len(lines) for lines in texts) * TEXT_MM * 1.3 + 1.7
    marks: list[Mark] = [
        Words(x_mm=x, y_mm=TEXT_MM + 0.8 + index * TEXT_MM * 1.3, text=line, size_mm=TEXT_MM, bold=column == 0)
        for column, (x, lines) in enumerate(zip(starts, texts, strict=True))
        for index, line in enumerate(lines)
    ]
    if tick:
        marks.append(Area(rings=(box(0.3, 1.0, 3.0, 3.0),), stroke=GREY, width_mm=0.2))
    marks.append(Line(points=((0, height), (wide, height)), stroke=HAIR, width_mm=0.12))
    return Strip(height_mm=height, marks=tuple(marks))
