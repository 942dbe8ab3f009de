"""A stash of fabrics that are like each other as fabrics are: some near others, each settled by the seed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from stash.colour import lab_of
from stash.nearness import differences
from tests.makers.cloth import AnyPrint, Cloth, PlainPrint, StripePrint, Stripes
from tests.makers.scene import Scene
from tests.makers.variety import Kind, draw, printed

#: How many fabrics there are of each kind; the last are made from stripes before them, one thing changed.
KINDS: tuple[Kind, ...] = ("stripe",) * 15 + ("check",) * 5 + ("motif",) * 5 + ("plain",) * 3
NEAR = ("wider", "longer", "other", "swapped") * 3
#: Repeats fit this length 2.6 times, and no stripe is narrower, mm.
_EXTENT_MM, _LEAST_MM = 150.0, 3.5
#: How one thing differs: a stripe wider by this share and these mm, a repeat longer by this share, a colour by this,
#: CIEDE2000, and no more than that.
WIDER_SHARE, WIDER_MM, LONGER_SHARE, OTHER_DE = 0.10, 1.0, 0.035, (9.0, 16.0)


def prints(seed: int) -> tuple[AnyPrint, ...]:
    """The prints of forty fabrics."""
    rng = np.random.default_rng([seed, 4040])
    found: list[AnyPrint] = []
    for kind in KINDS:
        print_ = printed(rng, kind, _EXTENT_MM, _LEAST_MM)
        while isinstance(print_, PlainPrint) and any(
            isinstance(other, PlainPrint) and _apart(print_.colour, other.colour) < OTHER_DE[0] for other in found
        ):
            print_ = printed(rng, kind, _EXTENT_MM, _LEAST_MM)
        found.append(print_)
    for number, how in enumerate(NEAR):
        found.append(_near(rng, found, number, how))
    return tuple(found)


def stranger(rng: np.random.Generator) -> AnyPrint:
    """The print of a fabric that is in no stash, as such prints are drawn."""
    kind: Kind = ("stripe", "stripe", "check", "motif")[int(rng.integers(4))]
    return printed(rng, kind, _EXTENT_MM, _LEAST_MM)


def portrait_scene(print_: AnyPrint, seed: int) -> Scene:
    """A length of a fabric photographed by itself, whole on a table, a ruler beside it."""
    scene = draw(seed, kinds=("stripe",))
    cloth: Cloth = replace(scene.cloths[0], print=print_)
    return replace(scene, cloths=(cloth,))


def _near(rng: np.random.Generator, found: list[AnyPrint], number: int, how: str) -> AnyPrint:
    """One of the striped prints with one thing changed."""
    striped = [one for one in found[:15] if isinstance(one, StripePrint)]
    if how == "swapped":
        striped = [one for one in striped if max(one.across.widths_mm) > (1 + WIDER_SHARE) * min(one.across.widths_mm)]
    own = striped[(number * 5 + 1) % len(striped)].across
    widths, colours = list(own.widths_mm), list(own.colours)
    if how == "wider":
        at = int(np.argmax(widths))
        more = max(WIDER_MM, WIDER_SHARE * widths[at])
        widths[at] -= more
        widths[(at + 1) % len(widths)] += more
    elif how == "longer":
        widths = [width * (1 + LONGER_SHARE) for width in widths]
    elif how == "other":
        changed = colours[0]
        other = _other(rng, changed)
        colours = [other if colour == changed else colour for colour in colours]
    else:  # the widest and the narrowest change places, their colours stay
        wide, narrow = int(np.argmax(widths)), int(np.argmin(widths))
        widths[wide], widths[narrow] = widths[narrow], widths[wide]
    return StripePrint(across=Stripes(widths_mm=tuple(widths), colours=tuple(colours)))


def _other(rng: np.random.Generator, colour: str) -> str:
    """A colour that differs from another by OTHER_DE."""
    base = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)], dtype=np.float64)
    while True:
        step = rng.normal(0, 1, 3)
        moved = np.clip(base + step / math.sqrt(float(step @ step)) * rng.uniform(15, 60), 5, 250)
        other = "#" + "".join(f"{round(v):02x}" for v in moved)
        if OTHER_DE[0] <= _apart(colour, other) <= OTHER_DE[1]:
            return other


def _apart(one: str, other: str) -> float:
    return float(differences(lab_of(one), lab_of(other))[0])
