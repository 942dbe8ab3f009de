"""The commands about photographs: measure, and the printed target."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stash.cli import option, output
from stash.cli.photographed import photographed

if TYPE_CHECKING:
    from stash.cli.batch import Outcome, Task
    from stash.cli.kept import Kept
    from stash.measuring import Asked


@photographed
def measure(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO…", help="Photographs of cloth beside a ruler, or folders of them.")
    ],
    json: option.AsJson = False,
    jsonl: Annotated[bool, typer.Option("--jsonl", help="Print one JSON document a line, one for each photo.")] = False,
    into: Annotated[
        Path | None,
        typer.Option(
            "--into", metavar="FILE.jsonl", help="Keep one line a photo in this file; a stopped run goes on there."
        ),
    ] = None,
    overlay: Annotated[
        Path | None, typer.Option("--overlay", metavar="OUT.png", help="Draw what was found on the photo.")
    ] = None,
    *,
    asked: Asked,
) -> None:
    """Measure cloth in photographs: its repeat, its stripes, and how the print lies to the grain."""
    from stash.cli import batch, findings
    from stash.cli.kept import Kept
    from stash.errors import InputWrong
    from stash.measuring import overlay_files, photographs, request

    files = photographs(photos)
    if json and len(files) > 1:
        raise InputWrong(f"--json prints one document, and {len(files)} photos are given", "use --jsonl, one a line")
    request(asked)  # a call that is wrong is wrong once, not for each photo
    tasks = [batch.Task(photo=p, overlay=o) for p, o in zip(files, overlay_files(overlay, files), strict=True)]
    kept = Kept(into, asked) if into is not None else None
    worst = batch.WORST_FIRST[-1]
    with output.steps("measuring", len(tasks)) if len(tasks) > 1 else nullcontext() as step:
        for task, found in _found(tasks, asked, kept):
            worst = min(worst, found.status, key=batch.WORST_FIRST.index)
            if step is not None:
                step(task.photo.name)
            if json:
                output.document(found.document)
            elif jsonl:
                if not output.line(found.document) and kept is None:
                    break  # nobody reads the rest
            elif found.document["schema"] != "error/1":
                drawn = [f"  Drawn on the photograph: {task.overlay}"] if task.overlay else []
                output.lines([*findings.told(found.document), *drawn])
            if found.document["schema"] == "error/1":
                output.complain(found.document["error"], found.document["remedy"])
    raise typer.Exit(worst)


def _found(tasks: list[Task], asked: Asked, kept: Kept | None) -> Iterator[tuple[Task, Outcome]]:
    """Each task with its outcome, in order: from the file where it is kept, else measured and kept there."""
    from stash.cli import batch

    earlier = {task: found for task in tasks if kept and not task.overlay and (found := kept.found(task.photo))}
    fresh = batch.outcomes([task for task in tasks if task not in earlier], asked)
    for task in tasks:
        if task in earlier:
            yield task, earlier[task]
            continue
        found = next(fresh)
        if kept is not None:
            kept.keep(task.photo, found)
        yield task, found


def target(out: option.OutFile, paper: option.Paper = "a4", json: option.AsJson = False) -> None:
    """Write the printed target, a sheet at true scale to photograph beside the cloth."""
    from stash import actions

    actions.write_target(out, paper)
    output.done(
        {"schema": "written/1", "file": str(out)},
        [
            f"The target is in {out}. Print it at 100 % (no fitting to the page), check it with a steel rule as "
            "its second page says, and lay it flat on the cloth."
        ],
        json=json,
    )
