"""The parts of a garment: strips of border that show a stripe, and rectangular panels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from stash.garment.spec import Pattern

Make = Literal["flat", "folded", "bound"]
Edge = Literal["front", "sleeve", "join", "neck", "hem", "inside"]
Align = Literal["print", "grain"]
Side = Literal["left", "right"]
End = Literal["start", "end"]
Span = tuple[float, float]
Corner = tuple[str, End, str, End]
"""Two strips that meet, each with the end at which it does; the first runs through."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """How a strip lies on the cloth of which something is cut already: turned end for end, turned over, about which
    stripe of the repeat (its place in it, from 0).

    ``start_mm`` is where the repeat along the stripe stands at the strip's own finished start (None: there is none),
    ``rest_mm`` where it must stand at the start of what is still to be cut of it.
    """

    turned: bool
    over: bool
    stripe: int
    start_mm: float | None = None
    rest_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A strip of border, the named stripe running down it; all lengths in mm, resolved (nothing left to default).

    ``length_mm`` and ``width_mm`` are finished. ``cut_width_mm`` is the whole width cut; ``stripe_at_mm`` runs from the
    cut edge where p·n is least (greatest where it lies turned) to the stripe's centre. A strip is one or more segments
    of finished lengths v with sum = length, at most ``joins`` + 1 of them, each at least ``shortest_mm`` once there is
    more than one, each cut v + 2·seam long, plus ``extra_mm`` at the strip's own start and end.

    Strips of one ``mirror`` set are mirror images of each other, in turn. ``outward`` is the side that lies outward on
    the garment, seen with the start on top: all strips that say so show the same neighbour there. ``hide_mm``: spans
    from the finished start in which joins may lie; none: anywhere. ``corner``: where strips meet. ``garment`` tells
    strips of several garments apart, for what holds within one garment only. ``laid``: something of it is cut, and so
    lies the rest.
    """

    id: str
    fabric: str
    stripe: str
    length_mm: float
    width_mm: float
    seam_mm: float
    cut_width_mm: float
    stripe_at_mm: float
    make: Make = "flat"
    extra_mm: tuple[float, float] = (0.0, 0.0)
    joins: int = 0
    shortest_mm: float = 25.4
    pair: str | None = None
    edge: Edge = "inside"
    mirror: str | None = None
    outward: Side | None = None
    hide_mm: tuple[Span, ...] = ()
    corner: tuple[Corner, ...] = ()
    garment: str | None = None
    laid: Laid | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A rectangle, finished size in mm, cut (width + 2·seam) x (length + 2·seam).

    ``align``: length along the print's d, or along the grain (y); on plain cloth both are y. ``turn``: it may lie a
    quarter turn round as well.
    """

    id: str
    fabric: str
    width_mm: float
    length_mm: float
    seam_mm: float
    align: Align = "print"
    turn: bool = False


Part = Strip | Panel


@dataclass(frozen=True, slots=True, kw_only=True)
class Garment:
    """A garment as the planner sees it: its parts. ``cautions`` go to the cutting sheet and the terminal.

    ``shape`` is the shape the parts were drawn from ("coat"), None where they were written out; ``figures_mm`` are its
    finished measures by name (girth, back, front, …), for telling, not for planning. ``pattern`` is what the file says,
    from which it can be drawn up again with a change; a garment read back from a plan has none. ``before`` are strips
    that are cut already and that others must match; they are no parts any more.
    """

    name: str
    seam_mm: float
    strips: tuple[Strip, ...] = ()
    panels: tuple[Panel, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    shape: str | None = None
    figures_mm: Mapping[str, float] = field(default_factory=dict)
    pattern: Pattern | None = field(default=None, repr=False, compare=False)
    before: tuple[Strip, ...] = ()

    @property
    def parts(self) -> tuple[Part, ...]:
        """Panels first, then strips, each in the order of the file."""
        return (*self.panels, *self.strips)
