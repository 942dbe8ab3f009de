"""Which cloth for the body and which for the borders: every sensible assignment planned, the best first, and why."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stash.actions import LIMIT_S, Answered, Progress, Where, answered, free_at, left_of, question, read_garments
from stash.errors import InputWrong, NotFound
from stash.interchange.ring import signed_area_mm2
from stash.planner.plan import Answer

if TYPE_CHECKING:
    from stash.fabric import Fabric
    from stash.garment.assignment import Assignment
    from stash.garment.part import Garment
    from stash.interchange.contents import Contents
    from stash.planner.remainder import Remainder

#: More assignments than this are no choice any more, and take too long.
MOST: Final = 60
#: Costs within the same step come to the same, mm of cloth: what the least join costs, one on the inside.
STEP: Final = 100.0
#: Seconds that a way is planned for at least, when the time is nearly up.
LEAST_S: Final = 0.1
_RANK: Final[Mapping[Answer, int]] = {"yes": 0, "unsure": 1, "no": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One assignment with its answer: joins by the edge they are on, and what is left of the cloths it uses."""

    assignment: Assignment
    answered: Answered
    joins: Mapping[str, int]
    left: tuple[Remainder, ...]

    @property
    def answer(self) -> Answer:
        """yes, no or unsure."""
        return self.answered.plan.answer

    @property
    def pieces(self) -> int:
        """How many pieces are cut into."""
        return len({placement.piece for placement in self.answered.plan.placements})

    @property
    def largest_mm2(self) -> float:
        """The largest rectangle left of any of its cloths."""
        return max((row.rectangle_mm[0] * row.rectangle_mm[1] for row in self.left), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """All assignments, the best first, and one sentence that says which is best and why. ``aside``: what is said of
    cloths that were not thought of, because they are too small, and of ways that were not planned."""

    garment: Garment
    fabrics: Mapping[str, Fabric]
    rows: tuple[Choice, ...]
    why: str
    aside: tuple[str, ...]
    seconds: float

    @property
    def answer(self) -> Answer:
        """yes where any assignment goes, no where certainly none does, else unsure."""
        answers = {row.answer for row in self.rows}
        return "yes" if "yes" in answers else "unsure" if "unsure" in answers else "no"

    @property
    def document(self) -> dict[str, Any]:
        """The document ``which/1``."""
        return {
            "schema": "which/1",
            "garment": self.garment.name,
            "answer": self.answer,
            "why": self.why,
            "left_aside": list(self.aside),
            "choices": [_row(row) for row in self.rows],
            "seconds": self.seconds,
        }


def which_cloth(
    file: Path, where: Where, *, cloths: Sequence[str] = (), limit_s: float = LIMIT_S, progress: Progress | None = None
) -> Choices:
    """Plans the garment with every sensible assignment of the stash's cloths, or of those named.

    Raises:
        InputWrong: there are too many, or none. NotFound: a cloth that is named is not in the stash.
    """
    began = time.monotonic()
    (garment,) = read_garments([file])
    contents = free_at(where)
    limit_s = left_of(limit_s, time.monotonic() - began)
    return choices(garment, contents, cloths=cloths, limit_s=limit_s, progress=progress)


def choices(
    garment: Garment,
    contents: Contents,
    *,
    cloths: Sequence[str] = (),
    limit_s: float = LIMIT_S,
    progress: Progress | None = None,
) -> Choices:
    """As ``which_cloth``, for a garment and cloth at hand. The time is shared out evenly."""
    from stash.garment.assignment import assignments

    began = time.monotonic()
    known = {fabric.id: fabric for fabric in contents.fabrics}
    named = {key: known[key] for key in known if not cloths or key in cloths}
    _all_there(cloths, contents)
    found = list(assignments(garment, named, contents.pieces))
    aside: dict[str, str] = {}
    if not cloths:
        found, aside = _large_enough(found, contents, known)
    if not found:
        raise InputWrong(
            f"none of these cloths can be body and borders of {garment.name}", "name more of them with --cloth"
        )
    if len(found) > MOST:
        raise InputWrong(
            f"there are {len(found)} ways to cut {garment.name} from {len(named)} cloths, more than {MOST}",
            "name the cloths that you think of with --cloth",
        )
    rows = []
    for number, one in enumerate(found, 1):
        if progress is not None:
            progress(f"planning {number} of {len(found)}")
        left_s = limit_s - (time.monotonic() - began)
        stopped = False
        try:
            rows.append(_planned(one, contents, max(LEAST_S, left_s / (len(found) - number + 1))))
        except KeyboardInterrupt:
            if all(row.answer != "yes" for row in rows):
                raise
            stopped = True
        if stopped or rows[-1].answered.plan.ended == "stopped":
            if len(rows) < len(found):
                more = len(found) - len(rows)
                aside["stopped"] = f"{more} of {len(found)} ways were not planned, for you stopped it."
            break
    rows.sort(key=_order)
    seconds = round(time.monotonic() - began, 3)
    return Choices(
        garment=garment, fabrics=known, rows=tuple(rows), why=_why(rows, known, whole=len(rows) == len(found)),
        aside=tuple(aside.values()),
        seconds=seconds,
    )  # fmt: skip


def _large_enough(
    found: Sequence[Assignment], contents: Contents, fabrics: Mapping[str, Fabric]
) -> tuple[list[Assignment], dict[str, str]]:
    """Without those whose body has more area than any piece of its cloth, or whose borders have more than all of
    theirs; all of them where none is left. And what is said of the cloths that are left aside."""
    areas: dict[str, list[float]] = {}
    for piece in contents.pieces:
        areas.setdefault(piece.fabric, []).append(abs(signed_area_mm2(piece.outline_mm)))
    said: dict[str, str] = {}
    kept = []
    for one in found:
        panels = [panel.width_mm * panel.length_mm for panel in one.garment.panels if panel.fabric == one.body]
        borders = [strip.cut_width_mm * strip.length_mm for strip in one.garment.strips if strip.fabric == one.border]
        if one.body is not None and max(panels, default=0.0) > max(areas[one.body]):
            said[f"body {one.body}"] = f"No piece of {fabrics[one.body].name} is large enough for the body."
        elif one.border is not None and sum(borders) > sum(areas[one.border]):
            said[f"border {one.border}"] = f"There is too little of {fabrics[one.border].name} for the borders."
        else:
            kept.append(one)
    return (kept, said) if kept else (list(found), {})


def _all_there(cloths: Sequence[str], contents: Contents) -> None:
    from difflib import get_close_matches

    known = [fabric.id for fabric in contents.fabrics]
    of_piece = {piece.id: piece.fabric for piece in contents.pieces}
    for name in cloths:
        if name not in known:
            near = get_close_matches(name, known, n=1)
            meant = of_piece.get(name) or (near[0] if near else None)
            raise NotFound(
                f"there is no cloth {name!r} in the stash",
                f"did you mean {meant!r}?" if meant else "see what there is with: stripewright stash list",
            )


def _planned(one: Assignment, contents: Contents, limit_s: float) -> Choice:
    from stash.planner.remainder import remainders
    from stash.planner.solve import decide

    fabrics = {fabric.id: fabric for fabric in contents.fabrics}
    problem, remarks = question([one.garment], fabrics, contents.pieces)
    plan = decide(problem, limit_s=limit_s)
    edges = {strip.id: strip.edge for strip in problem.strips}
    later = [edges[row.part] for row in plan.placements if row.part in edges and row.segment > 1]
    left = remainders(problem.fabrics, problem.pieces, plan.leftovers) if plan.placements else ()
    whole = answered(problem, [one.garment], plan, contents, (*one.remarks, *remarks))
    return Choice(assignment=one, answered=whole, joins=dict(Counter(later)), left=left)


def _order(row: Choice) -> tuple[float, ...]:
    """By the answer; borders that stand out from the body before those of its own cloth; then by what it costs; then
    as the garment is written before other ways."""
    lacks = sum(short.missing_mm for short in row.answered.plan.short)
    alike = row.assignment.body == row.assignment.border
    other = not row.assignment.as_written
    return _RANK[row.answer], alike, _step(row), lacks, other, -row.largest_mm2


def _step(row: Choice) -> int:
    return round((row.answered.plan.cost or 0.0) / STEP)


def _why(rows: Sequence[Choice], fabrics: Mapping[str, Fabric], *, whole: bool) -> str:
    """Which is best, and what it has over the next one that goes; ``whole``: all were planned."""
    best = rows[0]
    what = in_words(best.assignment, fabrics)
    if best.answer == "no":
        return f"None of them goes; the least is lacking with {what}."
    if best.answer == "unsure":
        return f"None of them goes for certain; the nearest is {what}."
    going = [row for row in rows if row.answer == "yes"]
    if not whole:
        return f"Best of those that were planned: {what}."
    if len(going) == 1:
        return f"Best: {what}, the only one that goes for certain."
    rivals = [row for row in going[1:] if not (best.assignment.as_written and row.assignment.as_written)]
    return f"Best: {what}; {_better(best, (rivals or going[1:])[0])}."


def _better(best: Choice, other: Choice) -> str:
    joins, more = sum(best.joins.values()), sum(other.joins.values())
    same = _step(best) == _step(other)
    if same and best.assignment.as_written and not other.assignment.as_written:
        return "so it is written, and no other way costs less"
    if same and best.largest_mm2 > other.largest_mm2:
        return "it costs no more than the next and leaves the largest piece"
    if joins < more:
        return f"it has {joins or 'no'} {'join' if joins == 1 else 'joins'} where the next has {more}"
    if best.pieces < other.pieces:
        pieces = "piece" if best.pieces == 1 else "pieces"
        return f"it cuts into {best.pieces} {pieces} where the next needs {other.pieces}"
    if same:
        return "the next comes to the same"
    return "its joins show less and fewer ends are lost than in the next"


def in_words(one: Assignment, fabrics: Mapping[str, Fabric]) -> str:
    """``body of Linen, its width across the cloth, borders of Ticking showing stripe A``."""
    said = []
    if one.body is not None:
        lie = {"across": ", its width across the cloth", "along": ", its width along the cloth", None: ""}[one.lie]
        align = f", cut on the {one.align}" if one.align else ""
        said.append(f"body of {fabrics[one.body].name}{lie}{align}")
    if one.border is not None:
        shown = " and ".join(stripe.label for stripe in one.shown)
        stripes = "stripe" if len(one.shown) == 1 else "stripes"
        said.append(f"borders of {fabrics[one.border].name}" + (f" showing {stripes} {shown}" if shown else ", plain"))
    return ", ".join(said)


def _row(row: Choice) -> dict[str, Any]:
    one, plan = row.assignment, row.answered.plan
    return {
        "answer": plan.answer,
        "reason": plan.reason,
        "proven": plan.proven,
        "as_written": one.as_written,
        "body": one.body,
        "lies": one.lie,
        "align": one.align,
        "border": one.border,
        "stripes": [
            {"label": stripe.label, "colour": stripe.colour, "hex": stripe.hex, "width_mm": round(stripe.width_mm, 3)}
            for stripe in one.shown
        ],
        "stripe_chosen": one.chosen,
        "cost": plan.cost,
        "bound": plan.bound,
        "pieces": row.pieces,
        "joins": sum(row.joins.values()),
        "joins_by_edge": dict(row.joins),
        "leaves": [
            {
                "fabric": left.fabric,
                "rectangle_mm": [round(side, 1) for side in left.rectangle_mm],
                "area_mm2": round(left.area_mm2),
                "stripes": [{"label": key, "length_mm": round(mm, 1)} for key, mm in left.stripes_mm.items()],
            }
            for left in row.left
        ],
        "short": [asdict(short) for short in plan.short],
        "settle": list(plan.settle),
        "remarks": list(row.answered.remarks),
    }
