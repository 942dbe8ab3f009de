"""Tickets to pin to the cloth: the piece's id as a QR code (ISO/IEC 18004) and in words, several on a page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from stash.fabric import Fabric
from stash.fact import washed
from stash.interchange.contents import Contents
from stash.lengths import both
from stash.piece import Piece
from stash.sheet import pdf
from stash.sheet.drawing import GREY, HAIR, INK, Area, Disc, Drawing, Line, Mark, Ring, Words, all_moved, box
from stash.sheet.page import paper_size
from stash.sheet.typeface import fitted

TITLE: Final = "Tickets"
#: A ticket in mm, its margin, and the margin of the page: most printers leave 5 mm (common practice).
WIDE_MM: Final = 62.0
HIGH_MM: Final = 30.0
INSET_MM: Final = 3.0
EDGE_MM: Final = 9.0
#: A code with its quiet zone of four modules each side (ISO/IEC 18004, 5.3.8; quoted from memory), mm.
CODE_MM: Final = 24.0
QUIET: Final = 4
TEXT_MM: Final = 2.7


def tickets(contents: Contents, *, paper: str = "a4", only: Sequence[str] = ()) -> bytes:
    """The PDF of one ticket for each piece, or for those named. Raises InputWrong where there is no such paper."""
    wide, high = paper_size(paper)
    across, down = int((wide - 2 * EDGE_MM) // WIDE_MM), int((high - 2 * EDGE_MM) // HIGH_MM)
    fabrics = {fabric.id: fabric for fabric in contents.fabrics}
    chosen = [piece for piece in contents.pieces if not only or piece.id in only]
    sheets = [chosen[start : start + across * down] for start in range(0, len(chosen), across * down)]
    drawn = []
    for number, sheet in enumerate(sheets or [[]], 1):
        marks: list[Mark] = []
        for index, piece in enumerate(sheet):
            row, column = divmod(index, across)
            placed = all_moved(
                ticket(piece, fabrics[piece.fabric]), EDGE_MM + column * WIDE_MM, EDGE_MM + row * HIGH_MM
            )
            marks += placed
        drawn.append(
            Drawing(
                width_mm=wide,
                height_mm=high,
                marks=tuple(marks),
                title=f"{TITLE}, page {number} of {max(1, len(sheets))}",
                description=", ".join(piece.id for piece in sheet),
            )
        )
    return pdf.document(drawn, title=TITLE)


def ticket(piece: Piece, fabric: Fabric) -> Iterator[Mark]:
    """One ticket from (0, 0): cut along the hair line, pin through the dot."""
    yield Line(points=(*box(0, 0, WIDE_MM, HIGH_MM), (0, 0)), stroke=HAIR, width_mm=0.15, dash_mm=(1.5, 1.5))
    yield Area(rings=_code(piece.id, INSET_MM, INSET_MM, CODE_MM), fill=INK)
    left, room = INSET_MM + CODE_MM + 1.5, WIDE_MM - CODE_MM - 2 * INSET_MM - 1.5
    yield Disc(x_mm=WIDE_MM - INSET_MM - 1, y_mm=INSET_MM + 1, radius_mm=0.8, fill=HAIR)
    xs, ys = zip(*piece.outline_mm, strict=True)
    lines = (
        (fitted(piece.id, TEXT_MM, room - 4, bold=True), True, INK),
        (fitted(fabric.name[:200], TEXT_MM, room), False, INK),
        (both(max(xs) - min(xs)), False, INK),
        (f"× {both(max(ys) - min(ys))}", False, INK),
        ({"yes": "washed", "no": "not washed"}.get(washed(piece), ""), False, GREY),
    )
    for index, (text, bold, fill) in enumerate(lines):
        if text:
            yield Words(x_mm=left, y_mm=INSET_MM + 3.2 + index * 4.6, text=text, size_mm=TEXT_MM, bold=bold, fill=fill)


def _code(text: str, x_mm: float, y_mm: float, side_mm: float) -> tuple[Ring, ...]:
    """The dark modules of the code, a run of a row as one box, with the quiet zone inside the side."""
    import segno

    rows = [list(row) for row in segno.make_qr(text, error="m").matrix]
    module = side_mm / (len(rows) + 2 * QUIET)
    rings = []
    for number, row in enumerate(rows):
        start: int | None = None
        for column, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                left, top = x_mm + (QUIET + start) * module, y_mm + (QUIET + number) * module
                rings.append(box(left, top, (column - start) * module, module))
                start = None
    return tuple(rings)
