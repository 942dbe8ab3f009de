"""The sheet as one HTML file that carries its figures and typeface: for a phone on the table, and for printing."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from stash.sheet.content import Block, Chapter, Heading, Listing, Notice, Passage, Picture, Rows
from stash.sheet.drawing import ACCENT, GREY, HAIR, INK, WASH
from stash.sheet.svg import FONT_STACK, font_style, fragment, number

_STYLE: Final = f"""
:root {{ color-scheme: light }}
* {{ box-sizing: border-box }}
body {{ margin: 0 auto; max-width: 52rem; padding: 1.5rem 1.1rem 4rem; font: 1rem/1.5 {FONT_STACK};
  color: {INK}; background: #fff }}
h1 {{ font-size: 1.9rem; line-height: 1.15; margin: 0 0 1rem }}
h2 {{ font-size: 1.4rem; line-height: 1.2; margin: 0 0 .3rem }}
h3 {{ font-size: 1rem; margin: 1.5rem 0 .4rem; color: {ACCENT} }}
h1, h2, p, li, td {{ overflow-wrap: anywhere }}
section + section {{ margin-top: 3rem; padding-top: 1.6rem; border-top: 1px solid {HAIR} }}
.quiet, figcaption {{ color: {GREY}; font-size: .9rem }}
.notice {{ background: {WASH}; border-left: .35rem solid {ACCENT}; padding: .8rem 1rem; margin: 1rem 0 }}
.notice p {{ margin: 0 }}
figure {{ margin: 1.2rem 0 }}
figure svg {{ display: block; max-width: 100%; height: auto; margin: 0 auto .5rem }}
table {{ border-collapse: collapse; width: 100% }}
th {{ text-align: left; font-weight: 400; font-size: .85rem; color: {GREY}; border-bottom: 1px solid {INK} }}
th, td {{ padding: .45rem .8rem .45rem 0; vertical-align: top }}
td {{ border-bottom: 1px solid {HAIR} }}
td:first-child, td.tick + td {{ font-weight: 700 }}
td.tick {{ width: 2rem }}
input {{ width: 1.15rem; height: 1.15rem; accent-color: {ACCENT} }}
@media (max-width: 40rem) {{
  thead {{ position: absolute; left: -9999px }}
  tr {{ display: block; padding: .5rem 0 .6rem 2.2rem; border-bottom: 1px solid {HAIR}; position: relative }}
  td {{ display: block; border: 0; padding: .1rem 0 }}
  td[data-head]::before {{ content: attr(data-head) ": "; color: {GREY}; font-weight: 400; font-size: .85rem }}
  td.tick {{ position: absolute; left: 0; top: .5rem }}
}}
@page {{ margin: 14mm }}
@media print {{
  body {{ padding: 0; max-width: none; font-size: 10pt }}
  section + section {{ break-before: page; border: 0; margin: 0; padding: 0 }}
  figure, tr, .notice, li {{ break-inside: avoid }}
  h2, h3 {{ break-after: avoid }}
  .notice {{ border: 1px solid {INK}; border-left-width: .35rem }}
}}
"""


def document(title: str, chapters: Sequence[Chapter]) -> str:
    """The whole file. Nothing is fetched from anywhere."""
    sections = "\n".join(_section(chapter, index) for index, chapter in enumerate(chapters))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{font_style()}{_STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{sections}\n</main>\n</body>\n</html>\n"
    )


def _section(chapter: Chapter, index: int) -> str:
    inner = "\n".join(_block(block, f"c{index}b{place}") for place, block in enumerate(chapter.blocks))
    return f'<section aria-label="{escape(chapter.name)}">\n{inner}\n</section>'


def _block(block: Block, key: str) -> str:
    match block:
        case Heading():
            return f"<h{block.level}>{escape(block.text)}</h{block.level}>"
        case Passage():
            kind = ' class="quiet"' if block.quiet else ""
            return f"<p{kind}>{escape(block.text)}</p>"
        case Notice():
            text = "".join(f"<p>{escape(line)}</p>" for line in block.text)
            return f'<div class="notice" role="note"><p><strong>{escape(block.lead)}</strong></p>{text}</div>'
        case Listing():
            return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in block.lines)}</ul>"
        case Picture():
            size = f"width:{number(block.drawing.width_mm)}mm"
            picture = fragment(block.drawing, prefix=key).replace("<svg ", f'<svg style="{size}" ', 1)
            return f"<figure>\n{picture}<figcaption>{escape(block.caption)}</figcaption>\n</figure>"
        case Rows():
            return _table(block)


def _table(block: Rows) -> str:
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in block.heads)
    if block.tick:
        heads = f'<th scope="col"><span class="quiet">Done</span></th>{heads}'
    rows = "\n".join(_row(block, cells) for cells in block.rows)
    return f"<table>\n<thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>"


def _row(block: Rows, cells: tuple[str, ...]) -> str:
    inner = "".join(
        f'<td data-head="{escape(head)}">{escape(cell)}</td>' for head, cell in zip(block.heads, cells, strict=True)
    )
    name = escape(f"{block.heads[0]} {cells[0]} done")
    tick = f'<td class="tick"><input type="checkbox" aria-label="{name}"></td>' if block.tick else ""
    return f"<tr>{tick}{inner}</tr>"
