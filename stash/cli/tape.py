"""The command about a tape: held against a steel rule once, known from then on."""

from __future__ import annotations

from typing import Annotated

import typer

from stash.cli import option, output


def tape(
    says: Annotated[
        str | None, typer.Argument(metavar="SAYS", help="What the tape says between two of its marks.")
    ] = None,
    is_: Annotated[str | None, typer.Argument(metavar="IS", help="What a steel rule shows between them.")] = None,
    json: option.AsJson = False,
) -> None:
    """Keep what a cloth tape really measures, for measure --tape; without lengths, say what is kept."""
    from stash import actions
    from stash import tape as tapes
    from stash.errors import InputWrong

    file = actions.tape_file()
    if (says is None) != (is_ is None):
        raise InputWrong("one length is given", 'give both: what the tape says and what it is, as "1 m" "994 mm"')
    if says is not None and is_ is not None:
        check = tapes.checked(says, is_)
        tapes.keep(check, file)
        began = "Kept: "
    else:
        check, began = tapes.kept(file), ""
    sentence = began + check.sentence()
    output.done(
        {
            "schema": "tape/1",
            "says_mm": check.says_mm,
            "is_mm": check.is_mm,
            "true_share": check.true_share.value,
            "true_share_u95": check.true_share.u95,
        },
        [f"{sentence[:1].upper()}{sentence[1:]}.", "  Photographs with it: stripewright measure --tape PHOTO."],
        json=json,
    )
