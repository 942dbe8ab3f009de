"""The stash as it was at a moment: what was done since is taken back, what was taken back since is done again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from stash.catalogue.journal import Row, changes_of
from stash.catalogue.schema import fabric, journal, piece, remark

_TABLES = (fabric, piece, remark)


def rows_on(connection: Connection, moment: datetime) -> dict[str, list[Row]]:
    """The rows of fabrics, pieces and remarks, by table, that stood at the moment, which knows its time zone.

    Entries are taken back last one first, so those that stood then and those that stand now are the same up to some
    number; only what comes after it is undone or done anew.
    """
    rows: dict[str, dict[str, Row]] = {}
    for table in _TABLES:
        key = next(iter(table.primary_key.columns)).name
        found = connection.execute(select(table)).mappings()
        rows[table.name] = {str(row[key]): dict(row) for row in found}
    entries = connection.execute(select(journal).order_by(journal.c.number)).mappings().all()
    now = [entry for entry in entries if entry["undone_at"] is None]
    then = [entry for entry in entries if _stood(entry, moment)]
    same = {entry["number"] for entry in now} & {entry["number"] for entry in then}
    for entry in reversed(now):
        if entry["number"] not in same:
            for change in reversed(changes_of(entry["changes"])):
                _set(rows, change.table, change.key, change.before)
    for entry in then:
        if entry["number"] not in same:
            for change in changes_of(entry["changes"]):
                _set(rows, change.table, change.key, change.after)
    return {name: _ordered(found.values()) for name, found in rows.items()}


def _stood(entry: Mapping[Any, Any], moment: datetime) -> bool:
    undone = entry["undone_at"]
    return datetime.fromisoformat(entry["at"]) <= moment and (undone is None or datetime.fromisoformat(undone) > moment)


def _set(rows: dict[str, dict[str, Row]], table: str, key: str, row: Row | None) -> None:
    if table not in rows:
        return
    if row is None:
        rows[table].pop(key, None)
    else:
        rows[table][key] = row


def _ordered(rows: Any) -> list[Row]:
    return sorted(rows, key=lambda row: row.get("place", 0))
