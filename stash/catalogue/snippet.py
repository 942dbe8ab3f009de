"""Snippets: what is left of cuts and too small to be a piece. One line a fabric: how many, and their area.

They stand under a key of the stash's own document, so that they travel with it and every change of them is undone with
the entry that made it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from stash.interchange.contents import Contents
from stash.piece import Piece

#: The key of the stash's document under which they stand.
KEY: Final = "snippets"


@dataclass(frozen=True, slots=True, kw_only=True)
class Snippets:
    """The snippets of one fabric."""

    count: int
    area_mm2: float


def snippets(contents: Contents) -> dict[str, Snippets]:
    """By fabric, of the fabrics that are there; what another program has under the key is passed over."""
    told = contents.extra.get(KEY)
    there = {fabric.id for fabric in contents.fabrics}
    if not isinstance(told, Mapping):
        return {}
    return {name: row for name, value in told.items() if name in there and (row := _read(value)) is not None}


def with_more(here: Contents, small: Sequence[Piece]) -> Any:
    """The key's value with these pieces among the snippets; as it was where there are none."""
    if not small:
        return here.extra.get(KEY)
    rows = snippets(here)
    for piece in small:
        before = rows.get(piece.fabric, Snippets(count=0, area_mm2=0.0))
        rows[piece.fabric] = Snippets(
            count=before.count + 1, area_mm2=round(before.area_mm2 + max(0.0, _area_mm2(piece)), 1)
        )
    return document(rows)


def document(rows: Mapping[str, Snippets]) -> Any:
    """As they stand under the key; None where there are none."""
    return {name: asdict(row) for name, row in rows.items()} or None


def _read(value: Any) -> Snippets | None:
    if not isinstance(value, Mapping):
        return None
    count, area = value.get("count"), value.get("area_mm2")
    if isinstance(count, bool) or not isinstance(count, int) or not isinstance(area, int | float) or count < 1:
        return None
    return Snippets(count=count, area_mm2=float(area))


def _area_mm2(piece: Piece) -> float:
    import shapely

    cloth = shapely.Polygon(piece.outline_mm, piece.holes_mm)
    return float(cloth.area if cloth.is_valid else cloth.buffer(0).area)
