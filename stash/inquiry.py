"""A question as it is asked at the table: garments, less what is cut already, all of them or the most important."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stash.actions import LIMIT_S, Answered, Progress, Where, answer, left_of, read_garments, read_json, stash_at
from stash.errors import InputWrong
from stash.lengths import parse_length
from stash.priority import most_important

if TYPE_CHECKING:
    from stash.catalogue.stage_booking import Telling, Told
    from stash.catalogue.stash import Stash
    from stash.garment.finished import Done
    from stash.garment.part import Laid


@dataclass(frozen=True, slots=True, kw_only=True)
class Inquiry:
    """Garment files; ``first``: they stand in order of importance; ``have``: parts that are cut, as typed; ``after``:
    a plan of which the stash knows what was cut; ``room``: how much to spare is wanted, as typed."""

    files: tuple[Path, ...]
    first: bool = False
    have: tuple[str, ...] = ()
    after: Path | None = None
    room: str | None = None


def ask(inquiry: Inquiry, where: Where, *, limit_s: float = LIMIT_S, progress: Progress | None = None) -> Answered:
    """The answer. Raises InputWrong or NotFound where a file, a part or a fabric is not what it must be."""
    began = time.monotonic()
    from stash.catalogue.fingerprint import plan_fingerprint
    from stash.catalogue.reservation import available, withheld, withheld_remark
    from stash.garment.finished import without_done

    room_mm = None if inquiry.room is None else parse_length(inquiry.room, what="the room")
    held = stash_at(where)
    garments, remarks = read_garments(inquiry.files), tuple[str, ...]()
    done = [*_typed(inquiry.have), *_booked(inquiry.after, held)]
    if done:
        fabrics = {fabric.id: fabric for fabric in held.fabrics()}
        garments, remarks = without_done(garments, done, fabrics)
    before = None if inquiry.after is None else plan_fingerprint(read_json(inquiry.after))
    contents = held.contents()
    limit_s = left_of(limit_s, time.monotonic() - began)
    if inquiry.first:
        free = available(contents, before)
        found = most_important(garments, free, limit_s=limit_s, progress=progress, room_mm=room_mm)
    else:
        found = answer(garments, held, limit_s=limit_s, progress=progress, room_mm=room_mm, plan_before=before)
    left_out = withheld_remark(withheld(contents, before))
    if left_out is not None:
        found = replace(found, remarks=(*found.remarks, left_out))
    if not done:
        return found
    document: dict[str, Any] = {**found.document, "have": [_row(row) for row in done]}
    return replace(found, document=document, remarks=(*remarks, *found.remarks))


def tell(plan_file: Path, where: Where, telling: Telling) -> Told:
    """Books what was cut of a plan, all of it or single parts, and how it went."""
    from stash.catalogue.stage_booking import book

    return book(stash_at(where, write=True), read_json(plan_file), telling, source=str(plan_file))


def _row(done: Done) -> dict[str, Any]:
    length = None if done.length_mm is None else round(done.length_mm, 3)
    row = {**asdict(done), "length_mm": length}
    return row if done.laid is not None else {key: value for key, value in row.items() if key != "laid"}


def _typed(have: Sequence[str]) -> Iterator[Done]:
    """``hem``, or ``hem = 20 in`` where so much of it is cut, finished."""
    from stash.garment.finished import Done

    for text in have:
        part, equals, length = (word.strip() for word in text.partition("="))
        if not part or (equals and not length):
            raise InputWrong(f'--have "{text}" names no part', 'write it like --have hem or --have "hem = 20 in"')
        yield Done(part=part, length_mm=parse_length(length, what=part) if length else None)


def _booked(after: Path | None, held: Stash) -> Iterator[Done]:
    """The parts that the stash knows as cut by that plan, and those that it had not to plan; what was spoiled or cut
    short is still to be made."""
    from stash.catalogue.stage_booking import done_of, segments_of
    from stash.garment.finished import Done

    if after is None:
        return
    document = read_json(after)
    before = [_read(row, after) for row in document.get("have") or ()] if isinstance(document, dict) else []
    yield from before
    count = segments_of(document)
    cut: dict[str, list[Any]] = {}
    for row, how in done_of(held, document, str(after)):
        if how == "cut":
            cut.setdefault(row.part, []).append(row)
    if not cut and not before:
        raise InputWrong(f"nothing of {after} is told as cut", "tell it with: cut PLAN.json --part PART")
    for part, rows in cut.items():
        numbers = {row.segment for row in rows}
        laid = _laid(document, part, numbers)
        if len(rows) == count[part]:
            yield Done(part=part, laid=laid)
            continue
        yield Done(
            part=part,
            length_mm=sum(row.finished_mm or 0.0 for row in rows),
            segments=len(rows),
            from_start=1 in numbers,
            to_end=count[part] in numbers,
            laid=laid,
        )


def _laid(document: Any, part: str, cut: set[int]) -> Laid | None:
    """How the segments of a part that are cut lie, as the plan says; None where it does not, or what is left of the
    part is not one stretch."""
    from stash.garment.part import Laid

    rows = {row["segment"]: row for row in document["placements"] if row["part"] == part}
    left = sorted(set(rows) - cut)
    if any("repeat_stripe" not in rows[number] for number in cut) or left != [*range(*_ends(left))]:
        return None
    first = min(cut)
    row = rows[first]
    way = -1.0 if row["turned"] else 1.0

    def reached(segment: int) -> float:
        return way * sum(float(rows[number]["finished_mm"]) for number in range(1, segment))

    start = None if row["phase_mm"] is None else row["phase_mm"] - reached(first)
    rest = None if start is None or not left else start + reached(left[0])
    return Laid(
        turned=bool(row["turned"]), over=bool(row.get("over", False)), stripe=int(row["repeat_stripe"]),
        start_mm=start, rest_mm=rest,
    )  # fmt: skip


def _ends(numbers: Sequence[int]) -> tuple[int, int]:
    return (numbers[0], numbers[-1] + 1) if numbers else (0, 0)


def _read(row: Any, after: Path) -> Done:
    """What a plan says was cut before it. Raises InputWrong."""
    from stash.garment.finished import Done
    from stash.garment.part import Laid

    try:
        length = row["length_mm"]
        return Done(
            part=str(row["part"]), length_mm=None if length is None else float(length),
            segments=int(row.get("segments", 1)), from_start=bool(row.get("from_start", True)),
            to_end=bool(row.get("to_end", False)),
            laid=None if row.get("laid") is None else Laid(**row["laid"]),
        )  # fmt: skip
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputWrong(f"what {after} has already cannot be read ({error})", "plan again with enough") from error
