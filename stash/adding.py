"""Adding cloth to the stash: from photographs, or from a size and stripes that are typed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from stash.errors import InputWrong
from stash.fabric import Print
from stash.lengths import parse_length
from stash.measuring import Asked, request
from stash.yardage import creased, laid_by_count, read_count, read_margins, without_margins

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry
    from stash.catalogue.stash import Stash
    from stash.fabric import Fabric
    from stash.intake import Wish
    from stash.photograph import KeptPhoto
    from stash.piece import Piece
    from stash.recognition.impression import Impression
    from stash.yardage import Laid
    from vision.measure import Measured
    from vision.measurement import Measurement
    from vision.photo import Photo


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloth:
    """What is said of the cloth besides its photographs, as typed.

    ``stripes`` are told in words ("from the left selvage red 3/4 in, white 1/4"); ``start`` is where the repeat starts,
    from the left edge.
    ``counted`` is one stripe counted across the width (see ``yardage.read_count``); ``folded``: the width is that of
    cloth folded lengthwise, whose ``crease`` parts keep clear of; ``margins`` are kept out of use (``read_margins``).
    """

    name: str | None = None
    fabric_id: str | None = None
    width: str | None = None
    length: str | None = None
    stripes: str | None = None
    start: str | None = None
    counted: str | None = None
    folded: bool = False
    crease: bool = False
    margins: str | None = None
    one_way: bool = False
    both_faces: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """One entry of the journal and what she should know about it."""

    entry: Entry
    warnings: tuple[str, ...]


def add_typed(held: Stash, cloth: Cloth) -> Added:
    """Adds one length or remnant from its typed size."""
    from stash.ask.colour import shade
    from stash.intake import from_sizes

    if (cloth.width is None) != (cloth.length is None):
        raise InputWrong("only one of width and length is given", "give both --width and --length")
    if cloth.width is None:
        raise InputWrong("neither a photograph nor a size is given", "name a photo, or give --width and --length")
    fabric = _existing(held, cloth)
    print_, start_mm = _told_print(cloth)
    wish = wish_of(cloth, fabric, Asked())
    if start_mm is not None and wish.origin_mm is None:
        wish = replace(wish, origin_mm=start_mm)
    if cloth.counted is not None:
        laid = _laid(cloth, wish, print_ or (fabric.print if fabric is not None else Print(kind="plain")))
        wish, print_ = replace(wish, origin_mm=laid.origin_mm), laid.print
    taken = from_sizes(wish, print_)
    made = taken.fabric
    if made is not None and made.print.kind == "plain" and (hex_ := shade(made.name)) is not None:
        made = replace(made, extra={**made.extra, "hex": hex_})
    return Added(entry=held.add(made, _usable(taken.pieces, cloth)), warnings=taken.warnings)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What one photograph shows, with the photograph as the stash keeps it: small enough to hold many at once.

    ``looks`` are of its cloths, largest first; ``numbers`` what they are called by.
    """

    measurement: Measurement
    cut_off: tuple[bool, ...]
    photo: KeptPhoto
    looks: tuple[Impression, ...]
    numbers: tuple[int, ...]

    def only(self, wanted: Sequence[int]) -> Seen:
        """The same photograph with some of its scraps alone, by their numbers. Raises InputWrong where there is none
        of that number."""
        cloths = self.measurement.scraps or (self.measurement.main,)
        missing = [number for number in wanted if not 1 <= number <= len(cloths)]
        if missing:
            count = f"{len(cloths)} cloth{'s' * (len(cloths) != 1)}"
            raise InputWrong(
                f"{self.measurement.photo} shows {count} and no number {missing[0]}",
                "see them numbered with: add PHOTO --look",
            )
        kept = sorted(set(wanted))
        some = tuple(cloths[number - 1] for number in kept)
        return replace(
            self,
            measurement=replace(self.measurement, main=some[0], scraps=some if len(some) > 1 else ()),
            cut_off=tuple(self.cut_off[number - 1] for number in kept if number <= len(self.cut_off)),
            looks=tuple(self.looks[number - 1] for number in kept),
            numbers=tuple(kept),
        )


def seen(photo: Photo, found: Measured) -> Seen:
    """What is to be added of a photograph that is measured."""
    from stash.glance import impressions
    from stash.intake import cut_off_in, kept

    looks = impressions(photo, found)
    return Seen(
        measurement=found.measurement,
        cut_off=cut_off_in(found),
        photo=kept(photo),
        looks=looks,
        numbers=tuple(range(1, len(looks) + 1)),
    )


def see(photo_file: Path, asked: Asked) -> Seen:
    """Opens and measures one photograph. Raises vision's errors."""
    from stash.intake import measure

    return seen(*measure(photo_file, request(asked)))


