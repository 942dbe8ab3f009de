"""The stripes of one repeat: widths, colours, letters, and whether the sequence is even."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import StripePrint, Stripes
from tests.vision.flat import flat
from vision.colour import ciede2000, lab_of
from vision.estimate import Estimate
from vision.measurement import Print
from vision.print import measure_print
from vision.stripes import is_even, letter

RED, CREAM, BLUE, GOLD = "#8f1f2a", "#e9e1cc", "#23426f", "#d9a441"


def _measured(widths_mm: tuple[float, ...], colours: tuple[str, ...]) -> Print:
    square = flat(StripePrint(across=Stripes(widths_mm=widths_mm, colours=colours)), shade=0.05)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    return print_


def _turned(found: list[float], truth: list[float]) -> float:
    """The largest difference of two cyclic sequences, laid on each other as well as can be."""
    return min(max(abs(a - b) for a, b in zip(found, truth[k:] + truth[:k], strict=True)) for k in range(len(truth)))


@pytest.mark.parametrize(
    ("widths_mm", "colours"),
    [
        ((12.0, 18.0), (RED, CREAM)),
        ((10.0, 3.0, 2.0, 3.0), (RED, CREAM, BLUE, CREAM)),
        ((15.0, 2.0, 4.0, 2.0, 7.0, 6.0), (BLUE, CREAM, RED, CREAM, GOLD, CREAM)),
    ],
)
def test_widths(widths_mm: tuple[float, ...], colours: tuple[str, ...]) -> None:
    """Widths are found to 0.2 mm and to their own uncertainty's triple, and tile the repeat."""
    print_ = _measured(widths_mm, colours)
    assert print_.across is not None
    widths = [s.width.value for s in print_.stripes]
    assert len(widths) == len(widths_mm)
    assert _turned(widths, list(widths_mm)) < 0.2
    assert sum(widths) == pytest.approx(print_.across.value, abs=1e-6)
    start = 0.0
    for stripe in print_.stripes:
        assert stripe.centre_mm == pytest.approx(start + stripe.width.value / 2)
        start += stripe.width.value


@pytest.mark.parametrize(
    "colours", [("#162237", "#69181f"), ("#1c1818", "#c9b38e")], ids=["navy, dark red", "black, cream"]
)
def test_dark_stripes_are_no_wider_for_being_stored(colours: tuple[str, str]) -> None:
    """A camera blurs light; then a JPEG file keeps colour at half the resolution (ITU-T T.81) and what reads it
    resamples its numbers: both together make no stripe wider or narrower by 0.045 mm, a third of a pixel."""
    widths = (3.6, 3.2, 2.7, 1.8)
    square = flat(StripePrint(across=Stripes(widths_mm=widths, colours=colours * 2)), px_per_mm=7.5, turn_deg=2.0)
    stored = cv2.imencode(".jpg", square.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])[1]
    read = cv2.imdecode(stored, cv2.IMREAD_COLOR)[..., ::-1]
    half = cv2.warpAffine(read, np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5]]), read.shape[1::-1], flags=cv2.INTER_LINEAR)
    square = replace(square, rgb=np.ascontiguousarray(half))
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    found = [stripe.width.value for stripe in print_.stripes]
    assert len(found) == len(widths)
    assert _turned(found, list(widths)) < 0.045


def test_colours_are_those_of_the_cloth() -> None:
    """In even light at 0.9 of full exposure the measured colours keep the cloth's hue and order of lightness."""
    print_ = _measured((12.0, 8.0, 6.0), (RED, CREAM, BLUE))
    near = {
        min((RED, CREAM, BLUE), key=lambda c: float(ciede2000(lab_of(c), lab_of(stripe.hex))))
        for stripe in print_.stripes
    }
    assert near == {RED, CREAM, BLUE}
    assert all(stripe.colour for stripe in print_.stripes)


def test_same_look_same_letter() -> None:
    """Four stripes of three colours carry three letters; both cream ones the same."""
    print_ = _measured((12.0, 5.0, 6.0, 5.0), (RED, CREAM, BLUE, CREAM))
    labels = [s.label for s in print_.stripes]
    cream = {s.label for s in print_.stripes if float(ciede2000(lab_of(s.hex), lab_of(CREAM))) < 10}
    assert len(set(labels)) == 3
    assert len(cream) == 1
    assert labels[0] == "A"


def test_letters_by_first_appearance() -> None:
    """Letters are given in the order in which colours first stand."""
    assert letter([lab_of(c) for c in (RED, CREAM, BLUE, CREAM, RED)]) == ("A", "B", "C", "B", "A")


