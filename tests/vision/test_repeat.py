"""The true repeat and the direction of stripes, against geometry and an independent periodogram."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.cloth import StripePrint, Stripes
from tests.vision.flat import flat
from vision.estimate import Estimate
from vision.print import PrintFinding, measure_print
from vision.repeat import RepeatFit, turns_differ
from vision.sequence import find_repeat

RED, BRICK, CREAM, BLUE, GOLD = "#8f1f2a", "#b3552f", "#e9e1cc", "#23426f", "#d9a441"


def _stripes(widths_mm: tuple[float, ...], colours: tuple[str, ...]) -> StripePrint:
    return StripePrint(across=Stripes(widths_mm=widths_mm, colours=colours))


def _across(finding: PrintFinding) -> float | None:
    return None if finding.print is None or finding.print.across is None else finding.print.across.value


def test_a_repeat_of_four_is_not_halved() -> None:
    """A B A' B, where A and A' are two reds, repeats after all four stripes (36 mm), not after two (18 mm)."""
    square = flat(_stripes((10, 8, 10, 8), (RED, CREAM, BRICK, CREAM)))
    assert _across(measure_print(square, square.valid)) == pytest.approx(36.0, rel=0.002)


def test_a_repeat_of_eight_is_not_quartered() -> None:
    """One blue stripe after three red ones makes a repeat of eight stripes (72 mm)."""
    square = flat(_stripes((9,) * 8, (RED, CREAM) * 3 + (BLUE, CREAM)))
    assert _across(measure_print(square, square.valid)) == pytest.approx(72.0, rel=0.002)


def test_colours_of_one_lightness_are_told_apart() -> None:
    """Two stripes of the same L* and other hue are one repeat of four with white: grey alone would halve it."""
    square = flat(_stripes((9, 7, 9, 7), ("#a05a5a", CREAM, "#5a7d5a", CREAM)))
    assert _across(measure_print(square, square.valid)) == pytest.approx(32.0, rel=0.002)


@pytest.mark.parametrize("turn_deg", [0.0, 0.7, -12.3, 44.0, 89.9, -63.0])
def test_direction(turn_deg: float) -> None:
    """The across direction is the angle by which the cloth was turned, counter-clockwise, to 0.05 degrees."""
    square = flat(_stripes((11, 6, 4), (RED, CREAM, BLUE)), turn_deg=turn_deg)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across_direction_deg is not None
    assert print_.across_direction_deg.value == pytest.approx(turn_deg, abs=0.05)


def test_fine_stripes() -> None:
    """Stripes of 1.5 mm, six pixels each, are measured like any other."""
    square = flat(_stripes((1.5, 1.5), (RED, CREAM)), turn_deg=3.0)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(3.0, rel=0.002)
    assert [s.width.value for s in print_.stripes] == pytest.approx([1.5, 1.5], abs=0.15)


@pytest.mark.parametrize("repeat_mm", [100.0, 120.0, 150.0])
def test_few_repeats_are_measured(repeat_mm: float) -> None:
    """From 1.6 repeats on, several boundaries are seen twice, and their distance is the repeat."""
    shares = (0.3, 0.2, 0.1, 0.25, 0.15)
    square = flat(_stripes(tuple(repeat_mm * s for s in shares), (RED, CREAM, BLUE, CREAM, GOLD)))
    assert _across(measure_print(square, square.valid)) == pytest.approx(repeat_mm, rel=0.005)


@pytest.mark.parametrize("repeat_mm", [200.0, 230.0, 400.0])
def test_less_than_a_repeat_and_a_third_is_refused(repeat_mm: float) -> None:
    """Nothing can be said of a repeat of which nearly all is seen only once."""
    shares = (0.3, 0.2, 0.1, 0.25, 0.15)
    square = flat(_stripes(tuple(repeat_mm * s for s in shares), (RED, CREAM, BLUE, CREAM, GOLD)))
    finding = measure_print(square, square.valid)
    assert _across(finding) is None
    assert finding.warnings


def test_two_colours_seen_one_and_a_half_times_are_refused() -> None:
    """Red, white, red within 1.7 repeats: whether the next is white or blue cannot be seen."""
    square = flat(_stripes((80.0, 60.0), (RED, CREAM)))
    assert _across(measure_print(square, square.valid)) is None


def test_uncertainty_covers_the_error_of_a_stretched_picture() -> None:
    """With a scale that changes by 1 % over the picture, the mean repeat is off by less than its own uncertainty, in at
    least nineteen of twenty cloths (what 95 % means)."""
    inside, count = 0, 20
    for seed in range(count):
        rng = np.random.default_rng([seed, 8])
        widths = tuple(float(w) for w in rng.uniform(4, 14, 3))
        square = flat(
            _stripes(widths, (RED, CREAM, BLUE)),
            stretch=float(rng.normal(0, 0.005)),
            turn_deg=float(rng.normal(0, 5)),
            noise=4.0,
            px_per_mm=3.0,
            seed=seed,
        )
        print_ = measure_print(square, square.valid).print
        assert print_ is not None
        assert print_.across is not None
        assert print_.across.relative_u95 < 0.01
        inside += abs(print_.across.value - sum(widths)) <= print_.across.u95
    assert inside >= count - 1


def test_against_a_periodogram() -> None:
    """scipy's periodogram of the grey profile of an A B stripe peaks at the same frequency, to its own resolution."""
    signal = pytest.importorskip("scipy.signal")
    square = flat(_stripes((7.3, 5.9), (BLUE, CREAM)), shade=0.0)
    grey = square.rgb.mean(axis=(0, 2))
    frequencies, power = signal.periodogram(grey, fs=square.px_per_mm, window="hann", nfft=1 << 16)
    theirs = 1 / float(frequencies[int(np.argmax(power))])
    ours = _across(measure_print(square, square.valid))
    assert ours == pytest.approx(theirs, rel=0.004)
    assert ours == pytest.approx(13.2, rel=0.002)


