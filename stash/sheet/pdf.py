"""Drawings written as a PDF at true scale: a millimetre drawn is a millimetre printed.

The reader is told not to fit the pages to the paper (ViewerPreferences, PrintScaling None: ISO 32000-1, table 150).
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any, Final

from stash.sheet.drawing import Area, Disc, Drawing, Line, Mark, Words
from stash.sheet.typeface import font, printable, width

#: A PDF's unit is 1/72 in (ISO 32000-1, 8.3.2.3).
POINTS_PER_MM: Final = 72 / 25.4

_EVEN_ODD: Final = 0


def document(pages: Sequence[Drawing], *, title: str) -> bytes:
    """The PDF file of the drawings, one page each. The same drawings give the same bytes."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfgen.canvas import Canvas

    for bold in (False, True):
        pdfmetrics.registerFont(font(bold=bold))
    buffer = BytesIO()
    canvas = Canvas(buffer, invariant=1, pageCompression=1, lang="en")
    canvas.setTitle(title)
    canvas.setCreator("Stripewright")
    canvas.setAuthor("Stripewright")
    canvas.setViewerPreference("PrintScaling", "None")
    for index, page in enumerate(pages):
        _page(canvas, page, f"page-{index}")
    canvas.save()
    return buffer.getvalue()


def _page(canvas: Any, page: Drawing, key: str) -> None:
    canvas.setPageSize((page.width_mm * POINTS_PER_MM, page.height_mm * POINTS_PER_MM))
    canvas.bookmarkPage(key)
    canvas.addOutlineEntry(page.title or key, key)
    canvas.translate(0, page.height_mm * POINTS_PER_MM)
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    canvas.setLineJoin(1)
    for mark in page.marks:
        _draw(canvas, mark)
    canvas.showPage()


def _draw(canvas: Any, mark: Mark) -> None:
    match mark:
        case Area():
            _pens(canvas, mark.fill, mark.stroke, mark.width_mm)
            path = canvas.beginPath()
            for ring in mark.rings:
                path.moveTo(ring[0][0], -ring[0][1])
                for x, y in ring[1:]:
                    path.lineTo(x, -y)
                path.close()
            canvas.drawPath(path, stroke=int(bool(mark.stroke)), fill=int(bool(mark.fill)), fillMode=_EVEN_ODD)
        case Line():
            _pens(canvas, None, mark.stroke, mark.width_mm)
            canvas.setDash(list(mark.dash_mm))
            path = canvas.beginPath()
            path.moveTo(mark.points[0][0], -mark.points[0][1])
            for x, y in mark.points[1:]:
                path.lineTo(x, -y)
            canvas.drawPath(path, stroke=1, fill=0)
            canvas.setDash([])
        case Disc():
            _pens(canvas, mark.fill, mark.stroke, mark.width_mm)
            canvas.circle(mark.x_mm, -mark.y_mm, mark.radius_mm, stroke=int(bool(mark.stroke)), fill=1)
        case Words():
            _words(canvas, mark)


def _words(canvas: Any, mark: Words) -> None:
    text = printable(mark.text)
    room_mm = width(text, mark.size_mm, bold=mark.bold)
    shift_mm = {"start": 0.0, "middle": -room_mm / 2, "end": -room_mm}[mark.anchor]
    canvas.saveState()
    canvas.translate(mark.x_mm, -mark.y_mm)
    canvas.rotate(mark.turn_deg)
    canvas.setFont(font(bold=mark.bold).fontName, mark.size_mm)
    canvas.setFillColor(_colour(mark.fill))
    canvas.drawString(shift_mm, 0, text)
    canvas.restoreState()


def _pens(canvas: Any, fill: str | None, stroke: str | None, width_mm: float) -> None:
    if fill:
        canvas.setFillColor(_colour(fill))
    if stroke:
        canvas.setStrokeColor(_colour(stroke))
        canvas.setLineWidth(width_mm)


def _colour(text: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(text)