@pytest.mark.parametrize(
    ("labels", "widths_mm", "even"),
    [
        ("RWBW", (2.0, 1.0, 1.0, 1.0), True),
        ("RWB", (2.0, 1.0, 1.0), False),
        ("RW", (2.0, 1.0), True),
        ("RWBW", (2.0, 1.0, 1.0, 2.0), False),
    ],
)
def test_even_and_uneven(labels: str, widths_mm: tuple[float, ...], even: bool) -> None:
    """Even stripes read alike both ways from the dominant stripe, uneven ones do not (Pacific Northwest Extension,
    Oregon State: "Sewing with Stripes, Checks, and Plaids"); the four sequences are worked out by hand. Inches."""
    widths = [Estimate(w * 25.4, 0.2) for w in widths_mm]
    assert is_even(list(labels), widths) is even


@pytest.mark.parametrize(
    ("widths_mm", "colours", "even"),
    [
        ((14.0, 7.0, 7.0, 7.0), (RED, CREAM, BLUE, CREAM), True),
        ((14.0, 7.0, 7.0, 14.0), (RED, CREAM, BLUE, CREAM), False),
        ((14.0, 7.0, 7.0), (RED, CREAM, BLUE), False),
    ],
)
def test_even_as_photographed(widths_mm: tuple[float, ...], colours: tuple[str, ...], even: bool) -> None:
    """The same holds of the sequence as it is measured."""
    assert _measured(widths_mm, colours).even is even


def test_stripes_that_differ_by_a_third_of_a_millimetre_make_a_longer_repeat() -> None:
    """Blacks of 7.7 and oranges of 7.7 and 8.0 mm in turn repeat after four stripes though two pixels make a mm: what
    blurs an edge blurs the same edge of every turn, so widths compare better than they are known."""
    colours = ("#1e1d22", "#c46a3a", "#1e1d22", "#c46a3a")
    square = flat(
        StripePrint(across=Stripes(widths_mm=(7.7, 7.7, 7.7, 8.0), colours=colours)),
        width_mm=420.0,
        height_mm=100.0,
        px_per_mm=2.0,
    )
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(31.1, rel=0.003)
    assert len(print_.stripes) == 4


@pytest.mark.parametrize(
    ("widths_mm", "stripes"),
    [
        ((3.35, 1.48, 2.9, 1.98, 2.84, 1.98, 2.9, 1.48), 8),
        ((3.0, 2.0, 3.0, 2.0, 3.0, 2.0, 3.0, 2.0, 3.0, 2.35), 10),
        ((3.0, 2.0), 2),
    ],
    ids=["four turns", "five turns", "one"],
)
def test_stripes_of_two_colours_repeat_after_many_where_their_widths_do(
    widths_mm: tuple[float, ...], stripes: int
) -> None:
    """Blue and black in turn, whose widths differ by half a millimetre and less, repeat when all of them have come:
    after four or five turns as surely as after two, though no boundary is off by enough to be seen by itself."""
    square = flat(
        StripePrint(across=Stripes(widths_mm=widths_mm, colours=("#1c2f55", "#2b2b2e") * (len(widths_mm) // 2))),
        width_mm=160.0,
        height_mm=110.0,
        px_per_mm=10.0,
    )
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(sum(widths_mm), rel=0.003)
    assert len(print_.stripes) == stripes


@pytest.mark.parametrize(("wider_mm", "stripes"), [(0.25, 2), (0.3, 2), (1.0, 4)])
def test_wide_stripes_differ_by_more_than_cloth_gives(wider_mm: float, stripes: int) -> None:
    """Every second one of four stripes 71.5 mm wide is wider by 0.3 mm, as cloth that is drawn a little is: one and the
    same stripe. Where it is wider by a millimetre, another."""
    widths = (71.5, 26.4, 71.5 + wider_mm, 26.4)
    square = flat(
        StripePrint(across=Stripes(widths_mm=widths, colours=("#8f1f2a", "#3a3734") * 2)),
        width_mm=430.0,
        height_mm=300.0,
        px_per_mm=2.3,
    )
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(sum(widths) * stripes / 4, rel=0.003)
    assert len(print_.stripes) == stripes


@pytest.mark.parametrize("turn", [2, 5, 7])
def test_a_crease_that_widens_one_stripe_makes_no_longer_repeat(turn: int) -> None:
    """Four stripes of 79.6 mm together, nine times over, one of them 0.6 mm wider in one turn only, as a crease makes
    it: the widths do not come back with two or three turns, so the repeat stays what it is."""
    widths = [19.4, 21.6, 17.0, 21.6] * 9
    widths[4 * turn + 1] += 0.6
    colours = ("#b3552f", "#1f4d3b", "#d9a441", "#1f4d3b") * 9
    square = flat(
        StripePrint(across=Stripes(widths_mm=tuple(widths), colours=colours)),
        width_mm=716.0,
        height_mm=100.0,
        px_per_mm=2.0,
        phase_mm=(358.0, 0.0),
    )
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.value == pytest.approx(79.6, rel=0.005)
    assert len(print_.stripes) == 4
