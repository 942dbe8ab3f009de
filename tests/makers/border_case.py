"""Borders to plan, each from a seed: 12 to 40 strips on 3 to 20 pieces of one cloth, from plenty to not enough.

The pieces' sides are 200 to 1500 mm; a third are not rectangles and a tenth are not convex; the print lies up to four
degrees askew, the repeat is 30 to 150 mm, half the cloths repeat along the stripe as well. Strips have up to two
joins, and three in ten belong to a pair. What is asked for over the most that can be cut from the stripe side by side
is uniform in 0.6 to 1.1, or as told.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Edge, Strip
from stash.piece import Piece, Point
from stash.planner.lanes import Profile, Run, find_runs
from stash.planner.problem import Problem
from stash.planner.region import to_print, usable
from stash.planner.stance import Stance
from vision.estimate import Estimate

EDGES: tuple[Edge, ...] = ("front", "sleeve", "join", "neck", "hem", "inside")
TRIES = 4000  # cloths and widths drawn until strips of a garment's lengths take what is asked for
SEAM_MM = 6.35
PAIRED = 0.3  # the share of strips that belong to a pair


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How large a question is: how many strips and pieces, and what is asked for over what can be had."""

    strips: tuple[int, int] = (12, 40)
    pieces: tuple[int, int] = (3, 20)
    ratio: tuple[float, float] = (0.6, 1.1)
    widest_mm: tuple[float, float] = (210.0, 1500.0)


GARMENT = Size()
LARGE_YES = Size(strips=(200, 200), pieces=(200, 200), ratio=(0.5, 0.8), widest_mm=(210.0, 400.0))
LARGE_NO = Size(strips=(200, 200), pieces=(200, 200), ratio=(1.02, 1.2), widest_mm=(210.0, 300.0))


def border_case(seed: int, *, along: bool | None = None, size: Size = GARMENT) -> Problem:
    """A question of one fabric; the same for the same seed. ``along``: whether the print repeats along the stripes.

    Raises:
        LookupError: few strips are to take more of much cloth than strips of a garment's lengths can.
    """
    rng = random.Random(f"border {seed}")
    count, remnants, ratio = rng.randint(*size.strips), rng.randint(*size.pieces), rng.uniform(*size.ratio)
    for _ in range(TRIES):
        fabric, widths = _fabric(rng, along)
        widest = rng.uniform(*size.widest_mm)
        pieces = tuple(_piece(rng, f"t{i + 1}", fabric, widest) for i in range(remnants))
        room, longest = _room(fabric, pieces, widths)
        mean = ratio * room / count
        if not 130 <= mean <= 0.62 * longest:
            continue
        strips = _strips(rng, count, widths, longest)
        total = sum(_cut_mm(strip) for strip in strips)
        scale = mean * count / total
        strips = tuple(replace(s, length_mm=_scaled(s, scale)) for s in strips)
        return Problem(parts=strips, fabrics={fabric.id: fabric}, pieces=pieces)
    raise LookupError("no cloth drawn takes strips of such lengths")


def demand_ratio(problem: Problem) -> float:
    """The strips' cut length over the most that can be cut side by side in their stripe."""
    fabric = problem.fabrics["cloth"]
    widths = sorted({strip.cut_width_mm for strip in problem.strips})
    room, _ = _room(fabric, problem.pieces, widths)
    return sum(_cut_mm(strip) for strip in problem.strips) / room


def _cut_mm(strip: Strip) -> float:
    return strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm)


def _scaled(strip: Strip, scale: float) -> float:
    return round(max(60.0, _cut_mm(strip) * scale - 2 * strip.seam_mm - sum(strip.extra_mm)), 1)


def _fabric(rng: random.Random, along: bool | None) -> tuple[Fabric, list[float]]:
    """The cloth, and the cut widths that its strips have."""
    repeat = rng.uniform(30, 150)
    labels = rng.choice(("AB", "ABC", "ABAC", "ABCB"))
    shares = [rng.uniform(0.5, 2.0) for _ in labels]
    stripes, reached = [], 0.0
    for label, share in zip(labels, shares, strict=True):
        width = repeat * share / sum(shares)
        stripes.append(Stripe(label=label, width_mm=width, centre_mm=reached + width / 2))
        reached += width
    repeats = rng.random() < 0.5 if along is None else along
    print_ = Print(
        kind="motif" if repeats else "stripe", across=Estimate(repeat), stripes=tuple(stripes),
        along=Estimate(rng.choice((40.0, 64.0, 75.0, 120.0, 200.0))) if repeats else None,
    )  # fmt: skip
    widths = [round(rng.uniform(20, 110) + 2 * SEAM_MM, 1) for _ in range(rng.choice((1, 1, 2)))]
    return Fabric(id="cloth", name="Cloth", print=print_, one_way=rng.random() < 0.3), widths


