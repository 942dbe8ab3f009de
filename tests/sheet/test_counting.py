"""Cuts told in stripes, against positions worked out by hand from the contract's stripe geometry."""

from __future__ import annotations

import math

import pytest

from stash.piece import Piece
from stash.sheet.chapter import repeat_check
from stash.sheet.counting import read, stations
from stash.sheet.cutting import bench, cutting
from stash.sheet.job import read_job
from stash.sheet.telling import Instruction, Teller
from stash.sheet.wording import inch, ordinal, size
from tests.sheet.case import DECK, placed, plan, strip


def told(piece: Piece, *placements: dict, parts: list[dict]) -> tuple[Instruction, ...]:
    """The instructions for one piece."""
    document = plan(list(placements), [piece], {"name": "Jacket", "strips": parts})
    job = read_job(document, [DECK], [piece])
    reading = read(piece, DECK)
    laid = bench(reading, job.tables[0].placements)
    steps = cutting(laid, job.tables[0].placements)
    lines = [u for step in steps for u in (step.lane.low_u_mm, step.lane.high_u_mm)]
    return Teller(bench=laid, stations=stations(reading, lines), title=job.title).tell(steps)


SQUARE = ((0.0, 0.0), (800.0, 0.0), (800.0, 900.0), (0.0, 900.0))


def test_a_strip_is_told_as_third_red_a_quarter_inch_outside_each_edge() -> None:
    """The third A from the left selvage (k = 2, centre 136.525 mm): a strip 1/2 in wider than it shows 1/4 in."""
    part = strip("front", 600, 19.05)
    piece = Piece(id="p", fabric="deck", outline_mm=SQUARE, extra={"edges": {"left": "selvage"}})
    first = told(piece, placed(part, piece, DECK, 2, 0), parts=[part])[0]
    assert first.numbers == (1, 2)
    assert first.tell.startswith("Third A (moderate red) from the left selvage: ¼ in outside each edge of it.")
    left, right = 136.525 - 15.875, 136.525 + 15.875
    assert f"1 at {inch(left)} ({left:.0f} mm), 2 at {inch(right)} ({right:.0f} mm)" in first.check


@pytest.mark.parametrize("direction", [-3.0, 2.0])
def test_distances_on_a_skewed_piece_are_those_along_its_top_edge(direction: float) -> None:
    """On y = 0 the line p·n = u crosses at x = u / cos s, since n = (cos s, -sin s)."""
    part = strip("front", 400, 50.8)
    piece = Piece(id="p", fabric="deck", outline_mm=SQUARE, stripe_direction_deg=direction, stripe_origin_mm=20.0)
    first = told(piece, placed(part, piece, DECK, 4, 90), parts=[part])[0]
    u = 20.0 + 9.525 + 4 * 63.5 - 31.75
    assert f"1 at {inch(u / math.cos(math.radians(direction)))}" in first.check


def test_stripes_that_run_across_are_counted_from_the_top() -> None:
    """At 90 degrees n = (0, -1): the stripe with p·n = -73.975 lies 73.975 mm below the top edge."""
    part = strip("neck", 300, 19.05)
    piece = Piece(id="p", fabric="deck", outline_mm=SQUARE, stripe_direction_deg=90.0)
    first = told(piece, placed(part, piece, DECK, -2, 0), parts=[part])[0]
    centre = -(9.525 - 2 * 63.5)
    assert first.tell.startswith("Second A (moderate red) from the top edge: ¼ in outside each edge of it")
    assert f"1 at {inch(centre - 15.875)}" in first.check
    assert "along the left edge from the top edge" in first.check


def test_stripes_counted_beyond_a_half_turn_keep_her_left() -> None:
    """The same cloth described with s = 180 (n = (-1, 0)) has its stripes in the same places as seen."""
    part = strip("front", 300, 19.05)
    piece = Piece(id="p", fabric="deck", outline_mm=SQUARE, stripe_direction_deg=180.0)
    first = told(piece, placed(part, piece, DECK, -3, -310), parts=[part])[0]
    centre = 3 * 63.5 - 9.525
    assert first.tell.startswith("Third A (moderate red) from the left edge")
    assert f"1 at {inch(centre - 15.875)}" in first.check


def test_ten_repeats_are_checked_where_the_piece_shows_ten_and_fewer_on_a_remnant() -> None:
    """Ten repeats of 63.5 ± 0.3 mm are 635 ± 3 mm, 25 ± 1/8 in to the nearest 1/16; 400 mm show six: 15 in."""
    wide = Piece(id="w", fabric="deck", outline_mm=SQUARE)
    narrow = Piece(id="n", fabric="deck", outline_mm=((0, 0), (400, 0), (400, 300), (0, 300)))
    assert repeat_check(read(wide, DECK)) == (
        "ten repeats of the stripes must measure 25 in ± ⅛ (635 ± 3 mm); if not, stop."
    )
    assert str(repeat_check(read(narrow, DECK))).startswith("six repeats of the stripes must measure 15 in")


def test_lengths_are_set_with_their_fractions() -> None:
    """15.875 mm is exactly 5/8 in, 4.7625 mm exactly 3/16 in (the inch is 25.4 mm by definition)."""
    assert inch(15.875) == "⅝ in"
    assert inch(66.675) == "2⅝ in"
    assert inch(4.7625) == "³⁄₁₆ in"
    assert inch(25.4 * 7 + 4.7625) == "7\N{HAIR SPACE}³⁄₁₆ in"
    assert inch(0.2) == "0 in"
    assert size(63.5, 1320.8) == "2½ × 52 in (64 × 1321 mm)"


def test_ordinals() -> None:
    """English ordinals: 11th to 13th are the exceptions to the endings by the last figure."""
    assert [ordinal(n) for n in (1, 3, 10, 11, 13, 21, 22, 111)] == [
        "first", "third", "tenth", "11th", "13th", "21st", "22nd", "111th",
    ]  # fmt: skip
