"""What tick lengths say of a ruler's division, on lengths written down by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.reference.candidate import Candidate
from vision.reference.number import Numbers
from vision.reference.pair import settle
from vision.reference.unit import LEAST_EVIDENCE, hear, levelled


def eighths(short: float, count: int = 97) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Ticks of a scale of eighths whose lengths, in spacings, double twice from the shortest: 1, 1.5, 2, 3 times it."""
    index = np.arange(count)
    size = np.full(count, short)
    for every, times in ((2, 1.5), (4, 2.0), (8, 3.0), (16, 3.6), (32, 4.2)):
        size[index % every == 0] = short * times
    return index, size + np.random.default_rng(3).normal(0, 0.02, count)


def test_ticks_shorter_than_any_ruler_s_settle_nothing() -> None:
    """A pattern of 32 with ticks of 0.6 of a spacing would be a scale whose short ticks are half a millimetre long: no
    ruler has such (common practice), so it is not read; with ticks of three spacings, 2.4 mm, it is thirty-seconds."""
    assert not hear(*eighths(0.6)).sure()
    plain = hear(*eighths(3.0))
    assert plain.sure()
    assert plain.best is not None
    assert plain.best.division.base_mm == 25.4 / 32


def test_tips_of_long_ticks_are_no_scale_of_their_own() -> None:
    """Seen beyond the ends of the shorter ticks, sixteenths look like quarters of an inch a fifth of a spacing long: no
    ruler has such ticks (common practice), so nothing is read from the tips; ticks twice as long are read."""
    index = np.arange(73)
    size = np.full(73, 0.2)
    size[index % 2 == 0], size[index % 4 == 0] = 0.3, 0.42
    noise = np.random.default_rng(6).normal(0, 0.01, 73)
    assert not hear(index, size + noise).sure()
    assert hear(index, 2 * (size + noise)).sure()


@pytest.mark.parametrize(("dirt", "spread", "read"), [(0.3, 0.1, True), (0.6, 0.03, False)])
def test_halves_are_told_before_eighths(dirt: float, spread: float, read: bool) -> None:
    """Every second, fourth and eighth tick longer than the last are eighths of an inch. Dirt that makes every fourth
    inch's tick longer does not make thirty-seconds of them: no scale tells its sixteenths, eighths and quarters apart
    and not its halves (common practice)."""
    index = np.arange(97)
    size = np.full(97, 1.76)
    for every, length in ((2, 2.45), (4, 3.14), (8, 3.82)):
        size[index % every == 0] = length
    size[index % 32 == 8] += dirt
    heard = hear(index, size + np.random.default_rng(4).normal(0, spread, 97))
    assert heard.sure() == read
    assert heard.best is not None
    assert not read or heard.best.division.base_mm == 25.4 / 8


