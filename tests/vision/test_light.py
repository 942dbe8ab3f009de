"""Colours in white light, from the white paper of the printed target."""

from __future__ import annotations

import numpy as np
import pytest

from vision.colour import ciede2000, lab_of
from vision.estimate import Estimate
from vision.light import burnt_out, gains_of, in_white_light
from vision.measurement import Print, Stripe
from vision.reference import target

#: Incandescent light seen by a camera set for daylight, as shares of linear light a channel (a warm cast of our own).
LAMP = np.array([0.75, 0.52, 0.28])
CLOTH = ("#23426f", "#c46a3a", "#8fb3c4")


def _encoded(light: np.ndarray) -> np.ndarray:
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def _linear(hex_colour: str) -> np.ndarray:
    value = np.array([int(hex_colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def _hex(light: np.ndarray) -> str:
    return "#" + "".join(f"{round(255 * v):02x}" for v in _encoded(light))


def _board(light: np.ndarray) -> np.ndarray:
    """The target from straight above, 4 px a millimetre, on paper that gives back 0.855 of the light (L* 94)."""
    scale, rim = 4, 40
    size = [round(side * target.SQUARE_MM * scale) + 2 * rim for side in target.SQUARES]
    paper = np.full((size[1], size[0]), 0.855)
    for x, y, width, height in target.black_cells_mm():
        a, b = (round(v * scale) + rim for v in (x, y))
        paper[b : b + round(height * scale), a : a + round(width * scale)] = 0.03
    return np.rint(_encoded(paper[..., None] * light) * 255).astype(np.uint8)


def _print(light: np.ndarray) -> Print:
    stripes = tuple(
        Stripe(label="A", width=Estimate(10.0, 0.1), centre_mm=5.0, hex=_hex(_linear(colour) * light), colour="")
        for colour in CLOTH
    )
    return Print(kind="stripe", stripes=stripes)


def test_a_lamp_s_cast_is_taken_off() -> None:
    """Colours seen by lamplight come back within what can just be seen (CIEDE2000 of 1) where the target's paper shows;
    as photographed they are off by more than 10."""
    picture = _board(LAMP)
    reading = target.read_target(picture)
    assert reading is not None
    gains = gains_of(picture, (reading,))
    assert gains is not None
    assert gains == pytest.approx(1 / LAMP, rel=0.02)
    seen = _print(LAMP)
    right = in_white_light(seen, gains)
    for before, after, true in zip(seen.stripes, right.stripes, CLOTH, strict=True):
        assert ciede2000(lab_of(before.hex), lab_of(true)) > 10
        assert ciede2000(lab_of(after.hex), lab_of(true)) < 1
        assert after.colour


def test_burnt_out_paper_tells_nothing_of_the_light() -> None:
    """Paper at the top of the scale may be any brighter: no colours are changed by it, nor without a target."""
    picture = _board(np.array([1.17, 1.1, 0.9]).clip(0, 1.16))
    reading = target.read_target(picture)
    assert reading is not None
    assert gains_of(picture, (reading,)) is None
    assert gains_of(picture, ()) is None


def test_a_stripe_at_the_top_of_the_scale_is_burnt_out() -> None:
    """A channel at 255 may stand for any more light."""
    stripe = Stripe(label="A", width=Estimate(10.0, 0.1), centre_mm=5.0, hex="#fffdf0", colour="white")
    assert burnt_out(Print(kind="stripe", stripes=(stripe,)))
    assert not burnt_out(_print(LAMP))