def _told(colours: str, turns: float, step_mm: float = 0.25) -> tuple[np.ndarray, np.ndarray]:
    """A profile of stripes 8 mm wide, one a letter, over so many turns; letters stand for well different tones."""
    tones = {"A": (40.0, 30.0, 10.0), "B": (90.0, 0.0, 0.0), "C": (60.0, -20.0, 20.0)}
    count = round(turns * len(colours) * 8 / step_mm)
    place = (np.arange(count) * step_mm / 8).astype(int) % len(colours)
    profile = np.array([tones[colours[k]] for k in place]) + np.random.default_rng(5).normal(0, 0.3, (count, 3))
    return profile, np.ones(count)


@pytest.mark.parametrize("turns", [2.4, 4.0, 7.0])
def test_a_difference_that_comes_back_is_part_of_the_repeat(turns: float) -> None:
    """A B A C is a repeat of four stripes, 32 mm, however like its halves are."""
    found = find_repeat(*_told("ABAC", turns), 0.25)
    assert found == pytest.approx(32.0, rel=0.01)


@pytest.mark.parametrize("begun_mm", [20.0, 36.0, 44.0, 76.0])
def test_rulers_along_the_stripes_do_not_hide_that_a_difference_comes_back(begun_mm: float) -> None:
    """A B A′ B of 91.4 mm seen three and a half times, 13 mm and 41 mm of it hidden all along by two rulers. Wherever
    it begins, the repeat is of four: also where what differs after two stripes is nowhere seen to come back after four,
    but only after eight, while after four nothing differs."""
    tones = np.array([(56.0, -24.0, 10.0), (79.0, 32.0, 33.0), (58.0, -4.0, 12.0), (79.0, 32.0, 33.0)])
    ends = np.cumsum([20.6, 25.1, 24.9, 20.8])
    place = np.arange(0.25, 327.0, 0.5)
    profile = tones[np.searchsorted(ends, (place + begun_mm) % ends[-1], side="right")]
    profile = profile + np.random.default_rng(5).normal(0, 0.3, profile.shape)
    shown = (place < 15) | ((place > 28) & (place < 146)) | (place > 187)
    assert find_repeat(profile, shown.astype(np.float64), 0.5) == pytest.approx(ends[-1], rel=0.005)


