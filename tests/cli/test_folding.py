"""Text folded to the terminal: a figure is never torn from its fraction or its unit."""

from __future__ import annotations

import pytest

from stash.cli.output import WIDTH, folded, wrapped

ROW = "    from t1: " + ", ".join(f"part-{k} {k} {k}/16 in ({k * 27} mm), {k} of {k + 1} in" for k in range(3, 16, 2))


@pytest.mark.parametrize("shift", range(12))
def test_no_line_ends_within_a_figure(shift: int) -> None:
    """``22`` at the end of a line and ``1/2 in`` at the start of the next is read as half an inch: whatever the row, no
    line begins with a fraction or a unit, none is too wide, and no word is lost."""
    row = "    " + "x" * shift + " " + ROW.strip()
    lines = wrapped(row).split("\n")
    assert len(lines) > 2
    assert all(len(line) <= WIDTH for line in lines)
    assert " ".join(" ".join(lines).split()) == " ".join(row.split())
    assert not any(line.split()[0] in ("in", "mm", "of") or "/" in line.split()[0] for line in lines[1:])


def test_a_narrow_column_keeps_figures_whole() -> None:
    """In a column of sixteen the fraction goes to the next line with its whole number."""
    assert folded("Deck-chair stripe: 37 × 24 1/2 in", 16) == ["Deck-chair", "stripe: 37 ×", "24 1/2 in"]
