"""A measured family of stripes in the document's terms: its repeat, its direction, its origin, its stripes in order."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.estimate import Estimate
from vision.family import Family
from vision.measurement import Stripe
from vision.square import SquareOn
from vision.swatch import axes, folded_deg

#: The direction of stripes without a repeat is known no better than this, degrees (how long edges are seen, scenes).
_BARE_DIRECTION_U95_DEG = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A measured family in the document's terms, counted along its direction brought within a half turn."""

    repeat: Estimate
    direction: Estimate
    origin_mm: float
    stripes: tuple[Stripe, ...]


def axis_of(square: SquareOn, family: Family, low_deg: float) -> Axis:
    """The family's figures with the picture's uncertainty, its direction in (low, low + 180]."""
    fit, bands = family.fit, family.bands
    assert fit is not None
    assert bands is not None
    lean = math.atan(fit.slope)
    direction = family.direction_deg + math.degrees(lean)
    repeat = (fit.repeat * math.cos(lean)).widened(square.length_relative_u95)
    n, _ = axes(family.direction_deg)
    start = np.asarray(bands.centre_mm) + n * (fit.origin_mm + family.first_mm)
    origin = float(start @ axes(direction)[0])
    stripes = tuple(_with_scale(stripe, square.length_relative_u95) for stripe in family.stripes)
    turned = folded_deg(direction, low_deg)
    if abs((turned - direction) % 360 - 180) < 90:
        origin = -origin - (stripes[0].width.value if stripes else 0.0)
        stripes = _reversed(stripes, repeat.value) if stripes else ()
    return Axis(
        repeat=repeat,
        direction=Estimate(turned, math.hypot(fit.direction_u95_deg, square.angle_u95_deg)),
        origin_mm=origin % repeat.value,
        stripes=stripes,
    )


def _with_scale(stripe: Stripe, relative_u95: float) -> Stripe:
    return replace(stripe, width=stripe.width.widened(relative_u95))


def _reversed(stripes: tuple[Stripe, ...], repeat_mm: float) -> tuple[Stripe, ...]:
    """The sequence counted the other way from the same first stripe, letters given anew by first appearance."""
    letters: dict[str, str] = {}
    turned = []
    for stripe in (stripes[0], *reversed(stripes[1:])):
        label = letters.setdefault(stripe.label, chr(ord("A") + len(letters)) if len(letters) < 26 else stripe.label)
        centre = (stripes[0].width.value - stripe.centre_mm) % repeat_mm
        turned.append(replace(stripe, label=label, centre_mm=centre))
    return tuple(turned)


def bare_direction(square: SquareOn, family: Family) -> Estimate:
    """The direction of stripes whose repeat or colours are not known, as their fit has it where there is one."""
    fit = family.fit
    lean, left_open = (0.0, 0.0) if fit is None else (math.degrees(math.atan(fit.slope)), fit.direction_u95_deg)
    left_open = math.hypot(_BARE_DIRECTION_U95_DEG, left_open, square.angle_u95_deg)
    return Estimate(folded_deg(family.direction_deg + lean), left_open)
