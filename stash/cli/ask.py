"""The command ask: plain questions, one at a time, or all answers as options."""

from __future__ import annotations

import sys
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output
from stash.errors import InputWrong

if TYPE_CHECKING:
    from stash.ask.question import Question

_STATUS = {"yes": 0, "no": 1, "unsure": 3}


def ask(
    border: Annotated[str | None, typer.Option(help="The striped cloth: its size, then its stripes in order.")] = None,
    stripe: Annotated[str | None, typer.Option(help="The stripe for the borders, by its colour.")] = None,
    main: Annotated[str | None, typer.Option(help="The cloth for the coat itself, or none.")] = None,
    child: Annotated[str | None, typer.Option(help="For a child? yes or no.")] = None,
    bust: Annotated[str | None, typer.Option(help="Round the fullest part of the chest.")] = None,
    height: Annotated[str | None, typer.Option(help="How tall the wearer is.")] = None,
    hem: Annotated[str | None, typer.Option(help="waist, hip, knee, or a length from the shoulder.")] = None,
    fit: Annotated[str | None, typer.Option(help="close, easy or roomy.")] = None,
    border_width: Annotated[str | None, typer.Option(help="Finished width of the borders.")] = None,
    joins: Annotated[str | None, typer.Option(help="Joins that one border may have.")] = None,
    defaults: Annotated[
        bool, typer.Option("--defaults", help="Ask nothing: take the usual for what is not said.")
    ] = False,
    json: option.AsJson = False,
    limit: option.Limit = 60.0,
    stash: Annotated[
        str | None, typer.Option("--stash", metavar="WHERE", help="Keep the cloth that was told, in this stash.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep the cloth that was told, in the usual stash.")] = False,
    save: Annotated[
        Path | None, typer.Option("--save", metavar="GARMENT.toml", help="Keep the coat in a garment file.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="PLAN.json", help="Keep the plan in a file.")] = None,
) -> None:
    """Is there enough? Answer a few plain questions, without photographs or files."""
    from stash import actions
    from stash.ask.build import build
    from stash.ask.talk import converse
    from stash.cli import telling

    given = {
        name: value
        for name, value in {
            "border": border, "stripe": stripe, "main": main, "child": child, "bust": bust, "height": height,
            "hem": hem, "fit": fit, "border_width": border_width, "joins": joins,
        }.items()
        if value is not None
    }  # fmt: skip
    texts = given if defaults or json or (not sys.stdin.isatty() and "border" in given) else converse(_put, given)
    outcome = build(texts)
    where = actions.usual_stash() if keep and stash is None else stash
    with output.progress("planning") as tell:
        answered = actions.asked(outcome, where, limit_s=limit, progress=tell)
    if save is not None:
        actions.save_garment(outcome, save)
    if out is not None:
        actions.write_text(out, actions.as_json(answered.document) + "\n")
    if json:
        output.document(answered.document)
    else:
        output.lines(telling.answer(answered, kept=out, stash=stash, told=where is None))
        output.lines([f"  Mind: {said}" for said in (*outcome.doubts, *outcome.notes)])
        if save is not None:
            again = f"stripewright enough {quote(str(save))}{option.at(stash)}"
            whether = "with --keep its cloth is kept too, to ask again with" if where is None else "ask again with"
            output.lines([f"  The coat is kept in {save}; {whether}: {again}"])
    raise typer.Exit(_STATUS[answered.plan.answer])


def _put(question: Question, default: str | None, complaint: str | None) -> str:
    """Puts one question on standard error, so that standard output holds the answer alone."""
    if complaint is not None:
        print(output.wrapped(f"  {complaint}"), file=sys.stderr)
    print(output.wrapped(question.ask), file=sys.stderr)
    hint = f"  [{default}] " if default is not None else f"{output.wrapped(f'  ({question.more})')}\n"
    while True:
        print(f"{hint}> ", end="", file=sys.stderr, flush=True)
        typed = sys.stdin.readline()
        if not typed:
            raise InputWrong(
                f"the answers ended at {question.id.replace('_', ' ')}", "answer here, or give the answers as options"
            )
        if typed.strip() != "?":
            return typed
        print(output.wrapped(f"  {question.more}."), file=sys.stderr)
