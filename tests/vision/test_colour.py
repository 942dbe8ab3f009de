"""Colour against the published table of CIEDE2000 and the published centroids of colour names."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from vision import colour

SHARMA = Path(__file__).parents[1] / "data" / "ciede2000_sharma34.csv"


def test_ciede2000_reproduces_the_34_published_pairs() -> None:
    """Sharma, Wu, Dalal 2005, Color Research & Application 30(1), table 1: 34 pairs to four decimals."""
    rows = list(csv.DictReader(SHARMA.open(encoding="utf-8")))
    first = np.array([[float(row[key]) for key in ("L1", "a1", "b1")] for row in rows])
    second = np.array([[float(row[key]) for key in ("L2", "a2", "b2")] for row in rows])
    published = np.array([float(row["dE00"]) for row in rows])
    assert len(rows) == 34
    np.testing.assert_allclose(colour.ciede2000(first, second), published, atol=1e-4)


def test_lab_agrees_with_an_independent_library() -> None:
    """scikit-image's rgb2lab (D65, 2 degrees) is the reference, 500 random colours; OpenCV interpolates in a table."""
    from skimage.color import rgb2lab

    rgb = np.random.default_rng(7).integers(0, 256, (500, 3)).astype(np.uint8)
    np.testing.assert_allclose(colour.srgb_to_lab(rgb), rgb2lab(rgb / 255.0), atol=0.3)


def test_hex_survives_the_way_to_lab_and_back() -> None:
    """An sRGB colour is itself again after CIELAB."""
    for hex_colour in ("#96282c", "#e8dcc4", "#000000", "#ffffff", "#123456"):
        assert colour.hex_of(colour.lab_of(hex_colour)) == hex_colour


@pytest.mark.parametrize(
    ("hex_colour", "name"),
    [("#be0032", "vivid red"), ("#f2f3f4", "white"), ("#222222", "black"), ("#00304e", "dark blue")],
)
def test_a_centroid_has_its_own_name(hex_colour: str, name: str) -> None:
    """Kelly and Judd, NBS Special Publication 440 (1976): the centroid colours carry their names."""
    assert colour.name(hex_colour) == name
