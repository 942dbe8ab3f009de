"""Lengths as they are typed and read. Truth: the inch is 25.4 mm and the yard 0.9144 m by definition (1959)."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stash.errors import InputWrong
from stash.lengths import both, exact_length, inches, millimetres, parse_length, written


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("2 5/8 in", 66.675),
        ("2-5/8 in", 66.675),
        ("2⅝ in", 66.675),
        ("2 5⁄8″", 66.675),
        ('2.5"', 63.5),
        ("2½ in", 63.5),
        ("2''", 50.8),
        ("2 ½ inches", 63.5),
        ("½ inch", 12.7),
        (".5 in.", 12.7),
        ("⅓ yd", 304.8),
        ("1 1/2 yd", 1371.6),
        ("1½ yards", 1371.6),
        ("1 yd 4 in", 1016.0),
        ("64 cm", 640.0),
        ("640mm", 640.0),
        ("2,5 cm", 25.0),
        ("0,125 in", 3.175),
        ("1.2 m", 1200.0),
        ("1m20", 1200.0),
        ("1 m 20 cm", 1200.0),
        ("5 ft 2 in", 1574.8),
        ("5'2", 1574.8),
        ("5’ 2½”", 1587.5),
        ("  3\N{NO-BREAK SPACE}IN ", 76.2),
    ],
)
def test_people_write_lengths_in_many_ways(text: str, mm: float) -> None:
    """Each spelling is the length it says, to the last digit of the definition of its unit."""
    assert parse_length(text) == mm


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not a length"),
        ("5", "without a unit"),
        ("2 5/8", "without a unit"),
        ("1 2 in", "without a unit"),
        ("1,200 mm", "thousands or a decimal point"),
        ("nan", "cannot be read"),
        ("inf cm", "cannot be read"),
        ("2² in", "cannot be read"),
        ("1.2.3 in", "cannot be read"),
        ("two in", "cannot be read"),
        ("1e3 mm", '"e" is not a unit'),
        ("2 furlongs", '"furlongs" is not a unit'),
        ("1/0 in", "divides by zero"),
        ("2 in 5 ft", "do not add up"),
        ("1 m 2 in", "do not add up"),
        ("-2 in", "less than nothing"),
        ("2000000 m", "longer than a kilometre"),
        ("9" * 5000 + " mm", "not a length"),
        (3, "without a unit"),
        (float("nan"), "not a length"),
        (True, "not a length"),
        (None, "not a length"),
    ],
)
def test_what_is_not_a_length_is_refused_in_one_sentence(text: object, words: str) -> None:
    """A misread length spoils cloth: what is not surely a length is an error that says where, what and how to mend."""
    with pytest.raises(InputWrong) as caught:
        parse_length(text, what="the hem's length")
    assert caught.value.problem.startswith("the hem's length is ")
    assert words in caught.value.problem
    assert caught.value.remedy
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 250


def test_a_bare_number_takes_the_unit_it_is_given() -> None:
    """``default_unit`` belongs to numbers without a unit only; a float is the decimal it prints as."""
    assert parse_length("54", default_unit="in") == 1371.6
    assert parse_length(54, default_unit="in") == 1371.6
    assert parse_length("54 cm", default_unit="in") == 540.0
    assert exact_length(0.1, default_unit="m") == 100


def test_less_than_nothing_only_when_asked() -> None:
    """A sign is read, but a negative length is let through on request only."""
    assert parse_length("-2 in", allow_negative=True) == -50.8
    assert parse_length("−2 in", allow_negative=True) == -50.8
    assert parse_length("0 in") == 0.0


@given(st.integers(0, 500), st.integers(1, 64), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_every_mixed_fraction_is_exact(whole: int, above: int, below: int) -> None:
    """w + a/b in is (w + a/b)·25.4 mm in rational arithmetic, however the fraction is written."""
    assert exact_length(f"{whole} {above}/{below} in") == (whole + Fraction(above, below)) * Fraction(254, 10)


@given(st.integers(0, 100_000))
def test_sixteenths_come_back(sixteenths: int) -> None:
    """A length on a sixteenth is shown as that sixteenth, and reads back as itself."""
    mm = float(Fraction(sixteenths, 16) * Fraction(254, 10))
    assert parse_length(inches(mm)) == mm
    assert parse_length(written(mm)) == mm


@given(st.floats(0, 10_000))
def test_what_is_written_to_a_file_reads_back(mm: float) -> None:
    """A written length is the same to a millionth of a millimetre."""
    assert parse_length(written(mm)) == pytest.approx(mm, abs=1e-6)


def test_shown_lengths_round_as_asked() -> None:
    """To the nearest sixteenth by default; up for what is needed, down for what there is."""
    assert inches(66.675) == "2 5/8 in"
    assert inches(0) == "0 in"
    assert inches(12.7) == "1/2 in"
    assert inches(25.3) == "1 in"
    assert inches(25.5, toward="up") == "1 1/16 in"
    assert inches(25.3, toward="down") == "15/16 in"
    assert inches(-12.7) == "-1/2 in"
    assert millimetres(66.675) == "67 mm"
    assert both(66.675) == "2 5/8 in (67 mm)"
