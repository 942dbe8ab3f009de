"""The commands about photographs: measure, and the printed target."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stash.cli import option, output
from stash.cli.failure import DONE, FAULT, UNCERTAIN, WRONG, failure_of

if TYPE_CHECKING:
    from stash.measuring import Asked

#: Exit statuses, the worst first: a batch ends with the worst of its photographs'.
WORST_FIRST = (FAULT, WRONG, UNCERTAIN, DONE)


def measure(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO…", help="Photographs of cloth beside a ruler or tape.")
    ],
    json: option.AsJson = False,
    jsonl: Annotated[bool, typer.Option("--jsonl", help="Print one JSON document a line, one for each photo.")] = False,
    overlay: Annotated[
        Path | None, typer.Option("--overlay", metavar="OUT.png", help="Draw what was found on the photo.")
    ] = None,
    scale: option.ScaleFrom = "auto",
    ruler: option.Ruler = "auto",
    points: option.Points = None,
    focal: option.Focal = None,
    thickness: option.Thickness = None,
    torn: option.Torn = None,
    selvage: option.Selvage = None,
) -> None:
    """Measure cloth in photographs: its repeat, its stripes, and how the print lies to the grain."""
    from stash.errors import InputWrong
    from stash.measuring import Asked, overlay_file

    if json and len(photos) > 1:
        raise InputWrong(f"--json prints one document, and {len(photos)} photos are given", "use --jsonl, one a line")
    asked = Asked(
        scale=scale,
        ruler=ruler,
        points=tuple(points or ()),
        focal35_mm=focal,
        thickness=thickness,
        torn=torn,
        selvage=selvage,
    )
    worst = DONE
    for number, photo in enumerate(photos, 1):
        drawn = overlay_file(overlay, photo, many=len(photos) > 1)
        with output.progress(f"measuring {photo.name} ({number} of {len(photos)})"):
            found = _one(photo, asked, drawn, alone=len(photos) == 1)
        worst = min(worst, found["status"], key=WORST_FIRST.index)
        if json:
            output.document(found["document"])
        elif jsonl:
            output.line(found["document"])
        elif found["rows"]:
            output.lines([*found["rows"], *([f"  Drawn on the photograph: {drawn}"] if drawn else [])])
    raise typer.Exit(worst)


def _one(photo: Path, asked: Asked, drawn: Path | None, *, alone: bool) -> dict[str, Any]:
    """One photograph's document, rows and status; in a batch a bad file is told and does not stop the rest."""
    from stash.cli import findings
    from stash.measuring import measured

    try:
        document = measured(photo, asked, drawn)
    except Exception as error:
        if alone:
            raise
        failure = failure_of(error)
        if photo.name not in failure.problem:
            failure = replace(failure, problem=f"{photo}: {failure.problem}")
        output.complain(failure.problem, failure.remedy)
        return {"status": failure.status, "document": failure.document, "rows": []}
    status = UNCERTAIN if document["scale"] is None else DONE
    return {"status": status, "document": document, "rows": list(findings.told(document))}


def target(out: option.OutFile, paper: option.Paper = "a4", json: option.AsJson = False) -> None:
    """Write the printed target, a sheet at true scale to photograph beside the cloth."""
    from stash import actions

    actions.write_target(out, paper)
    output.done(
        {"schema": "written/1", "file": str(out)},
        [
            f"The target is in {out}. Print it at 100 % (no fitting to the page), check its square with a ruler, "
            "and lay it flat on the cloth."
        ],
        json=json,
    )
