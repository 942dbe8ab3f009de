"""The largest rectangle in a piece, against geometry."""

from __future__ import annotations

import math

import pytest

from stash.piece import Piece
from stash.rectangle import along_grain, along_stripes


def test_a_rectangle_holds_itself() -> None:
    """In a rectangle of 300 by 200 mm the largest rectangle is the whole of it."""
    piece = Piece(id="p", fabric="f", outline_mm=((0, 0), (300, 0), (300, 200), (0, 200)))
    assert along_grain(piece) == pytest.approx((300, 200), abs=0.02)


def test_the_half_square_of_a_triangle() -> None:
    """Geometry: the largest rectangle along the legs of a right-angled triangle has half of each leg for its sides."""
    piece = Piece(id="p", fabric="f", outline_mm=((0, 0), (240, 0), (0, 160)))
    wide, high = along_grain(piece)
    assert wide * high == pytest.approx(120 * 80, rel=0.05)
    assert wide * high <= 120 * 80 + 1


def test_holes_and_flaws_are_kept_clear_of() -> None:
    """A flaw that crosses a cloth of 300 by 200 mm 100 mm from its end leaves 200 by 200 whole."""
    fold = ((97.0, 0.0), (103.0, 0.0), (103.0, 200.0), (97.0, 200.0))
    piece = Piece(id="p", fabric="f", outline_mm=((0, 0), (300, 0), (300, 200), (0, 200)), flaws_mm=(fold,))
    wide, high = along_grain(piece)
    assert 197 - 2 * 300 / 96 <= wide <= 197.1
    assert high == pytest.approx(200, abs=0.02)


def test_along_askew_stripes() -> None:
    """Geometry: in a square of side 200, turned by 10 degrees, the largest square has the side 200 / (cos 10 + sin 10);
    no rectangle that way is larger by more than the square is, and where stripes are not placed nothing is said."""
    square = ((0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0))
    sides = along_stripes(Piece(id="p", fabric="f", outline_mm=square, stripe_direction_deg=10.0))
    assert sides is not None
    best = (200 / (math.cos(math.radians(10)) + math.sin(math.radians(10)))) ** 2
    assert 0.93 * best <= sides[0] * sides[1] <= 1.001 * best
    assert along_stripes(Piece(id="p", fabric="f", outline_mm=square, stripe_direction_deg=None)) is None
