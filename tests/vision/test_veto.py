"""Rulers believed wider or narrower than they are, and one taken for cloth, on a striped cloth seen from above."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.makers.cloth import Cloth, PlainPrint, StripePrint, Stripes
from tests.makers.table import Table
from tests.vision.laid import laid
from tests.vision.test_measure import both_repeats_are_the_makers
from vision.edge import ClothEdge
from vision.estimate import Estimate
from vision.measurement import Print
from vision.rim import seen_cloth
from vision.swatch import Doubles
from vision.veto import vetoed

_STRIPED = StripePrint(across=Stripes(widths_mm=(6.0, 4.0, 3.0), colours=("#1a2350", "#c6c5be", "#2a5a50")))
_PRINT = Print(kind="stripe", across=Estimate(13.0), across_direction_deg=Estimate(0.0))
_COLOURS = ("#f0efe9", "#d8b67e", "#22221f")


def _cloth() -> Cloth:
    return Cloth(print=_STRIPED, width_mm=190.0, length_mm=130.0, edges=("cut",) * 4, seed=3)


def _box(left: float, top: float, right: float, bottom: float) -> Doubles:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def _vetoed(
    ruler_mm: Doubles,
    colour: str,
    outline_mm: Doubles,
    covered_mm: list[Doubles],
    *edges: ClothEdge,
    print_: Print = _PRINT,
) -> tuple[Doubles, ...] | None:
    """What the print has to say of what covers, where a ruler lies there."""
    (left, top), (right, bottom) = ruler_mm[0], ruler_mm[2]
    ruler = Cloth(
        print=PlainPrint(colour=colour),
        width_mm=right - left,
        length_mm=bottom - top,
        x_mm=(left + right) / 2,
        y_mm=(top + bottom) / 2,
        edges=("cut",) * 4,
    )
    picture = laid(_cloth(), ruler, table=Table(colour="#8a7b66"), seed=3)
    return vetoed(seen_cloth(picture, outline_mm, covered_mm), outline_mm, edges, print_, covered_mm)


def _bottom(left: float, right: float, y_mm: float) -> ClothEdge:
    return ClothEdge(
        side="bottom",
        start_mm=(left, y_mm),
        end_mm=(right, y_mm),
        direction_deg=Estimate(0.0, 0.1),
        length_mm=right - left,
        scatter_mm=0.1,
    )


@pytest.mark.parametrize("colour", _COLOURS)
def test_a_ruler_does_not_reach_over_stripes(colour: str) -> None:
    """A ruler that begins at y = 66 mm, just beside the cloth, was believed to begin at 52: it is drawn back to where
    the stripes end, and its far side stays."""
    whole = _vetoed(_box(-120, 66, 120, 96), colour, _box(-95, -65, 95, 52), [_box(-120, 52, 120, 98)])
    assert whole is not None
    assert 60.0 <= whole[0][:, 1].min() <= 66.0
    assert whole[0][:, 1].max() == pytest.approx(98.0, abs=0.1)


def test_a_sheet_keeps_its_size() -> None:
    """A sheet of 240 by 150 mm beside the cloth was said to reach 14 mm over it. Of a ruler that would be doubted; a
    sheet is known by its corners, and left as it is."""
    known = _box(-120, 52, 120, 217)
    whole = _vetoed(_box(-120, 66, 120, 216), "#f0efe9", _box(-95, -65, 95, 52), [known])
    assert whole is None or whole[0] is known


@pytest.mark.parametrize("colour", _COLOURS)
def test_a_ruler_reaches_as_far_as_no_stripes_show(colour: str) -> None:
    """Of a ruler across the cloth, from y = 0 to 32 mm, the first 10 were known: it is drawn out to its end."""
    whole = _vetoed(_box(-120, 0, 120, 32), colour, _box(-95, -65, 95, 65), [_box(-120, -1, 120, 10)])
    assert whole is not None
    assert whole[0][:, 1].min() == pytest.approx(-1.0, abs=0.1)
    assert 30.0 <= whole[0][:, 1].max() <= 36.0


@pytest.mark.parametrize("colour", _COLOURS)
def test_a_ruler_at_the_rim_is_no_cloth(colour: str) -> None:
    """A ruler not known at all lies over the cloth's lower edge from x = -50 to 60 mm, down to y = 80, and was taken
    for cloth: it is covered, and the cloth beside it is not."""
    outline = np.concatenate([_box(-95, -65, 95, 65)[:3], [[60, 65], [60, 80], [-50, 80], [-50, 65], [-95, 65]]])
    found = _vetoed(_box(-50, 50, 60, 80), colour, outline, [], _bottom(-45, 55, 80.0))
    assert found is not None
    low, high = found[0].min(axis=0), found[0].max(axis=0)
    assert low == pytest.approx([-50.0, 50.0], abs=4.0)
    assert high == pytest.approx([60.0, 80.0], abs=4.0)


@pytest.mark.parametrize("colour", _COLOURS)
def test_a_band_across_the_cloth_is_its_own(colour: str) -> None:
    """A band without stripes that runs from one side of the cloth to the other is woven so, and no ruler."""
    outline = _box(-95, -65, 95, 80)
    band, edge = _box(-95, 60, 95, 80), _bottom(-87, 87, 80.0)
    assert _vetoed(band, colour, outline, [], edge) is None
    # stripes that do not repeat tell nothing of what would follow past the cloth's sides
    assert _vetoed(band, colour, outline, [], edge, print_=replace(_PRINT, across=None)) is None


@pytest.mark.parametrize("colour", _COLOURS)
def test_what_is_known_rightly_stays(colour: str) -> None:
    """Rulers across the cloth and beside it that are known as they lie, and the cloth's own striped edge, are left."""
    outline, edge = _box(-95, -65, 95, 65), _bottom(-87, 87, 65.0)
    for ruler in (_box(-120, 0, 120, 32), _box(-120, 68, 120, 96)):
        assert _vetoed(ruler, colour, outline, [ruler + np.sign(ruler - ruler.mean(axis=0)) * 1.5], edge) is None


def test_stripes_through_clear_plastic_are_no_reason_to_move_it() -> None:
    """Where all of what covers shows the stripes, as a ruler of clear plastic does, its sides are not told by them."""
    outline, known = _box(-95, -65, 95, 65), _box(-80, 0, 80, 30)
    picture = laid(_cloth(), table=Table(colour="#8a7b66"), seed=3)
    assert vetoed(seen_cloth(picture, outline, [known]), outline, (), _PRINT, [known]) is None


def test_a_tape_that_bends_keeps_its_outline() -> None:
    """The band of a tape bowed by 12 mm over 240 beside the cloth: stripes are seen within the rectangle round it, but
    the band, which has no straight side to be drawn back, is left as it is."""
    along = np.linspace(-120.0, 120.0, 9)
    bow = 12 * (along / 120) ** 2
    band = np.concatenate([np.column_stack([along, 66 + bow]), np.column_stack([along, 96 + bow])[::-1]])
    assert _vetoed(_box(-120, 66, 120, 96), _COLOURS[0], _box(-95, -65, 95, 64), [band]) is None


def test_what_the_print_lays_bare_costs_no_repeat() -> None:
    """A ruler of nearly a check's own colours lies on it, and its worn half passes for cloth: the check's repeats, of
    which some ten show each way, are the maker's to half a per cent all the same."""
    both_repeats_are_the_makers(99471)
