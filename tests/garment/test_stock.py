"""A garment against the stash: names that are not there are told with the nearest that is."""

from __future__ import annotations

import pytest

from stash.errors import InputWrong
from stash.fabric import Fabric, Print, Stripe
from stash.garment.file import read_garment
from stash.garment.stock import check_against
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
