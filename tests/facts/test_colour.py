"""The plain colour difference against the published pairs."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from stash.colour import lab_of
from stash.errors import InputWrong
from stash.nearness import differences

TABLE = Path(__file__).resolve().parents[1] / "data" / "ciede2000_sharma34.csv"


def test_the_published_pairs() -> None:
    """All 34 pairs of Sharma, Wu and Dalal (2005), table 1, come out to the four digits printed, either way round."""
    rows = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 34
    for row in rows:
        one, other = ((float(row[f"L{i}"]), float(row[f"a{i}"]), float(row[f"b{i}"])) for i in (1, 2))
        assert differences(one, [other])[0] == pytest.approx(float(row["dE00"]), abs=5e-5)
        assert differences(other, [one])[0] == pytest.approx(float(row["dE00"]), abs=5e-5)


@pytest.mark.parametrize("colour", ["#a01c24", "#efe6d2", "#000000", "#ffffff", "#123456"])
def test_lab_is_that_of_an_independent_library(colour: str) -> None:
    """CIELAB of sRGB under D65 as scikit-image has it."""
    color = pytest.importorskip("skimage.color")
    channels = [[[int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]]]
    assert lab_of(colour) == pytest.approx(color.rgb2lab(channels)[0][0].tolist(), abs=0.02)


def test_what_is_no_colour() -> None:
    """Words and short codes are refused."""
    for text in ("red", "#12345", "#gggggg"):
        with pytest.raises(InputWrong):
            lab_of(text)
