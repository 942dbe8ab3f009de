"""Which parts are in each other's way: a smallest group that cannot be cut, though without any one of them it can.

A deletion filter: parts are taken away one after another, and stay away where the rest still cannot be cut. What is
left is minimal, not least of all: there may be other such groups.

References:
    J. W. Chinneck, "Finding a useful subset of constraints for analysis in an infeasible linear program", *INFORMS
    Journal on Computing* 9 (1997): the deletion filter [from memory].
"""

from __future__ import annotations

from dataclasses import replace

from stash.garment.part import Part, Strip
from stash.planner.plan import Crowd
from stash.planner.problem import Problem
from stash.planner.trial import Trial, share_of


def crowds(problem: Problem, fabrics: list[str], trial: Trial) -> tuple[Crowd, ...]:
    """For each of the fabrics, which are known to be short, the parts in each other's way."""
    rest = range(len(fabrics), 0, -1)
    return tuple(_crowd(share_of(problem, one), one, trial.part(n)) for one, n in zip(fabrics, rest, strict=True))


def _crowd(share: Problem, fabric: str, trial: Trial) -> Crowd:
    """The group of one fabric that is short."""
    group, least = list(share.parts), True
    for part in sorted(share.parts, key=_size):
        rest = [other for other in group if other.id != part.id]
        answer = "yes" if not rest else trial.answer(replace(share, parts=tuple(rest)))
        if answer == "no":
            group = rest
        least = least and answer != "unsure"
    return Crowd(fabric=fabric, parts=tuple(part.id for part in group), least=least)


def _size(part: Part) -> tuple[float, str]:
    """The smallest first: what is large is more likely to be in the way, and a group of large parts is a small one."""
    width = part.cut_width_mm if isinstance(part, Strip) else part.width_mm
    return width * part.length_mm, part.id
