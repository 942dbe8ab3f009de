"""The cutting sheet of a plan: composed once as drawings in mm, written as PDF, SVG or HTML."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.piece import Piece
from stash.sheet import html, pdf, svg
from stash.sheet.chapter import Laid, chapter, part_row
from stash.sheet.content import Block, Chapter, Heading, Listing, Notice, Passage, Rows
from stash.sheet.drawing import Drawing, stacked
from stash.sheet.job import Job, Table, read_job
from stash.sheet.page import page_count, pages, room
from stash.sheet.typeface import printable
from stash.sheet.wording import both, count, size

#: The share of its page's height that a figure may take: the largest with which its chapter keeps to one page, else
#: the first, which leaves room for the first cuts beneath it.
FIGURE_SHARES: Final = (0.62, 0.54, 0.46, 0.4)
SIXTEENTH_MM: Final = 25.4 / 16
#: Between the pages of an SVG, mm.
PAGE_GAP_MM: Final = 6.0

ENDINGS: Final = (".pdf", ".svg", ".html")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A cutting sheet: its chapters, and the same set on pages."""

    title: str
    chapters: tuple[Chapter, ...]
    pages: tuple[Drawing, ...]


def compose(
    plan: Mapping[str, Any],
    fabrics: Iterable[Fabric] | Mapping[str, Fabric],
    pieces: Iterable[Piece] | Mapping[str, Piece],
    *,
    paper: str = "a4",
) -> Sheet:
    """The cutting sheet of a ``plan/1`` document, with the fabrics and pieces of its stash.

    Raises InputWrong where there is nothing to cut, the plan cannot be read, or the stash lacks one of its pieces.
    """
    job = read_job(plan, _values(fabrics), _values(pieces))
    laid = [_laid(job, table, index, paper) for index, table in enumerate(job.tables, 1)]
    title = f"Cutting sheet: {printable(' and '.join(job.names))}" if job.names else "Cutting sheet"
    chapters = (_front(job, laid, title), *(one.chapter for one in laid))
    return Sheet(title=title, chapters=chapters, pages=pages(chapters, title=title, paper=paper))


def write(sheet: Sheet, path: str | Path) -> None:
    """Write the sheet as its ending says: .pdf, .svg or .html. Raises InputWrong for any other, or no such folder."""
    path = Path(path)
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise InputWrong(f"a cutting sheet is not written as {path.name}", f"end the name in {', '.join(ENDINGS)}")
    save(path, rendered(sheet, ending))


def rendered(sheet: Sheet, ending: str) -> bytes:
    """The file's bytes for one of the endings."""
    if ending == ".pdf":
        return pdf.document(sheet.pages, title=sheet.title)
    if ending == ".svg":
        return svg.document(stacked(sheet.pages, gap_mm=PAGE_GAP_MM)).encode()
    return html.document(sheet.title, sheet.chapters).encode()


def save(path: Path, content: bytes) -> None:
    """Write a file, or say in a sentence why it cannot be written. Raises InputWrong."""
    try:
        path.write_bytes(content)
    except OSError as error:
        raise InputWrong(
            f"{path} cannot be written ({error.strerror or error})", "give another place for the file"
        ) from error


def _laid(job: Job, table: Table, index: int, paper: str) -> Laid:
    wide, high = room(paper)
    tries = [chapter(job, table, index, wide_mm=wide, high_mm=high * FIGURE_SHARES[0])]
    for share in FIGURE_SHARES[1:]:
        if page_count(tries[-1].chapter, paper) == 1:
            return tries[-1]
        tries.append(chapter(job, table, index, wide_mm=wide, high_mm=high * share))
    return tries[-1] if page_count(tries[-1].chapter, paper) == 1 else tries[0]


def _values(items: Any) -> Iterable[Any]:
    return items.values() if isinstance(items, Mapping) else tuple(items)


def _front(job: Job, laid: list[Laid], title: str) -> Chapter:
    checks = [f"{one.check} ({one.table.fabric.name}, {one.table.piece.id})" for one in laid if one.check]
    lead = f"Before the first cut: {checks[0]}" if checks else "Before the first cut: wash and press the cloth."
    lay = "One piece to lay out, right side up."
    if len(laid) > 1:
        lay = f"{count(len(laid)).capitalize()} pieces to lay out, right side up, one after the other."
    blocks: list[Block] = [
        Heading(text=title, level=1),
        Notice(lead=lead, text=tuple(f"Also: {line}" for line in checks[1:])),
        Passage(text=f"{lay} Chalk every line of a piece before you cut it: the numbers say the order."),
        *_tightest(job),
        Heading(text="On the table"),
        Rows(
            heads=("Piece", "Cloth", "Size", "Cuts"),
            shares=(0.22, 0.3, 0.36, 0.12),
            rows=tuple(_piece_row(index, one) for index, one in enumerate(laid, 1)),
            tick=True,
        ),
        Heading(text="The parts"),
        *_parts(job, laid),
        *_over(laid),
        *_said("Take care", job.cautions),
        *_said("Notes", job.notes),
    ]
    return Chapter(name="Overview", blocks=tuple(blocks))


def _piece_row(index: int, one: Laid) -> tuple[str, str, str, str]:
    xs, ys = zip(*one.table.piece.outline_mm, strict=True)
    measure = size(max(xs) - min(xs), max(ys) - min(ys))
    return f"{index}  {one.table.piece.id}", one.table.fabric.name, measure, str(one.cuts)


def _parts(job: Job, laid: list[Laid]) -> list[Block]:
    """All parts with where they come from, garment by garment where there are several."""
    rows: dict[str, list[tuple[str, str, str]]] = {name: [] for name in job.names} if len(job.names) > 1 else {}
    for index, one in enumerate(laid, 1):
        for placement in one.table.placements:
            name, _, finished, _ = part_row(job, placement, "")
            garment = job.cards[placement.part].garment if len(job.names) > 1 else ""
            rows.setdefault(garment, []).append((name, finished, f"piece {index}"))
    return [
        Rows(
            heads=(garment or "Part", "Finished", "From"), shares=(0.36, 0.4, 0.24),
            rows=tuple(sorted(mine, key=_counted_name)),
        )
        for garment, mine in rows.items() if mine
    ]  # fmt: skip


def _counted_name(row: tuple[str, ...]) -> list[str]:
    """For sorting: b2 before b10."""
    return [part.zfill(6) if part.isdigit() else part for part in re.findall(r"\d+|\D+", row[0])]


def _tightest(job: Job) -> list[Block]:
    tightest = job.tightest
    if not tightest or not isinstance(tightest.get("spare_mm"), int | float):
        return []
    spare_mm = float(tightest["spare_mm"])
    spare = both(spare_mm, toward="down") if spare_mm >= SIXTEENTH_MM else f"less than {both(SIXTEENTH_MM)}"
    part, segment = str(tightest.get("part")), tightest.get("segment")
    at = (one for table in job.tables for one in table.placements if (one.part, one.segment) == (part, segment))
    name = next((job.title(one) for one in at), part)
    return [Passage(text=f"Tightest: {name} has {spare} to spare. Cut there with most care.")]


def _over(laid: list[Laid]) -> list[Block]:
    lines = tuple(f"{one.table.piece.id}: {', '.join(one.over)}" for one in laid if one.over)
    return _said("What is over", lines)


def _said(heading: str, lines: tuple[str, ...]) -> list[Block]:
    return [Heading(text=heading), Listing(lines=lines)] if lines else []
