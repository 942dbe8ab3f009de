"""A selvage, or a strip of the table, along an edge of printed cloth, against the print that was drawn."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import CheckPrint, PlainPrint, StripePrint, Stripes
from tests.vision.flat import flat
from vision.print import PrintFinding, measure_print
from vision.square import SquareOn

CREAM, BLUE, RED, GREY, BLACK = "#e9e1cc", "#23426f", "#8f1f2a", "#a9a6a2", "#262626"
BAND = (104, 131, 62)


def _with_band(square: SquareOn, side: str, width_mm: float, turn_deg: float = 0.0) -> SquareOn:
    """The picture with a band of green along a side, askew to the print by a turn, with words written on it."""
    rgb, per_mm = np.array(square.rgb), square.px_per_mm
    height, width = rgb.shape[:2]
    quarter = {"top": 0, "left": 1, "bottom": 2, "right": 3}[side]
    rgb = np.ascontiguousarray(np.rot90(rgb, -quarter))
    wide, lean = rgb.shape[1], np.tan(np.radians(turn_deg))
    edge = [(0, width_mm), (wide / per_mm, width_mm + lean * wide / per_mm)]
    corners = np.array(
        [(0, -1000), (wide, -1000), *((x * per_mm if x == 0 else wide, y * per_mm) for x, y in edge[::-1])]
    )
    cv2.fillPoly(rgb, [np.rint(corners).astype(np.int32)], BAND, cv2.LINE_AA)
    cv2.putText(
        rgb, "FAST COLOURS", (20, round((width_mm - 3) * per_mm)), cv2.FONT_HERSHEY_SIMPLEX, 0.6, (240, 240, 230), 2
    )
    rgb = np.ascontiguousarray(np.rot90(rgb, quarter))
    assert rgb.shape[:2] == (height, width)
    return replace(square, rgb=rgb)


def _measured(square: SquareOn) -> PrintFinding:
    return measure_print(square, square.valid)


def _repeats(finding: PrintFinding) -> list[float]:
    print_ = finding.print
    assert print_ is not None
    return sorted(one.value for one in (print_.across, print_.along) if one is not None)


def _told(finding: PrintFinding, side: str) -> bool:
    return any(f"{side} edge" in warning and "selvage" in warning for warning in finding.warnings)


@pytest.mark.parametrize("side", ["top", "right", "bottom", "left"])
def test_a_selvage_is_no_part_of_stripes(side: str) -> None:
    """Stripes of 31 mm beside or across which a selvage of 12 mm runs, 1.5 degrees askew of them: a stripe of 31 mm,
    not a check, and the selvage is told of."""
    print_ = StripePrint(across=Stripes(widths_mm=(17.0, 2.0, 12.0), colours=(GREY, CREAM, BLUE)))
    finding = _measured(_with_band(flat(print_), side, 12.0, 1.5))
    assert finding.print is not None
    assert finding.print.kind == "stripe"
    assert _repeats(finding) == pytest.approx([31.0], rel=0.004)
    assert _told(finding, side)


@pytest.mark.parametrize("side", ["top", "left"])
def test_a_selvage_is_no_part_of_a_check(side: str) -> None:
    """A check of 13.3 by 29.2 mm with a selvage along one side is measured both ways."""
    across, along = (Stripes(widths_mm=(size / 2, size / 2), colours=(CREAM, RED)) for size in (29.2, 13.3))
    finding = _measured(_with_band(flat(CheckPrint(across=across, along=along), height_mm=90.0), side, 13.0))
    assert finding.print is not None
    assert finding.print.kind == "check"
    assert _repeats(finding) == pytest.approx([13.3, 29.2], rel=0.005)


@pytest.mark.parametrize("side", ["top", "right"])
def test_plain_cloth_with_a_selvage_is_plain(side: str) -> None:
    """A band of another colour along one edge makes no stripe of plain cloth, and is told of."""
    finding = _measured(_with_band(flat(PlainPrint(colour=GREY)), side, 11.0))
    assert finding.print is not None
    assert finding.print.kind == "plain"
    assert _told(finding, side)


def test_a_stripe_at_the_edge_that_comes_again_is_no_selvage() -> None:
    """Stripes whose first one is narrow keep it: all of the repeat of 31 mm is print, and no selvage is told of."""
    print_ = StripePrint(across=Stripes(widths_mm=(17.0, 2.0, 12.0), colours=(GREY, BLACK, BLUE)))
    finding = _measured(flat(print_, phase_mm=(3.0, 0.0)))
    assert _repeats(finding) == pytest.approx([31.0], rel=0.004)
    assert not any("selvage" in warning for warning in finding.warnings)


def test_stripes_seen_once_are_not_made_plain() -> None:
    """Three wide stripes, each seen once, are not plain cloth with selvages: the two outer ones are too wide."""
    print_ = StripePrint(across=Stripes(widths_mm=(90.0, 100.0, 90.0), colours=(GREY, BLUE, RED)))
    finding = _measured(flat(print_))
    assert finding.print is None or finding.print.kind != "plain"
