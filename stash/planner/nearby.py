"""Other cloth in the stash whose stripe is near in colour to the one that is short."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from stash.fabric import Fabric
from stash.garment.part import Strip
from stash.piece import Piece
from stash.planner.change import Change, recut
from stash.planner.shade import Lab, ciede2000, lab_of

NEAR: Final = 10.0  # CIEDE2000; farther apart, two stripes are no longer taken for one colour (our judgement)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """All cloth of the stash, that which the garment does not name as well."""

    fabrics: Mapping[str, Fabric]
    pieces: tuple[Piece, ...]


def near_stripes(fabric: Fabric, label: str, stock: Stock) -> list[tuple[float, Fabric, str]]:
    """(difference, fabric, stripe) of the other fabrics' stripes that are near in colour, nearest first."""
    wanted = _colours(fabric, label)
    found = []
    for other in stock.fabrics.values():
        if other.id == fabric.id or other.print.across is None:
            continue
        for name in dict.fromkeys(stripe.label for stripe in other.print.stripes):
            differences = [ciede2000(one, two) for one in wanted for two in _colours(other, name)]
            if differences and min(differences) <= NEAR:
                found.append((min(differences), other, name))
    return sorted(found, key=lambda row: (row[0], row[1].id, row[2]))


def from_other_cloth(sets: Sequence[Sequence[Strip]], fabric: Fabric, stock: Stock) -> Iterator[Change]:
    """For each set of strips the changes that cut it from other cloth, the nearest colour first."""
    for strips in sets:
        labels = {strip.stripe for strip in strips}
        if len(labels) != 1:
            continue
        for difference, other, label in near_stripes(fabric, labels.pop(), stock):
            pieces = [piece for piece in stock.pieces if piece.fabric == other.id]
            if pieces:
                yield recut(strips, other, label, pieces, unlike=difference / NEAR)


def _colours(fabric: Fabric, label: str) -> list[Lab]:
    colours = (lab_of(stripe.hex) for stripe in fabric.print.occurrences(label))
    return list(dict.fromkeys(colour for colour in colours if colour is not None))
