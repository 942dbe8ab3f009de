"""What is worth keeping as a piece of its own; what is smaller becomes one of the snippets of its fabric."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

from stash.fabric import Fabric
from stash.interchange.contents import Contents
from stash.piece import Piece, across_axis, along_axis

#: Lengths that differ by at most this are equal, mm (the contract).
_EQUAL_MM: Final = 0.01
#: The key of the stash's document under which the size stands that she keeps pieces from.
KEY: Final = "keep_from"


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """The least that is kept of what is left: 3 x 6 in, or one whole stripe by 6 in (common practice)."""

    short_mm: float = 76.2
    long_mm: float = 152.4


KEEP: Final = Worth()


def worth_in(contents: Contents) -> Worth:
    """The size that pieces of this stash are kept from."""
    told = contents.extra.get(KEY)
    if not isinstance(told, Mapping):
        return KEEP
    sides = [told.get(key) for key in ("short_mm", "long_mm")]
    known = [float(side) for side in sides if isinstance(side, int | float) and not isinstance(side, bool) and side > 0]
    return Worth(short_mm=min(known), long_mm=max(known)) if len(known) == len(sides) else KEEP


def worth_document(worth: Worth) -> dict[str, float]:
    """As it stands under ``KEY``."""
    return {key: round(value, 3) for key, value in asdict(worth).items()}


def snippet_note(rest: Piece) -> str:
    """That a leftover is too small, in words."""
    return f"a scrap of {rest.id}, {size_of(rest)}, is too small to keep by itself and is one of the snippets now"


def is_worth(rest: Piece, fabric: Fabric, worth: Worth) -> bool:
    """By the box along the stripes: long and wide enough either way round, or as long and a whole stripe wide."""
    across, along = _span(rest, across_axis), _span(rest, along_axis)
    wide, long = across[1] - across[0] + _EQUAL_MM, along[1] - along[0] + _EQUAL_MM
    if min(wide, long) >= worth.short_mm and max(wide, long) >= worth.long_mm:
        return True
    return long >= worth.long_mm and _shows_whole_stripe(across, rest, fabric)


def _shows_whole_stripe(across: tuple[float, float], rest: Piece, fabric: Fabric) -> bool:
    repeat = fabric.print.across
    if repeat is None or rest.stripe_direction_deg is None:
        return False
    for stripe in fabric.print.stripes:
        first = rest.stripe_origin_mm + stripe.centre_mm - stripe.width_mm / 2
        start = first + repeat.value * -((first - across[0]) // repeat.value)
        if start + stripe.width_mm <= across[1] + _EQUAL_MM:
            return True
    return False


def _span(rest: Piece, axis: Any) -> tuple[float, float]:
    x, y = axis(rest.stripe_direction_deg or 0.0)
    along = [point[0] * x + point[1] * y for point in rest.outline_mm]
    return min(along), max(along)


def size_of(rest: Piece) -> str:
    """Its box along the stripes, in words."""
    across, along = _span(rest, across_axis), _span(rest, along_axis)
    return f"{across[1] - across[0]:.0f} x {along[1] - along[0]:.0f} mm"