@pytest.mark.parametrize("turns", [7, 9, 11])
def test_a_blemish_in_the_middle_does_not_lengthen_the_repeat(turns: int) -> None:
    """Something that lies once across the middle, as a ruler does, rules out every short lag, and no lag of more than
    half the cloth compares it with anything: the repeat of A B is 16 mm or not to be told, never that many turns."""
    profile, weight = _told("AB", turns)
    middle = len(profile) // 2
    profile[middle - 12 : middle + 12] = (75.0, -5.0, 40.0)
    found = find_repeat(profile, weight, 0.25)
    assert found is None or found == pytest.approx(16.0, rel=0.01)


@pytest.mark.parametrize("letters", ["AB", "ABC", "ABAC"])
@pytest.mark.parametrize("turns", [6, 8, 11])
@pytest.mark.parametrize("share", [0.2, 0.45, 0.8])
def test_a_crease_seen_once_neither_lengthens_nor_hides_the_repeat(letters: str, turns: int, share: float) -> None:
    """A crease makes one stretch of 4 mm somewhat darker, by CIEDE2000 up to 7, so that it looks unlike its likes
    elsewhere; it does not come back with any longer lag, so the repeat is what it was."""
    profile, weight = _told(letters, turns)
    middle = round(share * len(profile))
    profile[middle - 8 : middle + 8] *= 0.93
    assert find_repeat(profile, weight, 0.25) == pytest.approx(8.0 * len(letters), rel=0.01)


@pytest.mark.parametrize("share", [0.21, 0.4, 0.66])
@pytest.mark.parametrize("moved_mm", [0.8, 1.1])
def test_a_crease_that_moves_an_edge_does_not_lengthen_the_repeat(share: float, moved_mm: float) -> None:
    """A B A C of 60 mm seen 9.3 times, where a crease moves all within a stripe's width by a millimetre: longer lags
    allow edges as much, and the repeat is 60 mm all the same, for no edge comes back so moved."""
    profile = _begun((15.3, 14.7, 15.3, 14.7), "ABAC", 9.3, 0.1)
    place = np.arange(len(profile))
    crease = moved_mm / 0.25 * np.exp(-(((place - share * len(profile)) / 60) ** 2))
    creased = np.stack([np.interp(place + crease, place, column) for column in profile.T], axis=1)
    assert find_repeat(creased, np.ones(len(profile)), 0.25) == pytest.approx(60.0, rel=0.01)


def _begun(widths_mm: tuple[float, ...], letters: str, turns: float, start: float, step_mm: float = 0.25) -> np.ndarray:
    """A profile of stripes of those widths that begins at a share of the repeat."""
    tones = {"A": (40.0, 30.0, 10.0), "B": (90.0, 0.0, 0.0), "C": (60.0, -20.0, 20.0)}
    edges = np.cumsum(widths_mm)
    place = (np.arange(round(turns * edges[-1] / step_mm)) * step_mm + start * edges[-1]) % edges[-1]
    profile = np.array([tones[letters[k]] for k in np.searchsorted(edges, place, side="right")])
    return profile + np.random.default_rng(5).normal(0, 0.3, profile.shape)


@pytest.mark.parametrize("turns", [1.87, 2.2, 3.5])
@pytest.mark.parametrize(
    ("widths_mm", "letters"),
    [
        ((4.8, 7.0, 16.3, 7.5, 7.2, 4.8, 5.6, 16.3, 7.5, 7.2), "ABACBABACB"),
        ((7.9, 5.7, 9.9, 5.7, 7.9, 5.7), "ABABAB"),
        ((2.5, 6.4, 2.5, 6.4, 2.5, 4.5), "ABABAB"),
    ],
)
def test_a_sequence_that_nearly_says_itself_is_not_cut_down(
    widths_mm: tuple[float, ...], letters: str, turns: float
) -> None:
    """Halves or thirds that differ in one stripe's width make one long repeat, wherever the picture begins. Where two
    repeats and more show it is found; where less, and the odd stripe is seen only once, it may be refused."""
    for start in np.arange(0, 1, 0.125):
        profile = _begun(widths_mm, letters, turns, float(start))
        found = find_repeat(profile, np.ones(len(profile)), 0.25)
        assert (turns < 2 and found is None) or found == pytest.approx(sum(widths_mm), rel=0.012), start


