"""Scales whose numbers stand between their ticks: right beside the long ones, as high as those are."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.test_number import best_of, scale_of
from tests.vision.test_ruler import px_per_mm_of
from vision.reference.number import numbering
from vision.reference.ruler import read_rulers
from vision.reference.unit import hear

Picture = NDArray[np.uint8]

INCH_MM = 25.4
#: Fine pixels a pixel.
FINE = 4


class Card:
    """A card drawn in mm, ``px_per_mm`` fine."""

    def __init__(self, size_mm: tuple[float, float], px_per_mm: float, ground: int) -> None:
        self.q = FINE * px_per_mm
        self.face = np.full((round(size_mm[1] * self.q), round(size_mm[0] * self.q)), ground, np.uint8)

    def block(self, x: tuple[float, float], y: tuple[float, float], grey: int) -> None:
        """A rectangle, mm."""
        (left, right), (top, bottom) = (sorted(round(v * self.q) for v in pair) for pair in (x, y))
        self.face[top:bottom, left : max(right, left + 1)] = grey

    def number(self, text: str, left: float, foot: float, tall: float, grey: int) -> None:
        """A number whose lower left corner is given, digits ``tall`` mm high (a plotter's: 22 units)."""
        at = round(left * self.q), round(foot * self.q)
        thick = max(1, round(0.15 * tall * self.q))
        cv2.putText(self.face, text, at, cv2.FONT_HERSHEY_SIMPLEX, tall * self.q / 22, grey, thick, cv2.LINE_AA)

    def photo(self, turn_deg: float, seed: int) -> Picture:
        """The card in a picture (H, W, 3), turned, softened and with noise."""
        height, width = (n / FINE for n in self.face.shape)
        size = round(width * 1.1 + height)
        c, s = np.cos(np.radians(turn_deg)) / FINE, np.sin(np.radians(turn_deg)) / FINE
        middle = np.array([[c, -s], [s, c]]) @ np.array([self.face.shape[1] / 2, self.face.shape[0] / 2])
        warp = np.array([[c, -s, size / 2 - middle[0]], [s, c, size / 2 - middle[1]]])
        smooth = cv2.GaussianBlur(self.face.astype(np.float32), (0, 0), 1.6)
        seen = cv2.warpAffine(smooth, warp, (size, size), flags=cv2.INTER_AREA, borderValue=205.0)
        seen = cv2.GaussianBlur(seen, (0, 0), 0.6) + np.random.default_rng(seed).normal(0, 1.5, seen.shape)
        return np.repeat(np.clip(np.rint(seen), 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def small_scale(px_per_mm: float, seed: int) -> Picture:
    """A dark target's five centimetres: ticks of half a millimetre, the numbers beside those of centimetres, bars
    above, and patches of all greys below, which cut the longest ticks off unevenly."""
    rng = np.random.default_rng(seed)
    card = Card((58, 16), px_per_mm, 75)
    for k in range(5):
        card.block((4 + 10 * k, 14 + 10 * k), (1.2, 2.0) if k % 2 else (1.9, 2.7), 18)
    for k in range(51):
        tall = 0.8 if k % 10 == 0 else 0.65 if k % 5 == 0 else 0.5
        card.block((3.95 + k, 4.05 + k), (3.1, 3.1 + tall), 38)
        if k % 10 == 0:
            card.number(str(k // 10), 4.22 + k, 3.65, 0.48, 38)
    for k in range(18):
        card.block((4.5 + 2.8 * k, 7.3 + 2.8 * k), (3.85 + rng.uniform(0, 0.1), 11), int(rng.integers(15, 250)))
    return card.photo(0.4, seed)


def two_sided(px_per_mm: float, seed: int) -> Picture:
    """A grey card's eighths of an inch up from a line and centimetres down from it: inches hardly longer than their
    halves, and each with its number beside it, as high as the tick is."""
    card = Card((208, 52), px_per_mm, 70)
    card.block((0, 208), (9.9, 10.1), 47)
    for k in range(63):
        tall = next(t for every, t in ((8, 4.2), (4, 3.8), (2, 2.9), (1, 1.5)) if k % every == 0)
        x = 4 + k * INCH_MM / 8
        card.block((x - 0.12, x + 0.12), (10 - tall, 10), 47)
        if k and k % 8 == 0:
            card.number(str(k // 8), x - 2.3, 8.2, 1.7, 47)
    for k in range(20):
        card.block((3.88 + 10 * k, 4.12 + 10 * k), (10, 14.2), 47)
        card.number(str(k), 4.6 + 10 * k, 15.8, 2.2, 47)
    return card.photo(6.0, seed)


def touching(px_per_mm: float, seed: int) -> Picture:
    """A card's eighths of an inch, short ones half as long as the inches, whose numbers stand right on their ticks'
    ends: some touch them, some do not; nothing stands at the zero."""
    rng = np.random.default_rng(seed)
    card = Card((158, 30), px_per_mm, 190)
    for k in range(46):
        tall = next(t for every, t in ((8, 8.0), (4, 6.6), (2, 5.3), (1, 4.0)) if k % every == 0)
        x = 8 + k * INCH_MM / 8
        card.block((x - 0.16, x + 0.16), (0.0, tall), 110)
        if k and k % 8 == 0:
            card.number(str(k // 8), x - 1.7, 8.0 + rng.uniform(-0.4, 0.5) + 4.3, 4.3, 110)
    return card.photo(4.0, seed)


def tape(px_per_mm: float, seed: int) -> Picture:
    """A tape's eighths of an inch along one edge, each inch's number between its tick and the next, and numbers of
    another scale, small and faint, beyond, which stand about opposite every other inch."""
    rng = np.random.default_rng(seed)
    card = Card((305, 16), px_per_mm, 210)
    for k in range(94):
        tall = next(t for every, t in ((8, 6.0), (4, 4.7), (2, 3.9), (1, 3.3)) if k % every == 0)
        x = 3 + k * INCH_MM / 8
        card.block((x - 0.15, x + 0.15), (0.0, tall), 40)
        if k % 8 == 0:
            card.number(str(21 + k // 8), x + 0.5, 6.0, 2.6, 40)
        if k % 16 == 0:
            card.number(str(53 + k // 16 * 5), x + rng.uniform(-4.0, 2.0), 9.5, 2.0, 120)
    return card.photo(2.0, seed)


@pytest.mark.parametrize(("px_per_mm", "seed"), [(48.0, 1), (34.0, 2), (26.0, 3)])
def test_a_small_scale_with_numbers_beside_its_ticks_is_read(px_per_mm: float, seed: int) -> None:
    """Ticks beside which a number stands are ticks, and the numbers, which come round every ten, say that the short
    ones, half as long as they are apart, stand a millimetre apart (the spacing drawn)."""
    readings = read_rulers(small_scale(px_per_mm, seed))
    assert readings, "no scale was read"
    assert readings[0].unit == "mm"
    assert px_per_mm_of(readings[0]) == pytest.approx(px_per_mm, rel=2e-3)


@pytest.mark.parametrize(("px_per_mm", "seed"), [(4.2, 1), (5.0, 2), (6.3, 3)])
def test_inches_hardly_longer_than_halves_are_told_by_the_numbers_beside_them(px_per_mm: float, seed: int) -> None:
    """Where each fourth tick is nearly as long, they are half inches as likely as inches; the number beside each eighth
    one says that the ticks are eighths of an inch (the spacing drawn)."""
    readings = read_rulers(two_sided(px_per_mm, seed))
    assert readings, "no scale was read"
    assert readings[0].unit == "inch"
    assert px_per_mm_of(readings[0]) == pytest.approx(px_per_mm, rel=3e-3)


@pytest.mark.parametrize(("px_per_mm", "seed"), [(2.2, 2), (2.2, 3), (2.2, 4), (3.4, 3)])
def test_numbers_that_touch_their_ticks_are_seen(px_per_mm: float, seed: int) -> None:
    """Ticks that run on into their numbers do not hide them: numbers come round each eighth tick, beside the inches."""
    levels, comb, side, heard = scale_of(touching(px_per_mm, seed), px_per_mm * INCH_MM / 8)
    assert heard.best is not None
    best = best_of(numbering(levels, comb, side, longest=heard.best.longest(comb.index)))
    assert best.period == 8
    assert best.evidence > 12
    assert abs((best.tick - heard.best.phase + 4) % 8 - 4) <= 1


@pytest.mark.parametrize(("px_per_mm", "seed"), [(1.9, 2), (2.3, 4), (2.4, 2), (2.6, 3), (2.8, 3)])
def test_inches_that_run_into_their_numbers_are_not_halved(px_per_mm: float, seed: int) -> None:
    """Where some inches run into their numbers and some do not, the long ones do not pass for inches and the others for
    half inches between them: the drawn number of pixels per millimetre comes back, not twice as many."""
    readings = read_rulers(touching(px_per_mm, seed))
    assert readings, "no scale was read"
    assert px_per_mm_of(readings[0]) == pytest.approx(px_per_mm, rel=3e-3)


@pytest.mark.parametrize(("px_per_mm", "seed"), [(3.6, 1), (4.2, 2)])
def test_numbers_of_a_tapes_other_scale_do_not_halve_its_inches(px_per_mm: float, seed: int) -> None:
    """Two inches are nearly five centimetres, so numbers of those stand opposite every other inch: what stands at each
    inch between the ticks is plainer, and the ticks stay eighths of an inch."""
    levels, comb, side, heard = scale_of(tape(px_per_mm, seed), px_per_mm * INCH_MM / 8)
    assert heard.best is not None
    found = numbering(levels, comb, side, longest=heard.best.longest(comb.index))
    best = best_of(found)
    assert best.period == 8
    told = hear(comb.index, comb.lengths(side), numbers=found)
    assert told.best is not None
    assert told.best.division.base_mm == INCH_MM / 8


def test_tiny_ticks_without_numbers_settle_nothing() -> None:
    """Half as long as they are apart, the ticks of a row would be a millimetre scale's with ticks of half a
    millimetre: where no number bears it out, that is not believed."""
    index = np.arange(51)
    size = np.where(index % 10 == 0, 0.8, np.where(index % 5 == 0, 0.65, 0.5))
    size += np.random.default_rng(2).normal(0, 0.01, 51)
    heard = hear(index, size)
    assert heard.best is not None
    assert heard.best.division.base_mm == 1.0
    assert not heard.sure()
