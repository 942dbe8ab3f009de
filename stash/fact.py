"""What is known of a cloth besides its print: fibre, weight, care, where it lies … Each fact is one key of its entry in
the interchange document, so that it goes wherever the entry goes; all of them may be left out.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.lengths import both, parse_length, shown
from stash.piece import Piece

#: The longest note that is kept, in characters: some pages of writing.
LONGEST_NOTE: Final = 10_000
#: Heavier than any cloth, g/m²: carpet weighs 2 to 4 kg/m² (common practice).
HEAVIEST_GSM: Final = 10_000.0
#: More layers than are ever quilted (our judgement).
MOST_LAYERS: Final = 20
#: One oz/yd² in g/m²: 28.349523125 g (the avoirdupois ounce) on 0.9144² m², both exact by definition.
GSM_PER_OZ: Final = 28.349523125 / 0.9144**2

WASHED: Final = ("yes", "no", "unknown")
TURNS: Final = ("end", "quarter", "over")

_WEIGHT: Final = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>g/m2|g/m²|gsm|g|oz/yd2|oz/yd²|oz)?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing that can be known. ``read`` makes the document's value of what was typed; ``label`` is for the eye."""

    key: str
    label: str
    read: Callable[[str, str], Any]


def told(text: str, what: str) -> str:
    """Words as they were typed, spaces at the ends left off. Raises InputWrong where they are too long or not text."""
    words = text.strip()
    if len(words) > LONGEST_NOTE:
        raise InputWrong(f"{what} has {len(words)} characters, at most {LONGEST_NOTE} are kept", "shorten it")
    if any(unicodedata.category(mark) in ("Cc", "Cs") and mark not in "\n\t" for mark in words):
        raise InputWrong(f"{what} holds a control character", "type it anew as plain text")
    return words


def weight_gsm(text: str, what: str = "the weight") -> float:
    """Grams a square metre, from ``210``, ``210 g`` or ``6 oz`` (a square yard). Raises InputWrong."""
    match = _WEIGHT.fullmatch(text.strip().casefold())
    number = float(match["number"].replace(",", ".")) if match else 0.0
    if match and (match["unit"] or "").startswith("oz"):
        number *= GSM_PER_OZ
    if not 0 < number <= HEAVIEST_GSM:
        raise InputWrong(f"{what} is {shown(text)}, which is no weight of cloth", "write it like 210 gsm or 6 oz")
    return round(number, 3)


def _yes_no(text: str, what: str) -> bool:
    word = text.strip().casefold()
    if word not in ("yes", "no"):
        raise InputWrong(f"{what} is {shown(text)}", "say yes or no")
    return word == "yes"


def _washed(text: str, what: str) -> str:
    word = text.strip().casefold()
    if word not in WASHED:
        raise InputWrong(f"{what} is {shown(text)}", f"say one of {', '.join(WASHED)}")
    return word


def _layers(text: str, what: str) -> int:
    if not text.strip().isdecimal() or not 1 <= int(text) <= MOST_LAYERS:
        raise InputWrong(f"{what} is {shown(text)}", f"give a number of layers from 1 to {MOST_LAYERS}")
    return int(text)


def _width_mm(text: str, what: str) -> float:
    value = parse_length(text, what=what)
    if value <= 0:
        raise InputWrong(f"{what} is {shown(text)}, and must be more than nothing", "give the width of the cloth")
    return value


def _turns(text: str, what: str) -> list[str]:
    words = [word for word in re.split(r"[\s,]+", text.strip().casefold()) if word]
    if any(word not in TURNS for word in words):
        raise InputWrong(f"{what} is {shown(text)}", f"name those of {', '.join(TURNS)} that it allows, or none")
    return [word for word in TURNS if word in words]


_OF_EITHER: Final = (
    Fact(key="place", label="lies", read=told),
    Fact(key="source", label="from", read=told),
    Fact(key="cost", label="cost", read=told),
    Fact(key="notes", label="notes", read=told),
)

