"""A plan booked in stages: single parts as they are cut, and what went wrong with them.

The rest of the plan stays as it is: leftovers keep the frame of the piece that they are of, so a cut that is still to
be made is found again on the leftover that holds it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final

from stash.catalogue.booking import book_cut, rest_of, title_of, used_by
from stash.catalogue.fingerprint import plan_fingerprint
from stash.catalogue.journal import Entry
from stash.catalogue.stage import How, Stage
from stash.catalogue.stash import Stash, descent
from stash.catalogue.worth import Worth, is_worth, snippet_note, worth_in
from stash.errors import Conflict, InputWrong, NotFound, OurFault
from stash.interchange.digest import fabric_digest, piece_digest, plan_digests
from stash.interchange.reader import read_ring
from stash.interchange.spot import Spot
from stash.lengths import inches
from stash.piece import Piece, Polygon
from stash.planner.audit import audit_leftovers
from stash.planner.plan import Leftover, Placement
from stash.planner.problem import Problem
from stash.planner.spare import leftovers

#: What a cut may reach beyond the leftover that holds it, mm: both are written to 0.001 mm.
_FIT_MM: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """What is told: which parts were cut (none: all that are still to cut), and how it went.

    ``segment`` narrows it to one segment of the part. ``spoiled``: its cloth is of no use any more. ``short_mm``: it
    was cut so much too short; the strip goes back to the stash as a remnant.
    """

    parts: tuple[str, ...] = ()
    segment: int | None = None
    spoiled: bool = False
    short_mm: float | None = None

    @property
    def how(self) -> How:
        """cut, spoiled or short."""
        return "spoiled" if self.spoiled else "cut" if self.short_mm is None else "short"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The journal's entry, and the names of the plan's cuts that are still to be made."""

    entry: Entry
    still: tuple[str, ...]


def book(
    stash: Stash, document: Any, telling: Telling, *, worth: Worth | None = None, source: str = "the plan"
) -> Told:
    """Books what is told of a ``plan/1`` document whose answer is yes.

    Raises:
        InputWrong: no plan, not a yes, a call that does not go together; or a stash that is only read.
        NotFound: the plan has no such part. Conflict: it is told already, or the cloth has changed.
    """
    top = Spot(document, "", source)
    used_by(top)
    plan = plan_fingerprint(document)
    rows = _placements(top)
    done = {(stage.part, stage.segment): stage.how for stage in stash.stages(plan)}
    chosen = _chosen(rows, telling, done)
    stages = tuple(Stage(plan=plan, part=row.part, segment=row.segment, how=telling.how) for row in chosen)
    still = tuple(row for row in rows if row not in chosen and (row.part, row.segment) not in done)
    if not done and not still and telling.how == "cut":
        entry = book_cut(stash, document, worth=worth, source=source, stages=stages)
    else:
        entry = _Bench(stash, document, worth, _names(rows)).take(chosen, still, telling, stages)
    return Told(entry=entry, still=tuple(_names(rows)[row.part, row.segment] for row in still))


def _placements(top: Spot) -> tuple[Placement, ...]:
    rows = []
    for place in top.at("placements").items():
        stripe = place.get("stripe", None).value
        finished = place.get("finished_mm", None).number_or_none()
        rows.append(
            Placement(
                part=place.at("part").text(), segment=int(place.get("segment", 1).number(least=1)),
                piece=place.at("piece").text(), stripe=stripe if isinstance(stripe, str) else None,
                finished_mm=finished, turned=bool(place.get("turned", False).value),
                outline_mm=read_ring(place.at("outline_mm")),
            )
        )  # fmt: skip
    return tuple(rows)


def _names(rows: Sequence[Placement]) -> dict[tuple[str, int], str]:
    """What each cut is called: its part, with its segment where there are several."""
    count: dict[str, int] = defaultdict(int)
    for row in rows:
        count[row.part] += 1
    return {
        (row.part, row.segment): row.part if count[row.part] == 1 else f"{row.part} ({row.segment})" for row in rows
    }


