"""Plain cloth in uneven light, against how it was drawn: without a print."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.makers.cloth import PlainPrint, StripePrint, Stripes
from tests.vision.flat import flat
from vision.print import PrintFinding, measure_print
from vision.square import SquareOn

ROSE, SLATE, GREY, DARKER = "#c98f8a", "#5f6f86", "#a9a6a2", "#8f8c88"


def _lit(square: SquareOn, light: NDArray[np.float64]) -> SquareOn:
    return replace(square, rgb=np.rint(square.rgb * light[..., None]).clip(0, 255).astype(np.uint8))


def _places(square: SquareOn) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    ys, xs = np.mgrid[0 : square.rgb.shape[0], 0 : square.rgb.shape[1]] / square.px_per_mm
    return xs, ys


def _creased(square: SquareOn, wide_mm: float) -> SquareOn:
    """The picture with two creases, each light on one side and dark on the other."""
    x, y = _places(square)
    light = np.ones(x.shape)
    for turn, at in ((0.5, 90.0), (-0.3, 60.0)):
        far = (x * np.cos(turn) + y * np.sin(turn) - at + 3 * np.sin(y / 25)) / wide_mm
        light += 0.22 * far * np.exp(-(far**2))
    return _lit(square, light)


def _shaded(square: SquareOn, soft_mm: float) -> SquareOn:
    """The picture with a hand's shadow that takes a third of the light."""
    x, y = _places(square)
    dark = ((abs(x - 80) < 35) & (y > 70)).astype(np.float64)
    return _lit(square, 1 - 0.33 * cv2.GaussianBlur(dark, (0, 0), soft_mm * square.px_per_mm))


def _kind(finding: PrintFinding) -> str | None:
    return None if finding.print is None else finding.print.kind


@pytest.mark.parametrize("colour", [ROSE, SLATE])
@pytest.mark.parametrize("wide_mm", [7.0, 12.0])
def test_creased_plain_cloth_is_plain(colour: str, wide_mm: float) -> None:
    """Creases make plain cloth lighter and darker, and it is plain; that its light is uneven is told."""
    square = _creased(flat(PlainPrint(colour=colour)), wide_mm)
    finding = measure_print(square, square.valid)
    assert _kind(finding) == "plain"
    assert any("unevenly" in warning for warning in finding.warnings)


@pytest.mark.parametrize("soft_mm", [8.0, 20.0])
def test_a_shadow_on_plain_cloth_is_no_print(soft_mm: float) -> None:
    """Nor does a hand's shadow make a print of plain cloth."""
    square = _shaded(flat(PlainPrint(colour=ROSE)), soft_mm)
    assert _kind(measure_print(square, square.valid)) == "plain"


def test_a_thread_on_plain_cloth_is_no_print() -> None:
    """Nor does a thread of another colour that lies on it."""
    square = flat(PlainPrint(colour=SLATE))
    rgb = np.ascontiguousarray(square.rgb)
    cv2.ellipse(rgb, (400, 300), (90, 60), 20, 0, 300, (210, 180, 90), 4, cv2.LINE_AA)
    square = replace(square, rgb=rgb)
    assert _kind(measure_print(square, square.valid)) == "plain"


def test_one_shade_beside_another_is_not_plain() -> None:
    """Two shades of grey that meet in one straight line are no plain cloth, though that line is all that shows."""
    square = flat(StripePrint(across=Stripes(widths_mm=(200.0, 200.0), colours=(GREY, DARKER))), phase_mm=(200.0, 0.0))
    assert _kind(measure_print(square, square.valid)) != "plain"


def test_blots_of_another_shade_are_not_plain() -> None:
    """Blots of a darker grey, large and few, that nowhere repeat, are printed: no plain cloth."""
    square = flat(PlainPrint(colour=GREY))
    rgb, rng = np.ascontiguousarray(square.rgb), np.random.default_rng(4)
    for x, y in rng.uniform((40, 40), (920, 680), (14, 2)):
        size = rng.uniform(30, 70, 2)
        cv2.ellipse(rgb, (int(x), int(y)), (int(size[0]), int(size[1])), 30, 0, 360, (140, 138, 134), -1, cv2.LINE_AA)
    square = replace(square, rgb=rgb)
    assert _kind(measure_print(square, square.valid)) != "plain"
