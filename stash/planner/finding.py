"""One fabric's share of a problem, and what was found out about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import shapely

from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.garment.part import Panel, Strip
from stash.piece import Piece
from stash.planner.halt import Ended
from stash.planner.look import Ways
from stash.planner.plan import Answer, Placement, Reason
from stash.planner.problem import Problem
from stash.planner.region import usable
from stash.planner.stance import Stance


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """The parts and pieces of one fabric. ``unknown`` pieces have stripes whose direction was not measured.

    ``ways``: how some strips must lie, so that they look as they should beside the others. ``before``: strips that are
    cut already; ``starts``: where the print must stand at the finished start of strips that match them (um).
    """

    fabric: Fabric
    pieces: tuple[Piece, ...]
    strips: tuple[Strip, ...]
    panels: tuple[Panel, ...]
    ways: Ways = field(default_factory=dict)
    before: tuple[Strip, ...] = ()
    starts: Mapping[str, int] = field(default_factory=dict)

    @property
    def unknown(self) -> tuple[Piece, ...]:
        """Striped pieces of which it is not known how the stripes lie."""
        print_ = self.fabric.print
        striped = print_.kind != "plain" and (bool(print_.stripes) or print_.across is not None)
        return tuple(p for p in self.pieces if striped and p.stripe_direction_deg is None)

    @property
    def by_print(self) -> bool:
        """Whether any part must lie by the print."""
        return bool(self.strips) or any(panel.align == "print" for panel in self.panels)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """The answer for one fabric; costs in um. ``stopped`` and ``cut_short``: the search for a cheaper plan was
    interrupted, or its time was over."""

    answer: Answer
    reason: Reason | None = None
    proven: bool = False
    placements: tuple[Placement, ...] = ()
    cost_um: int = 0
    bound_um: int = 0
    best: bool = False
    missing_mm: dict[str | None, float] = field(default_factory=dict)
    settle: tuple[str, ...] = ()
    proofs: tuple[str, ...] = ()
    certified: bool = False
    stopped: Ended | None = None
    cut_short: bool = False


def shares(problem: Problem) -> list[Share]:
    """The problem fabric by fabric: cloth of one fabric never stands in for another.

    Raises:
        InputWrong: a part names a fabric that is not there, or a stripe that the fabric does not show.
    """
    out: dict[str, tuple[list[Strip], list[Panel]]] = {}
    for part in problem.parts:
        if part.fabric not in problem.fabrics:
            known = ", ".join(sorted(problem.fabrics)) or "none"
            raise InputWrong(f"part {part.id} is cut from fabric {part.fabric}, which is not in the stash ({known})",
                             "name one of those fabrics or add it")  # fmt: skip
        strips, panels = out.setdefault(part.fabric, ([], []))
        if isinstance(part, Strip):
            _check_stripe(part, problem.fabrics[part.fabric])
            strips.append(part)
        else:
            panels.append(part)
    return [
        Share(
            fabric=problem.fabrics[key],
            pieces=tuple(piece for piece in problem.pieces if piece.fabric == key),
            strips=tuple(strips),
            panels=tuple(panels),
            before=tuple(strip for strip in problem.before if strip.fabric == key),
        )
        for key, (strips, panels) in out.items()
    ]


def _check_stripe(strip: Strip, fabric: Fabric) -> None:
    labels = sorted({stripe.label for stripe in fabric.print.stripes})
    if labels and strip.stripe not in labels:
        raise InputWrong(
            f"strip {strip.id} shows stripe {strip.stripe}, but fabric {fabric.id} has {', '.join(labels)}",
            "name one of those stripes",
        )
    if not labels and fabric.print.kind == "plain":
        raise InputWrong(
            f"strip {strip.id} shows stripe {strip.stripe}, but fabric {fabric.id} is plain",
            "cut it from a striped fabric, or make it a panel",
        )


def area_lack(share: Share) -> float:
    """By how many mm2 the parts' cut area exceeds all cloth there is, read in the maker's favour; above 0: a proof."""
    cloth = sum(usable(piece, Stance.GENEROUS).area for piece in share.pieces)
    wanted = sum(_strip_area(strip) for strip in share.strips)
    wanted += sum((p.width_mm + 2 * p.seam_mm) * (p.length_mm + 2 * p.seam_mm) for p in share.panels)
    slack_mm2 = 0.05 * sum(_perimeter(piece) for piece in share.pieces)
    return float(wanted - cloth - slack_mm2)


def _strip_area(strip: Strip) -> float:
    return strip.cut_width_mm * (strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm))


def _perimeter(piece: Piece) -> float:
    return float(shapely.Polygon(piece.outline_mm).length)


def unknown_settle(share: Share) -> tuple[str, ...]:
    """What to measure where the stripes of a fabric or a piece are not known."""
    lines = [f"measure which way the stripes run on piece {piece.id}" for piece in share.unknown]
    if share.strips and (share.fabric.print.across is None or not share.fabric.print.stripes):
        lines.append(f"measure the repeat and the stripes of fabric {share.fabric.id}")
    return tuple(lines)


def join_lines(*groups: Sequence[str]) -> tuple[str, ...]:
    """All lines, each once, in order."""
    return tuple(dict.fromkeys(line for group in groups for line in group))
