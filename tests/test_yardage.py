"""Lengths too long for a photograph, against the geometry of stripes drawn across them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from stash.errors import InputWrong
from stash.fabric import Print, Stripe
from stash.piece import Piece
from stash.yardage import creased, laid_by_count, read_count, read_margins, without_margins
from vision.estimate import Estimate

INCH = 25.4


def awning(repeat: float, u95: float = 0.4) -> Print:
    """Red a third, white a half, blue a sixth of the repeat, as a photograph gives them."""
    shares = (("A", "red", 1 / 3), ("B", "white", 1 / 2), ("C", "blue", 1 / 6))
    stripes, at = [], 0.0
    for label, colour, share in shares:
        stripes.append(
            Stripe(
                label=label, width_mm=share * repeat, centre_mm=(at + share / 2) * repeat, colour=colour,
                width_u95_mm=0.2,
            )
        )  # fmt: skip
        at += share
    return Print(kind="stripe", across=Estimate(repeat, u95), stripes=tuple(stripes))


def piece(width: float = 1400.0, length: float = 3000.0) -> Piece:
    """A rectangle."""
    return Piece(id="p", fabric="f", outline_mm=((0, 0), (width, 0), (width, length), (0, length)))


@given(
    repeat=st.floats(40, 120),
    start=st.floats(0, 100),
    width=st.floats(900, 1600),
    slip=st.floats(-0.004, 0.004),
    slant=st.floats(-4, 4),
)
def test_the_count_gives_repeat_and_place(repeat: float, start: float, width: float, slip: float, slant: float) -> None:
    """Geometry: red stripes laid across a width at a known repeat and place are found again from their count and the
    distances to both selvages, to a thousandth, though the photograph's repeat is off by up to 0.4 %."""
    across_x = repeat / math.cos(math.radians(slant))  # along the upper edge, askew stripes stand farther apart
    red = across_x / 3
    first = start % across_x
    count = math.floor((width - first - red) / across_x) + 1
    left, right = first, width - (first + (count - 1) * across_x + red)
    told = read_count(f"red {count}, {left:.9f} mm, {right:.9f} mm")
    laid = laid_by_count(awning(repeat * (1 + slip)), told, width, direction_deg=slant)
    assert laid.print.across is not None
    # the stripe's own width is the photograph's, so its error stays, shared out among the repeats
    assert laid.print.across.value == pytest.approx(repeat, abs=0.004 * repeat / 3 / (count - 1) + 1e-3)
    assert sum(stripe.width_mm for stripe in laid.print.stripes) == pytest.approx(laid.print.across.value)
    place = (first + red / 2) * math.cos(math.radians(slant))
    red_now = laid.print.stripes[0]
    assert laid.origin_mm + red_now.centre_mm == pytest.approx(place, abs=0.004 * repeat)


def test_the_far_selvage_is_right_too() -> None:
    """A repeat of 60 mm measured as 60.3 is 6 mm off at the twentieth stripe; counted, it is right to the tape."""
    true, width = 60.0, 1330.0
    laid = laid_by_count(awning(60.3), read_count("red 22, 30 mm, 20 mm"), width)
    assert laid.print.across is not None
    last = laid.origin_mm + laid.print.stripes[0].centre_mm + 21 * laid.print.across.value
    assert last == pytest.approx(30 + 10 + 21 * true, abs=0.2)
    assert laid.print.across.u95 < 0.15


def test_a_miscount_is_refused_with_what_would_fit() -> None:
    """One stripe too few makes a repeat of 63 mm where the stripes make 60: told, with the count that goes."""
    with pytest.raises(InputWrong) as refused:
        laid_by_count(awning(60.0), read_count("red 21, 30 mm, 20 mm"), 1330.0)
    assert "63.0 mm" in refused.value.problem
    assert "count again (22 would give" in refused.value.remedy


def test_a_known_fabric_keeps_its_print() -> None:
    """A length of a fabric that is kept takes its place from the count, and the fabric's repeat stays what it is."""
    print_ = awning(60.1)
    laid = laid_by_count(print_, read_count("red 22, 30 mm, 20 mm"), 1330.0, known=True)
    assert laid.print == print_
    assert laid.origin_mm == pytest.approx(30.0)


def test_which_stripe_is_meant() -> None:
    """A stripe that stands twice in a repeat cannot be counted so, nor one that is not there; each is told."""
    stripes = (
        Stripe(label="A", width_mm=20, centre_mm=10, colour="red"),
        Stripe(label="B", width_mm=10, centre_mm=25, colour="white"),
        Stripe(label="C", width_mm=20, centre_mm=40, colour="blue"),
        Stripe(label="B", width_mm=10, centre_mm=55, colour="white"),
    )
    print_ = Print(kind="stripe", across=Estimate(60.0, 0.3), stripes=stripes)
    with pytest.raises(InputWrong, match="stands 2 times in one repeat"):
        laid_by_count(print_, read_count("white 22, 30 mm, 20 mm"), 1330.0)
    with pytest.raises(InputWrong, match="no stripe"):
        laid_by_count(print_, read_count("green 22, 30 mm, 20 mm"), 1330.0)
    assert laid_by_count(print_, read_count("22 blue stripes, 30 mm, 20 mm"), 1330.0).origin_mm == pytest.approx(0.0)


@pytest.mark.parametrize(
    "text", ["red", "red 12", "red 12, 3 in", "red, 3 in, 2 in", "red 1, 3 in, 2 in", "12, 3 in, 2 in"]
)
def test_what_is_no_count_is_refused(text: str) -> None:
    """A count says a stripe, a number of two or more and two distances; anything less is told how to say it."""
    with pytest.raises(InputWrong):
        read_count(text)


def test_margins_are_kept_out() -> None:
    """Half an inch at both selvages and 1 in at the top: the usable outline is the rectangle within, same frame."""
    inner = without_margins(piece(), read_margins("sides 1/2 in, top 1 in"))
    assert Polygon(inner.outline_mm).equals(Polygon([(12.7, 25.4), (1387.3, 25.4), (1387.3, 3000), (12.7, 3000)]))
    assert inner.extra["margins_mm"] == {"left": 12.7, "right": 12.7, "top": 25.4}
    with pytest.raises(InputWrong, match="leave nothing"):
        without_margins(piece(20, 20), read_margins("sides 1/2 in"))
    with pytest.raises(InputWrong, match="no margin"):
        read_margins("round about 1 in")


def test_the_old_fold_is_a_flaw_down_the_middle() -> None:
    """Cloth folded selvage to selvage has its fold in the middle of its width, over the whole of its length."""
    (fold,) = creased(piece(), 700.0).flaws_mm
    shape = Polygon(fold)
    assert shape.centroid.x == 700.0
    assert (shape.bounds[1], shape.bounds[3]) == (0, 3000)
    assert shape.bounds[2] - shape.bounds[0] < INCH
