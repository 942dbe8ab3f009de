"""How long answers take: published tight cuttings with a known answer, and seeded borders of our own.

``python -m tests.bench.border [--published N] [--own N]``. The published ones (Falkenauer 1994, ``falkenauer_t60.txt``)
lie beside the checkout; where they are not, only our own are run.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import time
from pathlib import Path

from stash.fabric import Fabric, Print, Stripe
from stash.garment.part import Strip
from stash.piece import Piece
from stash.planner.problem import Problem
from stash.planner.solve import decide
from vision.estimate import Estimate

STRIPES = (Stripe(label="A", width_mm=20, centre_mm=10), Stripe(label="B", width_mm=40, centre_mm=40))
FABRIC = Fabric(id="f", name="F", print=Print(kind="stripe", across=Estimate(60.0), stripes=STRIPES))


def strip(name: str, length: float, width: float, seam: float, joins: int) -> Strip:
    """A flat strip of A."""
    cut = width + 2 * seam
    return Strip(id=name, fabric="f", stripe="A", length_mm=length, width_mm=width, seam_mm=seam, cut_width_mm=cut,
                 stripe_at_mm=cut / 2, joins=joins)  # fmt: skip


def cloth(name: str, width: float, length: float) -> Piece:
    """A rectangle."""
    outline = ((0.0, 0.0), (width, 0.0), (width, length), (0.0, length))
    return Piece(id=name, fabric="f", outline_mm=outline, stripe_origin_mm=20.0)


def published(path: Path) -> list[tuple[str, float, list[float], int]]:
    """Name, capacity, item sizes and the fewest bins of each instance."""
    words = iter(path.read_text(encoding="utf-8").split())
    out = []
    for _ in range(int(next(words))):
        name, capacity, items, bins = next(words), float(next(words)), int(next(words)), int(next(words))
        out.append((name, capacity, [float(next(words)) for _ in range(items)], bins))
    return out


def own_case(seed: int) -> Problem:
    """12 to 40 strips on 3 to 20 pieces, between half and all of the cloth used."""
    dice = random.Random(seed)
    pieces = [cloth(f"p{i}", dice.uniform(60, 400), dice.uniform(300, 1400)) for i in range(dice.randint(3, 20))]
    room = sum(piece.outline_mm[2][1] * (piece.outline_mm[2][0] // 60) for piece in pieces)
    count = dice.randint(12, 40)
    mean = min(900.0, dice.uniform(0.5, 1.02) * room / count)
    strips = [strip(f"s{i}", mean * dice.uniform(0.5, 1.5), 40, 6.35, dice.choice((0, 0, 1, 2))) for i in range(count)]
    return Problem(parts=tuple(strips), fabrics={"f": FABRIC}, pieces=tuple(pieces))


def main() -> None:
    """Print one line an instance and the sum of it."""
    options = argparse.ArgumentParser()
    options.add_argument("--published", type=int, default=20)
    options.add_argument("--own", type=int, default=50)
    chosen = options.parse_args()
    shared = Path(os.environ.get("STRIPEWRIGHT_SHARED", Path(__file__).resolve().parents[2].parent / "shared"))
    path = shared / "bench" / "falkenauer_t60.txt"
    for name, capacity, items, bins in published(path)[: chosen.published] if path.exists() else []:
        parts = tuple(strip(f"s{i}", size, 20, 0, 0) for i, size in enumerate(items))
        for count, known in ((bins, "yes"), (bins - 1, "no")):
            pieces = tuple(cloth(f"p{i}", 60, capacity) for i in range(count))
            plan = decide(Problem(parts=parts, fabrics={"f": FABRIC}, pieces=pieces))
            verdict = "right" if plan.answer == known and plan.proven else "WRONG"
            print(f"{name} {count} {plan.answer} {verdict} {plan.seconds:.2f} s", flush=True)
    times = []
    for seed in range(chosen.own):
        began = time.monotonic()
        plan = decide(own_case(seed))
        times.append(time.monotonic() - began)
        print(f"own {seed} {plan.answer} {plan.reason or ''} {times[-1]:.2f} s", flush=True)
    if times:
        print(f"own: median {statistics.median(times):.2f} s, worst {max(times):.2f} s")


if __name__ == "__main__":
    main()
