"""Shrinkage against published figures and against points of cloth shrunk one by one."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stash.errors import InputWrong
from stash.fabric import Fabric, Print, Stripe
from stash.piece import Piece, across_axis, along_axis
from stash.washing import Shrinkage, left_of, turned_deg, washed_fabric, washed_piece
from vision.estimate import Estimate

SQUARE = ((0.0, 0.0), (1000.0, 0.0), (1000.0, 800.0), (0.0, 800.0))


def shrinkage(along: str | None, across: str | None) -> Shrinkage:
    """As it is typed."""
    return Shrinkage(along=left_of(along, "--length"), across=left_of(across, "--width"))


@pytest.mark.parametrize(("typed", "percent"), [("380 mm -> 375.8 mm", -1.1), ("20 cm → 17 cm", -15.0)])
def test_dimensional_change(typed: str, percent: float) -> None:
    """380 to 375.8 is -1.1 %, 20 to 17 is -15 % (the examples of AATCC 135 and ISO 5077's formula)."""
    assert shrinkage(typed, None).change_percent[0] == pytest.approx(percent, abs=0.01)


def test_cloth_to_have_two_metres() -> None:
    """To have 2.00 m after 5 % one takes 2.105 m, 2/0.95: cloth of that length is washed to it."""
    ring = tuple((x, y / 800 * 2105.26) for x, y in SQUARE)
    washed = washed_piece(Piece(id="p", fabric="f", outline_mm=ring), shrinkage("5 %", None))
    assert max(y for _, y in washed.outline_mm) == pytest.approx(2000, abs=0.5)


def test_a_repeat_shrinks_with_the_cloth() -> None:
    """A repeat of 120 mm is 116.4 mm after 3 %, its stripes in proportion, and as uncertain as before in proportion."""
    stripes = (Stripe(label="A", width_mm=40, centre_mm=20), Stripe(label="B", width_mm=80, centre_mm=80))
    fabric = Fabric(id="f", name="f", print=Print(kind="stripe", across=Estimate(120, 0.6), stripes=stripes))
    after = washed_fabric(fabric, [0.0], shrinkage("8 %", "3 %"))
    assert after.print.across is not None
    assert after.print.across.value == pytest.approx(116.4)
    assert after.print.across.u95 == pytest.approx(0.6 * 0.97)
    assert [stripe.centre_mm for stripe in after.print.stripes] == pytest.approx([19.4, 77.6])


def test_unequal_shrinkage_turns_the_print() -> None:
    """2° askew with 5 % along and 1 % across: a lengthwise line lies at 2.0841°, a crosswise one at 1.9193°.

    tan t' = tan t · (1 − s_length)/(1 − s_width) for a crosswise line, the inverse ratio for a lengthwise one
    (plane geometry).
    """
    both = shrinkage("5 %", "1 %")
    assert turned_deg(2.0, both) == pytest.approx(2.0841, abs=5e-5)
    assert 90 - turned_deg(88.0, both) == pytest.approx(1.9193, abs=5e-5)


@pytest.mark.parametrize("askew", [-7.0, 0.0, 2.0, 31.0, 90.0])
def test_every_point_keeps_its_stripe(askew: float) -> None:
    """A point of cloth lies as far through the repeat after the washing as before, wherever it is: x shrinks by one
    factor and y by the other, and nothing moves from its stripe."""
    fabric = Fabric(id="f", name="f", print=Print(kind="stripe", across=Estimate(60.0)))
    piece = Piece(id="p", fabric="f", outline_mm=SQUARE, stripe_direction_deg=askew, stripe_origin_mm=3.5)
    both = shrinkage("5 %", "1 %")
    after, print_ = washed_piece(piece, both), washed_fabric(fabric, [askew], both).print
    assert print_.across is not None
    assert after.stripe_direction_deg is not None
    for x, y in [(0.0, 0.0), (777.0, 13.0), (400.0, 790.0)]:
        n = across_axis(askew)
        before = (x * n[0] + y * n[1] - 3.5) / 60.0
        m = across_axis(after.stripe_direction_deg)
        now = (x * 0.99 * m[0] + y * 0.95 * m[1] - after.stripe_origin_mm) / print_.across.value
        assert now == pytest.approx(before, abs=1e-9)


def test_the_phase_along_is_kept_at_the_middle() -> None:
    """Square to the stripes' shrinkage the repeat along them keeps its place at the piece's middle."""
    piece = Piece(id="p", fabric="f", outline_mm=SQUARE, stripe_direction_deg=2.0, along_origin_mm=11.0)
    fabric = Fabric(id="f", name="f", print=Print(kind="check", across=Estimate(60.0), along=Estimate(80.0)))
    both = shrinkage("5 %", "1 %")
    after, along = washed_piece(piece, both), washed_fabric(fabric, [2.0], both).print.along
    assert along is not None
    assert after.stripe_direction_deg is not None
    d, e = along_axis(2.0), along_axis(after.stripe_direction_deg)
    before = (500 * d[0] + 400 * d[1] - 11.0) / 80.0
    assert (495 * e[0] + 380 * e[1] - after.along_origin_mm) / along.value == pytest.approx(before, abs=1e-9)


def test_area_and_flaws_shrink_alike() -> None:
    """Outline, holes and flaws are one cloth: all areas shrink by the product of the factors."""
    ring = ((10.0, 10.0), (60.0, 10.0), (60.0, 50.0))
    piece = replace(Piece(id="p", fabric="f", outline_mm=SQUARE), holes_mm=(ring,), flaws_mm=(ring,))
    after = washed_piece(piece, shrinkage("10 %", "2 %"))
    assert after.outline_mm[2] == pytest.approx((980.0, 720.0))
    assert after.holes_mm == after.flaws_mm
    assert after.holes_mm[0][1] == pytest.approx((58.8, 9.0))
    assert after.extra["washed"] == "yes"


def test_marks_are_read_with_their_doubt() -> None:
    """Two readings to ± 0.5 mm on 500 mm leave ± 0.14 % (root of two, JCGM 100), so ± 0.7 mm at the end of 1000 mm."""
    both = shrinkage("50 cm -> 50 cm", None)
    after = washed_piece(Piece(id="p", fabric="f", outline_mm=((0, 0), (1, 0), (1, 1000), (0, 1000))), both)
    assert after.outline_u95_mm == pytest.approx(500 * math.sqrt(2) * 0.5 / 500)


@pytest.mark.parametrize("typed", ["50 cm -> 5 cm", "0 cm -> 3 cm", "much", "50 cm", "-30 %", "50 cm -> 49"])
def test_what_cannot_be_is_refused(typed: str) -> None:
    """Cloth that loses nine tenths, or grows by a third, was measured wrongly; words and bare numbers say nothing."""
    with pytest.raises(InputWrong):
        left_of(typed, "--length")
