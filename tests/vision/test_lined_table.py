"""Tables on which lines are drawn: the joints of tiles and floorboards."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.table import Table
from tests.vision.laid import PX_PER_MM, laid
from vision.cloth import find_cloths
from vision.square import SquareOn

_STRIPES = StripePrint(across=Stripes(widths_mm=(30.0, 6.0), colours=("#c86a2c", "#5a3630")))
_CLOTH = Cloth(print=_STRIPES, width_mm=200.0, length_mm=150.0, turn_deg=4.0)


def _on_lines(apart_mm: tuple[float, float], wide_mm: float, colour: tuple[int, int, int], turn_deg: float) -> SquareOn:
    """The cloth on a table of that turn, with lines of a width and colour so far apart each way."""
    square = laid(_CLOTH, table=Table(colour="#b9b4a8"))
    cover = np.zeros(square.valid.shape, np.uint8)
    cv2.fillPoly(cover, [np.rint((_CLOTH.outline_mm() - np.array(square.origin_mm)) * PX_PER_MM).astype(np.int32)], 1)
    turn = np.radians(turn_deg)
    ys, xs = np.mgrid[: cover.shape[0], : cover.shape[1]] / PX_PER_MM
    u, v = xs * np.cos(turn) + ys * np.sin(turn) + 7.0, ys * np.cos(turn) - xs * np.sin(turn) + 11.0
    off = np.min([np.minimum(way % apart, -way % apart) for way, apart in zip((u, v), apart_mm, strict=True)], axis=0)
    share = np.clip((wide_mm / 2 - off) * PX_PER_MM + 0.5, 0, 1)[..., None] * (cover == 0)[..., None]
    rgb = cv2.GaussianBlur(square.rgb * (1 - share) + np.array(colour) * share, (0, 0), 0.7)
    return replace(square, rgb=np.rint(rgb).astype(np.uint8))


@pytest.mark.parametrize(
    ("apart_mm", "wide_mm", "colour", "turn_deg"),
    [
        ((90.0, 90.0), 3.5, (74, 72, 68), 14.0),
        ((2000.0, 45.0), 1.2, (58, 42, 28), 3.0),
    ],
    ids=["tiles", "boards"],
)
def test_lines_on_the_table_are_none_of_the_cloth(
    apart_mm: tuple[float, float], wide_mm: float, colour: tuple[int, int, int], turn_deg: float
) -> None:
    """A striped cloth of 200 by 150 mm on a table with lines all over it is the only cloth: its area is so to 1 %,
    though the lines meet it all round, and it has four edges."""
    (found,) = find_cloths(_on_lines(apart_mm, wide_mm, colour, turn_deg))
    assert found.area_mm2 == pytest.approx(200 * 150, rel=0.01)
    assert {edge.side for edge in found.edges} == {"top", "right", "bottom", "left"}
