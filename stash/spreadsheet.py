"""Cloth out of a table that was kept as CSV: columns matched by name, units read, and the fate of every row told.

Nothing that stands in a row is lost: what is in a column that is not known goes into the notes with the column's name.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from stash.actions import read_text
from stash.catalogue.row import named_fabric, next_id
from stash.errors import InputWrong
from stash.fabric import Fabric, Print
from stash.fact import OF_FABRIC, OF_PIECE, noted_fabric, noted_piece
from stash.interchange.contents import Contents
from stash.lengths import Unit, parse_length
from stash.piece import Piece

if TYPE_CHECKING:
    from stash.catalogue.journal import Entry
    from stash.catalogue.stash import Stash

Kind = Literal["new", "more", "here", "left out"]

#: The key by which a piece knows the row that it came from, so that a table brought in again adds nothing twice.
ROW: Final = "from_row"
#: Longer cells than this are no table of cloth, characters.
_LONGEST_CELL: Final = 100_000

#: What people call their columns, by what is kept of them.
_COLUMNS: Final[Mapping[str, str]] = {
    word: key
    for key, words in {
        "name": "name fabric cloth material title description",
        "id": "id number no code",
        "width": "width wide cutwidth",
        "length": "length long amount yardage yards metres meters",
        "stripes": "stripes stripe",
        "colour": "colour color",
        "fibre": "fibre fiber content fibrecontent fibercontent composition",
        "weave": "weave type",
        "weight_gsm": "weight gsm",
        "care": "care laundry washingcare",
        "colourfast": "colourfast colorfast",
        "stretch": "stretch",
        "lot": "lot dyelot",
        "place": "place location shelf box bin drawer where",
        "source": "source shop store supplier from boughtat",
        "cost": "cost price paid",
        "notes": "notes note comments comment remarks",
        "washed": "washed prewashed",
    }.items()
    for word in words.split()
}
_UNITS: Final[Mapping[str, Unit]] = {
    "in": "in", "inch": "in", "inches": "in", "cm": "cm", "mm": "mm", "m": "m", "metres": "m", "meters": "m",
    "yd": "yd", "yds": "yd", "yards": "yd", "yardage": "yd", "ft": "ft", "feet": "ft",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """What becomes of one row: a new fabric, more of one, here already, or left out and why."""

    line: int
    kind: Kind
    fabric: str | None = None
    piece: str | None = None
    told: str = ""

    @property
    def document(self) -> dict[str, Any]:
        """Its row of the document ``table/1``."""
        return {"line": self.line, "fate": self.kind, "fabric": self.fabric, "piece": self.piece, "told": self.told}


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A table taken in, or with ``entry`` None only looked at or nothing new."""

    entry: Entry | None
    fates: tuple[Fate, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    line: int
    cells: Mapping[str, str]
    units: Mapping[str, Unit]
    digest: str


def take_table(held: Stash, file: Path, *, dry: bool = False) -> Taken:
    """Takes in what can be read of the table, or with ``dry`` only says what would become of each row.

    Raises InputWrong where the file is no table or names no column that is needed. A row that cannot be read is left
    out and told; the others come in.
    """
    rows = list(_rows(read_text(file).removeprefix("\ufeff"), str(file)))
    if dry:
        return Taken(entry=None, fates=_sorted_out(rows, held.contents())[1])
    told: list[Fate] = []

    def change(here: Contents) -> Contents:
        coming, fates = _sorted_out(rows, here)
        told[:] = fates
        return coming

    return Taken(entry=held.amend("imported", f"table {file.name}", change), fates=tuple(told))


def _rows(text: str, source: str) -> Iterator[_Row]:
    csv.field_size_limit(_LONGEST_CELL)
    first = text.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    table = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    try:
        heads = next(table, [])
        keys = [_key(head) for head in heads]
        known = {key for key, _ in keys}
        for needed in ("name", "width", "length"):
            if needed not in known:
                raise InputWrong(
                    f"{source} has no column for the {needed}; its first line says {', '.join(heads[:8])[:120] or '…'}",
                    "name the columns in the first line: name, width, length, and any of fibre, weight, place, notes",
                )
        line = table.line_num + 1
        for cells in table:
            if any(cell.strip() for cell in cells):
                yield _row(line, heads, keys, cells)
            line = table.line_num + 1
    except csv.Error as error:
        raise InputWrong(f"{source} cannot be read as a table ({error})", "save it as CSV in UTF-8") from None


def _key(head: str) -> tuple[str, Unit | None]:
    """What a column holds by its head, and the unit that the head names; the head itself where it is not known."""
    words = re.findall(r"[a-z]+", head.casefold())
    unit = next((_UNITS[word] for word in words if word in _UNITS), None)
    plain = [word for word in words if word not in _UNITS or len(words) == 1]
    for name in ("".join(plain), *plain[:1]):
        if name in _COLUMNS:
            return _COLUMNS[name], unit
    return head.strip(), None


def _row(line: int, heads: Sequence[str], keys: Sequence[tuple[str, Unit | None]], cells: Sequence[str]) -> _Row:
    kept: dict[str, str] = {}
    extra: list[str] = []
    units: dict[str, Unit] = {}
    for index, cell in enumerate(cells):
        text = cell.strip()
        key, unit = keys[index] if index < len(keys) else ("", None)
        if not text:
            continue
        if key in kept or key not in _COLUMNS.values():
            extra.append(f"{heads[index].strip() if index < len(heads) else 'more'}: {text}")
            continue
        kept[key] = text
        if unit is not None:
            units[key] = unit
    if extra:
        kept["notes"] = "\n".join([*([kept["notes"]] if "notes" in kept else []), *extra])
    digest = hashlib.sha256("\x1f".join(cell.strip() for cell in cells).encode()).hexdigest()[:16]
    return _Row(line=line, cells=kept, units=units, digest=digest)


def _sorted_out(rows: Sequence[_Row], here: Contents) -> tuple[Contents, tuple[Fate, ...]]:
    """What comes in, and each row's fate."""
    fabrics = {fabric.id: fabric for fabric in here.fabrics}
    by_name = {fabric.name.casefold(): fabric.id for fabric in here.fabrics}
    pieces = {piece.id for piece in here.pieces}
    lines = {piece.extra.get(ROW) for piece in here.pieces}
    coming: list[Piece] = []
    new: list[str] = []
    fates: list[Fate] = []
    seen: dict[str, int] = {}
    for row in rows:
        seen[row.digest] = seen.get(row.digest, 0) + 1  # two rows that say the same are two pieces
        mark = f"{row.digest}-{seen[row.digest]}"
        if mark in lines:
            fates.append(Fate(line=row.line, kind="here", told="is in the stash already"))
            continue
        try:
            name = row.cells.get("name", "").replace("\n", " ")
            if not name:
                raise InputWrong("it has no name", "write one")
            fabric_id = by_name.get(name.casefold())
            fabric = fabrics[fabric_id] if fabric_id else named_fabric(_fabric(row, name), fabrics, pieces)
            piece = _piece(row, fabric, mark, pieces, {*fabrics, fabric.id})
        except InputWrong as error:
            fates.append(Fate(line=row.line, kind="left out", told=str(error)))
            continue
        if fabric_id is None:
            fabrics[fabric.id] = fabric
            by_name[name.casefold()] = fabric.id
            new.append(fabric.id)
        pieces.add(piece.id)
        coming.append(piece)
        fates.append(Fate(line=row.line, kind="more" if fabric_id else "new", fabric=fabric.id, piece=piece.id))
    return Contents(fabrics=tuple(fabrics[name] for name in new), pieces=tuple(coming)), tuple(fates)


def _fabric(row: _Row, name: str) -> Fabric:
    from stash.ask.colour import shade
    from stash.interchange.reader import read_fabric
    from stash.interchange.writer import fabric_document

    print_ = Print(kind="plain")
    if "stripes" in row.cells:
        from stash.ask.cloth import parse_cloth

        print_ = parse_cloth(f"1 m × 1 m; {row.cells['stripes']}")[0].print
    fabric = Fabric(id="", name=name, print=print_)
    facts = {key: text for key, text in row.cells.items() if key in OF_FABRIC and key not in OF_PIECE}
    if "weight_gsm" in facts and "oz" not in facts["weight_gsm"] and not facts["weight_gsm"][-1:].isalpha():
        facts["weight_gsm"] += " gsm"
    fabric = noted_fabric(fabric, facts)
    colour = row.cells.get("colour")
    if colour and (hex_ := shade(colour)) is not None and print_.kind == "plain":
        fabric = replace(fabric, extra={**fabric.extra, "hex": hex_})
    if colour:
        fabric = replace(fabric, extra={**fabric.extra, "colour": colour})
    read_fabric(fabric_document(replace(fabric, id="x")), source="it")
    return fabric


def _piece(row: _Row, fabric: Fabric, mark: str, taken: set[str], fabrics: Collection[str]) -> Piece:
    sizes = {}
    for key in ("width", "length"):
        if key not in row.cells:
            raise InputWrong(f"it has no {key}", "write one, with its unit")
        text = row.cells[key]
        sizes[key] = parse_length(text, default_unit=row.units.get(key), what=f"the {key}")
        if sizes[key] <= 0:
            raise InputWrong(f"its {key} is nothing", "write one, with its unit")
    wide, long = sizes["width"], sizes["length"]
    piece_id = row.cells.get("id", "")
    if piece_id in taken:
        raise InputWrong(f"there is a piece {piece_id[:40]!r} already", "give it another id")
    piece = Piece(
        id=piece_id or next_id(fabric.id, {*taken, *fabrics}),
        fabric=fabric.id,
        outline_mm=((0.0, 0.0), (wide, 0.0), (wide, long), (0.0, long)),
        stripe_direction_deg=0.0 if fabric.print.kind == "plain" else None,
        extra={ROW: mark},
    )
    return noted_piece(piece, {key: text for key, text in row.cells.items() if key in OF_PIECE})
