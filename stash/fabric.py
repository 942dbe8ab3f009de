"""A fabric: what the cloth is. Its print, its stripes, and how it may be turned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from vision.estimate import Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Stripe:
    """One stripe of the repeat. ``centre_mm`` is counted along n from the piece's ``stripe_origin_mm``."""

    label: str
    width_mm: float
    centre_mm: float
    hex: str | None = None
    colour: str | None = None
    width_u95_mm: float = 0.0
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """The print in one repeat: across the stripes, and along them where it repeats that way too (mm).

    ``across`` is None on plain cloth, or where the repeat is not known. ``stripes`` stand in order of their centres.
    """

    kind: str
    across: Estimate | None = None
    along: Estimate | None = None
    stripes: tuple[Stripe, ...] = ()
    extra: Mapping[str, Any] = field(default_factory=dict)

    def occurrences(self, label: str) -> tuple[Stripe, ...]:
        """The stripes of one repeat that carry the label (a label may stand more than once)."""
        return tuple(stripe for stripe in self.stripes if stripe.label == label)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fabric:
    """A kind of cloth in the stash. ``extra`` keeps keys of the interchange document that we do not know."""

    id: str
    name: str
    print: Print
    one_way: bool = False
    both_faces: bool = False
    extra: Mapping[str, Any] = field(default_factory=dict)
