"""The whole sheet: what it says, that everything on it can be read, and that it is to scale."""

from __future__ import annotations

import re
from copy import deepcopy
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pypdfium2
import pytest

from stash.errors import InputWrong
from stash.sheet import drawing, svg
from stash.sheet.content import Passage, Picture, Rows
from stash.sheet.drawing import Area, Drawing, Words
from stash.sheet.sheet import Sheet, compose, rendered, write
from stash.sheet.tint import lightness
from stash.sheet.typeface import width, wrapped
from tests.sheet.case import DECK, jacket, placed, plan, strip


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    """The jacket's sheet."""
    return compose(*jacket())


def test_what_is_to_spare_is_never_said_to_be_more() -> None:
    """6.93 mm to spare are 6 whole millimetres and 4/16 in (6.35 mm), not 7 mm: rounded up, it would be cut away."""
    document, fabrics, pieces = jacket()
    document["tightest"]["spare_mm"] = 6.93
    chapters = compose(document, fabrics, pieces).chapters
    text = " ".join(block.text for one in chapters for block in one.blocks if isinstance(block, Passage))
    assert "¼ in (6 mm) to spare" in text


def figures(sheet: Sheet) -> list[Drawing]:
    """The figures of the pieces, in order."""
    return [block.drawing for one in sheet.chapters for block in one.blocks if isinstance(block, Picture)]


def test_the_figure_is_drawn_to_the_scale_it_states(sheet: Sheet) -> None:
    """The linen is 1524 × 1200 mm: its outline on paper times the stated scale."""
    figure = figures(sheet)[-1]
    scale = float(re.findall(r"1 : (\d+)", figure.description)[0])
    areas = [mark for mark in figure.marks if isinstance(mark, Area)]
    outlines = [mark for mark in areas if mark.stroke == drawing.INK and not mark.fill]
    xs, ys = zip(*outlines[0].rings[0], strict=True)
    assert (max(xs) - min(xs)) * scale == pytest.approx(1524)
    assert (max(ys) - min(ys)) * scale == pytest.approx(1200)
    assert any(isinstance(mark, Words) and f"1 : {scale:g}" in mark.text for mark in figure.marks)


def test_right_stays_right_and_down_stays_down(sheet: Sheet) -> None:
    """The frame of the contract: x to the right, y down. A strip of a higher lane lies further right on paper."""
    names = {mark.text.split(" ")[0]: mark for mark in figures(sheet)[0].marks if isinstance(mark, Words)}
    assert names["front-left"].x_mm < names["front-right"].x_mm < names["join-left"].x_mm
    assert names["torn"].y_mm < names["bottom"].y_mm


@pytest.mark.parametrize("ending", [".pdf", ".svg", ".html"])
def test_every_part_with_its_sizes_is_on_every_kind_of_sheet(sheet: Sheet, ending: str) -> None:
    """Part names, cut and finished sizes in inches and mm, the first line, what is over, and the cautions."""
    content = rendered(sheet, ending)
    if ending == ".pdf":
        file = pypdfium2.PdfDocument(content)
        text = " ".join(page.get_textpage().get_text_range() for page in file)
    else:
        text = re.sub(r"<[^>]*>", " ", content.decode())
    text = re.sub(r"\s+", " ", text.replace("&#x27;", "'"))
    for words in (
        "Before the first cut: ten repeats", "25 in ± ⅛", "front-left", "hem 2 of 2", "2½ × 26½ in (64 × 673 mm)",
        "2 × 26 in (51 × 660 mm)", "38 × 58 in (965 × 1473 mm)", "Second A (moderate red) from the left selvage",
        "What is over", "linen may shrink", "right side up", "torn top edge",
    ):  # fmt: skip
        assert words in text, words


def test_svg_and_html_are_well_formed_and_fetch_nothing(sheet: Sheet, tmp_path: Path) -> None:
    """The SVG parses as XML; no file refers to another place than the SVG namespace."""
    for ending in (".svg", ".html"):
        write(sheet, tmp_path / f"a{ending}")
        text = (tmp_path / f"a{ending}").read_text()
        assert set(re.findall(r"https?://[^\"' )]+", text)) <= {"http://www.w3.org/2000/svg"}
        assert not re.search(r"(?:src|href)=", text)
    root = ElementTree.parse(tmp_path / "a.svg").getroot()
    assert root.get("width") == "210mm"


