"""What a stash holds, whether it came from a document or from the catalogue."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from stash.fabric import Fabric
from stash.piece import Piece


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """Fabrics, pieces, and the keys of the document itself that we do not know. Every piece's fabric is among them."""

    fabrics: tuple[Fabric, ...] = ()
    pieces: tuple[Piece, ...] = ()
    extra: Mapping[str, Any] = field(default_factory=dict)
