"""Between the catalogue's rows and the cloth they stand for: reading, putting, naming, and what may not be put."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, Table, select

from stash.catalogue.journal import Draft
from stash.catalogue.schema import fabric as fabric_table
from stash.catalogue.schema import piece as piece_table
from stash.catalogue.schema import remark as remark_table
from stash.errors import Conflict, InputWrong, NotFound
from stash.fabric import Fabric
from stash.interchange.contents import Contents
from stash.interchange.digest import fabric_digest, piece_digest, stash_digest
from stash.interchange.reader import SCHEMA, read, read_fabric, read_piece
from stash.interchange.writer import fabric_document, piece_document
from stash.piece import Piece

#: Ids made from names stay short enough to type.
_LONGEST_MADE_ID = 40
#: Keys of the stash's document that tell something of single fabrics or pieces: what two stashes tell goes together.
BY_ID = frozenset({"reserved", "snippets"})


def contents(connection: Connection, where: str) -> Contents:
    """All that the catalogue holds, in the order in which it came."""
    tables = (fabric_table, piece_table)
    rows: dict[str, Sequence[Mapping[Any, Any]]] = {
        table.name: connection.execute(select(table.c.document).order_by(table.c.place, table.c.id)).mappings().all()
        for table in tables
    }
    rows[remark_table.name] = connection.execute(select(remark_table)).mappings().all()
    return read_rows(rows, where)


def read_rows(rows: Mapping[str, Sequence[Mapping[Any, Any]]], where: str) -> Contents:
    """What rows of fabrics, pieces and remarks, by table and in order, stand for."""
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "fabrics": [json.loads(row["document"]) for row in rows[fabric_table.name]],
        "pieces": [json.loads(row["document"]) for row in rows[piece_table.name]],
    }
    remarks = {row["key"]: json.loads(row["value"]) for row in rows[remark_table.name]}
    document.update({key: remarks[key] for key in sorted(remarks)})
    return read(document, source=where)


def put_fabric(draft: Draft, fabric: Fabric) -> None:
    """Adds the fabric at the end, or gives one that is there its new content."""
    document = fabric_document(fabric)
    read_fabric(document, source=f"fabric {fabric.id}")
    row = {"id": fabric.id, "place": _place(draft, fabric_table, fabric.id), "document": json.dumps(document)}
    draft.put(fabric_table, row)


def put_piece(draft: Draft, piece: Piece, photo: str | None = None) -> None:
    """Adds the piece at the end, or gives one that is there its new content; its photograph stays with it."""
    document = piece_document(piece)
    read_piece(document, source=f"piece {piece.id}")
    before = draft.row(piece_table, piece.id)
    row = {
        "id": piece.id,
        "fabric": piece.fabric,
        "place": _place(draft, piece_table, piece.id),
        "document": json.dumps(document),
        "photo": before["photo"] if before is not None and photo is None else photo,
    }
    draft.put(piece_table, row)


def put_again(draft: Draft, piece_id: str, before: Mapping[str, Any] | None, gone: str) -> None:
    """Puts the row of a piece as it was when it left. Raises NotFound where it has not, Conflict where it cannot."""
    if draft.row(piece_table, piece_id) is not None:
        raise Conflict(f"the piece {piece_id!r} is in the stash", "nothing needs doing")
    if before is None:
        raise NotFound(f"the journal knows of no piece {piece_id!r} that was {gone}", "see with: stash journal")
    if draft.row(fabric_table, before["fabric"]) is None:
        raise Conflict(
            f"the fabric {before['fabric']!r} of the piece {piece_id!r} is no longer in the stash",
            "add the fabric again; nothing was changed",
        )
    draft.put(piece_table, before)


def put_remark(draft: Draft, key: str, value: Any) -> None:
    """Puts a value under a key of the stash's document unless it is there already; None takes the key away."""
    before = draft.row(remark_table, key)
    if value is None:
        if before is not None:
            draft.remove(remark_table, key)
    elif before is None or json.loads(before["value"]) != value:
        draft.put(remark_table, {"key": key, "value": json.dumps(value)})


def named_fabric(fabric: Fabric, taken: Collection[str], pieces: Collection[str] = ()) -> Fabric:
    """The fabric under its own id, or under one made from its name that is no piece's either: one word names one thing.

    Raises Conflict where its own is taken.
    """
    if fabric.id:
        if fabric.id in taken:
            raise Conflict(
                f"there is a fabric {fabric.id!r} already", "add to it with --fabric, or give this one another name"
            )
        return fabric
    made, others = _id_from(fabric.name), {*taken, *pieces}
    return replace(fabric, id=made if made not in others else next_id(made, others))


def named_piece(piece: Piece, fabric: Fabric | None, taken: Collection[str], fabrics: Collection[str]) -> Piece:
    """The piece with its fabric, under its own id or the next free one of that fabric.

    Raises:
        Conflict: its own id is taken. InputWrong: its fabric is not kept.
    """
    fabric_id = piece.fabric or (fabric.id if fabric is not None else "")
    if fabric_id not in fabrics:
        raise InputWrong(f"there is no fabric {fabric_id!r} in the stash", "see which there are with: stash list")
    if piece.id in taken:
        raise Conflict(f"there is a piece {piece.id!r} already", "give this one another id")
    return replace(piece, fabric=fabric_id, id=piece.id or next_id(fabric_id, {*taken, *fabrics}))


