"""Even and uneven stripes ("Sewing with Stripes, Checks, and Plaids", Pacific Northwest Extension / Oregon State)."""

from __future__ import annotations

from random import Random

import pytest

from stash.fabric import Print, Stripe
from stash.stripe_order import is_even, mirrors_on

Sequence = tuple[tuple[str, float], ...]


def _stripes(sequence: Sequence) -> tuple[Stripe, ...]:
    return tuple(Stripe(label=label, width_mm=width, centre_mm=index) for index, (label, width) in enumerate(sequence))


@pytest.mark.parametrize(
    ("sequence", "even"),
    [
        ((("R", 2), ("W", 1), ("B", 1), ("W", 1)), True),
        ((("R", 2), ("W", 1), ("B", 1)), False),
        ((("R", 2), ("W", 1)), True),
        ((("R", 2), ("W", 1), ("B", 1), ("W", 2)), False),
    ],
)
def test_even_reads_the_same_both_ways(sequence: Sequence, even: bool) -> None:
    """Even: folded on the dominant stripe, the sequence reads the same both ways; uneven repeats one way only."""
    assert is_even(_stripes(sequence)) is even


def test_where_the_repeat_starts_and_which_way_it_runs_do_not_matter() -> None:
    """Evenness belongs to the cloth, not to the end from which it is read: rotations and the reverse agree."""
    random = Random(3)
    for _ in range(200):
        sequence = [(random.choice("RWB"), random.randint(1, 2)) for _ in range(random.randint(1, 6))]
        turn = random.randrange(len(sequence))
        turned = sequence[turn:] + sequence[:turn]
        answers = {is_even(_stripes(tuple(read))) for read in (sequence, turned, turned[::-1])}
        assert len(answers) == 1


def test_a_strip_mirrors_where_its_neighbours_agree() -> None:
    """R W B W mirrors on R and on B, but not on one W, whose neighbours are R and B."""
    print_ = Print(kind="stripe", stripes=_stripes((("R", 2), ("W", 1), ("B", 1), ("W", 1))))
    assert mirrors_on(print_, "R")
    assert mirrors_on(print_, "B")
    assert not mirrors_on(print_, "W")
