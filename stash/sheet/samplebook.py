"""The sample book: each cloth as a strip of its stripes at true width, the lengths it still yields first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from stash.fabric import Fabric
from stash.fact import OF_FABRIC, spoken
from stash.interchange.contents import Contents
from stash.lengths import both, inches
from stash.piece import Piece
from stash.sheet import html, pdf
from stash.sheet.content import Block, Chapter, Heading, Passage, Picture, Rows
from stash.sheet.drawing import GREY, HAIR, WASH, Area, Drawing, Mark, Words, box
from stash.sheet.page import pages, room
from stash.use import labels, stripe_lengths_mm, stripe_width_mm

TITLE: Final = "Sample book"
#: Height of a swatch and of the letters under it, mm.
SWATCH_MM: Final = 26.0
LETTER_MM: Final = 2.6
#: A stripe narrower than this on paper gets no letter, mm.
LETTERED_MM: Final = 3.0
#: Different lengths told of one stripe.
MOST_LENGTHS: Final = 5
#: What is taken off a band before it is measured, and more, is no length, mm.
HAIR_MM: Final = 0.05
#: The longest name that heads a swatch, characters.
LONGEST_NAME: Final = 120


def sample_book(contents: Contents, *, paper: str = "a4") -> dict[str, bytes]:
    """The files of the book by name: a PDF at true scale, and HTML for a screen. Raises InputWrong for the paper."""
    wide, _ = room(paper)
    blocks: list[Block] = [Heading(text=TITLE, level=1)]
    blocks.append(Passage(text="Printed at 100 %, every stripe is as wide as it is on the cloth.", quiet=True))
    for fabric in contents.fabrics:
        blocks += _cloth(fabric, [piece for piece in contents.pieces if piece.fabric == fabric.id], wide)
    if not contents.fabrics:
        blocks.append(Passage(text="There is no cloth in the stash yet."))
    chapters = [Chapter(name="Swatches", blocks=tuple(blocks))]
    return {
        "samplebook.pdf": pdf.document(pages(chapters, title=TITLE, paper=paper), title=TITLE),
        "samplebook.html": html.document(TITLE, chapters).encode(),
    }


def swatch(fabric: Fabric, wide_mm: float) -> Drawing:
    """The stripes of a cloth side by side at true width; plain cloth in its colour where that is known."""
    marks: list[Mark] = []
    repeat = fabric.print.across.value if fabric.print.across is not None else 0.0
    at = 0.0
    while fabric.print.stripes and at < wide_mm:
        for stripe in fabric.print.stripes:
            left = at + stripe.centre_mm - stripe.width_mm / 2
            marks += _stripe(stripe.label, stripe.hex, left - _start(fabric), stripe.width_mm, wide_mm)
        at += repeat or wide_mm
    if not fabric.print.stripes:
        shade = fabric.extra.get("hex")
        fill = shade if isinstance(shade, str) else WASH
        marks.append(Area(rings=(box(0, 0, wide_mm, SWATCH_MM),), fill=fill))
    marks.append(Area(rings=(box(0, 0, wide_mm, SWATCH_MM),), stroke=HAIR, width_mm=0.15))
    return Drawing(
        width_mm=wide_mm,
        height_mm=SWATCH_MM + 1.6 * LETTER_MM,
        marks=tuple(marks),
        title=f"Swatch of {fabric.name[:LONGEST_NAME]}",
        description=f"{fabric.print.kind}, at true width",
    )


def _start(fabric: Fabric) -> float:
    first = fabric.print.stripes[0]
    return first.centre_mm - first.width_mm / 2


def _stripe(label: str, shade: str | None, left: float, width: float, wide_mm: float) -> Iterator[Mark]:
    right = min(left + width, wide_mm)
    if right <= left:
        return
    yield Area(rings=(box(left, 0, right - left, SWATCH_MM),), fill=shade or WASH)
    if right - left >= LETTERED_MM:
        middle, foot = (left + right) / 2, SWATCH_MM + 1.2 * LETTER_MM
        yield Words(x_mm=middle, y_mm=foot, text=label, size_mm=LETTER_MM, anchor="middle", fill=GREY)


def _cloth(fabric: Fabric, pieces: Sequence[Piece], wide: float) -> Iterator[Block]:
    yield Heading(text=f"{fabric.name[:LONGEST_NAME]} ({fabric.id})", level=2)
    rows = tuple(
        (label, inches(stripe_width_mm(fabric, label)), _lengths(fabric, pieces, label)) for label in labels(fabric)
    )
    if rows:
        yield Rows(heads=("Stripe", "Wide", "Lengths to be had"), shares=(0.12, 0.18, 0.7), rows=rows)
    known = [f"{label} {' '.join(words.split())[:80]}" for label, words in spoken(fabric.extra, OF_FABRIC)]
    count = f"{len(pieces)} piece{'s' * (len(pieces) != 1)}"
    repeat = "" if fabric.print.across is None else f", repeat {both(fabric.print.across.value)}"
    yield Picture(drawing=swatch(fabric, wide), caption="; ".join([f"{count}{repeat}", *known]))


def _lengths(fabric: Fabric, pieces: Sequence[Piece], label: str) -> str:
    found = sorted((mm + HAIR_MM for piece in pieces for mm in stripe_lengths_mm(piece, fabric, label)), reverse=True)
    if not found:
        return "none of 6 in"
    counts = list(Counter(inches(mm, 2, toward="down") for mm in found).items())
    told = [f"{count} of {length}" for length, count in counts[:MOST_LENGTHS]]
    rest = len(found) - sum(count for _, count in counts[:MOST_LENGTHS])
    return ", ".join(told) + (f", {rest} shorter" if rest else "") + f"; {inches(sum(found), 1, toward='down')} in all"
