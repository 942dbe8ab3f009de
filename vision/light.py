"""The light a cloth was photographed in: stripes' colours as white light would show them, where a white is known.

The printed target's paper is the white: each channel of linear light is brought to what white paper gives back (von
Kries 1902). Rulers are white, cream or yellow, nobody knows which, so they are no measure of the light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import encoded, hex_of, linear, name, srgb_to_lab
from vision.measurement import Print, Stripe
from vision.reference.reading import Reading
from vision.reference.target import white_places_mm

Floats = NDArray[np.float64]

#: Share of the light that white office paper gives back: L* about 94 (common practice).
PAPER = 0.855
#: Light is put right within these factors a channel; what needs more is no photograph of white paper.
_LEAST_GAIN, _MOST_GAIN = 0.4, 5.0
#: Above this share of the brightest value a channel is burnt out, and its true height unknown.
_BURNT = 0.97
#: A stripe this bright in some channel (of 255) is burnt out, or nearly.
_BURNT_LEVEL = 252


def gains_of(rgb: NDArray[np.uint8], readings: Sequence[Reading]) -> Floats | None:
    """The factors (3,) that bring each channel's linear light to what it would be in white light of full strength.

    From the printed target's paper in a photo (H, W, 3); None without a target, or where its paper is burnt out.
    """
    target = next((reading for reading in readings if reading.source == "target"), None)
    if target is None:
        return None
    homography, _ = cv2.findHomography(target.marks_mm, target.marks_px)
    places = cv2.perspectiveTransform(white_places_mm()[None], homography)[0]
    height, width = rgb.shape[:2]
    inside = (places >= 0).all(axis=1) & (places <= [width - 1, height - 1]).all(axis=1)
    columns, rows = np.rint(places[inside]).astype(int).T
    if len(rows) < 8:
        return None
    white = np.median(linear(rgb[rows, columns] / 255.0), axis=0)
    if white.max() >= _BURNT:
        return None
    gains = PAPER / np.maximum(white, 1e-3)
    return gains if bool(((gains >= _LEAST_GAIN) & (gains <= _MOST_GAIN)).all()) else None


def in_white_light(print_: Print, gains: Floats) -> Print:
    """The print with its stripes' colours put right."""
    along = None if print_.stripes_along is None else tuple(_lit(stripe, gains) for stripe in print_.stripes_along)
    return replace(print_, stripes=tuple(_lit(stripe, gains) for stripe in print_.stripes), stripes_along=along)


def burnt_out(print_: Print) -> bool:
    """Whether some stripe is so bright in the photo that its colour cannot be told."""
    stripes = (*print_.stripes, *(print_.stripes_along or ()))
    return any(max(_channels(stripe.hex)) >= _BURNT_LEVEL for stripe in stripes)


def _lit(stripe: Stripe, gains: Floats) -> Stripe:
    light = np.clip(linear(np.array(_channels(stripe.hex)) / 255.0) * gains, 0.0, 1.0)
    colour = hex_of(srgb_to_lab(encoded(light).astype(np.float32)))
    return replace(stripe, hex=colour, colour=name(colour))


def _channels(hex_colour: str) -> tuple[int, int, int]:
    value = int(hex_colour.removeprefix("#"), 16)
    return value >> 16, value >> 8 & 255, value & 255
