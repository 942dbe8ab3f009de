"""What stands beyond a ruler's ticks, and after how many of them it comes round."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.test_ruler import SCALES, draw
from vision.reference.comb import Comb, follow
from vision.reference.number import Numbers, numbering
from vision.reference.tick import find_rows, pyramid
from vision.reference.unit import LEAST_MARGIN, Hearing, hear

#: How much of their contrast is left of digits that hardly differ from the ruler.
FAINT = 0.04


def scale_of(picture: NDArray[np.uint8], period_px: float) -> tuple[list[NDArray[np.uint8]], Comb, int, Hearing]:
    """The pyramid, the comb of ticks ``period_px`` apart, the side that its long ones point to, what they say."""
    levels = pyramid(np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), dtype=np.uint8))
    row = next(one for one in find_rows(levels[0], 0) if one.dark and abs(one.period_px / period_px - 1) < 0.05)
    comb = follow(levels, row)
    assert comb is not None
    side = int(np.std(comb.lengths(1)) > np.std(comb.lengths(0)))
    return levels, comb, side, hear(comb.index, comb.lengths(side))


def best_of(found: tuple[Numbers, ...]) -> Numbers:
    return max(found, key=lambda one: one.evidence)


@pytest.mark.parametrize("px_per_mm", [8.0, 9.0])
def test_long_ticks_are_no_numbers(px_per_mm: float) -> None:
    """A scale of thirty-seconds without a single number: its half inches and inches, which reach beyond the other
    ticks, do not pass for numbers that come round every eight or sixteen ticks."""
    picture = draw("thirty-seconds", px_per_mm, numbers=False)
    levels, comb, side, heard = scale_of(picture, px_per_mm * 25.4 / 32)
    assert heard.best is not None
    found = numbering(levels, comb, side, longest=heard.best.longest(comb.index))
    assert max((one.evidence for one in found), default=0.0) < 2.0


@pytest.mark.parametrize(
    ("scale", "px_per_mm"), [("mm", 8.0), ("half-mm", 12.0), ("eighths", 3.0), ("sixteenths", 5.0)]
)
@pytest.mark.parametrize("stained", [False, True])
def test_numbers_come_round_with_the_wholes(scale: str, px_per_mm: float, stained: bool) -> None:
    """Numbers drawn at each centimetre or inch come round after as many ticks as that has, beside the longest; soft
    stains and a shadow on the ruler, darker than the digits are, change nothing in it."""
    base_mm, longer = SCALES[scale]
    picture = draw(scale, px_per_mm)
    if stained:
        y, x = np.mgrid[: picture.shape[0], : picture.shape[1]].astype(np.float64)
        dark = 40 + 40 * np.sin(x / (9.0 * base_mm * px_per_mm)) + 30 * np.sin(x / (3.1 * base_mm * px_per_mm) + y / 50)
        picture = np.clip(picture - 0.6 * dark[..., None], 0, 255).astype(np.uint8)
    levels, comb, side, heard = scale_of(picture, px_per_mm * base_mm)
    assert heard.best is not None
    best = best_of(numbering(levels, comb, side, longest=heard.best.longest(comb.index)))
    assert best.period == longer[-1]
    assert best.evidence > 10
    assert abs((best.tick - heard.best.phase + longer[-1] // 2) % longer[-1] - longer[-1] // 2) <= 1


def test_no_number_need_stand_at_the_ends_of_a_scale() -> None:
    """Of six inches the first has no number, for it is the scale's zero (common practice), and the last one's is cut
    off: the four between are numbers all the same."""
    picture = draw("sixteenths", 5.0, length_mm=136.0)
    rng = np.random.default_rng(3)
    for inch in (0, 5):
        x = round((18 + inch * 25.4) * 5)
        bare = picture[398:430, x - 15 : x + 15]
        bare[:] = np.rint(225 + rng.normal(0, 2.0, bare.shape[:2]))[..., None]
    levels, comb, side, heard = scale_of(picture, 5 * 25.4 / 16)
    assert heard.best is not None
    best = best_of(numbering(levels, comb, side, longest=heard.best.longest(comb.index)))
    assert best.period == 16
    assert best.evidence > LEAST_MARGIN


def worn_inches(longer: float = 0.8) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Sixty-four worn ticks of four lengths: eighths of an inch, or sixteenths whose inch is that much longer."""
    index = np.arange(64)
    rng = np.random.default_rng(5)
    size = np.full(64, 2.0)
    for every, length in ((2, 2.5), (4, 3.0), (8, 4.0)):
        size[index % every == 0] = length
    size[index % 16 == 0] += longer
    return index, size + rng.normal(0, 0.3, 64)


def test_numbers_tell_the_inch_from_the_half_inch() -> None:
    """Worn ticks of four lengths may be eighths or sixteenths of an inch; a number at each eighth tick, where the long
    one stands, says eighths; beside another tick it is something else and says nothing."""
    index, size = worn_inches()
    alone = hear(index, size)
    beside = hear(index, size, numbers=(Numbers(8, 0, 30.0),))
    astray = hear(index, size, numbers=(Numbers(8, 3, 30.0),))
    assert not alone.sure()
    assert beside.sure()
    assert beside.best is not None
    assert beside.best.division.base_mm == 25.4 / 8
    assert astray.margin() == alone.margin()


