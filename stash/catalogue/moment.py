"""A date or a moment as it is typed."""

from __future__ import annotations

from datetime import date, datetime, time

from stash.errors import InputWrong


def read_moment(text: str) -> datetime:
    """``2026-05-01`` is the end of that day where she is, ``2026-05-01 14:30`` that minute. Raises InputWrong."""
    try:
        if len(text.strip()) == len("2026-05-01"):
            return datetime.combine(date.fromisoformat(text.strip()), time.max).astimezone()
        moment = datetime.fromisoformat(text.strip())
    except (ValueError, OverflowError) as error:
        raise InputWrong(
            f'the date "{text[:40]}" cannot be read', "write it like 2026-05-01, or like 2026-05-01 14:30"
        ) from error
    return moment if moment.tzinfo is not None else moment.astimezone()
