"""Several garments on one stash, in order of importance where not all of them go."""

from __future__ import annotations

import json
import tomllib
from copy import deepcopy
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from shapely.geometry import Polygon

from tests.cli.conftest import Call, strips

#: Lanes that t1 has for strips of this width (see ``test_enough``): each takes one strip of 888 mm.
LANES = 9


def garments(folder: Path, counts: tuple[int, ...]) -> list[Path]:
    """One garment file for each count, of so many strips that fill a lane each."""
    rows = [[f'id = "band-{number}"\nlength = "888 mm"\nwidth = "2 in"' for number in range(count)] for count in counts]
    return [strips(folder / f"g{index}.toml", *some) for index, some in enumerate(rows)]


def best_by_hand(counts: tuple[int, ...]) -> tuple[int, ...]:
    """Of all sets of garments that the lanes hold, the one that is first in the order of importance."""
    sets = [rows for size in range(len(counts) + 1) for rows in combinations(range(len(counts)), size)]
    fitting = [rows for rows in sets if sum(counts[index] for index in rows) <= LANES]
    return max(fitting, key=lambda rows: [index in rows for index in range(len(counts))])


@pytest.mark.parametrize("counts", [(5, 5, 4), (4, 5, 1), (8, 2, 1), (3, 3, 3)])
def test_the_most_important_go(filled: Call, tmp_path: Path, counts: tuple[int, ...]) -> None:
    """As many of the most important as can be, by trying every set; the others are named, with what they lack."""
    done = filled("enough", *garments(tmp_path, counts), "--first", "--json", "--limit", "20")
    wanted = best_by_hand(counts)
    document: dict[str, Any] = done.document
    assert document["answer"] == "yes"
    assert len(document["garments"]) == len(wanted)
    assert len(document["placements"]) == sum(counts[index] for index in wanted)
    assert len({row["part"] for row in document["placements"]}) == len(document["placements"])
    cuts = [Polygon(row["outline_mm"]) for row in document["placements"]]
    assert all(one.intersection(other).area < 10 for one, other in combinations(cuts, 2))
    left_out = document.get("left_out", [])
    assert len(left_out) == len(counts) - len(wanted)
    assert done.code == (1 if left_out else 0)
    assert all(row["short"][0]["stripe"] == "A" and row["short"][0]["missing_mm"] > 0 for row in left_out)
    assert all(row["alone"] == "yes" for row in left_out)


def test_left_out_is_told_and_the_rest_can_be_cut(filled: Call, tmp_path: Path) -> None:
    """The first words say that not all go; the plan for those that go is booked like any other."""
    told = filled("enough", *garments(tmp_path, (5, 5)), "--first", "--out", "plan.json", "--limit", "20")
    assert told.code == 1
    assert told.out.startswith("Not all of them go: ")
    assert "Left out: " in told.out
    assert filled("cut", "plan.json").code == 0


def test_none_goes(filled: Call, tmp_path: Path) -> None:
    """Where no garment goes even alone, the answer is no, with the lack of the most important one."""
    done = filled("enough", *garments(tmp_path, (10, 11)), "--first", "--json", "--limit", "20")
    assert (done.code, done.document["answer"]) == (1, "no")
    assert [row["alone"] for row in done.document["left_out"]] == ["no", "no"]
    assert done.document["short"]


def test_what_is_too_close_to_call_is_not_certain(filled: Call, tmp_path: Path) -> None:
    """Where a garment goes or not by the cloth's last millimetre, known to ± 1 mm, it is left out as not certain (3);
    where another certainly does not go, all of them together do not (1)."""
    document = json.loads((tmp_path / "filled.json").read_text(encoding="utf-8"))
    document["pieces"][0]["outline_mm_u95"] = 1.0
    (tmp_path / "unsure.json").write_text(json.dumps(document), encoding="utf-8")
    sure = strips(tmp_path / "sure.toml", 'id = "band"\nlength = "500 mm"\nwidth = "2 in"')
    close = strips(tmp_path / "close.toml", 'id = "band"\nlength = "888 mm"\nwidth = "2 in"')
    long = strips(tmp_path / "long.toml", 'id = "band"\nlength = "900 mm"\nwidth = "2 in"')
    for files, code in (((sure, close), 3), ((sure, close, long), 1)):
        done = filled("enough", *files, "--first", "--json", "--stash", tmp_path / "unsure.json")
        assert (done.code, done.document["answer"]) == (code, "yes")
        assert [row["garment"] for row in done.document["left_out"]] == ["Borders 2", "Borders 3"][: len(files) - 1]
        assert done.document["left_out"][0]["settle"]


def test_a_way_out_gives_a_yes_when_it_is_made(filled: Call, tmp_path: Path) -> None:
    """Two garments of one hem each, the second's too long for any lane, on a stash that holds either's panel alone:
    every way that is offered is made in the files, and then both can be cut."""
    parts = '[[panel]]\nid = "body"\nfabric = "linen"\nwidth = "40 in"\nlength = "{}"\n'
    for name, long, hem in (("a", "36 in", "600 mm"), ("b", "44 in", "1000 mm")):
        file = strips(tmp_path / f"{name}.toml", f'id = "hem"\nlength = "{hem}"\nwidth = "2 in"')
        text = file.read_text().replace("Borders", name) + parts.format(long)
        file.write_text(text)
    done = filled("enough", "a.toml", "b.toml", "--json")
    assert done.document["answer"] == "no"
    assert len(done.document["ways_out"]) >= 2
    patterns = {name: tomllib.loads((tmp_path / f"{name}.toml").read_text()) for name in ("a", "b")}
    for way in done.document["ways_out"]:
        made = deepcopy(patterns)
        for edit in (way["edit"], *way["edit"].get("also", ())):
            for row in (*made[edit["garment"]]["strip"], *made[edit["garment"]]["panel"]):
                if row["id"] in edit.get("parts", [edit["part"]]):
                    row[edit["key"]] = edit["value"]
        for name, table in made.items():
            (tmp_path / f"{name}-made.toml").write_text(written(table), encoding="utf-8")
        assert filled("enough", "a-made.toml", "b-made.toml").code == 0, way["change"]


def written(table: dict[str, Any]) -> str:
    """The table as TOML: plain values, then rows of tables."""
    rows = [f"{key} = {json.dumps(value)}" for key, value in table.items() if not isinstance(value, list)]
    for kind in ("strip", "panel"):
        for row in table[kind]:
            rows += [f"[[{kind}]]", *(f"{key} = {json.dumps(value)}" for key, value in row.items())]
    return "\n".join(rows)