def thirty_seconds(count: int, step: float) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Ticks of a scale of thirty-seconds, six spacings and more long, each kind longer than the last by ``step``."""
    index = np.arange(count)
    size = np.full(count, 6.0)
    for rank, every in enumerate((2, 4, 8, 16, 32), start=1):
        size[index % every == 0] = 6.0 + step * rank
    return index, size


def test_lengths_that_grow_along_a_tilted_ruler_do_not_change_the_unit() -> None:
    """Seen in perspective, lengths counted in spacings grow steadily: by a quarter along this ruler, more than the
    inch's tick is longer than the half inch's. Thirty-seconds stay thirty-seconds; as sixteenths they would measure
    twice too much."""
    index, size = thirty_seconds(279, 0.7)
    noise = np.random.default_rng(8).normal(0, 0.1, index.size)
    heard = hear(index, (size + noise) * np.linspace(0.88, 1.12, index.size))
    assert heard.sure()
    assert heard.best is not None
    assert heard.best.division.base_mm == 25.4 / 32


def test_a_worn_inch_does_not_halve_the_ruler() -> None:
    """Of three inch ticks one is worn to a stump; the others are longer than the four half inches. Not sixteenths for
    sure, which would measure twice too much."""
    index, size = thirty_seconds(119, 0.5)
    size = size - 3.5
    size[64] = 1.2
    heard = hear(index + 13, size + np.random.default_rng(9).normal(0, 0.14, index.size))
    assert heard.best is not None
    assert heard.best.division.base_mm == 25.4 / 32 or not heard.sure()


@pytest.mark.parametrize(("seed", "share"), [(0, 0.6), (4, 0.8)])
def test_most_inches_may_touch_their_numbers(seed: int, share: float) -> None:
    """Most of the inch ticks run on into their numbers by up to half their length: eighths all the same."""
    index = np.arange(182)
    size = np.full(182, 1.07)
    for every, length in ((2, 1.44), (4, 1.82), (8, 2.2)):
        size[index % every == 0] = length
    rng = np.random.default_rng(seed)
    inches = index[index % 8 == 0]
    size[inches] += np.where(rng.random(inches.size) < share, rng.uniform(0.2, 1.1, inches.size), 0.0)
    heard = hear(index, size + rng.normal(0, 0.02, 182))
    assert heard.sure()
    assert heard.best is not None
    assert heard.best.division.base_mm == 25.4 / 8


def test_inches_that_nearly_all_run_into_their_numbers_are_inches() -> None:
    """Six of seven inch ticks run on through their numbers and look nearly twice as long as half inches, so that the
    steps from kind to kind seem uneven: eighths all the same, not quarters of an inch and not halves."""
    index = np.arange(52)
    size = np.full(52, 2.0)
    for every, length in ((2, 2.6), (4, 2.97), (8, 3.5)):
        size[index % every == 0] = length
    size[index % 8 == 0] = (6.0, 5.5, 5.4, 5.6, 3.6, 5.4, 4.6)
    heard = hear(index, size + np.random.default_rng(2).normal(0, 0.1, 52))
    assert heard.sure()
    assert heard.best is not None
    assert heard.best.division.base_mm == 25.4 / 8


def test_numbers_that_touch_their_ticks_do_not_change_the_unit() -> None:
    """Three of twelve inch ticks run on into their numbers and look a third longer: they are eighths all the same."""
    index = np.arange(97)
    size = np.full(97, 1.45)
    for every, length in ((2, 1.8), (4, 2.18), (8, 2.52)):
        size[index % every == 0] = length
    size[[8, 40, 72]] = 3.1, 2.9, 3.5
    heard = hear(index, size + np.random.default_rng(5).normal(0, 0.05, 97))
    assert heard.sure()
    assert heard.best is not None
    assert heard.best.division.base_mm == 25.4 / 8


@pytest.mark.parametrize("growth", [-0.03, 0.0, 0.03])
def test_a_scale_s_halves_are_no_growth_along_it(growth: float) -> None:
    """Half the ticks of a scale of sixteenths are short: their lengths, growing by 3 % along the ruler as a tilt makes
    them, come back level to 1 %, and the scale is read."""
    index = np.arange(172)
    rank = sum((index % every == 0).astype(int) for every in (2, 4, 8, 16))
    level = np.array([3.72, 4.69, 5.68, 6.63, 7.72])[rank]
    size = level * np.exp(growth * (index / 171 - 0.5)) + np.random.default_rng(8).normal(0, 0.03, 172)
    assert levelled(index, size) / level == pytest.approx(np.ones(172), abs=0.035)
    assert float(np.ptp(levelled(index, size)[rank == 0].reshape(2, -1).mean(axis=1))) < 0.01 * 3.72
    heard = hear(index, size)
    assert heard.sure()
    assert heard.best is not None
    assert heard.best.division.base_mm == pytest.approx(25.4 / 16)


def test_numbers_beside_a_scale_borrow_nothing_from_it() -> None:
    """A row of digits at twice a scale's spacing is no second scale of the ruler, whose parts stand as 1 to 1.5875 or
    so: what the scale is worth does not make the digits worth as much."""
    rng = np.random.default_rng(4)
    ticks, digits = np.arange(400), np.arange(100)
    scale = np.where(ticks % 5 == 0, 5.8, 3.9) + np.where(ticks % 10 == 0, 1.9, 0.0) + rng.normal(0, 0.05, 400)
    ink = np.where(digits % 5 == 0, 1.7, 1.1) + rng.normal(0, 0.06, 100)
    found = [_candidate(ticks, scale, 4.58, across_px=0.0), _candidate(digits, ink, 9.34, across_px=30.0)]
    (_, _, worth), (_, _, borrowed) = settle(found)
    assert worth == pytest.approx(found[0].hearing.evidence())
    assert borrowed == pytest.approx(found[1].hearing.evidence())


def _candidate(index: NDArray[np.int64], size: NDArray[np.float64], period_px: float, across_px: float) -> Candidate:
    """Ticks along x, of whose comb only what settling looks at is there."""
    comb: Any = SimpleNamespace(
        index=index,
        axis=np.array([1.0, 0.0]),
        places_px=np.stack([index * period_px, np.full(len(index), across_px)], axis=1),
        period_px=period_px,
    )
    return Candidate(comb=comb, hearing=hear(index, size))


def test_worn_fives_and_tens_are_still_told_by_the_sound_ones() -> None:
    """Of thirteen fives five, and of twelve tens six are worn to the length of other millimetres or shorter: those
    left sound, all of one length, show millimetres."""
    rng = np.random.default_rng(8)
    index = np.arange(123)
    size = rng.normal(5.4, 0.25, 123)
    size[index % 10 == 1], size[index % 10 == 6] = 8.2, 11.2
    worn = np.concatenate([index[index % 10 == 1][::3], index[index % 10 == 6][::2]])
    size[worn] = rng.uniform(3.0, 5.9, worn.size)
    heard = hear(index, size + rng.normal(0, 0.1, 123))
    assert heard.sure()
    assert heard.best is not None
    assert heard.best.division.longer == (5, 10)
    assert (heard.best.division.base_mm, heard.best.phase) == (1.0, 6)


def test_ticks_longer_than_any_rulers_are_not_believed() -> None:
    """Of a scale whose shortest ticks would be 10 mm long (common practice: 2 to 7 mm) nothing is sure: a thirty-second
    was taken for a sixteenth."""
    index = np.arange(128)
    rank = np.array([next((k for k, every in enumerate((16, 8, 4, 2)) if i % every == 0), 4) for i in index])
    size = np.array([1.5, 1.35, 1.2, 1.1, 1.0])[rank]
    usual, long = (hear(index, size * mm / (25.4 / 16)) for mm in (4.0, 10.0))
    assert usual.sure()
    assert usual.best is not None
    assert usual.best.division.base_mm == 25.4 / 16
    assert not (long.sure() and long.best is not None and long.best.division.base_mm == 25.4 / 16)


def test_few_worn_ticks_keep_their_kind() -> None:
    """Where three of five half-inch ticks are worn short, the other two still say that halves are longer than quarters,
    so that thirty-seconds are not left out."""
    index = np.arange(170)
    rank = np.array([next((k for k, every in enumerate((32, 16, 8, 4, 2)) if i % every == 0), 5) for i in index])
    size = np.array([9.3, 8.5, 7.7, 6.9, 6.1, 5.2])[rank] / (25.4 / 32) + np.random.default_rng(3).normal(0, 0.15, 170)
    halves = np.flatnonzero(rank == 1)
    size[halves[:3]] *= (0.6, 0.71, 0.7)
    heard = hear(index, size)
    assert any(v.division.longer == (2, 4, 8, 16, 32) for v in heard.verdicts)


def test_a_row_with_half_its_ticks_missing_is_not_sure() -> None:
    """Every fifth stroke longer, every tenth longest, all of them there, is a scale of millimetres; with every second
    place empty it may as well be strokes of numbers, for of a ruler's ticks most are seen (common practice)."""
    rng = np.random.default_rng(4)
    index = np.arange(67)
    size = np.where(index % 5 == 0, 1.65, 1.2) + np.where(index % 10 == 0, 0.3, 0.0) + rng.normal(0, 0.1, 67)
    seen = (index % 5 == 0) | (rng.random(67) < 0.35)
    seen[[0, -1]] = True
    every, few = hear(index, size), hear(index[seen], size[seen])
    assert every.sure()
    assert few.evidence() >= 2 * LEAST_EVIDENCE
    assert not few.sure()


