"""A motif that shows in parts of the cloth only, on flat pictures with a truth of their own."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import Motif, MotifPrint
from tests.vision.flat import flat
from vision.excerpt import lattice_in_parts
from vision.print import measure_print
from vision.square import SquareOn
from vision.swatch import cut_swatch

MOTIFS = (
    Motif(shape="ring", colour="#2b2b2e", x=-0.08, y=0.08, radius=0.31),
    Motif(shape="leaf", colour="#9aa0a3", x=-0.04, y=0.06, radius=0.15),
)


def printed(column_mm: float, row_mm: float) -> SquareOn:
    """Rings on blue, every other column dropped by half a row, 180 by 140 mm."""
    print_ = MotifPrint(ground="#3a5f94", motifs=MOTIFS, column_mm=column_mm, row_mm=row_mm, lattice="half_drop")
    return flat(print_, width_mm=180.0, height_mm=140.0, px_per_mm=5.0, turn_deg=-7.0, seed=4)


def test_a_ruler_that_lies_on_a_motif_unread_does_not_hide_it() -> None:
    """A white ruler 16 mm wide, not known to be one, lies slanting over a third of a cloth with a half-drop of columns
    15 and rows 13 mm: the print is a motif that repeats after 30 by 13 mm all the same."""
    square = printed(15.0, 13.0)
    rgb = square.rgb.copy()
    ruler = np.array([[-20, 560], [330, -20], [430, -20], [80, 640], [0, 720], [-20, 720]], dtype=np.int32)
    cv2.fillPoly(rgb, [ruler], (228, 222, 205))
    cv2.fillPoly(rgb, [np.array([[-5, -5], [330, -5], [-5, 560]], dtype=np.int32)], (228, 222, 205))
    found = measure_print(replace(square, rgb=rgb), square.valid).print
    assert found is not None
    assert found.kind == "motif"
    assert found.across is not None
    assert found.along is not None
    assert sorted((found.across.value, found.along.value)) == pytest.approx([13.0, 30.0], rel=0.005)


def test_two_motifs_side_by_side_are_no_print() -> None:
    """Where one half of what was taken for a cloth repeats after 15 mm and the other after 12, there is no one
    repeat, though each of several parts shows one."""
    square, other = printed(15.0, 13.0), printed(12.0, 10.0)
    rgb = np.concatenate([square.rgb[:, :450], other.rgb[:, 450:]], axis=1)
    both = replace(square, rgb=np.ascontiguousarray(rgb))
    assert lattice_in_parts(cut_swatch(square, square.valid, most_px=2.5e6), None, 0.0) is not None
    assert lattice_in_parts(cut_swatch(both, both.valid, most_px=2.5e6), None, 0.0) is None
