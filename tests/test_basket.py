"""What becomes of the scraps of a photograph, on scraps laid out place by place, without a photograph."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from stash.actions import stash_at
from stash.adding import Seen
from stash.basket import keep, scraps_of, settle
from stash.catalogue.stash import Stash
from stash.fabric import Fabric
from stash.measuring import Asked
from stash.photograph import KeptPhoto
from stash.piece import across_axis
from stash.recognition.impression import Impression
from tests.test_recognising import BLUE, DECK, GREEN, RED, WHITE, Rows, fabric, plain_scrap, scrap, turned
from vision.estimate import Estimate
from vision.measurement import Cloth, Measurement, Outline, Print, Scale, Stripe

SCALE = Scale(
    source="ruler", unit="mm", px_per_mm=Estimate(5.0, 0.01), reference_px_per_mm=5.0, tilt_deg=1.0
)  # fmt: skip
OTHER: Rows = ((GREEN, 5.0), (RED, 11.0), (GREEN, 3.0), (BLUE, 6.0))


def cloth(look: Impression) -> Cloth:
    """The figures of a scrap 50 mm high; its stripes run up and down, and show no whole repeat unless its run does."""
    width = look.extent_mm
    outline = Outline(points_mm=((0, 0), (width, 0), (width, 50), (0, 50)), u95_mm=0.3, area_mm2=width * 50)
    if look.kind == "plain":
        return Cloth(outline=outline, print=Print(kind="plain"), skew=None)
    return Cloth(
        outline=outline, print=Print(kind="stripe", across_direction_deg=Estimate(0.0, 0.1)), skew=None
    )  # fmt: skip


def photograph(*looks: Impression) -> Seen:
    """One photograph of these scraps."""
    cloths = tuple(cloth(look) for look in looks)
    return Seen(
        measurement=Measurement(
            photo="p.jpg", scale=SCALE, main=cloths[0], scraps=cloths if len(cloths) > 1 else ()
        ),
        cut_off=(False,) * len(looks),
        photo=KeptPhoto(jpeg=b"\xff\xd8\xff\xd9"),
        looks=looks,
        numbers=tuple(range(1, len(looks) + 1)),
    )  # fmt: skip


@pytest.fixture
def held(tmp_path: Path) -> Stash:
    """A stash that knows the deck-chair stripe."""
    stash = stash_at(tmp_path / "stash", write=True)
    stash.add(fabric("deck", DECK), ())
    return stash


def colour_at(held: Stash, piece_id: str, x_mm: float) -> str | None:
    """The colour that the stash says lies at a place across a piece, by the document's definition of a centre line."""
    piece = held.piece(piece_id)
    assert piece.stripe_direction_deg is not None
    print_ = held.fabric(piece.fabric).print
    assert print_.across is not None
    place = x_mm * across_axis(piece.stripe_direction_deg)[0] + 25.0 * across_axis(piece.stripe_direction_deg)[1]
    for stripe in print_.stripes:
        off = math.remainder(place - piece.stripe_origin_mm - stripe.centre_mm, print_.across.value)
        if abs(off) < stripe.width_mm / 2 - 0.6:
            return stripe.hex
    return None  # beside an edge


@pytest.mark.parametrize("back", [False, True])
def test_less_than_a_repeat_is_placed(held: Stash, back: bool) -> None:
    """Geometry: 29 mm cut at 9 mm into a sequence of 31 mm show red, white, blue, white, red at known places; the piece
    says the same at each of them, the scrap lying either way round."""
    look = scrap(DECK, 9.0, 29.0)
    look = turned(look) if back else look
    one = photograph(look)
    settled = settle(one, scraps_of(one, held.fabrics()), held.fabrics(), None)
    basket = keep(held, one, settled, Asked())
    assert basket.added is not None
    (piece_id,) = basket.added.entry.pieces_in
    true = [(1.5, RED), (6.0, WHITE), (13.5, BLUE), (20.0, WHITE), (25.0, RED)]
    for x, hex_ in true:
        assert colour_at(held, piece_id, 29.0 - 0.25 - x if back else x) == hex_


def test_what_fits_twice_is_not_placed(held: Stash) -> None:
    """A scrap of a single edge between white and red, cut within both, may show either white stripe beside the red
    one, one way round or the other: its stripes are not placed, and she is told so."""
    look = scrap(DECK, 29.0, 12.0)
    one = photograph(look)
    (row,) = scraps_of(one, held.fabrics())
    chosen = replace(settle(one, [row], held.fabrics(), None)[0], fabric=held.fabric("deck"))
    basket = keep(held, one, [chosen], Asked())
    assert basket.added is not None
    assert held.piece(basket.added.entry.pieces_in[0]).stripe_direction_deg is None
    assert any("not known" in warning for warning in basket.added.warnings)


def test_nobody_asked_nothing_guessed(held: Stash) -> None:
    """With nobody to ask, what is sure is taken, plain cloth where none is kept is new, and what shows too little of
    its print to be either is left out."""
    one = photograph(scrap(DECK, 3.0, 60.0), scrap(OTHER, 2.0, 20.0), plain_scrap(BLUE))
    settled = settle(one, scraps_of(one, held.fabrics()), held.fabrics(), None)
    assert [row.outcome for row in settled] == ["kept", "left out", "new"]


def test_scraps_of_one_new_fabric_are_of_one(held: Stash) -> None:
    """Two scraps of the same unknown cloth in one photograph make one new fabric with two pieces, in one entry."""
    first, second = scrap(OTHER, 2.0, 90.0, whole=True), scrap(OTHER, 9.0, 70.0, whole=True)
    one = photograph(first, second)
    whole = Print(
        kind="stripe", across=Estimate(25.0, 0.1), across_direction_deg=Estimate(0.0, 0.1), origin_mm=-2.0,
        stripes=tuple(
            _seen(stripe.label, stripe.width_mm, stripe.centre_mm, stripe.hex or "")
            for stripe in fabric("x", OTHER).print.stripes
        ),
    )  # fmt: skip
    cloths = tuple(replace(row, print=whole) for row in one.measurement.scraps)
    one = replace(one, measurement=replace(one.measurement, main=cloths[0], scraps=cloths))
    basket = keep(held, one, settle(one, scraps_of(one, held.fabrics()), held.fabrics(), None), Asked())
    assert basket.added is not None
    assert (len(basket.added.entry.fabrics_in), len(basket.added.entry.pieces_in)) == (1, 2)
    assert len({held.piece(name).fabric for name in basket.added.entry.pieces_in}) == 1
    held.undo()
    assert [row.id for row in held.fabrics()] == ["deck"]


def test_two_new_fabrics_of_one_look_are_told_apart(held: Stash) -> None:
    """A name that is taken is never given twice: the second fabric of that name carries a number."""
    kept: list[Fabric] = list(held.fabrics())
    one = photograph(scrap(OTHER, 2.0, 20.0))
    (row,) = settle(one, scraps_of(one, kept), kept, lambda scrap, usual, complaint: "new Deck")
    assert row.fabric is not None
    assert (row.fabric.id, row.fabric.name) == ("deck-2", "Deck 2")


def _seen(label: str, width: float, centre: float, hex_: str) -> Stripe:
    return Stripe(label=label, width=Estimate(width, 0.1), centre_mm=centre, hex=hex_, colour="")
