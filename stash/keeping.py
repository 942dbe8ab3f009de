"""What is noted of cloth; cloth that is washed, given away or given back; snippets. Nothing here prints."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from stash.catalogue import snippet, worth
from stash.catalogue.stash import Stash, fabric_in, piece_in
from stash.errors import InputWrong
from stash.fact import noted_fabric, noted_piece, washed
from stash.interchange.contents import Contents
from stash.piece import Piece
from stash.washing import Shrinkage, left_of, washed_fabric, washed_piece

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry
    from stash.fabric import Fabric

#: By what the journal calls cloth that leaves the stash whole, and comes back.
GIVEN: Final = "given away"
RETURNED: Final = "returned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Washed:
    """One wash: its line in the journal, how the cloth changed, its pieces and the fabric that they are of now."""

    entry: Entry | None
    shrinkage: Shrinkage
    pieces: tuple[Piece, ...]
    fabric: Fabric
    notes: tuple[str, ...]


def note(held: Stash, name: str, typed: Mapping[str, str]) -> Entry | None:
    """Keeps what was typed of the piece, else of the fabric, with that id; None where that was known already.

    Raises InputWrong where a fact cannot be read or is not kept of such a thing, NotFound where there is none.
    """

    def change(here: Contents) -> Contents:
        if any(piece.id == name for piece in here.pieces):
            return Contents(pieces=(noted_piece(piece_in(here, name, held.where), typed),))
        return Contents(fabrics=(noted_fabric(fabric_in(here, name, held.where), typed),))

    if not typed:
        raise InputWrong(f"nothing is said of {name}", "say what is known, such as --fibre linen")
    return held.amend("noted", f"{', '.join(key.split('_')[0] for key in typed)} of {name}", change)


def give_away(held: Stash, names: Sequence[str], to: str | None = None) -> Entry:
    """Takes pieces out that are given away, lent or thrown away.

    Raises:
        NotFound: there is no such piece. Conflict: one is reserved for a plan. Nothing is changed.
    """
    given = tuple(dict.fromkeys(names))
    for name in given:
        held.piece(name)
    title = ", ".join(given) + ("" if to is None else f", to {' '.join(to.split())}")
    return held.exchange(given, [], title=title, verb=GIVEN)


def give_back(held: Stash, names: Sequence[str]) -> Entry:
    """Puts pieces that were given away in again, as they were. Raises NotFound, Conflict."""
    return held.bring_back(RETURNED, GIVEN, names)


def keep_from(held: Stash, size: str) -> Entry | None:
    """Sets the size from which a leftover is a piece of its own; None where it is that already. Raises InputWrong."""
    from stash.lengths import inches
    from stash.seeking import read_room

    room = read_room(size, "square", what="--below")
    if room.count != 1:
        raise InputWrong("--below is the size of several pieces", 'give that of one, such as "3 x 6 in"')
    least = worth.Worth(short_mm=min(room.along_mm, room.across_mm), long_mm=max(room.along_mm, room.across_mm))
    told = f"what is smaller than {inches(least.short_mm)} x {inches(least.long_mm)} counts as snippets"
    document = worth.worth_document(least)

    def change(here: Contents) -> object:
        return document if worth.worth_in(here) != least else here.extra.get(worth.KEY)

    return held.remark("decided", told, worth.KEY, change)


def use_up(held: Stash, fabric_id: str) -> Entry:
    """Takes the snippets of a fabric out. Raises NotFound where there is no such fabric, InputWrong where none are."""
    here = held.contents()
    fabric_in(here, fabric_id, held.where)

    def change(now: Contents) -> object:
        return snippet.document({name: row for name, row in snippet.snippets(now).items() if name != fabric_id})

    told = snippet.snippets(here).get(fabric_id)
    if told is None:
        raise InputWrong(f"there are no snippets of {fabric_id}", "nothing needs doing")
    entry = held.remark("used up", f"{told.count} snippets of {fabric_id}", snippet.KEY, change)
    if entry is None:
        raise InputWrong(f"there are no snippets of {fabric_id} any more", "nothing needs doing")
    return entry


def wash(held: Stash, fabric_id: str, *, length: str | None, width: str | None, pieces: Sequence[str] = ()) -> Washed:
    """Washes the named pieces, or all of the fabric that are not known to be washed.

    Where other pieces of a printed fabric stay as they are, the washed ones become a fabric of their own, for their
    repeat is another one.

    Raises:
        InputWrong: a shrinkage cannot be read, or there is nothing to wash. NotFound: no such fabric or piece.
    """
    shrinkage = Shrinkage(along=left_of(length, "--length"), across=left_of(width, "--width"))
    here = held.contents()
    chosen = _to_wash(here, fabric_id, pieces, held.where)

    def change(now: Contents) -> Contents:
        return _after(now, fabric_id, [piece_in(now, piece.id, held.where) for piece in chosen], shrinkage)

    after = _after(here, fabric_id, chosen, shrinkage)
    names = ", ".join(piece.id for piece in chosen[:4]) + (f" and {len(chosen) - 4} more" if len(chosen) > 4 else "")
    entry = held.amend("washed", names, change)
    return Washed(
        entry=entry,
        shrinkage=shrinkage,
        pieces=after.pieces,
        fabric=after.fabrics[0],
        notes=tuple(_notes(fabric_in(here, fabric_id, held.where), after, chosen, shrinkage)),
    )


def _to_wash(here: Contents, fabric_id: str, names: Sequence[str], where: str) -> list[Piece]:
    fabric_in(here, fabric_id, where)
    own = [piece for piece in here.pieces if piece.fabric == fabric_id]
    if names:
        chosen = [piece_in(here, name, where) for name in dict.fromkeys(names)]
        other = next((piece for piece in chosen if piece.fabric != fabric_id), None)
        if other is not None:
            raise InputWrong(f"{other.id} is of {other.fabric} and not of {fabric_id}", "name pieces of that fabric")
        return chosen
    chosen = [piece for piece in own if washed(piece) != "yes"]
    if not chosen:
        raise InputWrong(
            f"there is no piece of {fabric_id} that has not been washed", "name one that is washed again with --piece"
        )
    return chosen


def _after(here: Contents, fabric_id: str, chosen: Sequence[Piece], shrinkage: Shrinkage) -> Contents:
    """The washed pieces and their fabric, as they are put."""
    fabric = next(row for row in here.fabrics if row.id == fabric_id)
    directions = [piece.stripe_direction_deg for piece in chosen if piece.stripe_direction_deg is not None]
    new = washed_fabric(fabric, directions, shrinkage)
    names = {piece.id for piece in chosen}
    others = any(piece.fabric == fabric_id and piece.id not in names for piece in here.pieces)
    if others and fabric.print.kind != "plain":
        taken = {row.id for row in here.fabrics}
        new = replace(
            new,
            id=_free(f"{fabric_id}-washed", taken),
            name=f"{fabric.name}, washed",
            extra={**new.extra, "washed_from": fabric_id},
        )
    return Contents(
        fabrics=(new,), pieces=tuple(replace(washed_piece(piece, shrinkage), fabric=new.id) for piece in chosen)
    )


def _free(stem: str, taken: set[str]) -> str:
    number = 2
    name = stem
    while name in taken:
        name, number = f"{stem}-{number}", number + 1
    return name


def _notes(before: Fabric, after: Contents, chosen: Sequence[Piece], shrinkage: Shrinkage) -> list[str]:
    told = []
    uneven = abs(shrinkage.along.value - shrinkage.across.value) > 1e-9
    askew = any(piece.stripe_direction_deg for piece in chosen)
    if before.print.along is not None and uneven and askew:
        told.append(
            "its print lay askew and shrank unevenly, so its axes are no longer square: measure the repeat along the "
            "stripes again before you match it"
        )
    if after.fabrics[0].id != before.id:
        told.append(
            f"other pieces of {before.id} stay as they are, so the washed ones are now of {after.fabrics[0].id}: name "
            "that in garment files"
        )
    return told