#: What can be known of a fabric.
OF_FABRIC: Final[Mapping[str, Fact]] = {
    fact.key: fact
    for fact in (
        Fact(key="fibre", label="fibre", read=told),
        Fact(key="weave", label="weave", read=told),
        Fact(key="weight_gsm", label="weight", read=weight_gsm),
        Fact(key="width_mm", label="width", read=_width_mm),
        Fact(key="care", label="care", read=told),
        Fact(key="colourfast", label="colours", read=told),
        Fact(key="turns", label="turns", read=_turns),
        Fact(key="ravels", label="ravels", read=_yes_no),
        Fact(key="stretch", label="stretch", read=told),
        Fact(key="sheer", label="sheer", read=_yes_no),
        Fact(key="quilted_layers", label="layers", read=_layers),
        Fact(key="lot", label="lot", read=told),
        *_OF_EITHER,
    )
}

#: What can be known of one length or remnant.
OF_PIECE: Final[Mapping[str, Fact]] = {
    fact.key: fact
    for fact in (
        Fact(key="washed", label="washed", read=_washed),
        Fact(key="left_from", label="left from", read=told),
        Fact(key="reserved_for", label="kept for", read=told),
        *_OF_EITHER,
    )
}


def noted_fabric(fabric: Fabric, typed: Mapping[str, str]) -> Fabric:
    """The fabric with what was typed under each key; an empty text takes what was known away.

    The turns end for end and over are the fabric's ``one_way`` and ``both_faces``, which the planner goes by.
    Raises InputWrong.
    """
    fabric = replace(fabric, extra=_noted(fabric.extra, typed, OF_FABRIC, "a fabric"))
    if typed.get("turns", "").strip():
        turns = fabric.extra["turns"]
        fabric = replace(fabric, one_way="end" not in turns, both_faces="over" in turns)
    return fabric


def noted_piece(piece: Piece, typed: Mapping[str, str]) -> Piece:
    """The piece with what was typed under each key; an empty text takes what was known away. Raises InputWrong."""
    return replace(piece, extra=_noted(piece.extra, typed, OF_PIECE, "a piece"))


def _noted(extra: Mapping[str, Any], typed: Mapping[str, str], known: Mapping[str, Fact], whose: str) -> dict[str, Any]:
    kept = dict(extra)
    for key, text in typed.items():
        if key not in known:
            raise InputWrong(f'"{option(key)}" is not kept of {whose}', f"there are {', '.join(map(option, known))}")
        kept.pop(key, None)
        if text.strip():
            kept[key] = known[key].read(text, option(key))
    return kept


def option(key: str) -> str:
    """The option by which a fact is typed."""
    return "--" + key.removesuffix("_gsm").removesuffix("_mm").replace("_", "-")


def spoken(extra: Mapping[str, Any], known: Mapping[str, Fact]) -> Iterator[tuple[str, str]]:
    """What is known, as label and words. A value of another program that is neither text nor number is passed over."""
    for key, fact in known.items():
        value = extra.get(key)
        if value is None or value == "":
            continue
        if key == "weight_gsm" and _is_number(value):
            yield fact.label, f"{value:.0f} g/m² ({value / GSM_PER_OZ:.1f} oz/yd²)"
        elif key.endswith("_mm") and _is_number(value):
            yield fact.label, both(value)
        elif isinstance(value, bool):
            yield fact.label, "yes" if value else "no"
        elif isinstance(value, str | int | float):
            yield fact.label, str(value)
        elif isinstance(value, list) and all(isinstance(word, str) for word in value):
            yield fact.label, ", ".join(value) or "none"


def washed(piece: Piece) -> str:
    """Whether it has been washed: yes, no or unknown."""
    value = piece.extra.get("washed")
    return value if isinstance(value, str) and value in WASHED else "unknown"


def washing_remark(pieces: Iterable[Piece]) -> str | None:
    """What to mind where washed cloth and cloth that is not known to be washed go into one garment."""
    by_state: dict[str, list[str]] = {}
    for piece in pieces:
        by_state.setdefault(washed(piece), []).append(piece.id)
    if "yes" not in by_state or len(by_state) == 1:
        return None
    not_yet = sorted(by_state.get("no", []) + by_state.get("unknown", []))
    return (
        f"{', '.join(sorted(by_state['yes'])[:3])} {_is(by_state['yes'])} washed and {', '.join(not_yet[:3])} "
        f"{_is(not_yet)} not{'' if 'no' in by_state else ', as far as is known'}: wash all of it before cutting, or "
        "seams will pucker when it shrinks"
    )


def _is(names: list[str]) -> str:
    return "is" if len(names) == 1 else "are"


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
