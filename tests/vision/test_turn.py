"""Stripes that look alike at a glance and differ from turn to turn: A B A′ B against A B."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.cloth import StripePrint, Stripes
from tests.makers.harsh import draw
from tests.makers.shot import shoot
from tests.vision.flat import flat
from tests.vision.test_measure import photo_of
from vision.colour import lab_of, lab_to_srgb
from vision.measure import measure_photo
from vision.measurement import Print
from vision.print import measure_print

CREAM = "#e9e1cc"
#: Inks and how each is changed in L*, a* and b*: lighter, redder, yellower.
_CHANGED = [("#8f1f2a", (5.0, 0.0, 0.0)), ("#23426f", (0.0, 5.0, 0.0)), ("#5a7d5a", (0.0, 0.0, 6.0))]


def _near(ink: str, step: tuple[float, float, float]) -> str:
    """The colour a step in CIELAB away, as a screen can show it."""
    grey = np.rint(np.asarray(lab_to_srgb(np.asarray(lab_of(ink)) + np.array(step))) * 255).astype(int)
    return "#{:02x}{:02x}{:02x}".format(*grey)


def _apart(first: str, second: str) -> float:
    """CIEDE2000 by scikit-image, from the sRGB values."""
    colour = pytest.importorskip("skimage.color")
    pair = [np.array([[[int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)]]]) for c in (first, second)]
    return float(colour.deltaE_ciede2000(colour.rgb2lab(pair[0]), colour.rgb2lab(pair[1]))[0, 0])


def _print(widths_mm: tuple[float, ...], colours: tuple[str, ...], seed: int) -> Print:
    """The print as measured in light that falls by three tenths, with the noise of a small sensor."""
    stripes = StripePrint(across=Stripes(widths_mm=widths_mm, colours=colours))
    square = flat(stripes, height_mm=100.0, shade=0.3, noise=3.0, turn_deg=2.0, seed=seed)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.across is not None
    return found


@pytest.mark.parametrize(("ink", "step"), _CHANGED)
def test_colours_that_change_back_with_every_turn_make_the_repeat(ink: str, step: tuple[float, float, float]) -> None:
    """Two colours that are 3 to 4.5 apart by CIEDE2000 (scikit-image's), less than the eye keeps apart from afar, make
    A B A′ B a repeat of four stripes with three letters, seen four times, though the light falls all along it."""
    other = _near(ink, step)
    assert 3.0 < _apart(ink, other) < 4.5
    found = _print((14.0, 13.0, 14.0, 13.0), (ink, CREAM, other, CREAM), seed=3)
    assert found.across is not None
    assert found.across.value == pytest.approx(54.0, rel=0.004)
    labels = [stripe.label for stripe in found.stripes]
    assert len(labels) == 4
    assert len(set(labels)) == 3


@pytest.mark.parametrize(("ink", "step"), _CHANGED)
def test_every_third_turn_counts_too(ink: str, step: tuple[float, float, float]) -> None:
    """A B A B A′ B is a repeat of six stripes: one colour thrice, one twice, one once."""
    found = _print((8.0, 7.0) * 3, (ink, CREAM, ink, CREAM, _near(ink, step), CREAM), seed=4)
    assert found.across is not None
    assert found.across.value == pytest.approx(45.0, rel=0.004)
    labels = [stripe.label for stripe in found.stripes]
    assert sorted(labels.count(label) for label in set(labels)) == [1, 2, 3]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("turns", [4, 6, 9, 13])
def test_a_b_dyed_unevenly_is_no_longer_repeat(turns: int, seed: int) -> None:
    """A B whose every stripe differs at random from its likes, by 1 in L*, a* and b* (one standard deviation),
    in light that falls, stays A B."""
    rng = np.random.default_rng([turns, seed])
    colours = [_near(ink, tuple(rng.normal(0, 1, 3))) for _ in range(turns + 1) for ink in ("#a8483a", "#c9bfa8")]
    width = 240.0 / (2 * turns + 0.6)
    found = _print((width,) * len(colours), tuple(colours), seed=seed)
    assert found.across is not None
    assert found.across.value == pytest.approx(2 * width, rel=0.01)
    assert [stripe.label for stripe in found.stripes] == ["A", "B"]


def test_what_cannot_be_seen_is_not_claimed() -> None:
    """Colours 1 apart (the least difference seen side by side; CIE 142-2001, from memory) are one colour."""
    other = _near("#8f1f2a", (1.2, 0.0, 0.0))
    assert _apart("#8f1f2a", other) < 1.3
    found = _print((14.0, 13.0, 14.0, 13.0), ("#8f1f2a", CREAM, other, CREAM), seed=5)
    assert found.across is not None
    assert found.across.value == pytest.approx(27.0, rel=0.004)


@pytest.mark.parametrize("everywhere", [False, True], ids=["a shadow on a part", "another dye"])
def test_what_darkens_a_part_of_the_stripes_is_no_other_colour(everywhere: bool) -> None:
    """Three stripes seen seven times over, every third turn darker by 10 %: where it is so along all of the stripes,
    they are of another colour there, and the repeat is of three turns; where it is so along a part of them, as in a
    shadow, it is of one."""
    stripes = StripePrint(across=Stripes(widths_mm=(11.0, 14.0, 9.0), colours=("#c9a24a", "#c7c2b6", "#2f6b4a")))
    square = flat(stripes, width_mm=240.0, height_mm=150.0)
    turn = np.floor((np.arange(square.rgb.shape[1]) / square.px_per_mm - 120.0) / 34.0)
    darker = np.where(turn % 3 == 1, 0.9, 1.0)[None, :, None]
    rows = slice(None if everywhere else 210, None)
    square.rgb[rows] = np.rint(square.rgb[rows] * darker).astype(np.uint8)
    found = measure_print(square, square.valid).print
    assert found is not None
    assert found.across is not None
    assert found.across.value == pytest.approx(102.0 if everywhere else 34.0, rel=0.005)


def test_a_table_in_the_corner_makes_no_other_colour() -> None:
    """Three stripes that fill the picture but for a corner, where a light table shows; a tape lies across them, so that
    in some turns half of what is seen of the dark ones lies in that corner: the repeat is the maker's, of three."""
    shot = draw(89047).shot
    photo = photo_of(shoot(shot), round(shot.camera.focal35_mm))
    found = measure_photo(photo).measurement.main.print
    assert found is not None
    assert found.across is not None
    print_ = shot.cloths[0].print
    assert isinstance(print_, StripePrint)
    assert found.across.value == pytest.approx(print_.across.repeat_mm, rel=0.01)
    assert len(found.stripes) == 3


def test_a_stripe_of_few_pixels_that_falls_on_them_otherwise_each_third_turn_is_of_one_colour() -> None:
    """Sixteen stripes, two of them of some seven pixels, in a photograph whose pixels and compression come round again
    after three repeats: the repeat is the maker's, not three times that."""
    shot = draw(98504).shot
    found = measure_photo(photo_of(shoot(shot), round(shot.camera.focal35_mm))).measurement.main.print
    assert found is not None
    assert found.across is not None
    print_ = shot.cloths[0].print
    assert isinstance(print_, StripePrint)
    assert found.across.value == pytest.approx(print_.across.repeat_mm, rel=0.01)