def next_id(stem: str, taken: Collection[str]) -> str:
    """``stem-1``, ``stem-2`` …: the first that is free."""
    number = 1
    while f"{stem}-{number}" in taken:
        number += 1
    return f"{stem}-{number}"


def refuse_contradictions(here: Contents, coming: Contents, source: str) -> None:
    """Raises Conflict where something comes under an id that is here with other content."""
    clashes = [
        *(f"fabric {fabric.id!r}" for fabric in _other(here.fabrics, coming.fabrics, fabric_digest)),
        *(f"piece {piece.id!r}" for piece in _other(here.pieces, coming.pieces, piece_digest)),
        *(f"key {key!r}" for key, value in coming.extra.items() if _differs(key, here.extra.get(key, value), value)),
    ]
    if clashes:
        more = f" and {len(clashes) - 3} more" if len(clashes) > 3 else ""
        stand = "stands" if len(clashes) == 1 else "stand"
        raise Conflict(
            f"{source}: {', '.join(clashes[:3])}{more} {stand} in the stash with other content",
            "give --replace to take the new content, or give them other ids; nothing was changed",
        )


def take_in(draft: Draft, here: Contents, coming: Contents, photo: str | None = None) -> None:
    """Puts everything that is not here already with the same content; such pieces are of the photograph, if any."""
    for fabric in _new(here.fabrics, coming.fabrics, fabric_digest):
        put_fabric(draft, fabric)
    for piece in _new(here.pieces, coming.pieces, piece_digest):
        put_piece(draft, piece, photo)
    for key, value in coming.extra.items():
        if key in BY_ID and isinstance(value, Mapping) and isinstance(here.extra.get(key), Mapping):
            value = {**here.extra[key], **value}
        if key not in here.extra or here.extra[key] != value:
            draft.put(remark_table, {"key": key, "value": json.dumps(value)})


def refuse_changed(here: Contents, used: Sequence[str], digests: Mapping[str, Any] | None) -> None:
    """Raises Conflict where a used piece is gone, or it or its fabric is not what it was when the plan was made."""
    pieces = {piece.id: piece for piece in here.pieces}
    for piece_id in used:
        if piece_id not in pieces:
            raise _stale(f"the piece {piece_id!r} is no longer in the stash")
    if digests is None:
        return
    by_piece, by_fabric = digests.get("piece_digests"), digests.get("fabric_digests") or {}
    if not isinstance(by_piece, Mapping) or not isinstance(by_fabric, Mapping):
        if digests.get("stash_digest") != stash_digest(here):
            raise _stale("the stash has changed since the plan was made")
        return
    fabrics = {fabric.id: fabric for fabric in here.fabrics}
    for piece_id in used:
        piece = pieces[piece_id]
        if by_piece.get(piece_id) != piece_digest(piece):
            raise _stale(f"the piece {piece_id!r} has changed since the plan was made")
        if piece.fabric in by_fabric and by_fabric[piece.fabric] != fabric_digest(fabrics[piece.fabric]):
            raise _stale(f"the fabric {piece.fabric!r} has changed since the plan was made")


def what_came(draft: Draft) -> str:
    """The change in words: "fabric Deck chair, pieces deck-1 and deck-2", replaced ones told apart."""
    parts = []
    for table, one, many in ((fabric_table, "fabric", "fabrics"), (piece_table, "piece", "pieces")):
        for word, is_new in (("", True), ("replaced ", False)):
            keys = [c.key for c in draft.changes if c.table == table.name and (c.before is None) == is_new]
            if keys:
                parts.append(f"{word}{one if len(keys) == 1 else many} {_listed(keys)}")
    return ", ".join(parts) or "remarks"


def _place(draft: Draft, table: Table, key: str) -> int:
    before = draft.row(table, key)
    return draft.next_place(table) if before is None else int(before["place"])


def _id_from(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST_MADE_ID].strip("-") or "fabric"


def _other(here: Sequence[Any], coming: Sequence[Any], digest: Any) -> list[Any]:
    kept = {thing.id: digest(thing) for thing in here}
    return [thing for thing in coming if thing.id in kept and kept[thing.id] != digest(thing)]


def _differs(key: str, here: Any, coming: Any) -> bool:
    if key in BY_ID and isinstance(here, Mapping) and isinstance(coming, Mapping):
        return any(name in here and here[name] != value for name, value in coming.items())
    return bool(here != coming)


def _new(here: Sequence[Any], coming: Sequence[Any], digest: Any) -> list[Any]:
    kept = {thing.id: digest(thing) for thing in here}
    return [thing for thing in coming if kept.get(thing.id) != digest(thing)]


def _listed(keys: Sequence[str]) -> str:
    if len(keys) > 4:
        return f"{', '.join(keys[:3])} and {len(keys) - 3} more"
    return " and ".join(filter(None, (", ".join(keys[:-1]), keys[-1])))


def _stale(problem: str) -> Conflict:
    return Conflict(problem, "plan again with: enough, and book the new plan; nothing was changed")
