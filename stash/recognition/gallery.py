"""All fabrics of a stash as they are recognised by, and those among thousands that are worth a close look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from stash.fabric import Fabric
from stash.recognition.impression import Floats, Impression, gathered
from stash.recognition.light import Light, coded, lab
from stash.recognition.likeness import REPEAT_SHARE
from stash.recognition.portrait import Portrait, colours_of, portrait

#: Of more fabrics than this only those are looked at closely whose colours are nearest, and so many whose repeat is the
#: scrap's, too (each takes some milliseconds).
MOST_CLOSE: Final = 60
#: Lightness counts so much beside hue and chroma: how dark the photograph is, is not known yet.
_LIGHTNESS: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gallery:
    """``fabrics`` (F) whose colours are known, and ``hidden`` ones of which none is.

    ``colours`` (C, 3) as stored are of all of them, each one's from its place in ``starts`` (F,); ``repeats_mm`` (F, 2)
    across and along are not numbers where there are none.
    """

    fabrics: tuple[Fabric, ...]
    colours: Floats
    starts: tuple[int, ...]
    repeats_mm: Floats
    hidden: tuple[Fabric, ...]
    drawn: dict[int, Portrait | None] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many fabrics there are."""
        return len(self.fabrics) + len(self.hidden)

    def near(self, seen: Impression, light: Light) -> list[Portrait]:
        """Those with a colour like each of the scrap's, the nearest first, and those of its repeat; all where they are
        few."""
        if len(self.fabrics) <= MOST_CLOSE:
            return self._portraits(range(len(self.fabrics)))
        order = np.argsort(self._apart(seen, light), kind="stable")
        alike = order[self._same_repeat(seen)[order]]
        return self._portraits(dict.fromkeys([*alike[:MOST_CLOSE].tolist(), *order[:MOST_CLOSE].tolist()]))

    def _apart(self, seen: Impression, light: Light) -> Floats:
        """How far (F,) the scrap's least matched colour is from each fabric's nearest."""
        own = lab(seen.pixels)
        own = own[[middle for middle, _ in gathered(own)]] if len(own) else own
        if not len(own):
            return np.zeros(len(self.fabrics))
        shown = lab(np.clip(self.colours * light.factor, 0, 1))
        apart = np.linalg.norm((own[:, None] - shown[None]) * np.array([_LIGHTNESS, 1.0, 1.0]), axis=2)
        return np.asarray(np.minimum.reduceat(apart, self.starts, axis=1).max(axis=0))

    def _same_repeat(self, seen: Impression) -> np.ndarray:
        """Which (F,) have some repeat that the scrap has."""
        own = [run.repeat for run in seen.runs] or [seen.across, seen.along]
        same = np.zeros(len(self.fabrics), dtype=bool)
        for repeat in own:
            if repeat is not None:
                same |= (np.abs(repeat.value / self.repeats_mm - 1) <= REPEAT_SHARE).any(axis=1)
        return same

    def _portraits(self, which: Sequence[int] | range | dict[int, None]) -> list[Portrait]:
        for number in which:
            if number not in self.drawn:
                self.drawn[number] = portrait(self.fabrics[number])
        return [one for number in which if (one := self.drawn[number]) is not None]


def gallery(fabrics: Sequence[Fabric]) -> Gallery:
    """The fabrics, to be looked through."""
    rows = [(fabric, colours_of(fabric)) for fabric in fabrics]
    known = [(fabric, colours) for fabric, colours in rows if colours]
    repeats = [
        [np.nan if one is None else one.value for one in (fabric.print.across, fabric.print.along)]
        for fabric, _ in known
    ]
    return Gallery(
        fabrics=tuple(fabric for fabric, _ in known),
        colours=coded([colour for _, colours in known for colour in colours]),
        starts=tuple(np.cumsum([0, *(len(colours) for _, colours in known[:-1])]).tolist()),
        repeats_mm=np.array(repeats, dtype=np.float64).reshape(-1, 2),
        hidden=tuple(fabric for fabric, colours in rows if not colours),
    )
