"""What stands on a sheet, before it is set on pages or written as HTML."""

from __future__ import annotations

from dataclasses import dataclass

from stash.sheet.drawing import Drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A heading, level 1 for the sheet, 2 for a piece, 3 within it."""

    text: str
    level: int = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """Running text. ``quiet``: small print beside a drawing or a table."""

    text: str
    quiet: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """What must be read before anything is cut."""

    lead: str
    text: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Short lines, one beneath another."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing with its caption."""

    drawing: Drawing
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """A table: column heads, the share of the width that each column takes, and the rows' cells.

    ``tick``: a box to tick off stands before each row.
    """

    heads: tuple[str, ...]
    shares: tuple[float, ...]
    rows: tuple[tuple[str, ...], ...]
    tick: bool = False


Block = Heading | Passage | Notice | Listing | Picture | Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """What belongs together and begins on a page of its own."""

    name: str
    blocks: tuple[Block, ...]
