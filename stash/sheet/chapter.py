"""The chapter of one piece: what to check, its figure, the cuts one by one, the parts it gives, what is over."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from stash.planner.plan import Placement
from stash.sheet.content import Block, Chapter, Heading, Listing, Notice, Passage, Picture, Rows
from stash.sheet.counting import Occurrence, Reading, Station, colour, read, stations
from stash.sheet.cutting import Step, bench, cutting
from stash.sheet.figure import Scene, draw
from stash.sheet.job import Job, Table, cut_size
from stash.sheet.remnant import shape, whole_rectangle
from stash.sheet.telling import Instruction, Teller
from stash.sheet.wording import both, count, inch, listed, size

#: As many repeats as are measured before the first cut, where the piece shows so many.
REPEATS: Final = 10
#: The finest a tape is read to, mm (1/16 in; practice).
TAPE_MM: Final = 25.4 / 16
#: What is left is named by its size where it is at least 3 x 6 in; less is scraps (practice).
KEPT_MM: Final = (76.2, 152.4)
HALF_INCH_MM: Final = 12.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """One piece with its chapter, and what the first page says of it."""

    table: Table
    chapter: Chapter
    check: str | None
    cuts: int
    over: tuple[str, ...]


def chapter(job: Job, table: Table, index: int, *, wide_mm: float, high_mm: float) -> Laid:
    """The chapter of one piece, numbered from 1 in the order in which the pieces come to the table."""
    reading = read(table.piece, table.fabric)
    laid = bench(reading, table.placements)
    steps = cutting(laid, table.placements)
    long = [step.lane for step in steps if step.kind == "along"]
    lines = [u for lane in long for u in (lane.low_u_mm, lane.high_u_mm)]
    places = stations(reading, lines)
    teller = Teller(bench=laid, stations=places, title=job.title)
    shown = {id(step.lane): one for step in steps if (one := teller.shown(step.lane))}
    scene = Scene(
        bench=laid, stations=places, steps=steps, placements=table.placements, leftovers=table.leftovers,
        shown=tuple(shown.values()), title=job.title,
    )  # fmt: skip
    names = listed([job.title(placement) for placement in table.placements])
    name = f"Piece {index}: {table.piece.id}"
    figure = draw(
        scene, wide_mm=wide_mm, high_mm=high_mm, title=f"{name}, {table.fabric.name}",
        description=f"The piece seen from its right side, with {_cuts(steps)} for {names}.",
    )  # fmt: skip
    check = repeat_check(reading)
    instructions = teller.tell(steps)
    over = tuple(_over(table, reading))
    blocks = (
        Heading(text=f"{index}  {table.fabric.name}: {table.piece.id}", level=2),
        Passage(text=_facts(table, reading), quiet=True),
        *([Notice(lead=f"Before the first cut: {check}")] if check else []),
        Picture(drawing=figure, caption=_caption(places, tuple(shown.values()))),
        *_legend(reading),
        Heading(text="Cuts, in this order"),
        _cut_rows(instructions),
        Heading(text="Parts from this piece"),
        _part_rows(job, table, shown_by_part(teller, steps)),
        *_ways_round(table, reading),
        *_over_blocks(over),
    )
    return Laid(
        table=table, chapter=Chapter(name=name, blocks=blocks), check=check, over=over,
        cuts=sum(len(step.cuts) for step in steps),
    )  # fmt: skip


def repeat_check(reading: Reading) -> str | None:
    """``ten repeats must measure 25 in ± ⅛ (635 ± 3 mm); if not, stop``; None on cloth without a repeat."""
    across = reading.fabric.print.across
    if across is None or not reading.occurrences():
        return None
    us = [reading.u(point) for point in reading.piece.outline_mm]
    repeats = max(1, min(REPEATS, int((max(us) - min(us)) // across.value)))
    off_mm = max(TAPE_MM, repeats * across.u95)
    noun = "repeat" if repeats == 1 else "repeats"
    exact = f"{repeats * across.value:.0f} ± {max(1.0, off_mm):.0f} mm"
    measure = f"{inch(repeats * across.value)} ± {inch(off_mm).removesuffix(' in')} ({exact})"
    return f"{count(repeats)} {noun} of the stripes must measure {measure}; if not, stop."


def shown_by_part(teller: Teller, steps: tuple[Step, ...]) -> dict[tuple[str, int], str]:
    """For each placement the stripe it shows, as counted."""
    told: dict[tuple[str, int], str] = {}
    for step in steps:
        one = teller.shown(step.lane)
        for placement in step.lane.placements:
            told[placement.part, placement.segment] = teller.station(step.lane).name(one) if one else ""
    return told


def _cuts(steps: tuple[Step, ...]) -> str:
    number = sum(len(step.cuts) for step in steps)
    return f"{count(number)} cut{'' if number == 1 else 's'}"


def _facts(table: Table, reading: Reading) -> str:
    xs, ys = zip(*table.piece.outline_mm, strict=True)
    words = [f"{size(max(xs) - min(xs), max(ys) - min(ys))} at its widest and longest"]
    words.append("lay it right side up, the top edge away from you")
    direction = table.piece.stripe_direction_deg
    if direction and abs(direction) < 45 and reading.occurrences():
        side = "left" if direction < 0 else "right"
        words.append(f"the stripes run {abs(direction):.1f}° off the grain, to the {side} towards the bottom")
    if table.fabric.one_way:
        words.append("one-way cloth: nothing may be turned end for end")
    return ". ".join(word[0].upper() + word[1:] if index else word for index, word in enumerate(words)) + "."


def _caption(places: tuple[Station, ...], shown: tuple[Occurrence, ...]) -> str:
    where = f"{places[0].place}, from the {places[0].reading.low}"
    told = f"Stripes are counted, and distances measured, {where}" if shown else f"Distances are measured {where}"
    short = dict.fromkeys(note for one in shown if (note := places[0].first_is_part(one)))
    if len(places) > 1:
        told += ", but where a cut says otherwise"
    return f"{'; '.join([told, *short])}. Each cut begins at its number. Full colour: parts to cut; pale: what is over."


def _legend(reading: Reading) -> list[Block]:
    if not reading.occurrences():
        return []
    stripes = [f"{one.label} {colour(one)} {inch(one.width_mm)}" for one in reading.fabric.print.stripes]
    across = reading.fabric.print.across
    whole = f" One repeat is {both(across.value)}." if across else ""
    return [Passage(text=f"The stripes in order: {', '.join(stripes)}.{whole}")]


def _cut_rows(instructions: tuple[Instruction, ...]) -> Rows:
    return Rows(
        heads=("Cut", "Where", "Check by the tape"),
        shares=(0.1, 0.52, 0.38),
        rows=tuple((_numbers(one.numbers), one.tell, one.check) for one in instructions),
        tick=True,
    )


def _numbers(numbers: tuple[int, ...]) -> str:
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]}–{numbers[-1]}"
    return ", ".join(str(number) for number in numbers)


def _part_rows(job: Job, table: Table, shown: dict[tuple[str, int], str]) -> Rows:
    return Rows(
        heads=("Part", "Cut", "Finished", "Shows"),
        shares=(0.24, 0.29, 0.29, 0.18),
        rows=tuple(part_row(job, one, shown.get((one.part, one.segment), "")) for one in table.placements),
    )


def _ways_round(table: Table, reading: Reading) -> list[Block]:
    """What "turned" asks of her hands, where any part is: once it is cut, nothing tells its start from its end."""
    away = bench(reading, ()).v_sign > 0
    first, last = ("left", "right") if reading.crosswise else ("top", "bottom")
    start, end = (first, last) if away else (last, first)
    said = []
    if any(one.turned for one in table.placements):
        said.append(
            f"A strip starts at its {start} end as it lies here, one turned end for end at its {end} end: chalk an S "
            "there before it is free."
        )
    if any(one.over for one in table.placements):
        said.append(
            "What is turned over is sewn with its wrong side out: chalk a cross on the side that lies up here, and "
            "hide it."
        )
    return [Passage(text=" ".join(said))] if said else []


def part_row(job: Job, placement: Placement, shows: str) -> tuple[str, str, str, str]:
    """Name, cut size, finished size, and the stripe that shows."""
    card = job.cards[placement.part]
    finished = "–"
    if placement.finished_mm is not None and card.width_mm:
        finished = size(card.width_mm, placement.finished_mm)
    elif placement.finished_mm is not None:
        finished = f"{both(placement.finished_mm)} long"
    elif card.width_mm and card.length_mm:
        finished = size(*sorted((card.width_mm, card.length_mm)))
    more = [card.make] if card.make in ("folded", "bound") else []
    more += ["turned end for end"] if placement.turned else []
    more += ["turned over once it is cut"] if placement.over else []
    shown = "; ".join(word for word in (shows, *more) if word) or "–"
    return job.title(placement), size(*cut_size(placement)), finished, shown


def _over(table: Table, reading: Reading) -> list[str]:
    lines = []
    for leftover in sorted(table.leftovers, key=lambda one: -shape(one).area):
        wide, long = whole_rectangle(leftover, reading)
        if min(wide, long) >= KEPT_MM[0] and max(wide, long) >= KEPT_MM[1]:
            measure = size(*_floored(wide, long))
            lines.append(f"a remnant with a whole rectangle of about {measure} in it")
    scraps = len(table.leftovers) - len(lines)
    return [*lines, *([f"{count(scraps)} scrap{'' if scraps == 1 else 's'}"] if scraps else [])]


def _floored(*lengths_mm: float) -> list[float]:
    """Lengths down to the half inch: a remnant is promised no longer than it is."""
    return [math.floor(length / HALF_INCH_MM) * HALF_INCH_MM for length in lengths_mm]


def _over_blocks(over: tuple[str, ...]) -> list[Block]:
    if not over:
        return []
    return [Heading(text="What is over"), Listing(lines=tuple(line[0].upper() + line[1:] for line in over))]