def _piece(rng: random.Random, name: str, fabric: Fabric, widest_mm: float) -> Piece:
    across = fabric.print.across.value if fabric.print.across else 100.0
    wide, long = rng.uniform(200, widest_mm), rng.uniform(200, 1500)
    skew = rng.uniform(-4, 4)
    turn = 0.0 if rng.random() < 0.5 else skew  # the outline follows the weave, or was cut along the print
    return Piece(
        id=name, fabric=fabric.id, outline_mm=_carried(_outline(rng, wide, long), turn),
        stripe_direction_deg=round(skew, 2), stripe_origin_mm=round(rng.uniform(0, across), 2),
        along_origin_mm=round(rng.uniform(0, 100), 2),
    )  # fmt: skip


def _outline(rng: random.Random, wide: float, long: float) -> list[Point]:
    """Two thirds rectangles, a tenth not convex, the rest slanted or with a corner off."""
    kind = rng.random()
    if kind < 2 / 3:
        return [(0, 0), (wide, 0), (wide, long), (0, long)]
    if kind < 2 / 3 + 1 / 10:
        step, side = rng.uniform(0.3, 0.7) * long, rng.uniform(0.3, 0.7) * wide
        return [(0, 0), (wide, 0), (wide, step), (side, step), (side, long), (0, long)]
    if kind < 0.9:
        return [(0, rng.uniform(0, long / 4)), (wide, 0), (wide * rng.uniform(0.8, 1.0), long), (0, long * 0.9)]
    cut = rng.uniform(0.2, 0.5)
    return [(0, 0), (wide, 0), (wide, long * (1 - cut)), (wide * (1 - cut), long), (0, long)]


def _carried(outline: Sequence[Point], degrees: float) -> tuple[Point, ...]:
    a = math.radians(degrees)
    return tuple(
        (round(x * math.cos(a) + y * math.sin(a), 3), round(-x * math.sin(a) + y * math.cos(a), 3)) for x, y in outline
    )


def _room(fabric: Fabric, pieces: Sequence[Piece], widths: Sequence[float]) -> tuple[float, float]:
    """The most cut length of A in bands that lie side by side, whole lanes taken or left; and the longest lane."""
    room, longest = 0.0, 0.0
    for index, piece in enumerate(pieces):
        cloth = to_print(usable(piece, Stance.NOMINAL), piece.stripe_direction_deg or 0.0)
        runs = [
            run
            for width in widths
            for run in find_runs(
                piece=index, cloth=cloth, origin_mm=piece.stripe_origin_mm, fabric=fabric, stance=Stance.NOMINAL,
                profile=Profile(label="A", cut_width_mm=width, centre_at_mm=width / 2), shortest_um=1,
            )
        ]  # fmt: skip
        room += _side_by_side(runs)
        longest = max([longest, *(run.length_um / 1000 for run in runs)])
    return room, longest


def _side_by_side(runs: Sequence[Run]) -> float:
    """The greatest sum of lengths of bands of which no two overlap across (weighted interval scheduling), mm."""
    best: list[tuple[int, float]] = [(-(10**9), 0.0)]
    for run in sorted(runs, key=lambda r: r.right_um):
        before = max(total for right, total in best if right <= run.left_um)
        best.append((run.right_um, max(best[-1][1], before + run.length_um / 1000)))
    return best[-1][1]


def _strips(rng: random.Random, count: int, widths: Sequence[float], longest: float) -> tuple[Strip, ...]:
    strips: list[Strip] = []
    while len(strips) < count:
        width = rng.choice(widths)
        joins = rng.choice((0, 1, 2))
        length = rng.uniform(0.12, 0.9) * longest * (1 + 0.4 * joins)
        strip = Strip(
            id=f"s{len(strips) + 1}", fabric="cloth", stripe="A", length_mm=length, width_mm=width - 2 * SEAM_MM,
            seam_mm=SEAM_MM, cut_width_mm=width, stripe_at_mm=width / 2, joins=joins,
            shortest_mm=rng.choice((25.4, 60.0)), edge=rng.choice(EDGES),
        )  # fmt: skip
        strips.append(strip)
        if rng.random() < PAIRED / (2 - PAIRED) and len(strips) < count:
            pair = f"pair {len(strips)}"
            strips[-1] = replace(strip, pair=pair)
            strips.append(replace(strip, id=f"s{len(strips) + 1}", pair=pair))
    return tuple(strips)
