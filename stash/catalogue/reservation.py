"""Pieces reserved for a plan: other plans leave them alone until it is cut or they are free again.

They stand under a key of the stash's own document, so that they travel with it: the plan's fingerprint and what it is
for, by piece.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

from stash.catalogue.booking import title_of, used_by
from stash.catalogue.fingerprint import plan_fingerprint
from stash.catalogue.journal import Entry
from stash.catalogue.stash import Stash
from stash.errors import Conflict, InputWrong
from stash.interchange.contents import Contents
from stash.interchange.spot import Spot

#: The key of the stash's document under which reservations stand.
KEY: Final = "reserved"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reservation:
    """What a piece is reserved for: the fingerprint of a plan, and its title."""

    plan: str
    title: str


def reservations(contents: Contents) -> dict[str, Reservation]:
    """By piece, of the pieces that are there; what another program has under the key is passed over."""
    there = {piece.id for piece in contents.pieces}
    return {piece: row for piece, row in _read(contents.extra.get(KEY)).items() if piece in there}


def reserved_in(stash: Stash) -> dict[str, str]:
    """What each reserved piece is reserved for, by piece; told soon, however large the stash."""
    return {piece: row.title for piece, row in _read(stash.remark_of(KEY)).items()}


def _read(told: Any) -> dict[str, Reservation]:
    if not isinstance(told, Mapping):
        return {}
    return {
        piece: Reservation(plan=str(row["plan"]), title=str(row["title"]))
        for piece, row in told.items()
        if isinstance(row, Mapping) and {"plan", "title"} <= row.keys()
    }


def available(contents: Contents, plan: str | None = None) -> Contents:
    """The same without the pieces that are reserved for plans other than the one with that fingerprint."""
    held = withheld(contents, plan)
    return replace(contents, pieces=tuple(piece for piece in contents.pieces if piece.id not in held))


def withheld(contents: Contents, plan: str | None = None) -> dict[str, Reservation]:
    """The reservations for other plans, by piece."""
    return {piece: row for piece, row in reservations(contents).items() if row.plan != plan}


def withheld_remark(held: Mapping[str, Reservation]) -> str | None:
    """What was left out because it is reserved, in words; None where nothing was."""
    if not held:
        return None
    rows = [f"{piece} for {row.title}" for piece, row in held.items()]
    more = f" and {len(rows) - 4} more" if len(rows) > 4 else ""
    return f"Left out as reserved: {', '.join(rows[:4])}{more}; free them with: stripewright reserve PLAN.json --free."


def reserve(stash: Stash, document: Any, *, source: str = "the plan") -> Entry | None:
    """Reserves the pieces that a ``plan/1`` document with a yes cuts; None where they are already.

    Raises:
        InputWrong: no plan, not a yes; or a stash that is only read.
        Conflict: a piece is gone or has changed since, or is reserved for another plan. Nothing is changed.
    """
    from stash.catalogue.row import refuse_changed

    used, plan = tuple(used_by(Spot(document, "", source))), plan_fingerprint(document)
    wish = Reservation(plan=plan, title=title_of(document))

    def change(here: Contents) -> Any:
        refuse_changed(here, used, document)
        refuse_reserved(here, used, plan)
        return _document({**reservations(here), **dict.fromkeys(used, wish)})

    return stash.remark("reserved", f"{', '.join(used)} for {wish.title}", KEY, change)


def set_free(stash: Stash, document: Any, *, source: str = "the plan") -> Entry:
    """Frees the pieces that are reserved for the plan. Raises InputWrong where none is."""
    used_by(Spot(document, "", source))
    plan = plan_fingerprint(document)

    def change(here: Contents) -> Any:
        return _document({piece: row for piece, row in reservations(here).items() if row.plan != plan})

    entry = stash.remark("freed", f"the cloth for {title_of(document)}", KEY, change)
    if entry is None:
        raise InputWrong(f"nothing is reserved for {source}", "nothing needs doing")
    return entry


def refuse_reserved(here: Contents, used: Sequence[str], plan: str | None) -> None:
    """Raises Conflict where a used piece is reserved for another plan."""
    held = withheld(here, plan)
    for piece in used:
        if piece in held:
            raise Conflict(
                f"the piece {piece!r} is reserved for {held[piece].title}, by another plan",
                "free it with: reserve PLAN.json --free, or plan again with: enough; nothing was changed",
            )


def after_cut(here: Contents, used: Sequence[str], left: Mapping[str, str], *, going_on: bool) -> Any:
    """The reservations once pieces are cut: ``left`` are leftovers by id, with the piece each is of; they stay reserved
    while the plan is ``going_on``. Where nothing is about these pieces, the key's value stays; None takes it away."""
    before = reservations(here)
    if not before.keys() & set(used):
        return here.extra.get(KEY)
    kept = {piece: row for piece, row in before.items() if piece not in used}
    if going_on:
        kept |= {leftover: before[piece] for leftover, piece in left.items() if piece in before}
    return _document(kept)


def _document(rows: Mapping[str, Reservation]) -> Any:
    return {piece: asdict(row) for piece, row in rows.items()} or None
