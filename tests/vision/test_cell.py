"""A motif's cells, each where the print was drawn."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.cloth import AnyPrint, Motif, MotifPrint, StripePrint, Stripes
from tests.vision.flat import flat
from vision.cell import FEWEST_CELLS, as_followed, cells_of
from vision.lattice import find_lattice
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


@pytest.mark.parametrize("turn_deg", [0.0, 7.0, -12.0])
def test_repeat_told_by_cells_is_the_drawn_one(turn_deg: float) -> None:
    """A half-drop of columns 18 mm wide and rows 15 mm high repeats every 36 by 15 mm (geometry): the cells tell both
    to a ten-thousandth, whichever way the cloth lies."""
    square = flat(DOTS, turn_deg=turn_deg, noise=3.0)
    swatch = cut_swatch(square, square.valid, most_px=2.5e6)
    lattice = find_lattice(swatch)
    assert lattice is not None
    followed = as_followed(lattice, cells_of(swatch, lattice.across_mm, lattice.along_mm))
    assert np.hypot(*followed.across_mm) == pytest.approx(36.0, rel=1e-4)
    assert np.hypot(*followed.along_mm) == pytest.approx(15.0, rel=1e-4)
    assert followed.b_mm == pytest.approx(followed.along_mm)
    assert followed.a_mm == pytest.approx((followed.across_mm + followed.along_mm) / 2)
    assert followed.u95_mm < lattice.u95_mm


def test_cells_of_another_lattice_change_nothing() -> None:
    """Cells that stand 5 % further apart than the translations say are not the print's: the translations count."""
    square = flat(DOTS)
    swatch = cut_swatch(square, square.valid, most_px=2.5e6)
    lattice = find_lattice(swatch)
    assert lattice is not None
    across, along = cells_of(swatch, lattice.across_mm, lattice.along_mm)
    farther = [np.column_stack([1.05 * cells[:, :2], cells[:, 2:]]) for cells in (across, along)]
    assert as_followed(lattice, (farther[0], farther[1])) is lattice


def test_cells_cut_off_by_the_picture_are_where_the_print_was_drawn() -> None:
    """Of 100 by 75 mm of cloth, whose lengths grow by 2 % over them, at most eight cells of 36 by 15 mm show whole;
    with those of which most shows they are over a dozen, and all lie on the lattice to a twentieth of a millimetre."""
    across, along = _cells(DOTS, 36.0, 15.0, width_mm=100.0, height_mm=75.0, stretch=0.02, noise=1.0)
    assert len(across) > 12
    x = across[:, 0] - 50.0
    true = np.column_stack([x + 0.02 * x * x / 200.0, across[:, 1]])
    index = np.column_stack([across[:, 2], along[:, 2], np.ones(len(across))])
    fit, *_ = np.linalg.lstsq(index, true, rcond=None)
    assert np.abs(true - index @ fit).max() < 0.05
    assert fit[:2] == pytest.approx(np.diag([36.0, 15.0]), abs=0.03)