def test_numbers_at_every_other_long_tick_say_that_those_between_are_halves() -> None:
    """The long ticks of half inches are seen beside each eighth tick as numbers would be, and further out something
    stands beside each sixteenth alone: an inch without its number between two with theirs is a half inch (common
    practice), so eighths are not sure, and where nothing else comes round it is sixteenths."""
    index, size = worn_inches(longer=0.0)
    halves, wholes = Numbers(8, 0, 40.0, -2.0), Numbers(16, 0, 35.0, -14.0)
    assert hear(index, size, numbers=(halves,)).sure()
    assert not hear(index, size, numbers=(halves, wholes)).sure()
    index, size = worn_inches()
    told = hear(index, size, numbers=(wholes,))
    assert told.sure()
    assert told.best is not None
    assert told.best.division.base_mm == 25.4 / 16


def test_numbers_that_reach_lower_than_others_make_no_wholes_of_their_own() -> None:
    """Numbers stand beside each eighth tick; of some, those beside each sixteenth, the feet reach lower. That is no
    sign of sixteenths, plainer at the eighths as it is: only what is plainer at the sixteenths is."""
    index, size = worn_inches()
    alone, feet = hear(index, size), (Numbers(8, 0, 20.0, -1.0), Numbers(16, 0, 13.0, -2.0))
    assert not hear(index, size, numbers=feet).sure()
    assert hear(index, size, numbers=feet).margin() <= alone.margin()
    assert hear(index, size, numbers=(Numbers(8, 0, 2.0, -1.0), Numbers(16, 0, 33.0, -2.0))).sure()


@pytest.mark.parametrize("turn", [0, 1])
def test_numbers_are_seen_beside_worn_ticks_too(turn: int) -> None:
    """Eighths of an inch of which every second inch lost its tick, not its number: numbers still stand at each inch
    (drawn so), and nothing says that every other inch's differs, as if those between were half inches."""
    levels, comb, side, heard = scale_of(draw("eighths", 3.0), 3.0 * 25.4 / 8)
    assert heard.best is not None
    left = (comb.index - heard.best.phase) % 16 != 8 * turn
    worn = replace(
        comb,
        index=comb.index[left],
        places_px=comb.places_px[left],
        reach_px=comb.reach_px[left],
        spacing_px=comb.spacing_px[left],
    )
    best = best_of(numbering(levels, worn, side, longest=heard.best.longest(worn.index)))
    assert best.period == 8
    assert best.evidence > 10
    assert best.at_halves < LEAST_MARGIN


def test_digits_fainter_than_the_noise_are_seen_as_ink() -> None:
    """Of digits that differ from the ruler by no more than its noise, edges tell nothing; the ink of each, all told,
    still comes round with the inches that they were drawn at."""
    bare, full = (draw("eighths", 3.0, numbers=numbers).astype(np.float64) for numbers in (False, True))
    faint = np.clip(np.rint(bare + FAINT * (full - bare)), 0, 255).astype(np.uint8)
    for picture, period in ((faint, 8), (bare.astype(np.uint8), 0)):
        levels, comb, side, heard = scale_of(picture, 3.0 * 25.4 / 8)
        assert heard.best is not None
        found = numbering(levels, comb, side, longest=heard.best.longest(comb.index))
        plain = [one.period for one in found if one.evidence > LEAST_MARGIN]
        assert plain == [period] * bool(period)


def test_strokes_on_the_ticks_own_lines_are_no_numbers() -> None:
    """Sixteenths of an inch whose ticks at each half inch go on after a gap, thin as they are, with numbers at whole
    inches: nothing wider than a tick stands at the halves, and so only the wholes have numbers."""
    px_per_mm, step = 5.0, 25.4 / 16
    picture = draw("sixteenths", px_per_mm)
    levels, comb, side, heard = scale_of(picture, px_per_mm * step)
    assert heard.best is not None
    way = 1.0 if side else -1.0
    ends = way * (comb.reach_px[:, side] - comb.middle_px)
    end = float(np.median(ends[heard.best.longest(comb.index)]))
    for place in comb.places_px[(comb.index - heard.best.phase) % 8 == 0]:
        ends_px = [place + way * far * comb.tick for far in (end + 2.0, end + 14.0)]
        first, last = (tuple(int(v) for v in np.rint(at)) for at in ends_px)
        cv2.line(picture, first, last, (60, 60, 60), 1, cv2.LINE_AA)
    levels = pyramid(np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), dtype=np.uint8))
    found = numbering(levels, comb, side, longest=heard.best.longest(comb.index))
    assert 8 not in {one.period for one in found}
    assert best_of(found).period == 16


def test_halves_with_numbers_at_wholes_are_not_taken_for_quarters() -> None:
    """Ticks of two lengths in turn, with a number beside each of the longer: half centimetres or half inches. That some
    of the longer ones seem longer still does not make quarters of an inch of them, whose numbers come half as often."""
    index = np.arange(31)
    size = 0.34 + 0.2 * (index % 2 == 0) + 0.08 * (index % 4 == 0) + np.random.default_rng(1).normal(0, 0.03, 31)
    assert not hear(index, size, numbers=(Numbers(2, 0, 13.0, 11.0),)).sure()
    assert hear(index, size, numbers=(Numbers(4, 0, 13.0, -2.0),)).sure()