def test_the_html_has_one_first_heading_and_titled_figures(sheet: Sheet) -> None:
    """WCAG 2.2, success criteria 1.1.1 and 1.3.1: headings in order, a text alternative for each figure."""
    text = rendered(sheet, ".html").decode()
    levels = [int(level) for level in re.findall(r"<h(\d)>", text)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 2 for before, after in pairwise(levels))
    assert text.count('role="img"') == text.count("<title id=") == len(figures(sheet))
    ids = re.findall(r' id="([^"]+)"', text)
    assert len(ids) == len(set(ids))


def test_small_print_is_dark_enough() -> None:
    """WCAG 2.2, success criterion 1.4.3: contrast (L1 + 0.05) / (L2 + 0.05) of 4.5 and more."""
    # The lightest grey that passes on white is #767676, at 4.54:1 (WCAG techniques; from memory).
    assert 1.05 / (lightness("#767676") + 0.05) == pytest.approx(4.54, abs=0.005)
    for ink in (drawing.INK, drawing.GREY, drawing.ACCENT):
        for ground in (drawing.WHITE, drawing.WASH):
            assert (lightness(ground) + 0.05) / (lightness(ink) + 0.05) >= 4.5


def on_the_page(page: Drawing) -> list[str]:
    """The words that run over the edge of a page."""
    over = []
    for mark in page.marks:
        if isinstance(mark, Words) and not mark.turn_deg:
            room = width(mark.text, mark.size_mm, bold=mark.bold)
            left = mark.x_mm - {"start": 0.0, "middle": room / 2, "end": room}[mark.anchor]
            if left < 5 or left + room > page.width_mm - 5 or not 5 < mark.y_mm < page.height_mm - 5:
                over.append(mark.text)
    return over


def test_long_names_and_many_cuts_stay_on_the_page() -> None:
    """A length with twenty strips and names without end: every word lies within the paper, on A4 and on letter."""
    document, fabrics, pieces = jacket()
    piece = pieces[0]
    parts = [strip(f"border-{k}-" + "very-long-" * 8, 300) for k in range(1, 16)]
    garment = {"name": "A jacket " * 30, "strips": parts, "panels": [], "cautions": ["Mind the " + "w" * 300]}
    document = plan([placed(part, piece, DECK, k + 1, 60) for k, part in enumerate(parts)], [piece], garment)
    for paper in ("a4", "letter"):
        pages = compose(document, fabrics, pieces, paper=paper).pages
        assert len(pages) > 2
        assert [word for page in pages for word in on_the_page(page)] == []


def test_stripes_of_one_grey_are_told_apart_by_a_hatch() -> None:
    """Moderate red and moderate blue print as nearly one grey (luminance 0.08 and 0.07): one of them is hatched."""
    from stash.sheet.cloth_figure import hatched_labels
    from stash.sheet.counting import read

    _, _, pieces = jacket()
    assert hatched_labels(read(pieces[0], DECK)) == {"C"}


def test_words_keep_number_and_unit_together_and_break_what_is_too_wide() -> None:
    """No line is wider than its room, and nothing is lost."""
    lines = wrapped("cut 26½ in long and then " + "x" * 90, 3.2, 40)
    assert all(width(line, 3.2) <= 40 for line in lines)
    assert "".join(lines).replace(" ", "") == "cut26½inlongandthen" + "x" * 90
    assert not any(line.startswith("in ") for line in wrapped("a b c 26½ in " * 40, 3.2, 31))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"answer": "no"}, "nothing to cut"),
        ({"answer": "unsure", "reason": "measurement", "settle": ["measure deck-1 again"]}, "measure deck-1 again"),
        ({"placements": []}, "nothing to cut"),
        ({"schema": "stash/1"}, "not a plan"),
        ({"placements": [{"part": "x"}]}, r"placements\[0\]"),
        ({"leftovers": [{"piece": "deck-1", "outline_mm": "no"}]}, r"leftovers\[0\]"),
    ],
)
def test_a_plan_that_cannot_be_cut_is_refused_in_a_sentence(change: dict, message: str) -> None:
    """No sheet is made of a no, an unsure or a broken plan."""
    document, fabrics, pieces = jacket()
    with pytest.raises(InputWrong, match=message):
        compose({**deepcopy(document), **change}, fabrics, pieces)


