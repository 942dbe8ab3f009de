"""A piece as it really is, measured again by hand or from a photograph; what stood there before stays in the journal.

A cut seldom leaves just what was planned. A typed size says how large the piece is, not where in the repeat it ends: it
is laid in the middle of what was planned, and its edges are not known by half of what differs, unless an edge is named
that is as planned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from stash.catalogue.reservation import reserved_in
from stash.catalogue.stash import measured_again
from stash.catalogue.worth import is_worth, worth_in
from stash.errors import InputWrong, NotCertain
from stash.interchange.contents import Contents
from stash.lengths import both, parse_length, shown
from stash.piece import Piece, Polygon, across_axis, along_axis

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry
    from stash.catalogue.stash import Stash
    from stash.fabric import Fabric
    from stash.measuring import Asked
    from stash.photograph import KeptPhoto

VERB: Final = "measured again"
#: A piece whose stripes may lie off by more, mm, is of no use for borders (1/4 in: a seam's width, common practice).
MOST_OFF_MM: Final = 6.35
#: Lengths that differ by at most this are equal, mm (the contract).
EQUAL_MM: Final = 0.01
#: A typed rectangle may cover so much more than a piece that was no rectangle, as a share: what edges wander by.
MORE_SHARE: Final = 0.04

_SIDES: Final = ("left", "right", "top", "bottom")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What is told of the piece: a size, with the ``edges`` that are as they were; a photograph; or that it is gone."""

    width: str | None = None
    length: str | None = None
    edges: tuple[str, ...] = ()
    photo: Path | None = None
    gone: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Remeasured:
    """The line of the journal, None where nothing is new; the piece now, None where it is one no longer; and notes."""

    entry: Entry | None
    piece: Piece | None
    notes: tuple[str, ...] = ()


def remeasure(held: Stash, piece_id: str, told: Told, asked: Asked) -> Remeasured:
    """Puts what is told in place of the piece, under its id; what is too small to be a piece becomes a snippet.

    Raises:
        InputWrong: what is told does not go together or with the piece. NotFound: there is no such piece.
        NotCertain, VisionError: the photograph does not say it. Conflict: it is gone, and is reserved for a plan.
    """
    _refuse_mixed(told)
    before = held.piece(piece_id)
    if told.gone:
        entry = held.exchange([piece_id], [], title=f"{piece_id}, which is gone", verb=VERB)
        return Remeasured(entry=entry, piece=None)
    fabric, photo = held.fabric(before.fabric), None
    if told.photo is not None:
        now, notes, photo = _photographed(before, fabric, told.photo, asked)
    else:
        size = (parse_length(told.width or "", what="--width"), parse_length(told.length or "", what="--length"))
        now, notes = typed(before, fabric, size, told.edges)
    return _put(held, fabric, before, now, notes, photo)


def _put(
    held: Stash, fabric: Fabric, before: Piece, now: Piece, notes: list[str], photo: KeptPhoto | None
) -> Remeasured:
    now = measured_again(now)
    summary = f"{before.id}, now {_size(now)}"
    reserved = reserved_in(held).get(before.id)
    if reserved is not None:
        notes.append(f"it is reserved for {reserved}: plan that again before you cut")
    if not is_worth(now, fabric, worth_in(held.contents())):
        entry = held.exchange([before.id], [], title=summary, snippets=[now], verb=VERB)
        return Remeasured(entry=entry, piece=None, notes=(*notes, "it is too small to keep by itself: a snippet now"))
    done = held.amend(VERB, summary, lambda _: Contents(pieces=(now,)), photo=photo)
    return Remeasured(entry=done, piece=now, notes=tuple(notes))


def _refuse_mixed(told: Told) -> None:
    if (told.width is None) != (told.length is None):
        raise InputWrong("only one of width and length is given", "give both --width and --length")
    if sum((told.width is not None, told.photo is not None, told.gone)) != 1:
        raise InputWrong(
            "it is not said, or said twice, what the piece is like",
            "give --width and --length, or a photograph, or --gone",
        )
    wrong = next((side for side in told.edges if side not in _SIDES), None)
    if wrong is not None:
        raise InputWrong(f"--edge is {shown(wrong)}, which is no edge", f"say one of {', '.join(_SIDES)}")
    if told.edges and told.width is None:
        raise InputWrong("--edge is given without a size", "leave it out, or give --width and --length")


