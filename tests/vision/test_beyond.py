"""Cloth whose rim is of the table's colour, on rendered photographs of known cloths."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from tests.makers.cloth import StripePrint, Stripes
from tests.makers.scene import render
from tests.makers.table import Table
from tests.vision.test_measure import SCENE, photo_of, striped
from vision.measure import Measured, measure_photo

_WIDTHS = (18.0, 14.0)
_TABLE = "#c9c2b4"


@cache
def _measured(second: str, table: str) -> Measured:
    """A cloth 230 mm wide, seven stripes of rust and seven of another colour, with one of these at its right rim."""
    cloth = striped(x_mm=-95.0, width_mm=224.0, skew_deg=0.0, turn_deg=0.0, length_mm=200.0)
    colours = ("#8f3a1a", second)
    cloth = replace(
        cloth,
        print=StripePrint(across=Stripes(widths_mm=_WIDTHS, colours=colours)),
        phase_mm=(112.0, 0.0),
        slant_mm=0.0,
    )
    return measure_photo(photo_of(render(replace(SCENE, cloths=(cloth,), table=Table(colour=table)))))


def _words(measured: Measured) -> list[str]:
    return [warning for warning in measured.measurement.warnings if "may go on" in warning]


def _missing_mm(measured: Measured) -> float:
    """How much narrower, on the whole, the cloth is found than its 224 by 200 mm."""
    outline = measured.measurement.main.outline
    assert outline is not None
    return (224.0 * 200.0 - outline.area_mm2) / 200.0


def test_a_stripe_of_the_tables_colour_may_follow() -> None:
    """The cloth's last stripe looks like the table, and so would one before the first: the cloth is said to go on on
    either side for up to their 14 mm perhaps, and the outline's uncertainty covers what is missing."""
    measured = _measured(_TABLE, _TABLE)
    outline = measured.measurement.main.outline
    assert outline is not None
    assert [("left" in words, "right" in words, "up to 14 mm" in words) for words in sorted(_words(measured))] == [
        (True, False, True),
        (False, True, True),
    ]
    assert 7.0 < _missing_mm(measured) <= outline.u95_mm + 1.0


def test_nothing_is_said_where_the_rim_is_seen() -> None:
    """The same cloth on a table of another colour, and one with other stripes on this: the rim is where it is seen."""
    for second, table in ((_TABLE, "#2c4a3a"), ("#23426f", _TABLE)):
        measured = _measured(second, table)
        outline = measured.measurement.main.outline
        assert outline is not None
        assert not _words(measured)
        assert outline.u95_mm < 2.0
        assert abs(_missing_mm(measured)) < 2.0


def test_of_a_print_without_a_full_repeat_a_stripe_seen_may_come_again() -> None:
    """Of a repeat of 240 mm a cloth shows 224: its last stripe, 44 mm, looks like the table, as does one of 30 mm
    inside. Nobody can tell from the rest that it is there; but that one may be is said, on both sides."""
    print_ = StripePrint(
        across=Stripes(widths_mm=(70.0, 30.0, 80.0, 60.0), colours=("#8f3a1a", _TABLE, "#23426f", _TABLE))
    )
    cloth = striped(x_mm=-95.0, width_mm=224.0, skew_deg=0.0, turn_deg=0.0, length_mm=200.0)
    cloth = replace(cloth, print=print_, phase_mm=(112.0, 0.0), slant_mm=0.0)
    measured = measure_photo(photo_of(render(replace(SCENE, cloths=(cloth,), table=Table(colour=_TABLE)))))
    outline = measured.measurement.main.outline
    assert outline is not None
    assert {side for words in _words(measured) for side in ("left", "right") if side in words} == {"left", "right"}
    assert outline.u95_mm == pytest.approx(30.0, abs=3.0)


def test_a_large_cloth_without_a_full_repeat_is_looked_at_all_over() -> None:
    """Of a repeat of 480 mm a cloth of 400 mm shows 448, on a table that looks like none of it: no repeat, and no side
    is said to go on."""
    print_ = StripePrint(
        across=Stripes(widths_mm=(140.0, 60.0, 160.0, 120.0), colours=("#8f3a1a", "#e8e0c8", "#23426f", "#5a7a3a"))
    )
    cloth = striped(x_mm=-150.0, width_mm=448.0, skew_deg=0.0, turn_deg=0.0, length_mm=400.0)
    cloth = replace(cloth, print=print_, phase_mm=(224.0, 0.0), slant_mm=0.0)
    sheet = replace(SCENE.sheets[0], x_mm=200.0)
    camera = replace(SCENE.camera, distance_mm=900.0)
    scene = replace(SCENE, cloths=(cloth,), sheets=(sheet,), camera=camera, table=Table(colour="#2c4a3a"))
    measured = measure_photo(photo_of(render(scene)))
    assert measured.measurement.main.print is not None
    assert measured.measurement.main.print.across is None
    assert not _words(measured)
