"""The question put to the planner: these parts, from these pieces of these fabrics."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from stash.fabric import Fabric
from stash.garment.part import Panel, Part, Strip
from stash.piece import Piece


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Parts, fabrics by id, and pieces. Part ids are unique; every part's fabric is in ``fabrics``.

    ``before`` are strips that are cut already, each with how it lies; the others match them.
    """

    parts: tuple[Part, ...]
    fabrics: Mapping[str, Fabric]
    pieces: tuple[Piece, ...]
    before: tuple[Strip, ...] = ()

    @property
    def strips(self) -> tuple[Strip, ...]:
        """The border strips among the parts."""
        return tuple(part for part in self.parts if isinstance(part, Strip))

    @property
    def panels(self) -> tuple[Panel, ...]:
        """The rectangular panels among the parts."""
        return tuple(part for part in self.parts if isinstance(part, Panel))

    def with_part(self, part: Part) -> Problem:
        """The same question with the part of that id replaced."""
        return replace(self, parts=tuple(part if old.id == part.id else old for old in self.parts))
