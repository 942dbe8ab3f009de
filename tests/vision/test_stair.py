"""Scales whose ticks drown one by one, read from what comes round whole after whole."""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.harsh import draw
from tests.makers.scene import as_stored
from tests.makers.shot import shoot
from vision.reference.beat import Line
from vision.reference.epoch import Round, folded, rounds
from vision.reference.ruler import read_rulers
from vision.reference.stair import Stair, read_stairs
from vision.reference.tick import pyramid

Floats = NDArray[np.float64]

#: A grey ruler lies between these rows of a picture that far across; wholes begin at the first column.
TOP, BOTTOM, WIDE, FIRST = 60, 180, 1000, 40.0
SIXTEENTHS = {16: 10, 8: 17, 4: 24, 2: 31, 1: 38}
EIGHTHS = {8: 12, 4: 19, 2: 26, 1: 33}
MILLIMETRES = {10: 24, 2: 34, 1: 44}
FIFTHS = {5: 12, 1: 33}
KEYSTONE = np.array([[1.06, 0.02, -20.0], [0.01, 1.03, 4.0], [6e-5, 1e-5, 1.0]])


def picture(
    ticks: Mapping[int, int], whole_px: float, *, number_px: float | None = None, wave: float = 30.0
) -> NDArray[np.uint8]:
    """A ruler seen a little from the side, blurred by 1.8 px under noise of three grey levels.

    ``ticks`` tells how far those go, px, that come so many times a whole. Numbers stand each ``number_px``, as dark as
    the ticks by ``wave`` grey levels.
    """
    face = np.full((260, WIDE), 120, dtype=np.uint8)
    face[TOP:BOTTOM] = 180
    fine = np.arange(WIDE * 8) / 8
    for parts, reach in ticks.items():
        off = np.abs((fine - FIRST) * parts / whole_px % 1)
        inked = np.minimum(off, 1 - off) * whole_px / parts < 0.6
        ink = inked.reshape(WIDE, 8).mean(axis=1)
        face[TOP : TOP + reach] = np.minimum(face[TOP : TOP + reach], np.rint(180 - wave * ink).astype(np.uint8))
    for k, x in enumerate(np.arange(FIRST, WIDE, number_px or whole_px)):
        at = (int(x) - 8, TOP + max(ticks.values()) + 22)
        cv2.putText(face, str(k % 10), at, cv2.FONT_HERSHEY_SIMPLEX, 0.7, 180.0 - wave, 2, cv2.LINE_AA)
    seen = cv2.warpPerspective(face, KEYSTONE, (WIDE, 260), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    soft = cv2.GaussianBlur(seen, (0, 0), 1.8) + np.random.default_rng(7).normal(0, 3.0, seen.shape)
    return np.asarray(np.clip(np.rint(soft), 0, 255), dtype=np.uint8)


def on_face(places_px: Floats) -> Floats:
    """Places (N, 2) of a picture on the ruler's face."""
    back = np.linalg.inv(KEYSTONE)
    return np.asarray(cv2.perspectiveTransform(places_px[None], back)[0], dtype=np.float64)


def stairs(seen: NDArray[np.uint8], *, unit: str = "auto") -> list[Stair]:
    """All scales of a picture that stairs tell."""
    return list(read_stairs(pyramid(seen), unit=unit))


@pytest.mark.parametrize(
    ("ticks", "whole_px", "unit", "base_mm", "wave"),
    [
        (SIXTEENTHS, 96.0, "inch", 25.4 / 16, 30.0),
        (EIGHTHS, 62.0, "inch", 25.4 / 8, 16.0),
        (MILLIMETRES, 52.0, "mm", 1.0, 40.0),
    ],
    ids=["sixteenths", "eighths", "millimetres"],
)
def test_a_scale_is_read_whose_ticks_drown(
    ticks: dict[int, int], whole_px: float, unit: str, base_mm: float, wave: float
) -> None:
    """Ticks that blur leaves a grey level or two under noise of three: unit and spacing are told all the same, and the
    marks lie as far apart on the face as they say, to 0.2 %, where the ticks stand."""
    found = stairs(picture(ticks, whole_px, wave=wave))
    assert found, "nothing was read"
    for stair in found:
        assert (stair.division.unit, stair.division.base_mm) == (unit, pytest.approx(base_mm))
        at = on_face(stair.comb.places_px)[:, 0]
        spacing = np.polyfit(stair.comb.index, at, 1)[0]
        assert abs(spacing) == pytest.approx(whole_px / stair.division.top, rel=2e-3)
        whole = at[stair.comb.index % stair.division.top == 0]
        off = (whole - FIRST + 0.5 * whole_px) % whole_px - 0.5 * whole_px
        assert np.abs(off).max() < 0.25 * whole_px / stair.division.top


@pytest.mark.parametrize(
    ("ticks", "number_px"),
    [
        ({1: 30}, None),
        (FIFTHS, None),
        ({parts // 2: reach for parts, reach in SIXTEENTHS.items() if parts > 1}, 96.0),
        ({parts * 2: reach for parts, reach in EIGHTHS.items()} | {1: 33}, 2 * 62.0),
    ],
    ids=["wholes alone", "fifths", "numbers at every second whole", "two wholes to a number"],
)
def test_what_makes_no_stair_is_not_read(ticks: dict[int, int], number_px: float | None) -> None:
    """Nothing is read where only wholes are seen, nor where they are divided by five; and half inches are never taken
    for inches, though they make a stair too: every second one has a number."""
    whole_px = 62.0 if number_px is None else number_px / 2
    for stair in stairs(picture(ticks, whole_px, number_px=number_px)):
        pitch = abs(float(np.polyfit(stair.comb.index, on_face(stair.comb.places_px)[:, 0], 1)[0]))
        assert number_px is not None
        assert pitch * stair.division.top == pytest.approx(number_px, rel=5e-3)


def test_told_the_unit_only_its_stairs_count() -> None:
    """Told that a ruler counts millimetres, its inches are not read."""
    seen = picture(SIXTEENTHS, 96.0)
    assert not stairs(seen, unit="mm")
    assert stairs(seen, unit="inch")


def test_a_period_is_known_sharply() -> None:
    """What comes round beside an edge is found, and its period in the picture's middle known to 0.2 % (the drawing's
    geometry)."""
    seen = picture(SIXTEENTHS, 96.0)
    ends = cv2.perspectiveTransform(np.array([[[20.0, TOP], [980.0, TOP]]]), KEYSTONE)[0].astype(np.float64)
    axis = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    line = Line(start=ends[0], axis=axis, length=float((ends[1] - ends[0]) @ axis), edge_px=900.0)
    found = [one for one in rounds(pyramid(seen), [line]) if one.side == 1]
    wholes = [on_face(line.start + one.along_px(np.array([2.0, 8.0]))[:, None] * axis)[:, 0] for one in found]
    assert any(abs(at[1] - at[0]) / 6 == pytest.approx(96.0, rel=2e-3) for at in wholes)


def test_the_mean_of_wholes_is_quieter_than_one() -> None:
    """Of waves that all wholes share the mean's noise falls with the root of their number, as that of any mean."""
    rng = np.random.default_rng(3)
    noise = rng.normal(128, 12, (400, 1000)).clip(0, 255).astype(np.uint8)
    line = Line(start=np.array([10.0, 100.0]), axis=np.array([1.0, 0.0]), length=981.0, edge_px=981.0)
    fold = folded(noise, Round(line=line, side=1, whole_px=49.0, bend=(0.0, 0.0)))
    assert fold.waves.shape[1] == 20
    share = np.abs(fold.mean[:, 1:20]).mean() / fold.noise[:, 1:20].mean()
    assert share == pytest.approx(np.sqrt(np.pi) / 2 / np.sqrt(20), rel=0.1)


@pytest.mark.parametrize("seed", [98315, 98361, 98365, 92062])
def test_rulers_are_read_that_nobody_can_read_tick_by_tick(seed: int) -> None:
    """Rendered rulers of which blur leaves one or two grey levels under noise as strong: the marks are as far apart on
    the table as they say, to 0.4 % (the maker's geometry, the ruler's own error included)."""
    shot = draw(seed).shot
    readings = read_rulers(as_stored(shoot(shot)))
    assert readings, "no ruler was read"
    on_table = shot.lens.table_mm(readings[0].marks_px)
    assert np.hypot(*(on_table[-1] - on_table[0])) == pytest.approx(np.ptp(readings[0].marks_mm[:, 0]), rel=4e-3)
