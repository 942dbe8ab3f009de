"""Which of several combs over the same ticks is the ruler's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.row import comb
from vision.reference.candidate import FIELD_ROWS, Candidate, _better, _covers, _Search
from vision.reference.division import Division, Unit
from vision.reference.ruler import _agreeing
from vision.reference.tick import Row
from vision.reference.unit import Hearing, Verdict

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


@pytest.mark.parametrize(("period_px", "known"), [(7.2, True), (6.0, False)], ids=["the same", "another"])
def test_a_row_at_the_near_end_of_a_comb_seen_aslant_is_part_of_it(period_px: float, known: bool) -> None:
    """Ticks 7.3 px apart at one end of a comb and 4.7 px at the other: a row 7.2 px apart at the near end is of these
    ticks, and is not followed again; one 6 px apart there, as the comb is in its middle, is something else."""
    ticks = comb(100)
    sure = heard("mm", 1.0, MUCH, margin=40.0, ticks=100)
    aslant = replace(ticks, spacing_px=np.linspace(7.3, 4.7, 100))
    bases = np.stack([period_px * np.arange(10), np.full(10, 97.0)], axis=1)
    row = Row(
        bases_px=bases,
        axis=np.array([1.0, 0.0]),
        tick=np.array([0.0, 1.0]),
        period_px=period_px,
        length_px=8.0,
        dark=True,
        level=0,
    )
    assert _covers(replace(sure, comb=aslant), row) is known


@pytest.mark.parametrize("gap", [False, True], ids=["stretch by stretch", "the first and the last only"])
def test_a_tape_read_in_stretches_does_not_contradict_itself(gap: bool) -> None:
    """Of five stretches of a bent tape each shows a millimetre 7 % smaller than the one before it: all are kept, since
    each agrees with its neighbour. The first and the last alone differ by a quarter, and contradict each other."""
    found = []
    for number in (0, 4) if gap else range(5):
        one = heard("mm", 1.0, MUCH - number, margin=20.0, ticks=100)
        share = 0.93**number
        places = one.comb.places_px * [share, 1.0] + [500.0 * number, 0.0]
        ticks = replace(one.comb, places_px=places, spacing_px=np.full(100, 6.0 * share), period_px=6.0 * share)
        stretch = replace(one, comb=ticks)
        assert one.hearing.best is not None
        found.append((stretch, one.hearing.best, one.hearing.evidence()))
    kept, quarrel = _agreeing(found)
    assert quarrel is gap
    assert len(kept) == (0 if gap else 5)


def test_two_stretches_that_meet_do_not_contradict_each_other() -> None:
    """Two stretches of a bent tape seen aslant, a millimetre of 7 px in the middle of one and of 5 in that of the
    other: where they meet both show it at 6, and both are kept."""
    found = []
    for near, far, start in ((8.0, 6.0, 0.0), (6.0, 4.0, 700.0)):
        one = heard("mm", 1.0, MUCH, margin=20.0, ticks=100)
        spacing = np.linspace(near, far, 100)
        places = np.stack([start + np.cumsum(spacing), np.full(100, 100.0)], axis=1)
        ticks = replace(one.comb, places_px=places, spacing_px=spacing, period_px=(near + far) / 2)
        assert one.hearing.best is not None
        found.append((replace(one, comb=ticks), one.hearing.best, one.hearing.evidence()))
    kept, quarrel = _agreeing(found)
    assert not quarrel
    assert len(kept) == 2


def test_each_comb_is_asked_for_itself_whether_it_stands_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Combs that were dropped leave their place in memory to later ones; what was said of them is not said of these
    (Python's language reference, on the identity of objects whose lives do not overlap)."""
    beside = [0, 0, FIELD_ROWS + 1, FIELD_ROWS + 1] * 5
    search = _Search([], lambda comb: heard("mm", 1.0, LITTLE, margin=40.0, ticks=150).hearing)
    left = iter(beside)
    monkeypatch.setattr("vision.reference.candidate._rows_beside", lambda levels, comb: next(left))
    alone = [search._stands_alone(heard("mm", 1.0, LITTLE, margin=40.0, ticks=150)) for _ in beside]
    assert alone == [rows <= FIELD_ROWS for rows in beside]
