"""Resolved garments as plain data, as a plan carries them, and back; several garments as one list of parts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, fields, replace
from typing import Any, Final

from stash.errors import InputWrong
from stash.garment.part import Garment, Laid, Panel, Part, Strip

#: Lengths are written to a millionth of a millimetre, so that nothing is lost on the way back.
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


def from_document(document: Mapping[str, Any]) -> Garment:
    """The garment that ``to_document`` wrote; keys of another version are passed over. Raises InputWrong."""
    try:
        return Garment(
            name=str(document["name"]),
            seam_mm=float(document["seam_mm"]),
            strips=tuple(_read(Strip, strip) for strip in document["strips"]),
            panels=tuple(_read(Panel, panel) for panel in document["panels"]),
            cautions=tuple(document.get("cautions", ())),
            notes=tuple(document.get("notes", ())),
            shape=document.get("shape"),
            figures_mm=dict(document.get("figures_mm", {})),
            before=tuple(_read(Strip, strip) for strip in document.get("before", ())),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputWrong(
            f"the garment in the plan cannot be read ({error})", "make the plan again with enough"
        ) from error


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


def _read(kind: type[Any], values: Mapping[str, Any]) -> Any:
    known = {item.name for item in fields(kind)}
    said = {name: value for name, value in values.items() if name in known}
    if "extra_mm" in said:
        said["extra_mm"] = tuple(float(number) for number in said["extra_mm"])
    if "hide_mm" in said:
        said["hide_mm"] = tuple((float(low), float(high)) for low, high in said["hide_mm"])
    if "corner" in said:
        said["corner"] = tuple(tuple(corner) for corner in said["corner"])
    if said.get("laid") is not None:
        said["laid"] = Laid(**said["laid"])
    return kind(**said)


def together(garments: Sequence[Garment]) -> tuple[Garment, ...]:
    """The garments with ids that no two parts share, so that one plan can hold them all.

    Where two garments use the same id, each such part is called by its garment too ("Jacket: hem"; "Jacket 2: hem"
    where the names agree as well). Pairs, mirror sets, corners and what lies outward stay within their garment.
    """
    if len(garments) < 2:
        return tuple(garments)
    names = told_apart([garment.name for garment in garments])
    counts = Counter(part.id for garment in garments for part in garment.parts)

    def called(part_id: str, name: str) -> str:
        return f"{name}: {part_id}" if counts[part_id] > 1 else part_id

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
