"""A garment against the stash: names that are not there are told with the nearest that is."""

from __future__ import annotations

import pytest

from stash.errors import InputWrong
from stash.fabric import Fabric, Print, Stripe
from stash.garment.file import read_garment
from stash.garment.stock import check_against, fold_spacing_mm
from tests.garment.test_file import COAT, HEM
from vision.estimate import Estimate

TICKING = Fabric(
    id="ticking",
    name="Red ticking",
    print=Print(
        kind="stripe",
        across=Estimate(60.0),
        stripes=(
            Stripe(label="A", width_mm=20, centre_mm=10),
            Stripe(label="B", width_mm=10, centre_mm=25),
            Stripe(label="C", width_mm=10, centre_mm=35),
            Stripe(label="D", width_mm=20, centre_mm=50),
        ),
    ),
)
INDIGO = Fabric(id="indigo", name="Indigo linen", print=Print(kind="plain"))
FABRICS = {"ticking": TICKING, "indigo": INDIGO}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEM.replace('"ticking"', '"tiking"'), 'the nearest is "ticking"'),
        (HEM.replace('"ticking"', '"zzz"'), 'there are "ticking", "indigo"'),
        (HEM.replace('"ticking"', '"Red ticking"'), '"ticking"'),
        (HEM.replace('stripe = "A"', 'stripe = "red"'), 'its stripes are "A", "B", "C", "D"'),
        (HEM.replace('"ticking"', '"indigo"'), "it is plain"),
    ],
)
def test_what_the_stash_lacks_is_named(text: str, words: str) -> None:
    """An unknown fabric or stripe is an error that names the part and what there is instead."""
    with pytest.raises(InputWrong) as caught:
        check_against(read_garment(text), FABRICS)
    assert words in str(caught.value)
    assert '"hem"' in caught.value.problem


def test_an_empty_stash_says_so() -> None:
    """With no fabric at all the remedy is to add one."""
    with pytest.raises(InputWrong, match="the stash is empty"):
        check_against(read_garment(HEM), {})


def test_an_uneven_stripe_is_told() -> None:
    """A B C D reads one way only: round A lie B and D, so left and right borders do not mirror."""
    assert any("do not mirror" in note for note in check_against(read_garment(HEM), FABRICS))


def test_a_one_way_body_is_told() -> None:
    """The coat has no shoulder seam: cloth with a direction stands on its head behind or in front."""
    velvet = Fabric(id="indigo", name="Velvet", one_way=True, print=Print(kind="plain"))
    assert any("stands on its head" in note for note in check_against(read_garment(COAT), FABRICS | {"indigo": velvet}))
    assert not any("stands on its head" in note for note in check_against(read_garment(COAT), FABRICS))


def _label(print_: Print, at_mm: float) -> str:
    """The stripe that lies over a place of the cloth."""
    assert print_.across is not None
    repeat = print_.across.value
    return next(
        stripe.label
        for stripe in print_.stripes
        if (at_mm - stripe.centre_mm + stripe.width_mm / 2) % repeat < stripe.width_mm
    )


@pytest.mark.parametrize("spacing_mm", [1000.0, 685.8, 642.3])
def test_stripes_meet_at_the_join_with_the_folds_that_are_told(spacing_mm: float) -> None:
    """At the join the cloth x from its side edge meets what lies 2c - x from it, a mirror about the side fold. With
    both folds in the middle of a stripe and the spacing told apart, every place meets its like; the spacing is within
    a quarter repeat of what was asked for."""
    even = Print(
        kind="stripe",
        across=Estimate(62.0),
        stripes=(
            Stripe(label="A", width_mm=22, centre_mm=11),
            Stripe(label="B", width_mm=9, centre_mm=26.5),
            Stripe(label="C", width_mm=22, centre_mm=42),
            Stripe(label="B", width_mm=9, centre_mm=57.5),
        ),
    )
    told = fold_spacing_mm(spacing_mm, 62.0)
    assert abs(told - spacing_mm) <= 62.0 / 4
    for fold in (11.0, 11.0 + told):
        for step in range(1, 400):
            assert _label(even, fold + step * 0.7301) == _label(even, fold - step * 0.7301)


def test_the_girth_that_makes_stripes_meet_is_told() -> None:
    """A coat of girth 56 in has its side folds 28 in apart; the nearest whole number of half repeats of 60 mm is 24
    (720 mm, 28 3/8 in), so the girth grows by 17.6 mm, 11/16 in; an uneven cloth never matches there."""
    halves = [("A", 20, 10), ("B", 10, 25), ("C", 20, 40), ("B", 10, 55)]
    stripes = tuple(Stripe(label=label, width_mm=width, centre_mm=centre) for label, width, centre in halves)
    even = Fabric(id="indigo", name="Indigo stripe", print=Print(kind="stripe", across=Estimate(60.0), stripes=stripes))
    notes = " ".join(check_against(read_garment(COAT), {"ticking": TICKING, "indigo": even}))
    assert "28 3/8 in apart in place of 28 in" in notes
    assert "the girth grows by 11/16 in" in notes
    uneven = Fabric(id="indigo", name="Indigo stripe", print=TICKING.print)
    notes = " ".join(check_against(read_garment(COAT), {"ticking": TICKING, "indigo": uneven}))
    assert "it will not match there" in notes
