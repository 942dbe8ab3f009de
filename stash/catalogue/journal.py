"""Every change to the catalogue: rows are put and removed through a Draft, which remembers how to go back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Table, delete, func, insert, select, update

from stash.catalogue.finder import follow
from stash.catalogue.schema import KEPT, journal
from stash.errors import Conflict, InputWrong

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of the journal. ``pieces_in`` and ``pieces_out`` are ids; ``notes`` say what else she should know."""

    number: int
    at: str
    verb: str
    summary: str
    notes: tuple[str, ...] = ()
    fabrics_in: tuple[str, ...] = ()
    pieces_in: tuple[str, ...] = ()
    pieces_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One row of one table, before and after; None where there was, or is, none."""

    table: str
    key: str
    before: Row | None
    after: Row | None


@dataclass(slots=True)
class Draft:
    """A change to the catalogue in the making, inside a transaction that the caller holds."""

    connection: Connection
    changes: list[Change] = field(default_factory=list)

    def row(self, table: Table, key: str) -> dict[str, Any] | None:
        """The row with that key, or None."""
        found = self.connection.execute(select(table).where(_key(table) == key)).mappings().first()
        return None if found is None else dict(found)

    def keys(self, table: Table) -> set[str]:
        """All keys of the table."""
        return set(self.connection.execute(select(_key(table))).scalars())

    def next_place(self, table: Table) -> int:
        """The place after the last one in the table."""
        return int(self.connection.execute(select(func.coalesce(func.max(table.c.place), 0))).scalar_one()) + 1

    def put(self, table: Table, row: Row) -> None:
        """Writes the row, in place of one with the same key."""
        key = str(row[_key(table).name])
        before = self.row(table, key)
        _set(self.connection, table, key, row)
        self.changes.append(Change(table=table.name, key=key, before=before, after=dict(row)))

    def remove(self, table: Table, key: str) -> None:
        """Takes the row out; it must be there."""
        before = self.row(table, key)
        _set(self.connection, table, key, None)
        self.changes.append(Change(table=table.name, key=key, before=before, after=None))

    def record(self, verb: str, summary: str, notes: tuple[str, ...] = ()) -> Entry:
        """Writes the journal's line for all that was put and removed."""
        values = {
            "at": _now(),
            "verb": verb,
            "summary": summary,
            "notes": json.dumps(notes),
            "changes": json.dumps([_change_document(change) for change in self.changes]),
        }
        done = self.connection.execute(insert(journal).values(values))
        key = done.inserted_primary_key
        assert key is not None  # both databases report the row of every single insert
        return _entry({**values, "number": key[0]})


def take_back(connection: Connection, *, only: int | None = None) -> Entry:
    """Undoes the last entry that stands.

    Raises:
        InputWrong: there is none. Conflict: ``only`` is given and the last entry has another number.
    """
    last = connection.execute(
        select(journal).where(journal.c.undone_at.is_(None)).order_by(journal.c.number.desc()).limit(1)
    )
    row = last.mappings().first()
    if row is None:
        raise InputWrong("there is nothing to undo in this stash", "nothing needs doing")
    if only is not None and row["number"] != only:
        raise Conflict(
            f"the last change of this stash is no longer entry {only} but entry {row['number']}, {row['summary']}",
            "see with stash journal what was done since; nothing was changed",
        )
    for change in reversed(changes_of(row["changes"])):
        _set(connection, KEPT[change.table], change.key, change.before)
    connection.execute(update(journal).where(journal.c.number == row["number"]).values(undone_at=_now()))
    return _entry(row)


def take_back_to(connection: Connection, number: int) -> tuple[Entry, ...]:
    """Undoes the entries that stand from the last down to that number. Raises InputWrong where it does not stand."""
    wanted = [entry.number for entry in standing(connection) if entry.number >= number]
    if number not in wanted:
        raise InputWrong(f"there is no entry {number} to undo in this stash", "see the numbers with: stash journal")
    return tuple(take_back(connection) for _ in wanted)


def standing(connection: Connection) -> tuple[Entry, ...]:
    """The entries that have not been undone, oldest first."""
    rows = connection.execute(select(journal).where(journal.c.undone_at.is_(None)).order_by(journal.c.number))
    return tuple(_entry(row) for row in rows.mappings())


def last_gone(connection: Connection, table: Table, key: str, verb: str) -> Row | None:
    """The row with that key as it was when an entry of the verb that stands took it out last, or None."""
    told = select(journal.c.changes).where(journal.c.undone_at.is_(None), journal.c.verb == verb)
    for changes in connection.execute(told.order_by(journal.c.number.desc())).scalars():
        for change in reversed(changes_of(changes)):
            if change.table == table.name and change.key == key and change.after is None:
                return change.before
    return None


def _set(connection: Connection, table: Table, key: str, row: Row | None) -> None:
    """Makes the row with that key be ``row``. It is updated where it is there, as other rows may refer to it."""
    here = connection.execute(select(_key(table)).where(_key(table) == key)).first() is not None
    if row is None:
        connection.execute(delete(table).where(_key(table) == key))
    elif here:
        connection.execute(update(table).where(_key(table) == key).values(dict(row)))
    else:
        connection.execute(insert(table).values(dict(row)))
    follow(connection, table, key, row)


def _key(table: Table) -> Any:
    return next(iter(table.primary_key.columns))


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _change_document(change: Change) -> dict[str, Any]:
    return {"table": change.table, "key": change.key, "before": change.before, "after": change.after}


def changes_of(text: str) -> list[Change]:
    """The changes that an entry keeps, in the order in which they were made."""
    return [Change(**document) for document in json.loads(text)]


def _entry(row: Mapping[Any, Any]) -> Entry:
    changes = changes_of(row["changes"])

    def touched(table: str, *, came: bool) -> tuple[str, ...]:
        here, there = ("after", "before") if came else ("before", "after")
        return tuple(
            change.key
            for change in changes
            if change.table == table and getattr(change, here) is not None and getattr(change, there) is None
        )

    return Entry(
        number=row["number"],
        at=row["at"],
        verb=row["verb"],
        summary=row["summary"],
        notes=tuple(json.loads(row["notes"])),
        fabrics_in=touched("fabric", came=True),
        pieces_in=touched("piece", came=True),
        pieces_out=touched("piece", came=False),
    )
