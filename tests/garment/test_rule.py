"""The rule that uneven borders follow. Truth: the coat drawn as seen from outside, and what a strip's right side is."""

from __future__ import annotations

import pytest

from stash.errors import InputWrong
from stash.garment.file import read_garment
from stash.garment.rule import OUTER, RUNS
from tests.garment.test_file import COAT

# As one faces the wearer, x right, y down: which way each border runs at its start, and which way is outward there.
# Her left is on the right. The fronts run up; outward is centre front. The hem starts at her right front and runs away
# from centre front, the neck at her left front likewise.
DRAWN = {
    "front-left": ((0, -1), (-1, 0)),
    "front-right": ((0, -1), (1, 0)),
    "join-left": ((1, 0), (0, 1)),
    "join-right": ((-1, 0), (0, 1)),
    "sleeve-left": ((0, -1), (1, 0)),
    "sleeve-right": ((0, -1), (-1, 0)),
    "hem": ((-1, 0), (0, 1)),
    "neck": ((1, 0), (0, -1)),
}


@pytest.mark.parametrize("name", DRAWN)
def test_which_side_lies_outward(name: str) -> None:
    """Turned so that it runs down (0, 1), a strip has its right side at (1, 0): by a quarter turn of its run."""
    (run_x, run_y), outward = DRAWN[name]
    right = (run_y, -run_x)
    assert right in (outward, (-outward[0], -outward[1]))
    assert OUTER[name] == ("right" if right == outward else "left")


def test_one_rule_all_round() -> None:
    """mirror: both sides; outward: besides, one neighbour outward everywhere; round: all read alike, pairs stay."""
    mirrored, outward, round_ = (
        {strip.id: strip for strip in read_garment(f'{COAT}neighbours = "{rule}"\n').strips}
        for rule in ("mirror", "outward", "round")
    )
    for strips in (mirrored, outward):
        assert {name: strip.mirror for name, strip in strips.items() if strip.mirror} == {
            f"{what}-{side}": f"{what}s" for what in ("front", "join", "sleeve") for side in ("left", "right")
        }
        assert not any(strip.pair for strip in strips.values())
    assert {name: strip.outward for name, strip in outward.items()} == OUTER
    assert {strip.outward for strip in round_.values()} == {"left"}
    assert round_["front-left"].pair == "fronts"
    assert not any(strip.mirror or strip.outward for strip in read_garment(COAT).strips)


def test_the_rule_is_told_and_may_not_be_another() -> None:
    """Where borders start is told with the coat; a word that is no rule is a mistake that names those there are."""
    assert RUNS in read_garment(COAT + 'neighbours = "outward"\n').notes
    assert RUNS not in read_garment(COAT).notes
    with pytest.raises(InputWrong, match="write 'mirror', 'outward' or 'round'"):
        read_garment(COAT + 'neighbours = "same"\n')
