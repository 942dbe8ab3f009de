"""A motif's cells, each where the print was drawn."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.cloth import AnyPrint, Motif, MotifPrint, StripePrint, Stripes
from tests.vision.flat import flat
from vision.cell import FEWEST_CELLS, cells_of
from vision.swatch import cut_swatch

DOTS = MotifPrint(
    ground="#e9e1cc",
    motifs=(
        Motif(shape="leaf", x=0.1, y=-0.05, radius=0.3, turn_deg=30.0, colour="#8f1f2a"),
        Motif(shape="dot", x=-0.3, y=0.25, radius=0.12, colour="#23426f"),
    ),
    column_mm=18.0,
    row_mm=15.0,
    lattice="half_drop",
)
BANDS = StripePrint(across=Stripes(widths_mm=(7.0, 6.0), colours=("#8f1f2a", "#e9e1cc")))


def _cells(print_: AnyPrint, across_mm: float, along_mm: float, **options: float) -> tuple[np.ndarray, np.ndarray]:
    square = flat(print_, **options)
    swatch = cut_swatch(square, square.valid, most_px=2.5e6)
    return cells_of(swatch, np.array([across_mm, 0.0]), np.array([0.0, along_mm]))


@pytest.mark.parametrize("stretch", [0.0, 0.02, -0.03])
def test_cells_lie_where_the_print_was_drawn(stretch: float) -> None:
    """Lengths that grow by 2 or 3 % over the picture put its end cells a millimetre off an even lattice; each cell is
    found on its own, and taken back to the even cloth they lie on the lattice to a twentieth of a millimetre."""
    across, along = _cells(DOTS, 36.0, 15.0, stretch=stretch)
    assert len(across) >= 40
    x = across[:, 0] - 120.0
    true = np.column_stack([x + stretch * x * x / 480.0, across[:, 1]])
    index = np.column_stack([across[:, 2], along[:, 2], np.ones(len(across))])
    fit, *_ = np.linalg.lstsq(index, true, rcond=None)
    assert np.abs(true - index @ fit).max() < 0.05
    assert fit[:2] == pytest.approx(np.diag([36.0, 15.0]), abs=0.03)


def test_stripes_have_no_cells() -> None:
    """Along a stripe nothing tells where one cell ends: none is given, rather than one that may lie anywhere."""
    across, along = _cells(BANDS, 13.0, 15.0)
    assert not len(across)
    assert not len(along)


def test_few_cells_are_none() -> None:
    """Of fewer than a dozen whole cells nothing is said."""
    assert FEWEST_CELLS > 4
    across, _ = _cells(DOTS, 36.0, 15.0, width_mm=90.0, height_mm=50.0)
    assert not len(across)
