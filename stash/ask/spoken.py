"""Numbers as they are spoken, put into figures: "three quarters" and "one and a half" become 3/4 and 1 1/2."""

from __future__ import annotations

import re
from typing import Final

from stash.lengths import plain_marks

_COUNTS: Final = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
    "eleven": 11, "twelve": 12,
}  # fmt: skip
_PARTS: Final = {
    "half": 2, "halves": 2, "quarter": 4, "quarters": 4, "eighth": 8, "eighths": 8, "third": 3, "thirds": 3,
}  # fmt: skip

_COUNT = "|".join(_COUNTS)
_PART = "|".join(_PARTS)
_FRACTION: Final = re.compile(rf"\b(?:(a|an|{_COUNT})[ -]+)?({_PART})\b(?: (?:of )?(?:a|an)\b)?")
_WHOLE_AND: Final = re.compile(r"(\d) and (?=\d+/\d)")
_AN_INCH: Final = re.compile(r"\ban? (?=(?:inch|foot|yard|metre|meter)\b)")
_INCH_WIDE: Final = re.compile(r"(?<![\d/] )(?<![\d/])\b(inch|foot|yard)[ -](?=wide\b)")
_WORD: Final = re.compile(rf"\b({_COUNT})\b")


def in_figures(text: str) -> str:
    """The text in lower case, its number words in figures: "one and a half inches" becomes "1 1/2 inches"."""
    words = plain_marks(text).casefold()
    words = _FRACTION.sub(lambda found: f"{_count(found[1])}/{_PARTS[found[2]]}", words)
    words = _WORD.sub(lambda found: str(_COUNTS[found[1]]), words)
    words = _INCH_WIDE.sub(r"1 \1 ", _AN_INCH.sub("1 ", words))
    return " ".join(_WHOLE_AND.sub(r"\1 ", words).split())


def _count(word: str | None) -> int:
    return _COUNTS.get(word or "", 1)
