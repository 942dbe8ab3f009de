"""Small random questions for the planner, each from a seed: enough is near, so that both answers occur.

Pieces are rectangles, slanted and notched outlines, skewed up to 4 degrees, some with a flaw or a hole; strips have
joins, pairs, makes and corners' extras; half the fabrics repeat along the stripe as well.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Edge, Panel, Strip
from stash.piece import Piece, Point
from stash.planner.problem import Problem
from vision.estimate import Estimate

EDGES: tuple[Edge, ...] = ("front", "sleeve", "join", "neck", "hem", "inside")


def random_case(seed: int, *, panels: bool = False, unsure: bool | None = None) -> Problem:
    """A question of one fabric, one to three pieces and one to four strips; the same for the same seed.

    ``unsure``: whether outlines and repeat carry an uncertainty (default: one case in six does).
    """
    rng = random.Random(seed)
    uncertain = rng.random() < 1 / 6 if unsure is None else unsure
    fabric = _fabric(rng, uncertain)
    pieces = tuple(_piece(rng, f"t{i + 1}", fabric, uncertain) for i in range(rng.choice((1, 1, 2, 2, 3))))
    strips = _strips(rng, fabric, pieces)
    parts = (*strips, *(_panel(rng, pieces, i) for i in range(rng.choice((1, 1, 2)) if panels else 0)))
    return Problem(parts=parts, fabrics={fabric.id: fabric}, pieces=pieces)


def _fabric(rng: random.Random, uncertain: bool) -> Fabric:
    labels = rng.choice((("A", "B"), ("A", "B", "C"), ("A", "B", "A", "C")))
    widths = [rng.choice((8.0, 12.5, 15.0, 20.0, 31.0)) for _ in labels]
    stripes = []
    reached = 0.0
    for label, width in zip(labels, widths, strict=True):
        stripes.append(Stripe(label=label, width_mm=width, centre_mm=reached + width / 2))
        reached += width
    along = Estimate(rng.choice((40.0, 75.0, 120.0))) if rng.random() < 0.5 else None
    across = Estimate(reached, rng.choice((0.1, 0.3, 0.8)) if uncertain else 0.0)
    print_ = Print(kind="stripe" if along is None else "motif", across=across, along=along, stripes=tuple(stripes))
    return Fabric(id="cloth", name="Cloth", print=print_, one_way=rng.random() < 0.3)


def _piece(rng: random.Random, name: str, fabric: Fabric, uncertain: bool) -> Piece:
    repeat = fabric.print.across.value if fabric.print.across else 50.0
    wide, long = rng.uniform(0.9, 2.6) * repeat + 15, rng.uniform(150, 520)
    outline = _outline(rng, wide, long)
    spot = _spot(rng, wide, long) if rng.random() < 0.45 else None
    hole = spot is not None and rng.random() < 0.5
    skew = rng.choice((0.0, 0.0, rng.uniform(-4, 4)))
    crooked = rng.random() < 0.5  # the outline follows the weave; else it was cut along the print
    turn = 0.0 if crooked else skew
    return Piece(
        id=name,
        fabric=fabric.id,
        outline_mm=_carried(outline, turn),
        outline_u95_mm=rng.choice((0.5, 2.0, 4.0)) if uncertain else 0.0,
        holes_mm=(_carried(spot, turn),) if spot and hole else (),
        flaws_mm=(_carried(spot, turn),) if spot and not hole else (),
        stripe_direction_deg=skew,
        stripe_origin_mm=round(rng.uniform(-repeat, repeat), 2),
        along_origin_mm=round(rng.uniform(-60, 60), 2),
    )


def _outline(rng: random.Random, wide: float, long: float) -> list[Point]:
    kind = rng.choice(("rectangle", "rectangle", "slanted", "notched", "stepped"))
    if kind == "slanted":
        return [(0, rng.uniform(0, long / 3)), (wide, 0), (wide * rng.uniform(0.8, 1.0), long), (0, long * 0.9)]
    if kind == "notched":
        low, high = sorted((rng.uniform(0.2, 0.8) * long, rng.uniform(0.2, 0.8) * long))
        deep = rng.uniform(0.2, 0.7) * wide
        return [(0, 0), (wide, 0), (wide, low), (wide - deep, low), (wide - deep, high), (wide, high + 1),
                (wide, long), (0, long)]  # fmt: skip
    if kind == "stepped":
        step, side = rng.uniform(0.3, 0.8) * long, rng.uniform(0.3, 0.7) * wide
        return [(0, 0), (wide, 0), (wide, step), (side, step), (side, long), (0, long)]
    return [(0, 0), (wide, 0), (wide, long), (0, long)]


def _spot(rng: random.Random, wide: float, long: float) -> list[Point]:
    x, y, size = rng.uniform(0, wide), rng.uniform(0.1, 0.9) * long, rng.uniform(4, 25)
    corners = rng.choice((3, 4, 5))
    return [
        (x + size * math.cos(2 * math.pi * k / corners), y + size * math.sin(2 * math.pi * k / corners))
        for k in range(corners)
    ]


def _carried(outline: list[Point], degrees: float) -> tuple[Point, ...]:
    a = math.radians(degrees)
    return tuple(
        (round(x * math.cos(a) + y * math.sin(a), 3), round(-x * math.sin(a) + y * math.cos(a), 3)) for x, y in outline
    )


def _strips(rng: random.Random, fabric: Fabric, pieces: tuple[Piece, ...]) -> tuple[Strip, ...]:
    longest = max(max(y for _, y in piece.outline_mm) - min(y for _, y in piece.outline_mm) for piece in pieces)
    labels = sorted({stripe.label for stripe in fabric.print.stripes})
    main = rng.choice(labels)
    strips: list[Strip] = []
    for index in range(rng.choice((1, 2, 2, 3, 3, 4))):
        joins = rng.choice((0, 0, 1, 1, 2)) if index < 2 else rng.choice((0, 0, 1))
        length = round(rng.uniform(0.25, 0.85) * longest * (1 + 0.7 * joins), rng.choice((0, 2)))
        strips.append(_strip(rng, f"s{index + 1}", main if rng.random() < 0.7 else rng.choice(labels), length, joins))
    if len(strips) > 1 and rng.random() < 0.5:
        strips[0] = replace(strips[0], pair="both")
        strips[1] = replace(strips[0], id="s2")
    return tuple(strips)


def _strip(rng: random.Random, name: str, stripe: str, length: float, joins: int) -> Strip:
    width, seam = rng.choice((10.0, 16.0, 22.0, 30.0)), rng.choice((0.0, 3.0, 6.35))
    folded = rng.random() < 0.25
    cut = (2 * width if folded else width) + 2 * seam
    return Strip(
        id=name, fabric="cloth", stripe=stripe, length_mm=length, width_mm=width, seam_mm=seam, cut_width_mm=cut,
        stripe_at_mm=seam + width / 2 if folded else cut / 2, make="folded" if folded else "flat",
        extra_mm=rng.choice(((0.0, 0.0), (0.0, 0.0), (9.0, 0.0), (4.0, 8.5))), joins=joins,
        shortest_mm=rng.choice((25.4, 25.4, 60.0)), edge=rng.choice(EDGES),
    )  # fmt: skip


def _panel(rng: random.Random, pieces: tuple[Piece, ...], index: int) -> Panel:
    piece = rng.choice(pieces)
    wide = max(x for x, _ in piece.outline_mm) - min(x for x, _ in piece.outline_mm)
    long = max(y for _, y in piece.outline_mm) - min(y for _, y in piece.outline_mm)
    return Panel(
        id=f"p{index + 1}", fabric="cloth", width_mm=round(rng.uniform(0.2, 0.8) * wide, 1),
        length_mm=round(rng.uniform(0.2, 0.8) * long, 1), seam_mm=rng.choice((0.0, 4.0)),
        align=rng.choice(("print", "grain")), turn=rng.random() < 0.4,
    )  # fmt: skip