def add_photos(
    held: Stash, photo_files: Sequence[Path], cloth: Cloth, asked: Asked, only: Sequence[int] | None = None
) -> list[Added]:
    """Adds what photographs of one fabric show, or ``only`` the scraps of those numbers; with a typed size, one
    photograph of a part of that length.

    The first makes the fabric where it is new. All of them are added or none.

    Raises:
        InputWrong: what is typed does not go with the photographs. NotCertain: one of them does not say enough.
        VisionError: one of them cannot be opened.
    """
    if cloth.stripes is not None:
        raise InputWrong("stripes are typed and a photograph is given too", "leave out --stripes or the photograph")
    if (cloth.width is None) != (cloth.length is None):
        raise InputWrong("only one of width and length is given", "give both --width and --length, or neither")
    if cloth.width is not None and len(photo_files) > 1:
        raise InputWrong(
            f"one width and length are given for {len(photo_files)} photographs",
            "add them one by one, each with its size",
        )
    wish_of(cloth, _existing(held, cloth), asked)
    shown = [see(file, asked) for file in photo_files]
    if only is not None:
        shown = [one.only(only) for one in shown]
    done: list[Added] = []
    try:
        for one in shown:
            done.append(add_seen(held, one, cloth, asked))
            made = done[0].entry.fabrics_in
            if cloth.fabric_id is None and made:
                cloth = replace(cloth, name=None, fabric_id=made[0])
    except BaseException:
        for added in reversed(done):
            held.undo(only=added.entry.number)
        raise
    return done


def add_seen(held: Stash, one: Seen, cloth: Cloth, asked: Asked) -> Added:
    """Adds what was seen in one photograph, as one entry of the journal."""
    from stash.intake import from_measurement, lie_of
    from stash.print_seen import print_of, with_repeat

    wish = wish_of(cloth, _existing(held, cloth), asked)
    measurement = one.measurement
    if cloth.counted is not None and measurement.main.print is not None:
        own = print_of(measurement.main.print) if wish.fabric is None else wish.fabric.print
        laid = _laid(cloth, wish, own, lie_of(measurement.main, wish))
        wish = replace(wish, origin_mm=laid.origin_mm)
        if wish.fabric is None and laid.print.across is not None:
            measurement = with_repeat(measurement, laid.print.across)
    taken = from_measurement(measurement, wish, cut_off=one.cut_off, look=one.looks[0] if one.looks else None)
    entry = held.add(taken.fabric, _usable(taken.pieces, cloth), photo=one.photo)
    return Added(entry=entry, warnings=tuple(dict.fromkeys((*entry.notes, *one.measurement.warnings, *taken.warnings))))


def _laid(cloth: Cloth, wish: Wish, print_: Print, direction_deg: float = 0.0) -> Laid:
    """The stripes as they were counted across the width. Raises InputWrong where that does not go with the print."""
    if wish.size_mm is None:
        raise InputWrong("a stripe is counted across cloth of no size", "give --width and --length, too")
    if cloth.start is not None:
        raise InputWrong("both the start of the repeat and a count are given", "leave out --start or --counted")
    return laid_by_count(
        print_,
        read_count(cloth.counted or ""),
        wish.size_mm[0],
        direction_deg=direction_deg,
        known=wish.fabric is not None,
    )


def _usable(pieces: Sequence[Piece], cloth: Cloth) -> tuple[Piece, ...]:
    """The pieces without what is kept out of use, their old fold marked."""
    margins = {} if cloth.margins is None else read_margins(cloth.margins)
    done = []
    for piece in pieces:
        xs = [x for x, _ in piece.outline_mm]
        middle = (min(xs) + max(xs)) / 2
        piece = without_margins(piece, margins)
        done.append(creased(piece, middle) if cloth.folded and cloth.crease else piece)
    return tuple(done)


def wish_of(cloth: Cloth, fabric: Fabric | None, asked: Asked) -> Wish:
    """What is said of the cloth, read. Raises InputWrong."""
    from stash.intake import Wish
    from stash.measuring import runs_upright

    if cloth.name is not None and not cloth.name.strip():
        raise InputWrong("the name of the cloth is blank", "say what to call it with --name")
    size = None
    if cloth.width is not None and cloth.length is not None:
        width, length = parse_length(cloth.width, what="the width"), parse_length(cloth.length, what="the length")
        size = (width * (2 if cloth.folded else 1), length)
    elif cloth.folded:
        raise InputWrong("folded cloth is told of, and no size of it", "give --width and --length, too")
    return Wish(
        name=cloth.name,
        fabric=fabric,
        size_mm=size,
        origin_mm=None
        if cloth.start is None
        else parse_length(cloth.start, what="the start of the repeat", allow_negative=True),
        torn=asked.torn,
        selvage=asked.selvage,
        thread_upright=asked.thread is not None and runs_upright(asked.thread),
        one_way=cloth.one_way,
        both_faces=cloth.both_faces,
    )


def _existing(held: Stash, cloth: Cloth) -> Fabric | None:
    if cloth.fabric_id is None:
        return None
    if cloth.stripes is not None:
        raise InputWrong("stripes are given for a fabric that is kept already", "leave out --stripes or give --name")
    return held.fabric(cloth.fabric_id)


def _told_print(cloth: Cloth) -> tuple[Print | None, float | None]:
    """The print told in words, and where its repeat starts; both None where nothing is told."""
    if cloth.stripes is None:
        return None, None
    from stash.ask.cloth import parse_cloth

    fabric, pieces = parse_cloth(f"{cloth.width} × {cloth.length}; {cloth.stripes}")
    return fabric.print, pieces[0].stripe_origin_mm
