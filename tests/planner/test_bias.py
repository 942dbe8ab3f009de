"""Binding on the bias: against the area rule, the printed loss of small squares, plane geometry, and an own audit."""

from __future__ import annotations

import math
import random

import pytest
import shapely

from stash.fabric import Fabric, Print
from stash.piece import Piece, Polygon
from stash.planner.audit_bias import audit_binding
from stash.planner.bias import Wanted, joined_mm, lay_binding
from stash.planner.plan import Placement

INCH = 25.4
LINEN = {"linen": Fabric(id="linen", name="Linen", print=Print(kind="plain"))}


def square(side_in: float, name: str = "q") -> Piece:
    """A square of plain cloth."""
    side = side_in * INCH
    return Piece(id=name, fabric="linen", outline_mm=((0, 0), (side, 0), (side, side), (0, side)))


def wanted(width_in: float, length_in: float, shortest_in: float = 6.0) -> Wanted:
    """A binding in inches."""
    return Wanted(width_mm=width_in * INCH, length_mm=length_in * INCH, shortest_mm=shortest_in * INCH)


def faults(placements: tuple[Placement, ...], pieces: list[Piece], want: Wanted) -> tuple[str, ...]:
    """What the audit finds."""
    return audit_binding(placements, pieces, LINEN, width_mm=want.width_mm, length_mm=want.length_mm)


@pytest.mark.parametrize(("side", "width"), [(20, 2), (12, 2), (36, 2), (30, 1.5), (24, 2.5)])
def test_a_square_gives_no_more_than_its_area(side: float, width: float) -> None:
    """Bias from a square is at most side²/width (common practice: 20 in at 2 in, 200 in; 12 at 2, 72; 36 at 2, 648)."""
    most = lay_binding([square(side)], wanted(width, 1e5, width)).most_mm / INCH
    assert 0.7 * side * side / width < most <= side * side / width
    assert lay_binding([square(side)], wanted(width, side * side / width)).answer == "no"


@pytest.mark.parametrize(("side", "width"), [(20, 2), (20, 2.5), (18, 2)])
def test_small_squares_lose_what_the_printed_table_says(side: float, width: float) -> None:
    """Joins cost small squares 11 to 17 % of side²/width (worked out against a printed table)."""
    most = lay_binding([square(side)], wanted(width, 1e5, width)).most_mm / INCH
    assert 0.11 <= 1 - most / (side * side / width) <= 0.17


def test_the_widest_strip_of_a_square_is_known() -> None:
    """One band along the diagonal of a square of side S: its ends run along the sides, and its middle measures
    S·√2 - w (two corners of half a width each are lost); in one strip no more can be had, and so much can."""
    side, width = 20 * INCH, 2 * INCH
    one = side * math.sqrt(2) - width
    yes = lay_binding([square(20)], Wanted(width_mm=width, length_mm=one - 0.1))
    assert (yes.answer, len(yes.placements)) == ("yes", 1)
    more = lay_binding([square(20)], Wanted(width_mm=width, length_mm=one + 1.0))
    assert (more.answer, len(more.placements)) == ("yes", 2)


def test_a_join_takes_one_width() -> None:
    """Strips joined at 45° overlap by one strip width: 3 of 10 in at 2 in make 26 in; one alone loses nothing."""
    assert joined_mm([10, 10, 10], 2) == 26
    assert joined_mm([10], 2) == 10
    assert joined_mm([], 2) == 0


def upright_and_lying(length_in: float) -> tuple[list[Piece], Wanted]:
    """Two ribbons of cloth, 12 by 60 in, one upright, one lying, and a binding 2 in wide from both."""
    a, b = 12 * INCH, 60 * INCH
    shapes = (("upright", a, b), ("lying", b, a))
    pieces = [
        Piece(id=name, fabric="linen", outline_mm=((0, 0), (wide, 0), (wide, high), (0, high)))
        for name, wide, high in shapes
    ]
    return pieces, wanted(2, length_in, shortest_in=16)


def test_ends_that_meet_follow_one_thread() -> None:
    """Strips across an upright ribbon have both ends along it, those across a lying one both along the other thread:
    where only such are long enough, one end is cut anew, and the binding is one width shorter than joins make it."""
    pieces, want = upright_and_lying(1e4)
    most = lay_binding(pieces, want).most_mm
    each = [lay_binding([piece], want).most_mm for piece in pieces]
    assert most == pytest.approx(sum(each) - 2 * want.width_mm, abs=0.1)
    pieces, want = upright_and_lying(most / INCH - 0.01)
    laid = lay_binding(pieces, want)
    assert laid.answer == "yes"
    assert faults(laid.placements, pieces, want) == ()
    assert faults(laid.placements, pieces, Wanted(width_mm=want.width_mm, length_mm=most + 0.5 * want.width_mm))


