"""Puts the questions one at a time; whoever prints and reads is passed in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from stash.ask.question import Question, answered, questions
from stash.errors import InputWrong

#: Asked this often without an answer that can be read, we stop rather than go round for ever.
MOST_TRIES: Final = 6

#: Puts one question: the question, the default (None: she must say), and what was wrong with the last answer (None at
#: first). Returns what she typed, blank for the default.
Asker = Callable[[Question, str | None, str | None], str]


def converse(asker: Asker, given: Mapping[str, str] | None = None) -> dict[str, str]:
    """The answers as she gave them, by the question's id; questions ``given`` an answer are not put.

    An answer that cannot be read is told why and the question put again; one that is read but strange is put again
    once, with the doubt, and taken when she stays with it. Raises InputWrong for a given answer that cannot be read, an
    unknown question, or too many tries.
    """
    texts, known = dict(given or {}), dict[str, Any]()
    _only_known(texts)
    for question in questions():
        if question.id in texts:
            known[question.id] = _read(question, texts[question.id], known)
        else:
            texts[question.id], known[question.id] = _put(question, asker, known)
    return texts


def read_all(texts: Mapping[str, str]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The values of the answers, defaults where there is none, and what is strange about them. Raises InputWrong."""
    _only_known(texts)
    known: dict[str, Any] = {}
    doubts = []
    for question in questions():
        known[question.id] = _read(question, texts.get(question.id), known)
        doubts.append(question.doubt(known[question.id], known))
    return known, tuple(doubt for doubt in doubts if doubt)


def _put(question: Question, asker: Asker, known: dict[str, Any]) -> tuple[str, Any]:
    complaint: str | None = None
    doubted: Any = None
    for _ in range(MOST_TRIES):
        default = question.default(known)
        text = asker(question, default, complaint).strip() or (default or "")
        try:
            value = answered(question, text, known)
        except InputWrong as wrong:
            complaint = f"{wrong.problem[:1].upper()}{wrong.problem[1:]}: {wrong.remedy}."
            continue
        complaint = question.doubt(value, known)
        if complaint is None or value == doubted:
            return text, value
        doubted = value
    raise InputWrong(f'no answer to "{question.ask}" could be read', question.more)


def _read(question: Question, text: str | None, known: dict[str, Any]) -> Any:
    try:
        return answered(question, text, known)
    except InputWrong as wrong:
        raise InputWrong(f"{question.id.replace('_', ' ')}: {wrong.problem}", wrong.remedy) from wrong


def _only_known(texts: Mapping[str, str]) -> None:
    ids = [question.id for question in questions()]
    if strange := [key for key in texts if key not in ids]:
        raise InputWrong(f'there is no question "{strange[0]}"', f"the questions are {', '.join(ids)}")