def typed(
    before: Piece, fabric: Fabric, size_mm: tuple[float, float], edges: Sequence[str] = ()
) -> tuple[Piece, list[str]]:
    """The piece as a rectangle, width by length in its frame, and what she should know. Raises InputWrong."""
    xs, ys = ([point[axis] for point in before.outline_mm] for axis in (0, 1))
    _refuse_more(before, size_mm)
    left, off_x = _laid((min(xs), max(xs)), size_mm[0], edges, ("left", "right"))
    top, off_y = _laid((min(ys), max(ys)), size_mm[1], edges, ("top", "bottom"))
    right, bottom = left + size_mm[0], top + size_mm[1]
    outline: Polygon = ((left, top), (right, top), (right, bottom), (left, bottom))
    holes = () if _goes_beside_holes(before, size_mm) else _still_on(outline, before.holes_mm)
    flaws = _still_on(outline, before.flaws_mm)
    now = replace(before, outline_mm=outline, outline_u95_mm=0.0, holes_mm=holes, flaws_mm=flaws)
    if fabric.print.kind == "plain" or before.stripe_direction_deg is None:
        return now, []
    off = _off_mm(before.stripe_direction_deg, fabric, off_x, off_y)
    if off <= MOST_OFF_MM:
        return replace(now, outline_u95_mm=before.outline_u95_mm + off), []
    return replace(now, stripe_direction_deg=None), [
        "where its stripes lie is not known any more, as it differs so much from what was there: photograph it, or "
        "name the edge that is as it was with --edge"
    ]


def _laid(span: tuple[float, float], size: float, edges: Sequence[str], names: tuple[str, str]) -> tuple[float, float]:
    """Where the rectangle starts, and how far it may lie off."""
    differs = size - (span[1] - span[0])
    if all(name in edges for name in names) and abs(differs) > EQUAL_MM:
        raise InputWrong(
            f"both {names[0]} and {names[1]} are as they were, and yet it is {abs(differs):.1f} mm "
            f"{'wider' if differs > 0 else 'narrower'} between them",
            "name one of them with --edge",
        )
    if names[0] in edges:
        return span[0], 0.0
    if names[1] in edges:
        return span[1] - size, 0.0
    return span[0] - differs / 2, abs(differs) / 2


def _off_mm(direction_deg: float, fabric: Fabric, off_x: float, off_y: float) -> float:
    """How far the print may lie off its place, across its stripes, and along them where it repeats that way."""
    axes = [across_axis(direction_deg)]
    if fabric.print.along is not None or fabric.print.kind != "stripe":
        axes.append(along_axis(direction_deg))
    return max(abs(x) * off_x + abs(y) * off_y for x, y in axes)


def _refuse_more(before: Piece, size_mm: tuple[float, float]) -> None:
    """What was no rectangle cannot be a larger one now."""
    import shapely

    old = shapely.Polygon(before.outline_mm, before.holes_mm)
    left, top, right, bottom = old.bounds
    if old.area >= (1 - MORE_SHARE) * (right - left) * (bottom - top):
        return
    if size_mm[0] * size_mm[1] > (1 + MORE_SHARE) * old.area:
        raise InputWrong(
            f"{before.id} is no rectangle, and {both(size_mm[0])} × {both(size_mm[1])} is more than there was of it",
            "photograph it, or give the size of the largest rectangle in it",
        )


def _goes_beside_holes(before: Piece, size_mm: tuple[float, float]) -> bool:
    """Whether such a rectangle lies in the piece clear of its holes: then it is what was left beside them."""
    from stash.fitting import Room, fits

    lying = replace(before, outline_u95_mm=0.0, flaws_mm=(), stripe_direction_deg=0.0)
    return fits(lying, Room(along_mm=size_mm[1], across_mm=size_mm[0]))


def _still_on(outline: Polygon, rings: Sequence[Polygon]) -> tuple[Polygon, ...]:
    """The holes or flaws that are still on it."""
    import shapely

    cloth = shapely.Polygon(outline)
    return tuple(ring for ring in rings if cloth.intersects(shapely.Polygon(ring)))


def _photographed(before: Piece, fabric: Fabric, file: Path, asked: Asked) -> tuple[Piece, list[str], KeptPhoto]:
    from stash.adding import seen
    from stash.intake import Wish, from_measurement, measure
    from stash.measuring import request, runs_upright

    shown = seen(*measure(file, request(asked)))
    if any(shown.cut_off):
        raise NotCertain(f"the edge of {file} cuts off the piece", "photograph all of it, or give --width and --length")
    upright = asked.thread is not None and runs_upright(asked.thread)
    wish = Wish(fabric=fabric, torn=asked.torn, selvage=asked.selvage, thread_upright=upright)
    taken = from_measurement(shown.measurement, wish, cut_off=shown.cut_off)
    if len(taken.pieces) != 1:
        raise InputWrong(f"{file} shows {len(taken.pieces)} pieces", f"photograph {before.id} by itself")
    piece = taken.pieces[0]
    notes = [warning.rstrip(".") for warning in dict.fromkeys((*shown.measurement.warnings, *taken.warnings))]
    if before.flaws_mm:
        notes.append(f"{len(before.flaws_mm)} flaws of it that were noted before are on it no longer: note them again")
    return replace(piece, id=before.id, extra={**before.extra, **piece.extra}), notes, shown.photo


def _size(piece: Piece) -> str:
    xs, ys = ([point[axis] for point in piece.outline_mm] for axis in (0, 1))
    return f"{both(max(xs) - min(xs))} × {both(max(ys) - min(ys))}"