def test_a_piece_that_is_not_in_the_stash_is_named() -> None:
    """The plan and the stash must belong together."""
    document, fabrics, pieces = jacket()
    with pytest.raises(InputWrong, match="deck-1 is in the plan but not in the stash"):
        compose(document, fabrics, pieces[1:])


def test_other_endings_and_missing_folders_are_refused(sheet: Sheet, tmp_path: Path) -> None:
    """The ending says what is written; a folder that is not there is said in a sentence."""
    with pytest.raises(InputWrong, match=r"\.pdf, \.svg, \.html"):
        write(sheet, tmp_path / "a.docx")
    with pytest.raises(InputWrong, match="cannot be written"):
        write(sheet, tmp_path / "none" / "a.pdf")


def test_a_plan_without_its_garment_still_makes_a_sheet() -> None:
    """``garments`` may be empty: names and cut sizes come from the placements."""
    document, fabrics, pieces = jacket()
    sheet = compose({**document, "garments": []}, {one.id: one for one in fabrics}, pieces)
    assert sheet.title == "Cutting sheet"
    assert b"front-left" in rendered(sheet, ".html")


def test_text_is_escaped() -> None:
    """A name with markup in it is shown, not obeyed."""
    page = Drawing(width_mm=50, height_mm=50, marks=(Words(x_mm=1, y_mm=9, text="<b>&"),), title="<t>")
    assert "&lt;b&gt;&amp;" in svg.document(page)
    assert "<t>" not in svg.document(page)


def test_the_sheet_says_what_is_turned_and_what_is_turned_over() -> None:
    """Mirror images depend on it: the figure's label says it at the strip, the list of parts in full."""
    document, fabrics, pieces = jacket()
    first, second = (row for row in document["placements"] if row["part"].startswith("front"))
    first["turned"], second["over"] = True, True
    text = rendered(compose(document, fabrics, pieces), ".html").decode()
    for words in ("· turned", "· turn over", "turned end for end", "turned over once it is cut"):
        assert words in text


def test_the_sheet_says_where_a_turned_strip_starts() -> None:
    """A strip runs along d, down the drawing; turned, it starts at its lower end (the contract, "enough"). On cloth
    whose stripes lie along x it starts at the left, turned at the right."""
    document, fabrics, pieces = jacket()
    by_piece = {piece.id: piece for piece in pieces}
    lengthwise, across = (
        next(row for row in document["placements"] if abs((by_piece[row["piece"]].stripe_direction_deg or 0) - deg) < 5)
        for deg in (2.1, 90.0)
    )
    lengthwise["turned"] = across["turned"] = True
    text = rendered(compose(document, fabrics, pieces), ".html").decode()
    assert "starts at its top end as it lies here, one turned end for end at its bottom end" in text
    assert "starts at its left end as it lies here, one turned end for end at its right end" in text


def test_parts_of_several_garments_stand_garment_by_garment() -> None:
    """Each garment's parts stand together under its name, so that nobody sews the skirt's hem to the jacket."""
    document, fabrics, pieces = jacket()
    garment = document["garments"][0]
    skirt = {**garment, "name": "Skirt", "panels": [], "strips": [s for s in garment["strips"] if s["id"] == "hem"]}
    rest = {**garment, "strips": [s for s in garment["strips"] if s["id"] != "hem"]}
    document["garments"] = [rest, skirt]
    front = compose(document, fabrics, pieces).chapters[0]
    tables = {block.heads[0]: block.rows for block in front.blocks if isinstance(block, Rows) and not block.tick}
    assert {row[0].split(" ")[0] for row in tables["Skirt"]} == {"hem"}
    assert all(not row[0].startswith("hem") for row in tables[garment["name"]])
