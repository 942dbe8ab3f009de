"""A place in a document: a value with its path, so that every mistake can be told by where it stands."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from stash.errors import InputWrong

#: No coordinate or size of cloth is larger than this (1 km in mm); beyond it a unit has been mistaken.
LARGEST_MM = 1e6
#: Longest id, name or label, in characters: enough for a sentence, short enough for a line of a table.
LONGEST_TEXT = 200
#: How much of a wrong value an error message repeats, in characters.
_SHOWN = 40
#: Unicode's categories of what is no text: control characters, halves of characters, line and paragraph ends.
_BARRED = frozenset({"Cc", "Cs", "Zl", "Zp"})


@dataclass(frozen=True, slots=True)
class Spot:
    """A value of the document ``source``, found at ``path`` (``""`` for the document itself)."""

    value: Any
    path: str
    source: str

    def wrong(self, fault: str, remedy: str) -> InputWrong:
        """The error to raise for this place. ``fault`` follows the path: "is missing", "crosses itself"."""
        return InputWrong(f"{self.source}: {self.path or 'the document'} {fault}", remedy)

    def shown(self) -> str:
        """The value as an error message repeats it, cut short."""
        text = {True: "true", False: "false", None: "null"}.get(self.value) if _is_word(self.value) else None
        text = text or repr(self.value)
        return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"

    def keys(self) -> Mapping[str, Any]:
        """The value as an object with keys. Raises InputWrong where it is none."""
        if not isinstance(self.value, dict):
            raise self.wrong(f"is {self.shown()}, needed an object with keys", "write { … } there")
        return self.value

    def items(self) -> list[Spot]:
        """The value as a list of places. Raises InputWrong where it is no list."""
        if not isinstance(self.value, list):
            raise self.wrong(f"is {self.shown()}, needed a list", "write [ … ] there")
        return [Spot(item, f"{self.path}[{i}]", self.source) for i, item in enumerate(self.value)]

    def at(self, key: str) -> Spot:
        """The place of a key that must be there. Raises InputWrong where it is not."""
        keys = self.keys()
        if key not in keys:
            raise self._below(key, None).wrong("is missing", "add it")
        return self._below(key, keys[key])

    def get(self, key: str, default: Any) -> Spot:
        """The place of a key that may be left out."""
        return self._below(key, self.keys().get(key, default))

    def has(self, key: str) -> bool:
        """Whether the key is there and not null."""
        return self.keys().get(key) is not None

    def rest(self, known: frozenset[str]) -> dict[str, Any]:
        """The keys that are not known, to be kept as they are."""
        return {key: value for key, value in self.keys().items() if key not in known}

    def text(self, *, longest: int = LONGEST_TEXT) -> str:
        """A line of text. Raises InputWrong where it is empty, too long, or holds control characters.

        Marks that only say how letters join or which way they run (Unicode's Cf) belong to emoji and to scripts
        written right to left.
        """
        if not isinstance(self.value, str) or not self.value.strip():
            raise self.wrong(f"is {self.shown()}, needed a word or a line of text", "write one")
        if len(self.value) > longest or any(unicodedata.category(mark) in _BARRED for mark in self.value):
            raise self.wrong(
                f"is {self.shown()}, needed one line of at most {longest} characters", "shorten it to one line"
            )
        return self.value

    def truth(self) -> bool:
        """true or false. Raises InputWrong for anything else."""
        if not isinstance(self.value, bool):
            raise self.wrong(f"is {self.shown()}, needed true or false", "write true or false")
        return self.value

    def number(self, *, least: float = -LARGEST_MM, above: float | None = None) -> float:
        """A finite number within reason. Raises InputWrong where it is none, or not at least / above the bound."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise self.wrong(f"is {self.shown()}, needed a number", "write a number, without a unit")
        if isinstance(self.value, int) and abs(self.value) > LARGEST_MM:
            raise self.wrong("is too large a number", "check the unit: lengths are in mm")
        value = float(self.value)
        if not math.isfinite(value) or abs(value) > LARGEST_MM:
            raise self.wrong(
                f"is {self.shown()}, needed a number within ±{LARGEST_MM:,.0f}", "check the unit: lengths are in mm"
            )
        if above is not None and value <= above:
            raise self.wrong(f"is {self.shown()}, needed more than {above:g}", "correct it")
        if value < least:
            raise self.wrong(f"is {self.shown()}, needed {least:g} or more", "correct it")
        return value

    def number_or_none(self, *, least: float = -LARGEST_MM, above: float | None = None) -> float | None:
        """As ``number``, or None for null."""
        return None if self.value is None else self.number(least=least, above=above)

    def _below(self, key: str, value: Any) -> Spot:
        return Spot(value, f"{self.path}.{key}" if self.path else key, self.source)


def _is_word(value: Any) -> bool:
    return value is None or isinstance(value, bool)
