"""What a plan costs, in millimetres of cloth: pieces opened, joins where they show, and ends too short to use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from stash.garment.part import Strip

EDGE_WEIGHT: Mapping[str, int] = {"front": 6, "sleeve": 5, "join": 4, "neck": 3, "hem": 2, "inside": 1}
"""How much each edge shows: fronts, sleeve ends, the chest join, neck, hem, inside [common practice]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Prices in mm of cloth. ``useful_mm``: a lane's end shorter than this is of no use and counts as lost, but for the
    ``ease_um`` (um) that shears need: they follow chalk to 1/16-1/8 in [common practice], and a hair."""

    piece_mm: int = 300
    join_mm: int = 100
    useful_mm: int = 150
    ease_um: int = 3200
    edges: Mapping[str, int] = field(default_factory=lambda: dict(EDGE_WEIGHT))

    def join_um(self, strip: Strip) -> int:
        """One more join in the strip."""
        return 1000 * self.join_mm * self.edges.get(strip.edge, 1)

    @property
    def piece_um(self) -> int:
        """One more piece opened."""
        return 1000 * self.piece_mm

    @property
    def useful_um(self) -> int:
        """The shortest lane's end that is still of use."""
        return 1000 * self.useful_mm


DEFAULT = Weights()
