"""One harsh scene through the whole of the counting: what is recorded is what was drawn."""

from __future__ import annotations

import pytest

from tests.accuracy.attempt import Attempt, attempt
from tests.accuracy.limit import table, worst
from tests.makers.harsh import draw

SEED = 34005


@pytest.fixture(scope="module")
def one() -> Attempt:
    """A small scene, measured once."""
    return attempt(SEED, megapixels=0.8)


@pytest.mark.slow
def test_attempt_carries_the_facts_of_its_seed(one: Attempt) -> None:
    """The facts are those that the maker drew, the truth among the pairs is the print's own repeat."""
    drawn = draw(SEED, megapixels=0.8)
    assert one.facts == drawn.facts
    assert next(pair.true for pair in one.repeats) == pytest.approx(drawn.shot.cloths[0].print.across.repeat_mm)
    assert 0 < one.floor.period < one.floor.total < 0.01


@pytest.mark.slow
def test_table_has_a_row_for_every_goal(one: Attempt) -> None:
    """Every goal of the table stands in it, and a single photograph is among its own worst."""
    text = "\n".join(table([one], [7]))
    for goal in ("99 %", "94 %", "0.12 / 0.6", "0.4 / 1.5", "0.06 / 0.3", "0.3 / 1", "0.08 / 0.3", "92–99 %", "≤ 5 %"):
        assert goal in text, goal
    assert "crashes 1" in text
    assert worst([one]) == [one]
