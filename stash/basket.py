"""The scraps of one photograph: what each is of, settled by its looks or by her, and all of them kept as one entry."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from stash.adding import Added, Cloth, Seen, wish_of
from stash.ask.scrap import Told, told
from stash.errors import InputWrong, NotCertain
from stash.fabric import Fabric
from stash.intake import Wish, fabric_of, pieces_of
from stash.matching import Laid
from stash.measuring import Asked
from stash.recognition.alignment import EDGE_SPREAD_MM
from stash.recognition.light import shared_light
from stash.recognition.recognising import OTHER_COLOUR_DE, Recognition, recognise

if TYPE_CHECKING:
    from stash.catalogue.stash import Stash
    from stash.recognition.impression import Impression
    from vision.measurement import Cloth as ClothSeen

Outcome = Literal["kept", "new", "left out"]

#: Asked this often without an answer that can be read, the scrap is left out rather than asked for ever.
MOST_TRIES: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scrap:
    """One scrap of a photograph. ``place`` says where it lies in the picture, ``size_mm`` how large its box is;
    ``proposed`` is what its fabric is called if it is new, None where its print is not known well enough for that."""

    number: int
    place: str
    size_mm: tuple[float, float]
    area_mm2: float
    said: Recognition
    proposed: str | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled:
    """What becomes of a scrap: it is of ``fabric``, which ``is_new``, or of None and left out."""

    scrap: Scrap
    fabric: Fabric | None
    is_new: bool = False
    asked: bool = False

    @property
    def outcome(self) -> Outcome:
        """In a word."""
        return "left out" if self.fabric is None else "new" if self.is_new else "kept"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Basket:
    """All scraps of one photograph as they were settled, and what was added of them; None where nothing was."""

    photo: str
    settled: tuple[Settled, ...]
    added: Added | None = None


#: Asks what a scrap is of: the scrap, the answer taken where she types nothing (None: she must say), and what was wrong
#: with the last answer. Returns what she typed.
Asker = Callable[[Scrap, str | None, str | None], str]


def scraps_of(one: Seen, fabrics: Sequence[Fabric]) -> tuple[Scrap, ...]:
    """What each scrap of a photograph is. Raises NotCertain where there is no scale or no cloth."""
    measurement = one.measurement
    if measurement.scale is None:
        raise NotCertain(
            f"{measurement.photo} shows nothing that sets its scale",
            "photograph it again with a ruler beside the cloth",
        )
    cloths = cloths_of(one)
    if not cloths:
        raise NotCertain(
            f"no cloth was found in {measurement.photo}",
            "photograph it whole on a table of another colour, or give --width and --length with --name",
        )
    said = recognise(one.looks, fabrics)
    return tuple(
        _scrap(number, cloth, recognition, one)
        for number, (cloth, recognition) in enumerate(zip(cloths, said, strict=True))
    )


def cloths_of(one: Seen) -> tuple[ClothSeen, ...]:
    """The cloths of a photograph, as its looks are counted."""
    return one.measurement.scraps or ((one.measurement.main,) if one.measurement.main.outline is not None else ())


def _scrap(number: int, cloth: ClothSeen, said: Recognition, one: Seen) -> Scrap:
    assert cloth.outline is not None
    xs, ys = zip(*cloth.outline.points_mm, strict=True)
    return Scrap(
        number=one.numbers[number],
        place=one.looks[number].place,
        size_mm=(max(xs) - min(xs), max(ys) - min(ys)),
        area_mm2=cloth.outline.area_mm2,
        said=said,
        proposed=None if cloth.print is None else _name(_made(cloth, one, number, "cloth")),
    )


def settle(one: Seen, scraps: Sequence[Scrap], fabrics: Sequence[Fabric], ask: Asker | None) -> tuple[Settled, ...]:
    """What becomes of each scrap, the largest first: taken where it is sure, else asked for.

    With nobody to ask, a scrap that is surely of no fabric that is kept is a new one, under a plain name, and one that
    is not sure is left out. A scrap that is like a new one before it is of the same fabric.
    """
    kept, made, done = {fabric.id: fabric for fabric in fabrics}, dict[str, Fabric](), list[Settled]()
    for number, scrap in enumerate(scraps):
        fabric = scrap.said.fabric or _like_new(one, number, list(made.values()))
        if fabric is not None:
            done.append(Settled(scrap=scrap, fabric=fabric, is_new=fabric.id in made))
            continue
        answer = _answer(scrap, {**kept, **made}, ask)
        chosen = None
        if answer.fabric is not None:
            chosen = kept.get(answer.fabric) or made[answer.fabric]
        elif answer.name is not None and scrap.proposed is not None:
            chosen = _named(_made(cloths_of(one)[number], one, number, answer.name), {**kept, **made})
            made[chosen.id] = chosen
        done.append(
            Settled(scrap=scrap, fabric=chosen, is_new=chosen is not None and chosen.id in made, asked=ask is not None)
        )
    return tuple(done)


def _like_new(one: Seen, number: int, made: Sequence[Fabric]) -> Fabric | None:
    """The fabric among those just made, from this photograph and so in its light, that the scrap surely is of."""
    if not made:
        return None
    (said,) = recognise([one.looks[number]], made, light=shared_light([np.ones(3)]))
    return said.fabric


def _answer(scrap: Scrap, kept: Collection[str], ask: Asker | None) -> Told:
    if ask is None:
        return Told(name=scrap.proposed if scrap.said.verdict == "new" else None)
    shortlist = [row.fabric.id for row in scrap.said.candidates]
    usual = usual_answer(scrap)
    complaint: str | None = None
    for _ in range(MOST_TRIES):
        said = ask(scrap, usual, complaint).strip() or (usual or "")
        try:
            answer = told(said, shortlist, kept, scrap.proposed or "")
        except InputWrong as wrong:
            complaint = f"{wrong.problem[:1].upper()}{wrong.problem[1:]}: {wrong.remedy}."
            continue
        if answer.name is None or scrap.proposed is not None:
            return answer
        complaint = "Too little of its print shows to make a new fabric of it: say a fabric that is kept, or leave."
    return Told()


def usual_answer(scrap: Scrap) -> str | None:
    """What is taken where she types nothing: the likeliest, if it is likelier than not."""
    if scrap.said.candidates and scrap.said.candidates[0].share > 0.5:
        return "1"
    return "new" if scrap.proposed is not None and scrap.said.new > 0.5 else "leave"


def keep(held: Stash, one: Seen, settled: Sequence[Settled], asked: Asked) -> Basket:
    """Adds what was settled, all of a photograph as one entry of the journal."""
    made = {row.fabric.id: row.fabric for row in settled if row.is_new and row.fabric is not None}
    choices = [row.fabric for row in settled]
    basket = Basket(photo=one.measurement.photo, settled=tuple(settled))
    if not any(choices):
        return basket
    wish = wish_of(Cloth(name="scraps"), None, asked)
    laid = [_laid(row, look) for row, look in zip(settled, one.looks, strict=True)]
    pieces, warnings = pieces_of(
        one.measurement, choices, made, wish, numbers=one.numbers, laid=laid, cut_off=one.cut_off
    )
    entry = held.add(None, pieces, photo=one.photo, besides=tuple(made.values()))
    return replace(basket, added=Added(entry=entry, warnings=(*entry.notes, *warnings)))


def _laid(row: Settled, look: Impression) -> Laid | None:
    """Where the scrap lies in its fabric's repeat by its looks; None where they do not tell."""
    fits = [one.fit for one in row.scrap.said.candidates if row.fabric is not None and one.fabric.id == row.fabric.id]
    laid = fits[0].laid if fits else None
    if row.fabric is None or laid is None or not laid.alone or len(look.runs) != 1:
        return None
    if fits[0].colour_de > OTHER_COLOUR_DE or laid.edges_off_mm > 2 * EDGE_SPREAD_MM:
        return None
    run, first = look.runs[0], row.fabric.print.stripes[0]
    middle = np.array([run.length_mm / 2])
    place = float(laid.place_mm(middle)[0]) + first.centre_mm - first.width_mm / 2
    along = run.start_mm + run.length_mm / 2
    return Laid(
        direction_deg=run.direction_deg + (180.0 if laid.reverse else 0.0),
        origin_mm=(-along if laid.reverse else along) - place,
        u95_mm=2 * EDGE_SPREAD_MM,
    )


def _made(cloth: ClothSeen, one: Seen, number: int, name: str) -> Fabric:
    assert cloth.print is not None
    return fabric_of(cloth.print, one.looks[number], Wish(name=name))


def _named(fabric: Fabric, taken: Collection[str]) -> Fabric:
    from stash.ask.cloth import slug

    stem = slug(fabric.name).strip("-")
    number, made = 1, stem
    while made in taken:
        number += 1
        made = f"{stem}-{number}"
    return replace(fabric, id=made, name=fabric.name if number == 1 else f"{fabric.name} {number}")


def _name(fabric: Fabric) -> str:
    """A plain name from its looks: "Dark blue and pale yellow stripe"."""
    print_ = fabric.print
    widest = sorted(print_.stripes, key=lambda stripe: -stripe.width_mm)
    listed = print_.extra.get("colours")
    told_of = [str(row["colour"]) for row in listed if "colour" in row] if isinstance(listed, list) else []
    colours = list(dict.fromkeys(stripe.colour for stripe in widest if stripe.colour)) or told_of
    words = " and ".join(colours[: 1 if print_.kind == "plain" else 2]) or "unnamed"
    return f"{words[:1].upper()}{words[1:]} {'cloth' if print_.kind == 'plain' else print_.kind}"
