"""Resolved garments as plain data, as a plan carries them; several garments as one list of parts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import asdict, replace
from typing import Any, Final

from stash.garment.part import Garment, Part, Strip

#: Lengths are written to a millionth of a millimetre: nothing that the audit would see is lost.
_DIGITS: Final = 6


def to_document(garment: Garment) -> dict[str, Any]:
    """One garment as JSON-ready data: the names and units of ``stash.garment.part``, strips and panels apart."""
    return {
        "name": garment.name,
        "shape": garment.shape,
        "seam_mm": round(garment.seam_mm, _DIGITS),
        "strips": [_plain(strip) for strip in garment.strips],
        "panels": [_plain(panel) for panel in garment.panels],
        "cautions": list(garment.cautions),
        "notes": list(garment.notes),
        "figures_mm": {name: round(value, _DIGITS) for name, value in garment.figures_mm.items()},
        **({"before": [_plain(strip) for strip in garment.before]} if garment.before else {}),
    }


def to_documents(garments: Sequence[Garment]) -> list[dict[str, Any]]:
    """What stands under ``garments`` in a plan."""
    return [to_document(garment) for garment in garments]


def _plain(part: Part) -> dict[str, Any]:
    values = asdict(part)
    if values.get("laid", ...) is None:
        del values["laid"]
    for name, value in values.items():
        if name == "extra_mm":
            values[name] = [round(number, _DIGITS) for number in value]
        elif name == "hide_mm":
            values[name] = [[round(number, _DIGITS) for number in span] for span in value]
        elif name == "laid":
            values[name] = {key: round(v, _DIGITS) if isinstance(v, float) else v for key, v in value.items()}
        elif name == "corner":
            values[name] = [list(corner) for corner in value]
        elif name.endswith("_mm"):
            values[name] = round(value, _DIGITS)
    return values


def together(garments: Sequence[Garment], shared: Collection[str] = ()) -> tuple[Garment, ...]:
    """The garments with ids that no two parts share, so that one plan can hold them all.

    Where two garments use the same id, each such part is called by its garment too ("Jacket: hem"; "Jacket 2: hem"
    where the names agree as well), and so is each whose id is among the ``shared``. Pairs, mirror sets, corners and
    what lies outward stay within their garment.
    """
    if len(garments) < 2:
        return tuple(garments)
    names = told_apart([garment.name for garment in garments])
    counts = Counter(part.id for garment in garments for part in garment.parts)

    def called(part_id: str, name: str) -> str:
        return f"{name}: {part_id}" if counts[part_id] > 1 or part_id in shared else part_id

    return tuple(
        replace(
            garment,
            strips=tuple(_of_garment(strip, name, called) for strip in garment.strips),
            panels=tuple(replace(panel, id=called(panel.id, name)) for panel in garment.panels),
            before=tuple(_of_garment(strip, name, called) for strip in garment.before),
        )
        for garment, name in zip(garments, names, strict=True)
    )


def _of_garment(strip: Strip, name: str, called: Callable[[str, str], str]) -> Strip:
    return replace(
        strip,
        id=called(strip.id, name),
        pair=None if strip.pair is None else f"{name}: {strip.pair}",
        mirror=None if strip.mirror is None else f"{name}: {strip.mirror}",
        corner=tuple((called(one, name), end, called(two, name), far) for one, end, two, far in strip.corner),
        garment=name,
    )


def told_apart(names: Sequence[str]) -> list[str]:
    """The names, numbered from the second of the same one on, so that no two agree ("Jacket 2")."""
    result: list[str] = []
    for name in names:
        number, unique = 1, name
        while unique in result or (number > 1 and unique in names):
            number += 1
            unique = f"{name} {number}"
        result.append(unique)
    return result