def test_no_corner_lies_beyond_the_cloth() -> None:
    """Lengths are equal to 0.01 mm (the contract); where an edge slants to the strip, its corners keep to that too."""
    outline = ((0.0, 0.0), (700.0, 0.0), (700.0, 800.0), (300.0, 1000.0), (0.0, 830.0))
    want = wanted(2, 200)
    laid = lay_binding([Piece(id="q", fabric="linen", outline_mm=outline)], want)
    assert laid.answer == "yes"
    cloth = shapely.Polygon(outline)
    assert max(cloth.distance(shapely.Point(p)) for row in laid.placements for p in row.outline_mm) <= 0.0101


def scrap(rng: random.Random, number: int) -> Piece:
    """A star-shaped scrap, not convex, with a flaw and now and then a hole, known to half a millimetre or exactly."""
    angles = sorted(rng.uniform(0, 2 * math.pi) for _ in range(rng.randint(5, 11)))
    outline: Polygon = tuple(
        (round(400 + r * math.cos(a), 2), round(400 + r * math.sin(a), 2))
        for a, r in ((angle, rng.uniform(120, 400)) for angle in angles)
    )
    x, y = rng.uniform(300, 450), rng.uniform(300, 450)
    spot: Polygon = ((x, y), (x + 30, y), (x + 30, y + 20), (x, y + 20))
    inside = shapely.Polygon(outline).contains(shapely.Polygon(spot))
    return Piece(
        id=f"s{number}", fabric="linen", outline_mm=outline, outline_u95_mm=rng.choice([0.0, 0.5]),
        holes_mm=(spot,) if inside and rng.random() < 0.3 else (), flaws_mm=(spot,) if inside else (),
    )  # fmt: skip


def test_strips_from_scraps_pass_the_audit() -> None:
    """From 12 sets of random scraps, flaws and holes among them, every binding that is said to go passes the audit,
    reaches its length, and is no longer than the cloth's area over its width."""
    rng = random.Random(11)
    yes = 0
    for _ in range(12):
        pieces = [scrap(rng, number) for number in range(rng.randint(1, 3))]
        width = rng.choice([30.0, 45.0, 60.0])
        most = lay_binding(pieces, Wanted(width_mm=width, length_mm=1e6)).most_mm
        if most <= 0:
            continue
        want = Wanted(width_mm=width, length_mm=rng.uniform(0.3, 1.0) * most)
        found = lay_binding(pieces, want)
        assert found.answer == "yes"
        assert faults(found.placements, pieces, want) == ()
        area = sum(shapely.Polygon(piece.outline_mm, piece.holes_mm).area for piece in pieces)
        assert found.joined_mm <= area / width
        assert most <= found.bound_mm + 0.1
        yes += 1
    assert yes >= 7


def test_more_cloth_never_gives_less() -> None:
    """A piece more never makes a binding shorter."""
    rng = random.Random(4)
    for _ in range(4):
        pieces = [scrap(rng, number) for number in range(3)]
        most = [lay_binding(pieces[:n], Wanted(width_mm=40, length_mm=1e6)).most_mm for n in (1, 2, 3)]
        assert most == sorted(most)


def test_what_is_measured_loosely_is_unsure() -> None:
    """Between what the cloth gives with its outline moved in and moved out by its u95 the answer is unsure."""
    exact = lay_binding([square(20)], wanted(2, 1e5)).most_mm
    loose = Piece(id="q", fabric="linen", outline_mm=square(20).outline_mm, outline_u95_mm=3.0)
    found = lay_binding([loose], Wanted(width_mm=2 * INCH, length_mm=exact - 1.0))
    assert (found.answer, found.reason, found.placements) == ("unsure", "measurement", ())


def test_the_audit_refuses_what_is_wrong() -> None:
    """A strip moved off the cloth, laid over another, off the bias, too narrow, or too few: each is refused."""
    pieces, want = [square(20)], wanted(2, 60)
    good = lay_binding(pieces, want).placements
    assert faults(good, pieces, want) == ()

    def spoilt(dx: float = 0.0, dy: float = 0.0, corner: tuple[float, float] = (0.0, 0.0)) -> tuple[Placement, ...]:
        first = good[0].outline_mm
        moved = tuple((x + dx, y + dy) for x, y in first)
        bent = ((moved[0][0] + corner[0], moved[0][1] + corner[1]), *moved[1:])
        values = {name: getattr(good[0], name) for name in Placement.__slots__}
        return (Placement(**{**values, "outline_mm": bent}), *good[1:])

    assert any("beyond" in fault for fault in faults(spoilt(dx=900), pieces, want))
    assert any("lie over each other" in fault for fault in faults((good[0], good[0], *good[1:]), pieces, want))
    assert any("45°" in fault for fault in faults(spoilt(corner=(5.0, 0.0)), pieces, want))
    assert any("join to" in fault for fault in faults(good[:1], pieces, want))
    assert any("wide" in fault for fault in faults(good, pieces, wanted(2.1, 60)))


def test_a_strip_wider_than_the_cloth_is_certainly_not_there() -> None:
    """Of a square of 9 in no strip 20 in wide is cut on the bias, however little of it is asked for."""
    found = lay_binding([square(9)], wanted(20, 2))
    assert (found.answer, found.proven, found.most_mm, found.bound_mm) == ("no", True, 0.0, 0.0)
