"""The questions, as data: what is asked, what is taken where nothing is said, and how an answer is read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, get_args

from stash.ask.cloth import parse_cloth
from stash.ask.spoken import in_figures
from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.garment.body import BUST_MM, CHILD_BUST_MM, CHILD_HEIGHT_MM, HEIGHT_MM, Fit, Hem, doubt
from stash.garment.spec import MOST_JOINS
from stash.lengths import Unit, inches, parse_length, shown
from stash.piece import Piece

#: What is read of the answers so far, by the id of the question.
Known = Mapping[str, Any]
Cloth = tuple[Fabric, tuple[Piece, ...]]

#: Said of the main cloth where there is none yet.
NO_CLOTH: Final = frozenset({"none", "no", "not yet", "later", "nothing"})

#: Said of the main cloth where it is plain and as large as the striped one.
SAME_SIZE: Final = "plain, the same size"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One plain question. ``read`` turns the answer into a value or raises InputWrong; ``default`` is an answer too.

    ``default`` None: there is nothing sensible to take, she must say. ``doubt`` may find a value strange: it is asked
    once more and then taken. ``more`` is said where she asks for help.
    """

    id: str
    ask: str
    more: str
    read: Callable[[str, Known], Any]
    default: Callable[[Known], str | None]
    doubt: Callable[[Any, Known], str | None] = field(default=lambda value, known: None)


def questions() -> tuple[Question, ...]:
    """All questions, in the order in which they are asked; a default may depend on the answers before it."""
    return _QUESTIONS


def answered(question: Question, text: str | None, known: Known) -> Any:
    """The value of an answer, the default's where it is blank. Raises InputWrong where it cannot be read."""
    said = (text or "").strip()
    if not said:
        default = question.default(known)
        if default is None:
            raise InputWrong("this one has no answer to fall back on", question.more)
        said = default
    return question.read(said, known)


def _cloth(said: str, known: Known) -> Cloth:
    fabric, pieces = parse_cloth(said)
    if fabric.print.kind == "plain":
        raise InputWrong(
            "this cloth has no stripes to border with", "say its stripes in order, such as red 3/4, white 1/4"
        )
    return fabric, pieces


def _stripe(said: str, known: Known) -> str:
    fabric: Fabric = known["border"][0]
    words = said.casefold().removesuffix(" stripe").removesuffix(" one").removeprefix("the ").strip()
    stripes = sorted(fabric.print.stripes, key=lambda stripe: -stripe.width_mm)
    for stripe in stripes:
        if words in (stripe.label.casefold(), (stripe.colour or "").casefold()):
            return stripe.label
    for stripe in stripes:
        if stripe.colour and words and words in stripe.colour.casefold().split():
            return stripe.label
    named = " or ".join(dict.fromkeys(stripe.colour or stripe.label for stripe in fabric.print.stripes))
    raise InputWrong(f"the cloth has no stripe {shown(said)}", f"choose {named}")


def _first_stripe(known: Known) -> str:
    fabric: Fabric = known["border"][0]
    stripe = next(stripe for stripe in fabric.print.stripes if stripe.label == "A")
    return stripe.colour or stripe.label


def _main(said: str, known: Known) -> Cloth | None:
    if said.casefold().strip(" .") in NO_CLOTH:
        return None
    if said.casefold().replace(",", "").split() in (["plain", "the", "same", "size"], ["the", "same", "size"]):
        width, length = known["border"][1][0].outline_mm[2]
        said = f"{width!r} mm x {length!r} mm plain cloth"
    return parse_cloth(said)


def _choice(*words: str) -> Callable[[str, Known], str]:
    def read(said: str, known: Known) -> str:
        if (word := said.casefold().strip(" .")) in words:
            return word
        raise InputWrong(f"{shown(said)} is not one of the choices", f"say {', '.join(words[:-1])} or {words[-1]}")

    return read


def _yes_or_no(said: str, known: Known) -> bool:
    word = said.casefold().strip(" .!")
    if word in ("yes", "y", "true"):
        return True
    if word in ("no", "n", "false"):
        return False
    raise InputWrong(f"{shown(said)} is neither yes nor no", "say yes or no")