def _chosen(rows: Sequence[Placement], telling: Telling, done: dict[tuple[str, int], How]) -> tuple[Placement, ...]:
    """The cuts that are told of. Raises where that does not go together."""
    if not telling.parts:
        if telling.segment is not None or telling.how != "cut":
            raise InputWrong("it is not said which part that was", "name it with --part")
        left = tuple(row for row in rows if (row.part, row.segment) not in done)
        if not left:
            raise Conflict("all of this plan is told already", "nothing needs doing; undo takes the last one back")
        return left
    chosen: list[Placement] = []
    for part in dict.fromkeys(telling.parts):
        found = [row for row in rows if row.part == part]
        if not found:
            known = list(dict.fromkeys(row.part for row in rows))
            near = get_close_matches(part, known, n=1)
            raise NotFound(
                f"the plan has no part {part!r}", f"did you mean {near[0]!r}?" if near else f"it has {', '.join(known)}"
            )
        narrowed = [row for row in found if telling.segment in (None, row.segment)]
        if not narrowed:
            raise NotFound(f"{part} has no segment {telling.segment}", f"it has {len(found)}; name one of them")
        new = [row for row in narrowed if (row.part, row.segment) not in done]
        if not new:
            how = {"cut": "cut", "spoiled": "spoiled", "short": "cut short"}[done[part, narrowed[0].segment]]
            raise Conflict(f"{part} is told as {how} already", "take the last one back with undo, or plan again")
        chosen += new
    if telling.short_mm is not None:
        _refuse_short(chosen, telling.short_mm)
    return tuple(chosen)


def _refuse_short(chosen: Sequence[Placement], short_mm: float) -> None:
    for row in chosen:
        length = math.dist(row.outline_mm[1], row.outline_mm[2])
        if row.stripe is None:
            raise InputWrong(f"{row.part} is no strip", "tell it as --spoiled")
        if not 0 < short_mm < length:
            raise InputWrong(
                f"{row.part} was to be cut {inches(length)} long, so it cannot be {inches(short_mm)} too short",
                "give a shorter length with --short, or tell it as --spoiled",
            )


class _Bench:
    """The pieces that hold the cuts of a plan now, and what becomes of them."""

    def __init__(self, stash: Stash, document: Any, worth: Worth | None, names: dict[tuple[str, int], str]) -> None:
        self.stash, self.document, self.names = stash, document, names
        self.contents = stash.contents()
        self.worth = worth or worth_in(self.contents)
        self.fabrics = {fabric.id: fabric for fabric in self.contents.fabrics}

    def take(
        self, chosen: Sequence[Placement], still: Sequence[Placement], telling: Telling, stages: Sequence[Stage]
    ) -> Entry:
        """Takes the cuts out of the pieces that hold them; leftovers that hold cuts still to be made stay, however
        small."""
        by_piece: dict[str, list[Placement]] = defaultdict(list)
        for row in chosen:
            by_piece[self.holder(row).id].append(row)
        pieces = [piece for piece in self.contents.pieces if piece.id in by_piece]
        kept: list[Piece] = []
        small: list[Piece] = []
        for piece in pieces:
            cut = [_as_cut(row, piece.id, telling.short_mm) for row in by_piece[piece.id]]
            if telling.short_mm is not None:
                kept += [rest_of(piece, row.outline_mm, ()) for row in cut]
            rests = leftovers([piece], cut)
            self._refuse_lost(piece, cut, rests)
            for left in rests:
                rest = rest_of(piece, left.outline_mm, left.holes_mm)
                stays = is_worth(rest, self.fabrics[piece.fabric], self.worth) or _holds_any(left, still)
                (kept if stays else small).append(rest)
        used = tuple(piece.id for piece in pieces)
        digests = plan_digests(self.contents, used)
        notes = [snippet_note(rest) for rest in small]
        if telling.short_mm is not None:
            notes.append("what was cut too short goes back to the stash as a remnant")
        title = f"{self._said(chosen, telling)}, from {', '.join(used)}"
        return self.stash.exchange(
            used, kept, snippets=small, title=title, notes=notes, digests=digests, stages=stages, going_on=bool(still)
        )

    def _refuse_lost(self, piece: Piece, cut: Sequence[Placement], rests: Sequence[Leftover]) -> None:
        """Raises OurFault where cuts and leftovers do not add up to the piece, by the audit's own reckoning."""
        faults = audit_leftovers(Problem(parts=(), fabrics=self.fabrics, pieces=(piece,)), cut, rests)
        if faults:
            raise OurFault(f"the leftovers failed their own check ({faults[0]})", "nothing was booked")

    def holder(self, row: Placement) -> Piece:
        """The piece, or the leftover of it, that holds a cut. Raises Conflict where none does."""
        pieces, fabrics = (self.document.get(key) or {} for key in ("piece_digests", "fabric_digests"))
        for piece in self.contents.pieces:
            if piece.id == row.piece and pieces.get(piece.id, piece_digest(piece)) != piece_digest(piece):
                raise _stale(f"the piece {piece.id!r} has changed since the plan was made")
            if row.piece not in (piece.id, *descent(piece)) or not _holds(piece.outline_mm, row.outline_mm):
                continue
            fabric = self.fabrics[piece.fabric]
            if fabrics.get(fabric.id, fabric_digest(fabric)) != fabric_digest(fabric):
                raise _stale(f"the fabric {fabric.id!r} has changed since the plan was made")
            return piece
        name = self.names[row.part, row.segment]
        raise _stale(f"no piece in the stash holds {name} any more, which was to be cut from {row.piece}")

    def _said(self, chosen: Sequence[Placement], telling: Telling) -> str:
        what = f"{', '.join(self.names[row.part, row.segment] for row in chosen)} of {title_of(self.document)}"
        if telling.short_mm is not None:
            return f"cut {what} {inches(telling.short_mm)} too short"
        return f"{'spoiled' if telling.spoiled else 'cut'} {what}"


