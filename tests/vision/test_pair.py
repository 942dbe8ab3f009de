"""What the ticks of one ruler say of each other where they were followed as two rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.makers.harsh import draw
from tests.makers.scene import as_stored
from tests.makers.shot import shoot
from tests.vision.row import comb
from vision.reference.candidate import Candidate
from vision.reference.comb import Comb
from vision.reference.division import Division, Unit
from vision.reference.pair import settle
from vision.reference.ruler import read_rulers
from vision.reference.unit import Hearing, Verdict


def _heard(row: Comb, unit: Unit, base_mm: float, longer: tuple[int, ...], evidence: float) -> Candidate:
    division = Division(unit=unit, base_mm=base_mm, top=longer[-1], longer=longer, cost=0.0)
    other = Division(unit="none", base_mm=0.5, top=7, longer=(7,), cost=0.0)
    verdicts = (
        Verdict(division=division, phase=1 if longer == (2,) else 0, cost=0.0),
        Verdict(division=other, phase=0, cost=10.0 if longer == (2,) else 1.0),
    )
    hearing = Hearing(verdicts=verdicts, alike=evidence, ticks=len(row.index), shortest=1.0)
    return Candidate(comb=row, hearing=hearing)


def _row(places_px: np.ndarray, index: np.ndarray, period_px: float) -> Comb:
    row = comb(len(index))
    places = np.stack([places_px, np.full(len(index), 100.0)], axis=1)
    return replace(row, index=index, places_px=places, period_px=period_px)


@pytest.mark.parametrize(
    ("every", "jitter_px", "evidence", "read"),
    [(5, 0.3, 130.0, True), (4, 0.3, 130.0, False), (5, 2.5, 130.0, False), (5, 0.3, 30.0, False)],
    ids=["fives", "fours", "anywhere", "not longer in turn"],
)
def test_half_centimetres_make_the_ticks_between_them_millimetres(
    every: int, jitter_px: float, evidence: float, read: bool
) -> None:
    """200 of 280 ticks 6 px apart, whose lengths tell nothing, with a row at each fifth of them of which every second
    is longer for sure: millimetres, a whole centimetre at tick 7. At each fourth they may be eighths or anything, and
    where they stand anywhere, or hardly differ in turn, nothing is told."""
    rng = np.random.default_rng(3)
    index = np.sort(rng.choice(280, 200, replace=False))
    fine = _row(6.0 * index + rng.normal(0, 0.3, 200), index, 6.0)
    number = np.arange(50)
    coarse = _row(6.0 * (2 + every * number) + 1.5 + rng.normal(0, jitter_px, 50), number, 6.0 * every)
    found = settle([_heard(fine, "none", 0.0, (3,), 5.0), _heard(coarse, "none", 0.0, (2,), evidence)])
    verdict = found[0][1]
    assert (verdict is not None) is read
    assert found[1][1] is None
    if verdict is not None:
        assert (verdict.division.unit, verdict.division.base_mm, verdict.phase) == ("mm", 1.0, 7)


def test_a_worn_tape_is_read_by_its_half_centimetres() -> None:
    """Of a worn tape the millimetres stand out by three grey levels, as much as the noise: it is read by the fives and
    tens among them, to 0.5 % of the maker's geometry."""
    shot = draw(83009).shot
    (reading,) = read_rulers(as_stored(shoot(shot)))
    on_table = shot.lens.table_mm(reading.marks_px)
    ends_mm = np.hypot(*(on_table[-1] - on_table[0]))
    assert ends_mm == pytest.approx(abs(np.ptp(reading.marks_mm[:, 0])), rel=5e-3)
    assert len(reading.marks_px) > 200


@pytest.mark.parametrize(("evidence", "doubted"), [(84.0, True), (50.0, False)])
def test_a_scale_that_hardly_knows_its_size_is_doubted_where_another_contradicts_it(
    evidence: float, doubted: bool
) -> None:
    """Sixteenths of an inch taken for thirty-seconds by a hair, beside millimetres that are far surer of their size
    and make one half as large: with a third of their evidence these do for doubt, with a fifth not."""
    index = np.arange(140)
    inches = _heard(_row(7.1 * index, index, 7.1), "inch", 0.79375, (2, 4, 8, 16), 254.0)
    number = np.arange(188)
    fine = _heard(_row(4.48 * number, number, 4.48), "mm", 1.0, (5, 10), evidence)
    apart = []
    for one, margin in ((inches, 6.0), (fine, 54.0)):
        best, other = one.hearing.verdicts
        hearing = replace(one.hearing, verdicts=(best, replace(other, cost=margin)), shortest=2.0)
        apart.append(replace(one, hearing=hearing))
    assert (settle(apart)[0][1] is None) is doubted


def test_tips_of_every_second_tick_are_no_scale_of_half_the_size() -> None:
    """Of a ruler's sixteenths, 11 px apart, a coarse picture shows every second one by its tip, and eighths of an inch
    pass for sixteenths with much to go by: ticks of 0.6 mm are no rulers', so the finer pictures are looked at, and the
    size is right to 0.5 % of the maker's geometry."""
    shot = draw(98955, megapixels=3.1).shot
    readings = read_rulers(as_stored(shoot(shot)))
    assert readings
    for reading in readings:
        on_table = shot.lens.table_mm(reading.marks_px)
        ends_mm = np.hypot(*(on_table[-1] - on_table[0]))
        assert ends_mm == pytest.approx(abs(np.ptp(reading.marks_mm[:, 0])), rel=5e-3)
