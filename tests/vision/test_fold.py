"""Millimetres that drown in noise, counted by folding the picture by the half centimetres between them."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.harsh import draw
from tests.makers.scene import as_stored
from tests.makers.shot import shoot
from vision.reference.candidate import Candidate
from vision.reference.comb import Comb, follow
from vision.reference.fold import by_fives
from vision.reference.ruler import read_rulers
from vision.reference.tick import Row, pyramid
from vision.reference.unit import Hearing, hear

SPACING_PX = 24.0


def ruler(parts: int, *, part_px: tuple[int, int] = (100, 112), shift: float = 0.0) -> NDArray[np.uint8]:
    """Forty long ticks, 24 px apart, every second one longer, from row 110 on; fine ones of which the blur leaves two
    grey levels, from the first row of ``part_px`` to the second, ``parts`` an interval and ``shift`` of one beside the
    long ones; under noise of three."""
    y, x = np.mgrid[:260, :1000].astype(np.float64)
    face = np.full(y.shape, 170.0)
    fine = (x - 20) / SPACING_PX * parts - shift
    face -= 7.0 * (1 + np.cos(2 * np.pi * fine)) * ((y >= part_px[0]) & (y < part_px[1]))
    number = np.rint((x - 20) / SPACING_PX)
    long = (np.abs(x - 20 - SPACING_PX * number) < 1.5) & (y >= 110) & (y < np.where(number % 2 == 0, 128, 122))
    face[long] = 130.0
    soft = cv2.GaussianBlur(face, (0, 0), 1.2) + np.random.default_rng(5).normal(0, 3.0, face.shape)
    return np.asarray(np.clip(np.rint(soft), 0, 255), dtype=np.uint8)


def long_ticks(picture: NDArray[np.uint8]) -> Candidate:
    """The comb of a picture's long ticks, with what their lengths say: that every second one is longer."""
    bases = np.stack([20 + SPACING_PX * np.arange(5, 35), np.full(30, 113.0)], axis=1)
    axis, tick = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    row = Row(bases_px=bases, axis=axis, tick=tick, period_px=SPACING_PX, length_px=9.0, dark=True, level=0)
    comb = follow(pyramid(picture), row)
    assert comb is not None
    return Candidate(comb=comb, hearing=alternate(comb))


def alternate(comb: Comb) -> Hearing:
    """What lengths say of which every second one is longer by a half, whatever was seen of the comb's."""
    heard = hear(comb.index, np.where((comb.index - comb.index[0]) % 2 == 0, 0.6, 0.4))
    others = tuple(one for one in heard.verdicts if one.division.longer == (2,) and one.division.unit == "none")
    assert others
    return replace(heard, verdicts=others)


@pytest.mark.parametrize(
    ("parts", "part_px", "shift", "read"),
    [
        (5, (100, 112), 0.0, True),
        (4, (100, 112), 0.0, False),
        (10, (100, 112), 0.0, False),
        (5, (0, 260), 0.0, False),
        (5, (100, 112), 0.5, False),
        (5, (70, 82), 0.0, False),
    ],
    ids=["fives", "fours", "tens", "a weave", "out of step", "far from them"],
)
def test_ticks_that_drown_are_counted_between_long_ones(
    parts: int, part_px: tuple[int, int], shift: float, read: bool
) -> None:
    """Ticks fainter than the noise, five to each interval of long ones, ending beside them: the long ones are half
    centimetres. Four or ten to an interval are not, nor five that go on as threads do, stand beside the long ones'
    places, or far off."""
    picture = ruler(parts, part_px=part_px, shift=shift)
    verdict = by_fives(pyramid(picture), long_ticks(picture))
    assert (verdict is not None) is read
    if verdict is not None:
        assert (verdict.division.unit, verdict.division.base_mm, verdict.division.top) == ("mm", 5.0, 2)


@pytest.mark.parametrize("seed", [97096, 97119])
def test_half_centimetres_are_read_where_the_millimetres_drown(seed: int) -> None:
    """Millimetres blurred to two or three grey levels under noise of three, half centimetres seen between them, also
    where the millimetres were followed too and give more to go by: the marks are as far apart on the table as they say,
    to 0.7 % (the maker's geometry, the ruler's own error included)."""
    shot = draw(seed).shot
    readings = read_rulers(as_stored(shoot(shot)))
    assert readings, "no ruler was read"
    on_table = shot.lens.table_mm(readings[0].marks_px)
    assert np.hypot(*(on_table[-1] - on_table[0])) == pytest.approx(np.ptp(readings[0].marks_mm[:, 0]), rel=7e-3)
