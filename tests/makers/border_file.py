"""A border of the maker as files: ``python -m tests.makers.border_file SEED NAME`` writes NAME.json and NAME.toml.

The hardest that were met are kept so in ``tests/data/borders``, to be asked of any planner:
``stripewright enough tests/data/borders/NAME.toml --stash tests/data/borders/NAME.json``.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import fields
from pathlib import Path

from stash.garment.file import read_garment
from stash.garment.part import Strip
from stash.garment.spec import Pattern, StripSpec
from stash.garment.writing import write_garment_toml
from stash.interchange.contents import Contents
from stash.interchange.reader import read
from stash.interchange.writer import stash_document
from stash.planner.problem import Problem
from tests.makers.border_case import border_case

FOLDER = Path(__file__).resolve().parents[1] / "data" / "borders"
KEYS = ("id", "fabric", "stripe", "length_mm", "width_mm", "seam_mm", "joins", "shortest_mm", "pair", "edge")


def write(problem: Problem, name: str, folder: Path = FOLDER) -> None:
    """The cloth as an interchange file, the strips as a garment file."""
    contents = Contents(fabrics=tuple(problem.fabrics.values()), pieces=problem.pieces)
    (folder / f"{name}.json").write_text(json.dumps(stash_document(contents)) + "\n", encoding="utf-8")
    pattern = Pattern(name=name, strips=tuple(_spec(strip) for strip in problem.strips))
    (folder / f"{name}.toml").write_text(write_garment_toml(pattern), encoding="utf-8")


def kept(name: str, folder: Path = FOLDER) -> Problem:
    """The question of two such files."""
    contents = read(json.loads((folder / f"{name}.json").read_text(encoding="utf-8")))
    garment = read_garment((folder / f"{name}.toml").read_text(encoding="utf-8"))
    fabrics = {fabric.id: fabric for fabric in contents.fabrics}
    return Problem(parts=garment.parts, fabrics=fabrics, pieces=contents.pieces)


def _spec(strip: Strip) -> StripSpec:
    known = {item.name for item in fields(StripSpec)}
    assert set(KEYS) <= known
    return StripSpec(**{key: getattr(strip, key) for key in KEYS})


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seed", type=int)
    parser.add_argument("name")
    given = parser.parse_args()
    write(border_case(given.seed, along=bool(given.seed % 2)), given.name)
