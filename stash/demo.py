"""The demo: a gardener's jacket of plain indigo linen, bordered with a deck-chair stripe, from photographs to sheet.

Everything in it is computed from the photographs in ``samples/``, which the project's own scene maker rendered.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stash.errors import Conflict, NotFound, OurFault

if TYPE_CHECKING:
    from collections.abc import Callable

    from stash.actions import Answered
    from stash.catalogue.stash import Stash

#: The photographs by what they show, and the edge that was torn.
LENGTHS = ("stripe-length-1.jpg", "stripe-length-2.jpg")
REMNANTS = "stripe-remnants.jpg"
CLOSE = "stripe-close.jpg"
GARMENT = "gardeners-jacket.toml"
OTHERS = ("gardeners-skirt.toml", "gardeners-shawl.toml")
STRIPE_NAME = "Deck-chair stripe"
LINEN_NAME, LINEN_WIDTH, LINEN_LENGTH = "Indigo linen", "60 in", "2 yd"
#: A folder with this file in it was made by the demo and may be made anew.
MARK = "stripewright-demo.txt"


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What the demo did: the measurement documents by photograph, the answer, and the files it wrote."""

    folder: Path
    measurements: dict[str, dict[str, Any]]
    answered: Answered
    files: tuple[tuple[str, str], ...]


def samples() -> Path:
    """The folder of samples, beside the packages in a checkout, inside the package once installed. Raises OurFault."""
    package = Path(str(resources.files("stash")))
    for folder in (package / "samples", package.parent / "samples"):
        if (folder / GARMENT).is_file():
            return folder
    raise OurFault("the demo's samples are not in this installation", "install it again")


def play(folder: Path, tell: Callable[[str], None]) -> Story:
    """Plays the demo into a folder, which is made anew.

    Raises:
        Conflict: the folder holds something that the demo did not make.
    """
    from stash import actions

    source = samples()
    _clear(folder)
    held = actions.stash_at(folder / "stash", write=True)
    measurements = dict(_measured(source, folder, held, tell))
    tell("adding the plain linen, typed in")
    _add_linen(held)
    garment = folder / GARMENT
    for name in (GARMENT, *OTHERS):
        shutil.copyfile(source / name, folder / name)
    tell("planning the cuts")
    answered = actions.enough_of([garment], folder / "stash", progress=tell)
    plan = folder / "plan.json"
    actions.write_text(plan, actions.as_json(answered.document) + "\n")
    files = [("plan.json", "the plan, for other programs")]
    if answered.plan.answer == "yes":
        for name in ("cutting-sheet.pdf", "cutting-sheet.svg", "cutting-sheet.html"):
            tell(f"drawing {name}")
            actions.write_sheet(plan, folder / name, folder / "stash")
        files = [
            ("cutting-sheet.pdf", "for the table; also as .svg and .html"),
            *files,
        ]
    files = [
        (_overlay_name(LENGTHS[0]), "what was seen, drawn on the photograph"),
        *files,
        (GARMENT, "the jacket; change it and ask again"),
        ("stash", "the catalogue of this demo"),
    ]
    return Story(folder=folder, measurements=measurements, answered=answered, files=tuple(files))


def _measured(
    source: Path, folder: Path, held: Stash, tell: Callable[[str], None]
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Measures each photograph, draws its overlay, and adds the cloth of all but the close view to the stash."""
    from stash.adding import Cloth, add_seen, seen
    from stash.intake import measure
    from stash.measuring import Asked, draw_overlay, request

    cloth = Cloth(name=STRIPE_NAME)
    asked = Asked(torn="top")
    for name in (*LENGTHS, REMNANTS, CLOSE):
        tell(f"measuring {name}")
        photo, found = measure(source / name, request(Asked() if name == CLOSE else asked))
        draw_overlay(photo, found, folder / _overlay_name(name))
        if name != CLOSE:
            added = add_seen(held, seen(photo, found), cloth, asked)
            if added.entry.fabrics_in:
                cloth = Cloth(fabric_id=added.entry.fabrics_in[0])
        yield name, found.measurement.to_document()


def _add_linen(held: Stash) -> None:
    from stash.adding import Cloth, add_typed

    add_typed(held, Cloth(name=LINEN_NAME, width=LINEN_WIDTH, length=LINEN_LENGTH, both_faces=True))


def _overlay_name(photo: str) -> str:
    return f"seen-{Path(photo).stem}.jpg"


def _clear(folder: Path) -> None:
    """Makes the folder empty. Raises Conflict where it holds anything that the demo did not make."""
    if folder.exists() and not folder.is_dir():
        raise Conflict(f"{folder} is a file", "name a folder with --out")
    if folder.is_dir() and any(folder.iterdir()):
        if not (folder / MARK).is_file():
            raise Conflict(f"the folder {folder} holds something that the demo did not make", "name another with --out")
        shutil.rmtree(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / MARK).write_text("Made by: stripewright demo. It is made anew each time.\n", encoding="utf-8")
    except OSError as error:
        raise NotFound(f"the folder {folder} cannot be made ({error.strerror})", "name another with --out") from None
