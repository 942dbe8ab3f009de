"""Beats beside straight edges: faint and soft ticks show together; stripes of cloth do not pass for them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.harsh import draw
from tests.makers.scene import as_stored
from tests.makers.shot import shoot
from vision.reference.beat import FAINT_STEP, PLAIN_STEP, find_beats, straight_lines
from vision.reference.comb import follow
from vision.reference.even import whole
from vision.reference.ruler import read_rulers
from vision.reference.tick import Row, find_rows, pyramid

Picture = NDArray[np.uint8]
PERIOD_PX = 6.4


def strip(
    *,
    ink: float,
    lean: float = 0.0,
    noise: float = 3.0,
    cut: bool = True,
    period_px: float = PERIOD_PX,
    pale: float = 50.0,
) -> Picture:
    """A strip on a table that is darker by ``pale`` grey levels, 60 px high from row 220 on; beats of ``ink`` grey
    levels hang from its upper edge, 15 px long (``cut``) or as long as the picture is high, leaning by ``lean`` px a
    px."""
    y, x = np.mgrid[:500, :900].astype(np.float64)
    face = np.where((y >= 220) & (y < 280), 120.0 + pale, 120.0)
    along = (x - lean * (y - 220)) / period_px
    tick = np.abs(along - np.rint(along)) < 0.14
    seen = (y >= 220) & (y < 235) if cut else np.ones_like(tick)
    face -= ink * (tick & seen)
    soft = cv2.GaussianBlur(face, (0, 0), 1.2) + np.random.default_rng(3).normal(0, noise, face.shape)
    return np.asarray(np.clip(np.rint(soft), 0, 255), dtype=np.uint8)


@pytest.mark.parametrize("lean", [0.0, 0.12, -0.2])
def test_ticks_fainter_than_the_noise_show_together(lean: float) -> None:
    """Ticks of seven grey levels, of which the blur leaves some two, under noise of three: no single stroke tells them,
    all of them together do. Period, places to a fifth of a period, and direction are those drawn (geometry)."""
    levels = pyramid(strip(ink=7.0, lean=lean))
    assert not [row for row in find_rows(levels[0], 0) if abs(row.period_px / PERIOD_PX - 1) < 0.03]
    row = next(iter(find_beats(levels, 0, straight_lines(levels))))
    assert row.period_px == pytest.approx(PERIOD_PX, rel=0.02)
    middle = row.bases_px + 0.5 * row.length_px * row.tick
    phase = ((middle[:, 0] - lean * (middle[:, 1] - 220)) / PERIOD_PX) % 1.0
    if not row.dark:
        phase = (phase + 0.5) % 1.0
    assert np.abs((phase + 0.5) % 1.0 - 0.5).max() < 0.2
    assert row.tick[0] / row.tick[1] == pytest.approx(lean, abs=0.05)


def test_stripes_that_go_on_are_no_ticks() -> None:
    """Stripes crossing a strip's edges end nowhere near them, as ticks do: however bold, they make no row."""
    levels = pyramid(strip(ink=60.0, cut=False))
    rows = list(find_beats(levels, 0, straight_lines(levels)))
    assert not [row for row in rows if abs(row.period_px / PERIOD_PX - 1) < 0.05]


def test_ticks_sought_at_half_their_spacing_are_numbered_by_the_whole() -> None:
    """Twenty ticks at every second number, and one false one between them, are twenty ticks at every number."""
    index = np.sort(np.append(np.arange(20) * 2 + 3, 10))
    places = index * 4.0
    u, k = whole(places, index)
    assert np.diff(k).tolist() == [1] * 19
    assert np.diff(u) == pytest.approx(8.0)
    u, k = whole(np.arange(20) * 4.0, np.arange(20))
    assert k.tolist() == list(range(20))


def test_leaning_ticks_are_followed_along_their_direction() -> None:
    """Ticks that lean by 0.3 px a px, 15 px long and 6.4 px apart, are further off along the strip at one end than half
    a spacing: told where they stand at either end, all of the 140 drawn are found (geometry)."""
    levels = pyramid(strip(ink=60.0, lean=0.3, noise=1.0))
    tick = np.array([0.3, 1.0]) / np.hypot(0.3, 1.0)
    base = np.stack([PERIOD_PX * np.arange(60, 80), np.full(20, 220.0)], axis=1)
    row = Row(
        bases_px=base, axis=np.array([1.0, 0.0]), tick=tick, period_px=PERIOD_PX, length_px=15.0, dark=True, level=0
    )
    comb = follow(levels, row)
    assert comb is not None
    assert len(comb.index) > 130
    off = (comb.places_px[:, 0] - 0.3 * (comb.places_px[:, 1] - 220)) / PERIOD_PX
    assert np.abs(off - np.rint(off)).max() < 0.1


def test_a_strip_hardly_paler_than_the_table_has_edges_too() -> None:
    """A strip eight grey levels paler than the table, its edge blurred by 1.2 px, rises by fewer levels a pixel than
    lines ask for that are sought plainly: no beat is found there. Sought faintly, its edge is a line, and its ticks,
    6.4 px apart, show beside it (geometry)."""
    levels = pyramid(strip(ink=10.0, noise=1.5, pale=8.0))
    rows = {step: list(find_beats(levels, 0, straight_lines(levels, step=step))) for step in (PLAIN_STEP, FAINT_STEP)}
    alike = {step: [row for row in of if abs(row.period_px / PERIOD_PX - 1) < 0.02] for step, of in rows.items()}
    assert not alike[PLAIN_STEP]
    assert alike[FAINT_STEP]


@pytest.mark.parametrize("seed", [56027, 56039, 56092, 96013, 97097])
def test_soft_worn_rulers_that_a_person_can_read_are_read(seed: int) -> None:
    """Eighths on wood, worn millimetres under glare, faint eighths, blurred each; faint sixteenths, and a yellow ruler
    on white and red stripes, whose edges hardly differ from what lies beside them: the marks lie as far apart on the
    table as they say, to 0.7 % (the maker's geometry, the ruler's own error included)."""
    shot = draw(seed).shot
    readings = read_rulers(as_stored(shoot(shot)))
    assert readings, "no ruler was read"
    on_table = shot.lens.table_mm(readings[0].marks_px)
    assert np.hypot(*(on_table[-1] - on_table[0])) == pytest.approx(np.ptp(readings[0].marks_mm[:, 0]), rel=7e-3)
