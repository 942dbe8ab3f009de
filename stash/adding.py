"""Adding cloth to the stash: from photographs, or from a size and stripes that are typed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from stash.errors import InputWrong
from stash.lengths import parse_length
from stash.measuring import Asked, request

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry
    from stash.catalogue.stash import Stash
    from stash.fabric import Fabric, Print
    from stash.intake import Wish
    from vision.measure import Measured
    from vision.photo import Photo


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloth:
    """What is said of the cloth besides its photographs, as typed.

    ``stripes`` are told in words ("from the left selvage red 3/4 in, white 1/4"); ``start`` is where the repeat starts,
    from the left edge.
    """

    name: str | None = None
    fabric_id: str | None = None
    width: str | None = None
    length: str | None = None
    stripes: str | None = None
    start: str | None = None
    one_way: bool = False
    both_faces: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """One entry of the journal and what she should know about it."""

    entry: Entry
    warnings: tuple[str, ...]


def add_typed(held: Stash, cloth: Cloth) -> Added:
    """Adds one length or remnant from its typed size."""
    from stash.intake import from_sizes

    if (cloth.width is None) != (cloth.length is None):
        raise InputWrong("only one of width and length is given", "give both --width and --length")
    if cloth.width is None:
        raise InputWrong("neither a photograph nor a size is given", "name a photo, or give --width and --length")
    fabric = _existing(held, cloth)
    print_, start_mm = _told_print(cloth)
    wish = _wish(cloth, fabric, Asked())
    if start_mm is not None and wish.origin_mm is None:
        wish = replace(wish, origin_mm=start_mm)
    taken = from_sizes(wish, print_)
    return Added(entry=held.add(taken.fabric, taken.pieces), warnings=taken.warnings)


def add_photo(held: Stash, photo_file: Path, cloth: Cloth, asked: Asked) -> Added:
    """Adds what one photograph shows: its cloths, or with a typed size the length of which it shows a part."""
    from stash.intake import measure

    if (cloth.width is None) != (cloth.length is None):
        raise InputWrong("only one of width and length is given", "give both --width and --length, or neither")
    photo, found = measure(photo_file, request(asked))
    return add_found(held, photo, found, cloth, asked)


def add_found(held: Stash, photo: Photo, found: Measured, cloth: Cloth, asked: Asked) -> Added:
    """Adds what was found in a photograph that is measured already."""
    from stash.intake import cut_off_in, from_measurement, kept

    wish = _wish(cloth, _existing(held, cloth), asked)
    taken = from_measurement(found.measurement, wish, cut_off=cut_off_in(found))
    entry = held.add(taken.fabric, taken.pieces, photo=kept(photo))
    return Added(entry=entry, warnings=tuple(dict.fromkeys((*found.measurement.warnings, *taken.warnings))))


def add_photos(held: Stash, photo_files: Sequence[Path], cloth: Cloth, asked: Asked) -> list[Added]:
    """Adds what several photographs of one fabric show; the first makes the fabric where it is new."""
    done: list[Added] = []
    for file in photo_files:
        done.append(add_photo(held, file, cloth, asked))
        made = done[0].entry.fabrics_in
        if cloth.fabric_id is None and made:
            cloth = replace(cloth, name=None, fabric_id=made[0])
    return done


def _wish(cloth: Cloth, fabric: Fabric | None, asked: Asked) -> Wish:
    from stash.intake import Wish

    size = None
    if cloth.width is not None and cloth.length is not None:
        size = (parse_length(cloth.width, what="the width"), parse_length(cloth.length, what="the length"))
    return Wish(
        name=cloth.name,
        fabric=fabric,
        size_mm=size,
        origin_mm=None
        if cloth.start is None
        else parse_length(cloth.start, what="the start of the repeat", allow_negative=True),
        torn=asked.torn,
        selvage=asked.selvage,
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