def _unit(known: Known) -> Unit:
    """A bare figure is in inches (a person's measures are whole inches or come with their unit)."""
    return "in"


def _size(what: str) -> Callable[[str, Known], float]:
    def read(said: str, known: Known) -> float:
        length = parse_length(in_figures(said), default_unit=_unit(known), what=what)
        if length <= 0:
            raise InputWrong(f"{what} is {shown(said)}", "give one of more than nothing")
        return length

    return read


def _hem(said: str, known: Known) -> str | float:
    word = said.casefold().strip(" .").removeprefix("the ").removesuffix("s")
    return word if word in get_args(Hem) else _size("the length from shoulder to hem")(said, known)


def _count(said: str, known: Known) -> int:
    figures = in_figures(said).strip(" .")
    figures = {"none": "0", "no": "0", "once": "1", "twice": "2"}.get(figures, figures)
    if figures.isascii() and figures.isdigit() and int(figures[:4]) <= MOST_JOINS:
        return int(figures[:4])
    raise InputWrong(f"{shown(said)} is not a count of joins", "say none, 1, 2 or another small number")


def _body(measure: str) -> Callable[[Any, Known], str | None]:
    return lambda mm, known: None if known.get("child") else doubt(measure, mm)


def _by_age(adult_mm: float, child_mm: float) -> Callable[[Known], str]:
    return lambda known: inches(child_mm if known.get("child") else adult_mm, 1)


_QUESTIONS: Final = (
    Question(
        id="border",
        ask="What is the striped cloth like? First its size, width by length, then its stripes in order.",
        more="say it like 58 × 54 in; from the left selvage red 3/4, white 1/4, blue 1, white 1/4",
        read=_cloth,
        default=lambda known: None,
    ),
    Question(
        id="stripe",
        ask="Which stripe shall run down the middle of the borders?",
        more="say its colour; every border shows this stripe",
        read=_stripe,
        default=_first_stripe,
    ),
    Question(
        id="main",
        ask="What is the cloth for the coat itself?",
        more="say its size and that it is plain, such as 60 × 72 in plain; or none, if it is still to be bought",
        read=_main,
        default=lambda known: SAME_SIZE,
    ),
    Question(
        id="child",
        ask="Is the coat for a child?",
        more="say yes or no; a child's coat is smaller and has cautions of its own",
        read=_yes_or_no,
        default=lambda known: "no",
    ),
    Question(
        id="bust",
        ask="How much does the wearer measure round the fullest part of the chest?",
        more="give a length such as 38 in or 96 cm, the tape level and not tight",
        read=_size("the measure round the chest"),
        default=_by_age(BUST_MM, CHILD_BUST_MM),
        doubt=_body("bust"),
    ),
    Question(
        id="height",
        ask="How tall is the wearer?",
        more="give a height such as 5 ft 4 in or 163 cm",
        read=_size("the height"),
        default=_by_age(HEIGHT_MM, CHILD_HEIGHT_MM),
        doubt=_body("height"),
    ),
    Question(
        id="hem",
        ask="How far down shall it reach: waist, hip or knee, or how long from the shoulder?",
        more="say waist, hip or knee, or a length from shoulder to hem such as 28 in",
        read=_hem,
        default=lambda known: "hip",
    ),
    Question(
        id="fit",
        ask="Shall it be close, easy or roomy?",
        more="close is 4 in more than the chest, easy 6 in, roomy 10 in",
        read=_choice(*get_args(Fit)),
        default=lambda known: "easy",
    ),
    Question(
        id="border_width",
        ask="How wide shall the borders be when finished?",
        more="give a width such as 2 in",
        read=_size("the width of the borders"),
        default=lambda known: "2 in",
    ),
    Question(
        id="joins",
        ask="How many joins may one border have at most, where no stripe is long enough?",
        more="say none, 1 or 2; fewer joins look better, more make small cloth go further",
        read=_count,
        default=lambda known: "1",
    ),
)