@pytest.mark.parametrize("start", [0.05, 0.3, 0.55, 0.8])
def test_a_stripe_a_millimetre_wider_in_one_turn_makes_the_repeat_and_no_longer_one(start: float) -> None:
    """Three colours said four times, one stripe 1.1 mm wider in the last: the repeat is all twelve, 89.9 mm, and
    not twice that, though a long lag allows edges more play than a millimetre."""
    widths = (10.2, 7.4, 4.6) * 3 + (10.2, 8.5, 4.6)
    profile = _begun(widths, "ABC" * 4, 4.6, start)
    assert find_repeat(profile, np.ones(len(profile)), 0.25) == pytest.approx(89.9, rel=0.01)


def test_two_colours_of_which_one_is_seen_whole_once_are_refused() -> None:
    """A red of 61 mm cut off by the frame on either side of green, red of 52 mm, green: the true repeat is 161 mm, and
    nothing seen contradicts 76 mm, so neither is told."""
    stripes = _stripes((61.5, 23.6, 52.3, 23.6), (RED, BLUE, RED, BLUE))
    square = flat(stripes, width_mm=185.0, height_mm=60.0, phase_mm=(61.5 + 23.6 + 52.3 / 2, 0.0))
    assert _across(measure_print(square, square.valid)) is None


def test_one_odd_stripe_seen_once_is_no_repeat_of_the_rest() -> None:
    """A B A C seen 1.6 times with C in the middle only: C may come back or not, so neither the half nor the whole is
    told for sure (the whole would be right)."""
    square = flat(_stripes((30.0, 40.0, 30.0, 40.0), (RED, CREAM, RED, GOLD)), width_mm=230.0, phase_mm=(50.0, 0.0))
    found = _across(measure_print(square, square.valid))
    assert found is None or found == pytest.approx(140.0, rel=0.005)


def test_stripes_that_are_taken_for_the_table_count_towards_the_repeat() -> None:
    """A B A C whose C has the table's colour, so that it is not seen: what is seen comes back after two stripes, but a
    gap in it only after A B A C. The repeat is the gaps'; where it is A B all along, hidden in two places, as by rulers
    that lie along stripes, it is A B."""
    step_mm, width = 0.15, 54
    colours = np.array([[50.0, 45.0, 40.0], [30.0, -15.0, 5.0], [50.0, 45.0, 40.0], [30.0, -15.0, 5.0]])
    tone = np.repeat(np.tile(colours, (4, 1)), width, axis=0)[:-width]
    tone = tone + np.random.default_rng(1).normal(0, 0.3, tone.shape)
    place = np.arange(len(tone)) // width
    whole = find_repeat(tone, np.ones(len(tone)), step_mm)
    hidden = find_repeat(tone, np.where(place % 4 == 3, 0.0, 1.0), step_mm)
    crossed = find_repeat(tone, np.where(np.isin(place, (3, 9)), 0.0, 1.0), step_mm)
    assert whole == pytest.approx(2 * width * step_mm, rel=0.01)
    assert hidden == pytest.approx(4 * width * step_mm, rel=0.01)
    assert crossed == pytest.approx(2 * width * step_mm, rel=0.01)


def test_a_fit_that_saw_no_boundary_twice_tells_of_no_longer_repeat() -> None:
    """Where nothing of a profile could be fitted, nothing differs from turn to turn."""
    fit = RepeatFit(
        repeat=Estimate(14.0, 14.0),
        slope=0.0,
        origin_mm=0.0,
        bend=np.zeros(3),
        direction_u95_deg=0.1,
        residual_mm=0.3,
        repeats=4.2,
        crossings=np.zeros((0, 4)),
    )
    assert not turns_differ(fit, 2)
