"""Which of several combs over the same ticks is the ruler's."""

from __future__ import annotations

import pytest

from tests.vision.row import comb
from vision.reference.candidate import Candidate, _better
from vision.reference.unit import Division, Hearing, Unit, Verdict

#: Nats by which "all ticks alike" is beaten: what is said with less says little, with more says much.
LITTLE, MUCH = 50.0, 80.0


def heard(unit: Unit, base_mm: float, evidence: float, *, margin: float, ticks: int) -> Candidate:
    """A comb whose ticks, half a spacing and more long, are best divided so, before all other ways by ``margin``."""
    others: tuple[tuple[Unit, float], ...] = (("none", 0.0), ("mm", 1.0), ("inch", 25.4 / 16))
    other, its_mm = next(one for one in others if one[0] != unit)
    verdicts = (
        Verdict(division=Division(unit=unit, base_mm=base_mm, top=10, longer=(10,), cost=0.0), phase=0, cost=0.0),
        Verdict(division=Division(unit=other, base_mm=its_mm, top=3, longer=(3,), cost=0.0), phase=0, cost=margin),
    )
    hearing = Hearing(verdicts=verdicts, alike=evidence, ticks=ticks, shortest=3.0)
    return Candidate(comb=comb(ticks), hearing=hearing)


@pytest.mark.parametrize(
    ("unit", "margin", "ticks", "stands"),
    [("none", 4.0, 150, True), ("none", 30.0, 150, False), ("none", 4.0, 400, False), ("mm", 4.0, 400, True)],
    ids=["in doubt", "plainly no ruler", "the whole of a row", "the whole of a row, alike"],
)
def test_a_sure_comb_yields_to_what_speaks_against_it_only(unit: Unit, margin: float, ticks: int, stands: bool) -> None:
    """Millimetres read for sure from 150 ticks stay read beside a comb of the same ticks with more to go by that hardly
    tells millimetres from no ruler at all, or says the same; not beside one that is plainly no ruler's, nor where the
    150 are a part only of a row that is taken for something else (a doubt is no evidence against; geometry of sets)."""
    sure = heard("mm", 1.0, LITTLE, margin=40.0, ticks=150)
    unsure = heard(unit, {"none": 0.0, "mm": 1.0}[unit], MUCH, margin=margin, ticks=ticks)
    assert sure.hearing.sure()
    assert not unsure.hearing.sure()
    assert _better(sure, unsure) is stands
    assert _better(unsure, sure) is not stands


def test_of_two_sure_combs_the_one_with_more_to_go_by_counts() -> None:
    """Of two combs of the same ticks, both read for sure, the one whose tick lengths say more by 30 nats is kept."""
    more = heard("mm", 1.0, MUCH, margin=40.0, ticks=150)
    less = heard("mm", 1.0, LITTLE, margin=40.0, ticks=150)
    assert _better(more, less)
    assert not _better(less, more)
