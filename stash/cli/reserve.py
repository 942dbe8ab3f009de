"""The command that keeps a plan's cloth from other plans."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stash.cli import option, output


def reserve(
    plan: Annotated[Path, typer.Argument(metavar="PLAN.json", help="A plan kept from enough.")],
    free: Annotated[bool, typer.Option("--free", help="Let other plans have the cloth again.")] = False,
    stash: option.Where = None,
    json: option.AsJson = False,
) -> None:
    """Keep the cloth of a plan from other plans until it is cut."""
    from stash import actions
    from stash.catalogue import reservation

    held = actions.stash_at(stash, write=True)
    document = actions.read_json(plan)
    if free:
        freed = reservation.set_free(held, document, source=str(plan))
        output.done(output.entry(freed), [f"Free again: {freed.summary}."], json=json)
        return
    made = reservation.reserve(held, document, source=str(plan))
    told = "It is reserved already; nothing was changed."
    if made is not None:
        told = f"Reserved: {made.summary}. Other plans leave it alone until it is cut, or free again with --free."
    output.done(output.entry(made), [told], json=json)