def test_what_a_plainer_scale_of_the_same_ruler_contradicts_is_not_sure() -> None:
    """Strokes of large numbers 2 mm apart, with a hierarchy by chance, make the millimetre twice what the scale beside
    them does (geometry). Alone they would be believed; beside it they are not, and it is."""
    rng = np.random.default_rng(4)
    ticks, digits = np.arange(200), np.arange(100)
    scale = np.where(ticks % 5 == 0, 5.8, 3.9) + np.where(ticks % 10 == 0, 1.9, 0.0) + rng.normal(0, 0.25, 200)
    ink = np.where(digits % 5 == 0, 1.7, 1.2) + np.where(digits % 10 == 0, 0.3, 0.0) + rng.normal(0, 0.06, 100)
    found = [_candidate(digits, ink, 10.6, across_px=30.0), _candidate(ticks, scale, 5.3, across_px=0.0)]
    assert found[0].hearing.sure()
    assert settle(found[:1])[0][1] is not None
    (_, doubted, _), (_, verdict, _) = settle(found)
    assert doubted is None
    assert verdict is not None
    assert verdict.division.base_mm == 1.0


def kinds(count: int, finest: int, spread: float, seed: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Ticks of so many parts of an inch, each kind 0.35 spacings longer than the next shorter one, seen so badly."""
    index = np.arange(count)
    rank = sum((index % 2**power == 0).astype(int) for power in range(1, finest.bit_length()))
    return index, 1.1 + 0.35 * rank + np.random.default_rng(seed).normal(0, spread, count)


def test_sixteenths_seen_too_badly_to_tell_inches_from_halves_are_not_taken_for_eighths() -> None:
    """Five inches of faint sixteenths, the end of each tick seen half as badly as inch and half inch differ, or worse:
    now and then halves look as long as inches by chance. Of 80 such scales none is read for sure as another one, which
    would measure twice too much; where the ends are seen seven times as well, nearly all are read."""
    for spread in (0.17, 0.2, 0.3):
        heard = [hear(*kinds(81, 16, spread, seed)) for seed in range(80)]
        wrong = [one for one in heard if one.sure() and one.best and one.best.division.base_mm != 25.4 / 16]
        assert not wrong
    for finest in (8, 16):
        clear = [hear(*kinds(81, finest, 0.05, seed)) for seed in range(20)]
        right = [one for one in clear if one.sure() and one.best and one.best.division.base_mm == 25.4 / finest]
        assert len(right) >= 18


def test_numbers_at_all_of_the_longest_ticks_settle_what_ends_seen_badly_leave_open() -> None:
    """Eighths whose ends are seen badly: their lengths may be those of sixteenths, numbers at each eighth tick say that
    they are not; numbers at each sixteenth, that they are."""
    index, size = kinds(81, 8, 0.15, 2)
    alone = hear(index, size)
    whole, half = (hear(index, size, numbers=(Numbers(period, 0, 30.0),)) for period in (8, 16))
    assert not alone.sure()
    assert whole.sure()
    assert whole.best is not None
    assert whole.best.division.base_mm == 25.4 / 8
    assert not (half.sure() and half.best is not None and half.best.division.base_mm == 25.4 / 8)


def test_numbers_at_each_inch_outweigh_fainter_ones_at_every_other() -> None:
    """Where the numbers of a ruler's other scale come round with every other inch of this one, its own, much plainer at
    each of them, still say that they are inches."""
    index, size = kinds(81, 8, 0.15, 2)
    told = hear(index, size, numbers=(Numbers(8, 0, 100.0), Numbers(16, 0, 24.0)))
    assert told.sure()
    assert told.best is not None
    assert told.best.division.base_mm == 25.4 / 8


def test_numbers_at_each_fourth_of_the_longest_ticks_alone_are_not_quarters() -> None:
    """Worn sixteenths of which halves and inches do not show look like quarters of an inch, with something beside each
    fourth tick. Where numbers are far plainer beside each sixteenth nothing speaks for quarters: no scale of them is
    numbered every four inches (common practice)."""
    index = np.arange(103)
    size = np.full(103, 0.7)
    size[index % 2 == 0], size[index % 4 == 0] = 1.45, 2.2
    size += np.random.default_rng(7).normal(0, 0.07, 103)
    each = Numbers(4, 0, 42.0)
    quarters, sixteenths = hear(index, size, numbers=(each,)), hear(index, size, numbers=(each, Numbers(16, 8, 63.0)))
    assert quarters.best is not None
    assert quarters.best.division.base_mm == 25.4 / 4
    assert quarters.numbered > 0
    assert sixteenths.numbered <= 0


def test_fives_alone_are_millimetres_only_with_their_numbers() -> None:
    """Of a grid's fourteen lines each fifth is longer: they may stand a centimetre apart as well as a millimetre. With
    numbers at each tenth they are millimetres."""
    index = np.arange(30)
    size = np.where(index % 5 == 0, 6.0, 4.0) + np.random.default_rng(1).normal(0, 0.1, 30)
    grid = hear(index[:14], size[:14])
    assert not grid.sure()
    ruler = hear(index, size, numbers=(Numbers(10, 0, 30.0),))
    assert ruler.sure()
    assert ruler.best is not None
    assert ruler.best.division.base_mm == 1.0
