"""The planner's answer: where everything is cut, or what is missing, or that it cannot be said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from stash.piece import Polygon
from stash.planner.halt import Ended

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
    """What a no is short of: cut length of one stripe of a fabric (``stripe`` None: room for panels).

    ``missing_mm``: by at least so much the strips that show it would have to be shorter, all told. ``enough_mm``: with
    so much less they were planned and can be cut; None where no such plan is known. ``more_repeats``: as many repeats
    more across the stripes, as long as the longest piece, make it a yes; None where that is not known.
    """

    fabric: str
    stripe: str | None
    missing_mm: float
    enough_mm: float | None = None
    more_repeats: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Crowd:
    """Parts of one fabric that cannot all be cut. ``least``: without any one of them the others of the group can."""

    fabric: str
    parts: tuple[str, ...]
    least: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    """So much more of a fabric, one length of that width beside what is there, makes it a yes; planned and audited."""

    fabric: str
    length_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Remeasure:
    """A measurement whose repetition settles an unsure answer, if it gives the same figure to ``needed_u95_mm``.

    ``of`` is a piece for an ``outline``, a fabric for a ``repeat``.
    """

    what: Literal["outline", "repeat"]
    of: str
    now_u95_mm: float
    needed_u95_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Over:
    """What a yes leaves of one stripe: lengths of at least 6 in, of the width its strips are cut, side by side."""

    fabric: str
    stripe: str
    cut_width_mm: float
    lengths_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leftover:
    """What is left of a piece, in the piece's own frame. Several rows where it falls apart."""

    piece: str
    outline_mm: Polygon
    holes_mm: tuple[Polygon, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """A change that turns a no into a yes, planned and audited before it is offered.

    ``edit`` is {"part", "key", "value"} in the garment file's terms, with "parts" where several change alike, and with
    "also", a list of further edits, where one edit does not say it all. "part" is "coat" for a measure of the coat.
    """

    change: str
    edit: dict[str, Any]
    answer: Answer
    placements: tuple[Placement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The answer to one Problem. ``cost`` and ``bound`` in mm-equivalents, None where there is no plan.

    ``wider_mm``: by so much every border could be wider, and it would still be a yes; None where that was not asked.
    ``room_mm``: the room that hands need; where less is spare, that is said first.
    ``untold``: what was not looked for, or not to the end, because the time was up or the user stopped it: ``ended``.
    ``certified``: the no rests on a certificate that was checked in exact arithmetic, not on two searches that agree.
    """

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
    crowds: tuple[Crowd, ...] = ()
    buy: tuple[Purchase, ...] = ()
    remeasure: tuple[Remeasure, ...] = ()
    over: tuple[Over, ...] = ()
    wider_mm: float | None = None
    room_mm: float | None = None
    certified: bool = False
    seconds: float = 0.0
    ended: Ended | None = None
    untold: tuple[str, ...] = ()
