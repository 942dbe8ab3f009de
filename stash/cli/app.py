"""All commands in one place. Each imports what it needs only when it runs, so that ``--help`` starts at once."""

from __future__ import annotations

from typing import Any

import typer

from stash.cli import ask, bias, cloth, demo, find, ledger, measure, plan, reserve, stash, tape, which


def version(wanted: bool) -> None:
    """Prints the version and stops."""
    if wanted:
        from importlib import metadata

        try:
            print(f"stripewright {metadata.version('stripewright')}")
        except metadata.PackageNotFoundError:
            print("stripewright, run from its source and not installed")
        raise typer.Exit


def build() -> Any:
    """The command tree."""
    app = typer.Typer(
        name="stripewright",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        help="Is there enough of the right stripe, where do I cut, and if not, what is the least I must change?",
        epilog="Start with: stripewright demo, or stripewright ask.",
    )

    @app.callback()
    def about(
        version_: bool = typer.Option(False, "--version", callback=version, is_eager=True, help="Say the version."),
    ) -> None:
        pass

    app.command("ask")(ask.ask)
    app.command("measure")(measure.measure)
    app.command("add")(cloth.add)
    app.add_typer(stash.group(), name="stash")
    app.command("enough")(plan.enough)
    app.command("what-fits")(find.what_fits)
    app.command("uses")(find.uses)
    app.command("which-cloth")(which.which_cloth)
    app.command("bias")(bias.bias)
    app.command("sheet")(plan.sheet)
    app.command("reserve")(reserve.reserve)
    app.command("cut")(plan.cut)
    app.command("undo")(ledger.undo)
    app.command("target")(measure.target)
    app.command("tape")(tape.tape)
    app.command("schema")(plan.schema)
    app.command("demo")(demo.demo)
    return typer.main.get_command(app)
