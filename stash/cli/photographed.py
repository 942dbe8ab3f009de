"""The options of a photograph, given to every command that measures one, and handed on to it as one thing."""

from __future__ import annotations

from collections.abc import Callable
from inspect import Parameter, Signature, signature
from typing import TYPE_CHECKING, Any, get_type_hints

from stash.cli import option

if TYPE_CHECKING:
    from stash.measuring import Asked

#: Each option with its kind and what it is where nothing is said.
OPTIONS: dict[str, tuple[Any, Any]] = {
    "scale": (option.ScaleFrom, "auto"),
    "ruler": (option.Ruler, "auto"),
    "tape": (option.Tape, False),
    "points": (option.Points, None),
    "focal": (option.Focal, None),
    "thickness": (option.Thickness, None),
    "torn": (option.Torn, None),
    "selvage": (option.Selvage, None),
    "thread": (option.Thread, None),
    "weave": (option.Weave, False),
}


def photographed(command: Callable[..., None]) -> Callable[..., None]:
    """The command with these options besides its own; what they say reaches it as ``asked``, its last parameter."""

    def run(**given: Any) -> None:
        told = {name: given.pop(name) for name in OPTIONS}
        command(**given, asked=_asked(**told))

    hints = get_type_hints(command, localns={"Asked": object}, include_extras=True)
    own = [one.replace(annotation=hints[one.name]) for one in signature(command).parameters.values()][:-1]
    more = [
        Parameter(name, Parameter.POSITIONAL_OR_KEYWORD, default=default, annotation=kind)
        for name, (kind, default) in OPTIONS.items()
    ]
    run.__dict__["__signature__"] = Signature([*own, *more])  # where inspect looks for it
    run.__annotations__ = {one.name: one.annotation for one in (*own, *more)}
    run.__name__, run.__doc__ = command.__name__, command.__doc__
    return run


def _asked(*, points: list[str] | None, focal: float | None, tape: bool, **rest: Any) -> Asked:
    from stash import actions
    from stash.measuring import Asked
    from stash.tape import kept

    share = kept(actions.tape_file()).true_share if tape else None
    return Asked(points=tuple(points or ()), focal35_mm=focal, tape=share, **rest)
