"""A drawing written as SVG 1.1: one user unit is one millimetre, so that it prints at true size."""

from __future__ import annotations

import base64
from html import escape

from stash.sheet.drawing import Area, Disc, Drawing, Line, Mark, Words
from stash.sheet.typeface import FAMILY, font_file, printable, width

#: The sheet's own face first; where it is not shown, the wider kin of it on most machines.
FONT_STACK = f"'Sheet', '{FAMILY}', 'DejaVu Sans', Verdana, sans-serif"


def document(drawing: Drawing) -> str:
    """A whole SVG file with the typeface embedded."""
    head = '<?xml version="1.0" encoding="UTF-8"?>\n'
    return head + fragment(drawing, style=font_style(), fixed=True)


def fragment(drawing: Drawing, *, style: str = "", fixed: bool = False, prefix: str = "sheet") -> str:
    """The ``<svg>`` element alone. ``prefix`` keeps ids apart where one page holds several.

    ``fixed`` writes width and height in mm; else the element takes the room its surroundings give it.
    """
    width_mm, height_mm = number(drawing.width_mm), number(drawing.height_mm)
    size = f' width="{width_mm}mm" height="{height_mm}mm"' if fixed else ""
    title, description = f"{prefix}-title", f"{prefix}-description"
    inner = "\n".join(_mark(mark) for mark in drawing.marks)
    css = f"<style>{style}</style>\n" if style else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg"{size} viewBox="0 0 {width_mm} {height_mm}" role="img" '
        f'aria-labelledby="{title} {description}" font-family="{FONT_STACK}">\n'
        f'<title id="{title}">{escape(drawing.title)}</title>\n'
        f'<desc id="{description}">{escape(drawing.description)}</desc>\n{css}'
        f'<rect width="{width_mm}" height="{height_mm}" fill="#ffffff"/>\n{inner}\n</svg>\n'
    )


def font_style() -> str:
    """The ``@font-face`` rules with both weights inside them."""
    return "".join(
        f"@font-face{{font-family:'Sheet';font-weight:{weight};src:url(data:font/woff2;base64,"
        f"{base64.b64encode(font_file(bold=bold, ending='.woff2').read_bytes()).decode('ascii')}) format('woff2')}}"
        for bold, weight in ((False, 400), (True, 700))
    )


def number(value: float) -> str:
    """A coordinate to a thousandth of a millimetre, without idle zeros."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _mark(mark: Mark) -> str:
    match mark:
        case Area():
            path = "".join(f"M{'L'.join(f'{number(x)} {number(y)}' for x, y in ring)}Z" for ring in mark.rings)
            return f'<path d="{path}" fill-rule="evenodd"{_paint(mark.fill, mark.stroke, mark.width_mm)}/>'
        case Line():
            points = " ".join(f"{number(x)},{number(y)}" for x, y in mark.points)
            dash = f' stroke-dasharray="{" ".join(number(step) for step in mark.dash_mm)}"' if mark.dash_mm else ""
            return f'<polyline points="{points}"{_paint(None, mark.stroke, mark.width_mm)}{dash}/>'
        case Disc():
            place = f'cx="{number(mark.x_mm)}" cy="{number(mark.y_mm)}" r="{number(mark.radius_mm)}"'
            return f"<circle {place}{_paint(mark.fill, mark.stroke, mark.width_mm)}/>"
        case Words():
            return _words(mark)


def _words(mark: Words) -> str:
    text = printable(mark.text)
    x, y = number(mark.x_mm), number(mark.y_mm)
    turn = f' transform="rotate({number(-mark.turn_deg)} {x} {y})"' if mark.turn_deg else ""
    anchor = f' text-anchor="{mark.anchor}"' if mark.anchor != "start" else ""
    weight = ' font-weight="700"' if mark.bold else ""
    length = number(width(text, mark.size_mm, bold=mark.bold))
    return (
        f'<text x="{x}" y="{y}" font-size="{number(mark.size_mm)}" fill="{mark.fill}"{anchor}{weight}{turn} '
        f'textLength="{length}" lengthAdjust="spacingAndGlyphs">{escape(text)}</text>'
    )


def _paint(fill: str | None, stroke: str | None, width_mm: float) -> str:
    outline = f' stroke="{stroke}" stroke-width="{number(width_mm)}" stroke-linejoin="round"' if stroke else ""
    return f' fill="{fill or "none"}"{outline}'
