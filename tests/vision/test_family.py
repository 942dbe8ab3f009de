"""How far stripes explain a cloth: every part of it, where they run right across."""

from __future__ import annotations

import pytest

from tests.makers.cloth import AnyPrint, CheckPrint, Motif, MotifPrint, Stripes
from tests.vision.flat import flat
from vision.family import share_all_over
from vision.profile import band_profiles, without_crossing
from vision.swatch import Swatch

RED, CREAM, BLUE = "#8f1f2a", "#e9e1cc", "#23426f"
_SIDE = Stripes(widths_mm=(9.0, 6.0, 11.0), colours=(RED, CREAM, BLUE))


def _with_a_bar(print_: AnyPrint, turn_deg: float) -> Swatch:
    """240 by 180 mm of a print, a white bar over a sixth of it."""
    square = flat(print_, turn_deg=turn_deg)
    square.rgb[500:620] = (235, 233, 228)
    return Swatch(rgb=square.rgb, mask=square.valid, px_per_mm=square.px_per_mm, origin_mm=square.origin_mm)


def _share(swatch: Swatch, turn_deg: float) -> float:
    across, along = (band_profiles(swatch, direction) for direction in (turn_deg, turn_deg + 90.0))
    bare = without_crossing(across, without_crossing(along, across))
    return share_all_over(swatch, bare, without_crossing(along, bare))


@pytest.mark.parametrize("turn_deg", [0.0, 3.0])
def test_a_check_is_explained_in_every_part(turn_deg: float) -> None:
    """Stripes both ways leave nothing of a check but where something lies on it: nine tenths and more of the middle
    part."""
    assert _share(_with_a_bar(CheckPrint(across=_SIDE, along=_SIDE), turn_deg), turn_deg) > 0.9


@pytest.mark.parametrize("turn_deg", [0.0, 3.0])
def test_motifs_are_not_explained_by_their_rows_and_columns(turn_deg: float) -> None:
    """Of squares that fill a quarter of their cell, rows and columns explain two thirds (geometry: the variance of the
    means each way, 2/16, of 3/16); a bar across them, however light, does not make it more."""
    square = Motif(shape="square", colour=CREAM, radius=0.3125)  # 0.8 times that each way from its middle
    motif = MotifPrint(ground=BLUE, motifs=(square,), column_mm=20.0, row_mm=20.0)
    assert _share(_with_a_bar(motif, turn_deg), turn_deg) < 0.72
