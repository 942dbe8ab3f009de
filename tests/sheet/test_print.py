"""What comes out of the printer: true scale, its own typeface, no fitting to the paper. Rasterised by PDFium."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from stash.errors import InputWrong
from stash.sheet import pdf
from stash.sheet.drawing import Area, Drawing, box
from stash.sheet.sheet import compose, rendered
from stash.sheet.target import Board, target_pages, write_target
from tests.sheet.case import jacket

#: Dots per millimetre of the raster.
DOTS = 10
BOARD = Board(
    width_mm=150.0, height_mm=210.0,
    cells_mm=tuple((30.0 * x, 30.0 * y, 30.0, 30.0) for y in range(7) for x in range(5) if (x + y) % 2 == 0),
)  # fmt: skip


def raster(content: bytes, page: int = 0) -> NDArray[np.uint8]:
    """A page as grey levels, DOTS to the millimetre."""
    file = pypdfium2.PdfDocument(content)
    return np.asarray(file[page].render(scale=DOTS * 25.4 / 72, grayscale=True).to_numpy()).squeeze()


def dark(picture: NDArray[np.uint8]) -> tuple[float, float, float, float]:
    """Left, top, width and height of all that is black, mm."""
    ys, xs = np.nonzero(picture < 100)
    return xs.min() / DOTS, ys.min() / DOTS, (np.ptp(xs) + 1) / DOTS, (np.ptp(ys) + 1) / DOTS


def test_a_millimetre_drawn_is_a_millimetre_printed() -> None:
    """A rectangle of 100 × 50 mm, 20 mm from the left and 30 mm from the top of A4 (210 × 297 mm, ISO 216)."""
    page = Drawing(width_mm=210, height_mm=297, marks=(Area(rings=(box(20, 30, 100, 50),), fill="#000000"),))
    content = pdf.document([page], title="t")
    assert dark(raster(content)) == pytest.approx((20, 30, 100, 50), abs=0.15)
    wide, high = pypdfium2.PdfDocument(content)[0].get_size()
    assert (wide * 25.4 / 72, high * 25.4 / 72) == pytest.approx((210, 297), abs=0.01)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_target_is_printed_at_true_scale_in_the_middle(paper: str, tmp_path: Path) -> None:
    """The board of 5 × 7 squares of 30 mm measures 150 × 210 mm; each bar beside it 100 mm or 4 in = 101.6 mm."""
    write_target(BOARD, tmp_path / "t.pdf", paper)
    picture = raster((tmp_path / "t.pdf").read_bytes())
    high, wide = (side / DOTS for side in picture.shape)
    left, top = (wide - 150) / 2, (high - 210) / 2
    middle = picture[int((top - 2) * DOTS) : int((top + 212) * DOTS), int((left - 2) * DOTS) : int((left + 152) * DOTS)]
    assert dark(middle)[2:] == pytest.approx((150, 210), abs=0.2)
    lengths = [_longest(row) / DOTS for row in picture[int((top + 212) * DOTS) :]]
    assert any(length == pytest.approx(100, abs=0.3) for length in lengths)
    assert any(length == pytest.approx(101.6, abs=0.3) for length in lengths)


def _longest(row: NDArray[np.uint8]) -> int:
    """The longest run of dark dots in a row."""
    best = run = 0
    for level in row < 170:
        run = run + 1 if level else 0
        best = max(best, run)
    return best


def test_the_square_to_check_the_printer_by_measures_100_mm() -> None:
    """The outline on the second page: the longest lines across and down are 100 mm apart from the 4 in bar."""
    picture = raster(pdf.document(target_pages(BOARD), title="t"), page=1)
    rows = {round(_longest(row) / DOTS, 1) for row in picture}
    columns = {round(_longest(column) / DOTS, 1) for column in picture.T}
    assert any(length == pytest.approx(100, abs=0.4) for length in rows)
    assert any(length == pytest.approx(100, abs=0.4) for length in columns)


def test_a_target_that_does_not_fit_and_other_endings_are_refused(tmp_path: Path) -> None:
    """Nothing is shrunk to fit."""
    with pytest.raises(InputWrong, match="does not fit"):
        target_pages(Board(width_mm=205, height_mm=290, cells_mm=()))
    with pytest.raises(InputWrong, match=r"\.pdf"):
        write_target(BOARD, tmp_path / "t.svg")
    with pytest.raises(InputWrong, match="no paper called"):
        write_target(BOARD, tmp_path / "t.pdf", "a9")


def test_the_pdf_forbids_fitting_and_carries_its_typeface() -> None:
    """ISO 32000-1, table 150: PrintScaling None; the typeface is embedded as a TrueType program (FontFile2)."""
    content = rendered(compose(*jacket()), ".pdf")
    assert b"/PrintScaling /None" in content
    assert b"DejaVuSansCondensed" in content
    assert b"/FontFile2" in content


def test_fractions_can_be_read_back_from_the_pdf() -> None:
    """⅝ is in the text of the page as itself, not as a box."""
    from stash.sheet.drawing import Words

    page = Drawing(width_mm=210, height_mm=297, marks=(Words(x_mm=20, y_mm=30, text="2⅝ in"),))
    text = pypdfium2.PdfDocument(pdf.document([page], title="t"))[0].get_textpage().get_text_range()
    assert "2⅝ in" in text


def test_the_same_plan_gives_the_same_file() -> None:
    """Nothing of the clock is in the file."""
    assert rendered(compose(*jacket()), ".pdf") == rendered(compose(*jacket()), ".pdf")