def _as_cut(row: Placement, piece: str, short_mm: float | None) -> Placement:
    """The cut as it was made in the piece that holds it."""
    outline = row.outline_mm
    if short_mm is not None:
        outline = (outline[0], outline[1], _toward(outline[2], outline[1], short_mm),
                   _toward(outline[3], outline[0], short_mm))  # fmt: skip
    values = {name: getattr(row, name) for name in Placement.__slots__}
    return Placement(**{**values, "piece": piece, "outline_mm": outline})


def _toward(point: tuple[float, float], other: tuple[float, float], by_mm: float) -> tuple[float, float]:
    share = by_mm / math.dist(point, other)
    x, y = (a + share * (b - a) for a, b in zip(point, other, strict=True))
    return round(x, 3), round(y, 3)


def _holds_any(left: Leftover, still: Sequence[Placement]) -> bool:
    return any(_holds(left.outline_mm, row.outline_mm) for row in still)


def _holds(outline: Polygon, cut: Polygon) -> bool:
    import shapely

    return bool(shapely.Polygon(outline).buffer(_FIT_MM).covers(shapely.Polygon(cut)))


def _stale(problem: str) -> Conflict:
    return Conflict(problem, "plan again with: enough; nothing was changed")


def remaining(stash: Stash, document: Any, source: str) -> Any:
    """The plan of what is still to cut, on the pieces that hold it now; the plan itself where nothing of it is told.

    Raises Conflict where all of it is told, or where no piece holds a cut any more.
    """
    top = Spot(document, "", source)
    stages = stash.stages(plan_fingerprint(document)) if isinstance(document, dict) else ()
    if not stages:
        return document
    told = {(stage.part, stage.segment) for stage in stages}
    rows = _placements(top)
    bench = _Bench(stash, document, None, _names(rows))
    now = {key: bench.holder(row) for row in rows if (key := (row.part, row.segment)) not in told}
    if not now:
        raise Conflict("all of this plan is cut", "there is nothing left to draw; undo takes the last cut back")
    pieces = list({piece.id: piece for piece in now.values()}.values())
    still = [_as_cut(row, now[key].id, None) for row in rows if (key := (row.part, row.segment)) in now]
    left = leftovers(pieces, still)
    placements = [
        {**place.keys(), "piece": now[row.part, row.segment].id}
        for place, row in zip(top.at("placements").items(), rows, strict=True)
        if (row.part, row.segment) in now
    ]
    rests = [{"piece": row.piece, "outline_mm": row.outline_mm, "holes_mm": row.holes_mm} for row in left]
    tight = document.get("tightest")
    kept = isinstance(tight, dict) and (tight.get("part"), tight.get("segment")) in now
    return {**document, "placements": placements, "leftovers": rests, "tightest": tight if kept else None}


def done_of(stash: Stash, document: Any, source: str) -> Iterator[tuple[Placement, How]]:
    """What was told of the cuts of a plan so far, in the plan's order."""
    top = Spot(document, "", source)
    used_by(top)
    told = {(stage.part, stage.segment): stage.how for stage in stash.stages(plan_fingerprint(document))}
    for row in _placements(top):
        if (row.part, row.segment) in told:
            yield row, told[row.part, row.segment]


def segments_of(document: Any) -> dict[str, int]:
    """How many cuts each part of a plan has."""
    count: dict[str, int] = defaultdict(int)
    for row in _placements(Spot(document, "", "the plan")):
        count[row.part] += 1
    return dict(count)
