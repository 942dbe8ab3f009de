"""A fabric as it is recognised by: its sequences of stripes, the colours it is of, and how well they are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from stash.ask.colour import shade
from stash.fabric import Fabric, Stripe
from stash.nearness import differences
from stash.recognition.impression import Floats
from stash.recognition.light import coded, lab
from vision.estimate import Estimate

#: How far one colour of a cloth is off between two photographs beyond their light, CIEDE2000 (standard deviation): the
#: tolerance of 2.3 that is common for "hardly seen" (M. Mahy et al., Color Research and Application 19 (1994), from
#: memory), and a little for JPEG and narrow stripes.
PHOTOGRAPHED_DE: Final = 3.0
#: The same for a colour that came without its photograph, and for one that was said in a word: reds that people call
#: red lie 10 to 20 apart (our judgement, from the spread of names in Kelly and Judd 1976).
TOLD_DE: Final = 5.0
NAMED_DE: Final = 14.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """A sequence of stripes that repeats: ``ends_mm`` (S,) of each from the start of the repeat, colours (S, 3), and
    ``steps_de`` (S,), how far each differs from the next, CIEDE2000."""

    repeat: Estimate
    stripes: tuple[Stripe, ...]
    ends_mm: Floats
    colours: Floats
    steps_de: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Portrait:
    """What a fabric looks like. ``colours`` (C, 3) with their ``shares`` (C,); ``spread_de``: how far they are off."""

    fabric: Fabric
    kind: str
    rings: tuple[Ring, ...] = ()
    colours: Floats
    shares: Floats
    spread_de: float


def colours_of(fabric: Fabric) -> list[str]:
    """The colours by which a fabric is looked for among many; none where no colour of it is known."""
    listed = fabric.print.extra.get("colours")
    if isinstance(listed, list) and listed and all(_is_colour(row) for row in listed):
        return [row["hex"] for row in listed]
    own: list[Any] = [stripe.hex for stripe in fabric.print.stripes]
    if fabric.print.kind == "plain":
        own = [fabric.extra.get("hex")]
    return [str(colour) for colour in own if _is_hex(colour)]


def portrait(fabric: Fabric) -> Portrait | None:
    """What is known of a fabric's looks; None where no colour of it is known."""
    print_ = fabric.print
    rings = [ring(print_.across, print_.stripes)]
    along = print_.extra.get("stripes_along")
    if print_.along is not None and isinstance(along, list):
        rings.append(ring(print_.along, _stripes(along)))
    known = tuple(one for one in rings if one is not None)
    colours, shares = _colours(fabric, known)
    if not len(colours):
        return None
    return Portrait(
        fabric=fabric,
        kind=print_.kind,
        rings=known,
        colours=colours,
        shares=shares,
        spread_de=_spread(fabric, print_.stripes),
    )


def ring(repeat: Estimate | None, stripes: Sequence[Stripe]) -> Ring | None:
    """The stripes of a repeat counted from its start; None where the repeat or some colour is not known."""
    if repeat is None or not stripes or not all(_is_hex(stripe.hex) for stripe in stripes):
        return None
    ends = np.cumsum([stripe.width_mm for stripe in stripes])
    if not 0.97 < ends[-1] / repeat.value < 1.03:
        return None
    colours = coded([stripe.hex or "" for stripe in stripes])
    labs = lab(colours)
    return Ring(
        repeat=repeat,
        stripes=tuple(stripes),
        ends_mm=ends * (repeat.value / ends[-1]),
        colours=colours,
        steps_de=differences(labs, np.roll(labs, -1, axis=0)),
    )


def _stripes(rows: Sequence[Any]) -> tuple[Stripe, ...]:
    """Stripes as a print keeps those along it; none where the rows are not ours."""
    try:
        return tuple(
            Stripe(
                label=str(row["label"]),
                width_mm=float(row["width_mm"]),
                centre_mm=float(row["centre_mm"]),
                hex=str(row["hex"]),
                width_u95_mm=float(row.get("width_mm_u95", 0.0)),
            )
            for row in rows
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        return ()


def _colours(fabric: Fabric, rings: tuple[Ring, ...]) -> tuple[Floats, Floats]:
    listed = fabric.print.extra.get("colours")
    if isinstance(listed, list) and listed and all(_is_colour(row) for row in listed):
        shares = np.array([float(row["share"]) for row in listed])
        return coded([row["hex"] for row in listed]), shares / shares.sum()
    if rings:
        widths = np.diff(rings[0].ends_mm, prepend=0.0)
        return rings[0].colours, widths / widths.sum()
    plain = fabric.extra.get("hex")
    if fabric.print.kind == "plain" and _is_hex(plain):
        return coded([str(plain)]), np.ones(1)
    return np.zeros((0, 3)), np.zeros(0)


def _is_colour(row: Any) -> bool:
    return isinstance(row, Mapping) and _is_hex(row.get("hex")) and isinstance(row.get("share"), int | float)


def _is_hex(value: Any) -> bool:
    digits = value.removeprefix("#") if isinstance(value, str) else ""
    return len(digits) == 6 and all(mark in "0123456789abcdefABCDEF" for mark in digits)


def is_photographed(fabric: Fabric) -> bool:
    """Whether a fabric's colours were seen in a photograph, and not told."""
    return "colours" in fabric.print.extra or any(stripe.width_u95_mm > 0 for stripe in fabric.print.stripes)


def _spread(fabric: Fabric, stripes: Sequence[Stripe]) -> float:
    if is_photographed(fabric):
        return PHOTOGRAPHED_DE
    named = [shade(stripe.colour) == stripe.hex for stripe in stripes if stripe.colour]
    if not stripes:
        named = [shade(fabric.name) == fabric.extra.get("hex")]
    return NAMED_DE if any(named) else TOLD_DE
