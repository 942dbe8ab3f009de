"""Body measures against the 2012 survey of US Army personnel (ANSUR II, NATICK/TR-15/007, public release)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from stash.garment.body import BUST_MM, HEIGHT_MM, HEM_SHARE, PLAUSIBLE_MM, doubt
from stash.garment.coat import NECK_BACK_MM, NECK_FRONT_MM, NECK_HALF_MM, half_ellipse_mm

_FILE = Path(__file__).parents[1] / "data" / "ansur2_percentiles.csv"
_MEASURES = {
    "height": "stature",
    "span": "span",
    "bust": "chestcircumference",
    "hip": "buttockcircumference",
    "neck": "neckcircumference",
}


def _survey() -> dict[tuple[str, str], dict[str, float]]:
    with _FILE.open(encoding="utf-8", newline="") as stream:
        return {
            (row.pop("sex"), row.pop("measure")): {key: float(value) for key, value in row.items()}
            for row in csv.DictReader(stream)
        }


@pytest.mark.parametrize(("name", "measure"), _MEASURES.items())
def test_plausible_is_what_the_survey_found(name: str, measure: str) -> None:
    """The least and the greatest of 1,986 women and 4,082 men; just outside is asked about, just inside is not."""
    survey = _survey()
    least = min(survey[sex, measure]["min"] for sex in ("women", "men"))
    most = max(survey[sex, measure]["max"] for sex in ("women", "men"))
    assert PLAUSIBLE_MM[name] == (least, most)
    assert doubt(name, least) is None
    assert doubt(name, most) is None
    assert doubt(name, least - 1) is not None
    assert doubt(name, most + 1) is not None


def test_what_is_taken_is_the_middle() -> None:
    """The chest and height taken where nothing is said are the median woman's."""
    survey = _survey()
    assert survey["women", "chestcircumference"]["p50"] == BUST_MM
    assert survey["women", "stature"]["p50"] == HEIGHT_MM


def test_the_neck_hole_clears_the_neck() -> None:
    """The default neckline is longer than the neck at its base of 95 women in 100."""
    neckline = half_ellipse_mm(NECK_HALF_MM, NECK_FRONT_MM) + half_ellipse_mm(NECK_HALF_MM, NECK_BACK_MM)
    assert neckline > _survey()["women", "neckcircumferencebase"]["p95"]


def test_hems_are_shares_of_the_height() -> None:
    """Waist: waist back length over stature; hip: cervicale less crotch height over stature; means of 1,986 women."""
    survey = _survey()
    stature = survey["women", "stature"]["mean_mm"]
    assert HEM_SHARE["waist"] == pytest.approx(survey["women", "waistbacklength"]["mean_mm"] / stature, abs=5e-4)
    seat = survey["women", "cervicaleheight"]["mean_mm"] - survey["women", "crotchheight"]["mean_mm"]
    assert HEM_SHARE["hip"] == pytest.approx(seat / stature, abs=5e-4)
