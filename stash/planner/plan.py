"""The planner's answer: where everything is cut, or what is missing, or that it cannot be said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from stash.piece import Polygon

Answer = Literal["yes", "no", "unsure"]
Reason = Literal["measurement", "time"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One cut: a segment of a strip (``segment`` from 1), or a panel (``stripe`` and ``finished_mm`` None).

    ``outline_mm`` is the cut line in the piece's own frame. A strip's starts at the corner of its start end where p·n
    is least, goes along the start end first, then along the strip; a ``turned`` strip runs along -d. What is cut
    ``over`` is turned over once it is cut: its wrong side shows, and its sides change places.
    """

    part: str
    segment: int
    piece: str
    stripe: str | None
    finished_mm: float | None
    turned: bool
    outline_mm: Polygon
    over: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Tightest:
    """Where a yes has least to spare."""

    part: str
    segment: int
    spare_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortage:
    """What a no is short of: cut length of one stripe of a fabric (``stripe`` None: room for panels)."""

    fabric: str
    stripe: str | None
    missing_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Leftover:
    """What is left of a piece, in the piece's own frame. Several rows where it falls apart."""

    piece: str
    outline_mm: Polygon
    holes_mm: tuple[Polygon, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """A change that turns a no into a yes, planned and audited before it is offered."""

    change: str
    edit: dict[str, Any]
    answer: Answer
    placements: tuple[Placement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The answer to one Problem. ``cost`` and ``bound`` in mm-equivalents, None where there is no plan."""

    answer: Answer
    reason: Reason | None = None
    proven: bool = False
    best: bool = False
    cost: float | None = None
    bound: float | None = None
    placements: tuple[Placement, ...] = ()
    tightest: Tightest | None = None
    short: tuple[Shortage, ...] = ()
    ways_out: tuple[WayOut, ...] = ()
    settle: tuple[str, ...] = ()
    leftovers: tuple[Leftover, ...] = ()
    proofs: tuple[str, ...] = ()
    seconds: float = 0.0
