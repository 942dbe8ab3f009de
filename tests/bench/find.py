"""How long a find takes in a stash of 5,000 fabrics and 50,000 pieces: warm, and as a whole process; beside the
time by the clock stands that of the processor, which other programs on the machine lengthen less.

``python -m tests.bench.find [--pieces N] [--keep FOLDER] [--server]``. Fabrics, pieces and questions are drawn from a
seed; four pieces of ten are no rectangles, as remnants are. With ``--server`` the stash is on a PostgreSQL server that
is started for it.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from stash.actions import stash_at
from stash.catalogue import schema
from stash.catalogue.trait import fabric_row, piece_row, stripe_rows
from stash.seeking import Sought, find
from tests.catalogue.studio import running

FIBRES = ("linen", "cotton", "wool", "silk", "55% linen 45% cotton", "hemp")
SIDES_MM = (100, 150, 200, 300, 400, 600, 900, 1400)

QUESTIONS: dict[str, list[str]] = {
    "two of 9 x 6 in, square to the stripe": ["--fits", "two of 9 x 6 in"],
    "9 x 6 in along the stripe": ["--fits", "9 x 6 in", "--way", "along"],
    "30 x 12 in, any way": ["--fits", "30 x 12 in", "--way", "any"],
    "four of 12 x 9 in, red, linen": ["--fits", "four of 12 x 9 in", "--near", "#a01c24", "--fibre", "linen"],
    "near a colour": ["--near", "#3f6f9a"],
    "near a fabric": ["--near", "f17", "--within", "8"],
    "a stripe of 3/4 in": ["--stripe", "3/4 in"],
    "linen of 150 to 220 gsm": ["--fibre", "linen", "--weight", "150 to 220 gsm"],
    "words and a place": ["garden", "--place", "shelf 7"],
    "larger than most": ["--fits", "52 x 52 in"],
}


def fabric(dice: random.Random, number: int) -> dict[str, Any]:
    """A striped fabric of two to five stripes with notes."""
    widths = [dice.uniform(3, 45) for _ in range(dice.randint(2, 5))]
    at, stripes = 0.0, []
    for label, width in zip("ABCDE", widths, strict=False):
        colour = f"#{dice.randrange(1 << 24):06x}"
        stripes.append({"label": label, "width_mm": width, "centre_mm": at + width / 2, "hex": colour})
        at += width
    return {
        "id": f"f{number}",
        "name": f"{dice.choice(('Garden', 'Kitchen', 'Awning', 'Shirt'))} stripe {number}",
        "one_way": False,
        "both_faces": False,
        "print": {"kind": "stripe", "across_mm": at, "across_mm_u95": 0.1, "stripes": stripes},
        "fibre": dice.choice(FIBRES),
        "weight_gsm": dice.randint(80, 400),
        "place": f"shelf {dice.randint(1, 30)}",
    }


def piece(dice: random.Random, number: int, fabrics: int) -> dict[str, Any]:
    """A rectangle, or a remnant of eight to twelve corners about one."""
    wide, long = dice.choice(SIDES_MM) * dice.uniform(0.8, 1.2), dice.choice(SIDES_MM) * dice.uniform(0.8, 1.2)
    ring = [[0.0, 0.0], [wide, 0.0], [wide, long], [0.0, long]]
    if dice.random() < 0.4:
        corners = dice.randint(8, 12)
        turns = [(2 * math.pi * k / corners, dice.uniform(0.3, 0.5)) for k in range(corners)]
        ring = [[wide * (0.5 + r * math.cos(t)), long * (0.5 + r * math.sin(t))] for t, r in turns]
    return {
        "id": f"p{number}",
        "fabric": f"f{dice.randrange(fabrics)}",
        "outline_mm": [[round(x, 3), round(y, 3)] for x, y in ring],
        "outline_mm_u95": 0.5,
        "stripe_direction_deg": round(dice.gauss(0, 1.5), 3),
        "stripe_origin_mm": 1.0,
        "along_origin_mm": 0,
    }


def fill(where: Path | str, pieces: int) -> None:
    """Makes the stash, past the journal."""
    dice = random.Random(5)
    fabrics = [fabric(dice, number) for number in range(max(20, pieces // 10))]
    lying = [piece(dice, number, len(fabrics)) for number in range(pieces)]
    held = stash_at(where, write=True)
    held.import_document({"schema": "stash/1", "fabrics": [], "pieces": []})
    with held.keeper.changing() as connection:
        rows = [{"id": one["id"], "place": at, "document": json.dumps(one)} for at, one in enumerate(fabrics)]
        connection.execute(insert(schema.fabric), rows)
        rows = [
            {"id": one["id"], "fabric": one["fabric"], "place": at, "document": json.dumps(one), "photo": None}
            for at, one in enumerate(lying)
        ]
        connection.execute(insert(schema.piece), rows)
        connection.execute(insert(schema.fabric_trait), [fabric_row(one) for one in fabrics])
        connection.execute(insert(schema.stripe_trait), [row for one in fabrics for row in stripe_rows(one)])
        connection.execute(insert(schema.piece_trait), [piece_row(one) for one in lying])
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("ANALYZE")  # as the server does by itself within a minute


def sought(words: list[str]) -> Sought:
    """The question as the command would read it."""
    keys = {"--fits": "fits", "--way": "way", "--near": "near", "--stripe": "stripe", "--weight": "weight"}
    said: dict[str, Any] = {"texts": {}, "words": ()}
    at = 0
    while at < len(words):
        if not words[at].startswith("--"):
            said["words"] = (*said["words"], words[at])
            at += 1
            continue
        if words[at] in keys:
            said[keys[words[at]]] = words[at + 1]
        elif words[at] == "--within":
            said["within"] = float(words[at + 1])
        elif words[at] == "--most":
            said["most"] = int(words[at + 1])
        else:
            said["texts"][words[at].removeprefix("--")] = words[at + 1]
        at += 2
    return Sought(**said)


def warm_s(where: Path | str, words: list[str], times: int) -> tuple[float, float, int]:
    """The medians of several finds in one process after the first, by the clock and of the processor, and how many
    pieces were found."""
    held = stash_at(where)
    took, used = [], []
    count = 0
    for _ in range(times + 1):
        begun, before = time.perf_counter(), time.process_time()
        count = len(find(held, sought(words)))
        took.append(time.perf_counter() - begun)
        used.append(time.process_time() - before)
    return statistics.median(took[1:]), statistics.median(used[1:]), count


def process_s(where: Path | str, words: list[str], times: int) -> tuple[float, float]:
    """The medians of whole processes, from the start of Python to its end: by the clock, and of the processor."""
    command = [sys.executable, "-m", "stash", "stash", "find", *words, "--json"]
    environment = {**os.environ, "STRIPEWRIGHT_STASH": str(where)}
    took, used = [], []
    for _ in range(times):
        begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, env=environment, capture_output=True, check=False)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        took.append(time.perf_counter() - begun)
        used.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return statistics.median(took), statistics.median(used)


def main() -> None:
    """Prints a row a question."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--pieces", type=int, default=50_000)
    asked.add_argument("--times", type=int, default=7)
    asked.add_argument("--keep", type=Path)
    asked.add_argument("--server", action="store_true")
    chosen = asked.parse_args()
    with contextlib.ExitStack() as until:
        if chosen.server:
            where: Path | str = until.enter_context(running()).fresh()
        else:
            where = chosen.keep or Path(until.enter_context(tempfile.TemporaryDirectory())) / "stash"
        if not (isinstance(where, Path) and where.exists()):
            fill(where, chosen.pieces)
        print(f"{'question':<40} {'found':>5} {'warm ms':>8} {'of cpu':>6} {'process s':>9} {'of cpu':>6}")
        for name, words in QUESTIONS.items():
            warm, warm_cpu, count = warm_s(where, words, chosen.times)
            whole, cpu = process_s(where, words, min(5, chosen.times))
            figures = f"{1000 * warm:>8.0f} {1000 * warm_cpu:>6.0f} {whole:>9.2f} {cpu:>6.2f}"
            print(f"{name:<40} {count:>5} {figures}", flush=True)


if __name__ == "__main__":
    main()
