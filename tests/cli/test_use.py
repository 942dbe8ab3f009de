"""What could be each part, what a piece still yields, and what is printed of the stash."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Call, strips


def test_what_a_piece_yields(filled: Call) -> None:
    """Ticking of 1100 by 900 mm, A 20 mm and B 40 mm wide from its left edge: 18 repeats and 20 mm more give
    19 lengths of A and 18 of B, each 900 mm; and 12 pad covers and more."""
    found = filled("uses", "t1", "--json")
    assert found.code == 0
    lengths = {row["label"]: row["lengths_mm"] for row in found.document["stripes"]}
    assert [len(lengths["A"]), len(lengths["B"])] == [19, 18]
    assert lengths["A"][0] == pytest.approx(900, abs=0.1)
    counts = {row["name"]: row["count"] for row in found.document["makings"]}
    assert counts["pad covers"] == 12


def test_bias_of_a_square(filled: Call) -> None:
    """A square of 20 in cannot give more binding 2 1/2 in wide than its area has, 400/2.5 = 160 in (common practice),
    and seams and corners take less than a third."""
    filled("add", "--fabric", "linen", "--width", "20 in", "--length", "20 in")
    found = filled("uses", "linen-1", "--json").document["bias"]
    assert 160 * 25.4 * 2 / 3 < found["length_mm"] <= 160 * 25.4


def test_what_fits_each_part(filled: Call, tmp_path: Path) -> None:
    """A strip is offered the pieces that give it whole, a panel also other cloth; a part that nothing gives makes it a
    no; that a panel lies along the grain is heeded."""
    filled("add", "--fabric", "ticking", "--width", "20 cm", "--length", "40 cm", "--start", "0 mm")
    rows = ('id = "hem"\nlength = "50 cm"\nwidth = "2 cm"', 'id = "cuff"\nlength = "30 cm"\nwidth = "2 cm"')
    file = strips(tmp_path / "a.toml", *rows)
    panel = '[[panel]]\nid = "body"\nfabric = "linen"\nwidth = "80 cm"\nlength = "85 cm"\nalign = "grain"\n'
    file.write_text(file.read_text(encoding="utf-8") + panel, encoding="utf-8")
    found = filled("what-fits", "a.toml", "--json")
    assert found.code == 0
    by_part = {row["part"]: row for row in found.document["parts"]}
    assert by_part["hem"]["pieces"] == ["t1"]
    assert by_part["cuff"]["pieces"] == ["ticking-1", "t1"]
    assert (by_part["body"]["pieces"], by_part["body"]["other_cloth"]) == (["l1"], ["t1"])
    strips(tmp_path / "b.toml", 'id = "long"\nlength = "3 m"\nwidth = "2 cm"')
    assert filled("what-fits", "b.toml").code == 1


def test_tickets_are_read_by_a_camera(filled: Call, tmp_path: Path) -> None:
    """Each ticket's code, rendered at 300 dpi and read by OpenCV, says the id of its piece."""
    cv2 = pytest.importorskip("cv2")
    pdfium = pytest.importorskip("pypdfium2")
    assert filled("stash", "tickets", "--out", "t.pdf").code == 0
    page = pdfium.PdfDocument(tmp_path / "t.pdf")[0]
    picture = page.render(scale=300 / 72).to_numpy()[:, :, :3].copy()
    _, told, _, _ = cv2.QRCodeDetector().detectAndDecodeMulti(picture)
    assert sorted(told) == ["l1", "t1"]
    assert filled("stash", "tickets", "--out", "t.txt").code == 2
    assert filled("stash", "tickets", "--out", "u.pdf", "--piece", "nothing").code == 2


def test_swatches_are_at_true_width(filled: Call, tmp_path: Path) -> None:
    """On the page, rendered at 10 pixels a millimetre, red and cream of the ticking are 20 and 40 mm wide."""
    pdfium = pytest.importorskip("pypdfium2")
    assert filled("stash", "samplebook", "--out", "book").code == 0
    page = pdfium.PdfDocument(tmp_path / "book" / "samplebook.pdf")[0]
    picture = page.render(scale=10 * 25.4 / 72).to_numpy()[:, :, :3].astype(int)
    red = abs(picture - (0x24, 0x1C, 0xA0)).max(axis=2) < 12  # the rendering is blue, green, red
    row = red[red.sum(axis=1).argmax()]
    edges = [at for at in range(1, len(row)) if row[at] != row[at - 1]]
    assert edges[1] - edges[0] == pytest.approx(200, abs=2)
    assert edges[2] - edges[1] == pytest.approx(400, abs=2)
    told = (tmp_path / "book" / "samplebook.html").read_text(encoding="utf-8")
    assert "19 of 35 in" in told  # 900 mm are 35.43 in


def test_an_empty_stash_has_a_book_and_no_tickets(call: Call, tmp_path: Path) -> None:
    """With nothing in the stash the book says so, and tickets are refused with what to do."""
    assert call("stash", "samplebook", "--out", "book").code == 0
    assert "no cloth" in (tmp_path / "book" / "samplebook.html").read_text(encoding="utf-8")
    assert call("stash", "tickets", "--out", "t.pdf").code == 2
